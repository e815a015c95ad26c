"""What has to be called out and when: derived from the state, never stored."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum

from handsfree.core.card import ProductCard
from handsfree.core.cure import Stage
from handsfree.job.film import film_clock
from handsfree.job.state import State
from handsfree.language.replies import Called

WARNING_PERCENTS = (50, 75, 90, 100)
BEFORE_RECOAT_CLOSES = timedelta(hours=1)


class Urgency(Enum):
    """How much is lost when it is not heard."""

    HIGH = 0  # The work or a person is at stake.
    MEDIUM = 1  # A window opens or closes.
    LOW = 2  # Information.


URGENCY = {
    Called.POT_LIFE: Urgency.HIGH,
    Called.TAPE_ASK: Urgency.MEDIUM,
    Called.TAPE_INSIST: Urgency.HIGH,
    Called.TAPE_LAST_CALL: Urgency.HIGH,
    Called.TACKY_CHECK: Urgency.MEDIUM,
    Called.RECOAT_OPENS: Urgency.MEDIUM,
    Called.RECOAT_CLOSES_SOON: Urgency.MEDIUM,
    Called.RECOAT_CLOSED: Urgency.MEDIUM,
    Called.HANDLE: Urgency.LOW,
    Called.SAND: Urgency.LOW,
    Called.USE: Urgency.LOW,
    Called.FULL_CURE: Urgency.LOW,
    Called.TIMER: Urgency.MEDIUM,
}


@dataclass(frozen=True)
class Reminder:
    """One thing to be called out."""

    key: str  # The same for the same thing as long as its start does not change.
    called: Called
    number: int  # Of the cup, the coat or the timer.
    due_at: datetime
    series: str  # Of several due at once in a series only the last is said.
    percent: int = 0  # Of the pot life.
    ends_at: datetime | None = None  # When the pot life or the window is over.

    @property
    def urgency(self) -> Urgency:
        """How much is lost when it is not heard."""
        return URGENCY[self.called]


_CUP_KEY = re.compile(r"cup (\d{1,9}) from [^,]+, (\d{1,3})", re.ASCII)
_COAT_KEY = re.compile(r"coat (\d{1,9}) from [^,]+, (.+)", re.ASCII)
_TIMER_KEY = re.compile(r"timer (\d{1,9})", re.ASCII)
_TAPE = (Called.TAPE_ASK, Called.TAPE_INSIST, Called.TAPE_LAST_CALL)
_RECOAT = (Called.RECOAT_OPENS, Called.RECOAT_CLOSES_SOON, Called.RECOAT_CLOSED)


@dataclass(frozen=True)
class Subject:
    """What a recorded key is about."""

    key: str
    called: Called | None  # None: a key that this program does not make.
    number: int = 0  # Of the cup, the coat or the timer.
    percent: int | None = None  # Of the pot life.

    @property
    def series(self) -> str:
        """The same for those of which only the last is said."""
        start = self.key.partition(",")[0]
        for group in (_TAPE, _RECOAT):
            if self.called in group:
                return f"{start}, {group[0].value}"
        return start if self.called is Called.POT_LIFE else self.key

    def is_of_cup(self, number: int) -> bool:
        """Whether it is about the pot life of that cup."""
        return self.called is Called.POT_LIFE and self.number == number

    @property
    def is_of_tape(self) -> bool:
        """Whether it is about masking tape."""
        return self.called in _TAPE

    @property
    def is_of_coat(self) -> bool:
        """Whether it is about a coat, and over once the next one is begun."""
        return self.called not in (None, Called.POT_LIFE, Called.TIMER)


def subject_of(key: str) -> Subject:
    """What the key of a reminder, as it stands in a record, is about."""
    if found := _CUP_KEY.fullmatch(key):
        return Subject(key, Called.POT_LIFE, int(found[1]), int(found[2]))
    if found := _COAT_KEY.fullmatch(key):
        called = next((one for one in Called if one.value == found[2]), None)
        return Subject(key, called, int(found[1]))
    if found := _TIMER_KEY.fullmatch(key):
        return Subject(key, Called.TIMER, int(found[1]))
    return Subject(key, None)


def reminders(card: ProductCard, state: State) -> tuple[Reminder, ...]:
    """Everything that is or will be due, the earliest first."""
    found = [*_of_cups(state), *_of_coats(card, state), *_of_timers(state)]
    return tuple(sorted(found, key=lambda reminder: (reminder.due_at, reminder.urgency.value)))


def waiting(card: ProductCard, state: State) -> tuple[Reminder, ...]:
    """What was not announced yet, or was put off; the earliest first."""
    found = []
    for reminder in reminders(card, state):
        until = state.put_off.get(reminder.key)
        announced_at = state.announced.get(reminder.key)
        if until is not None and (announced_at is None or announced_at < until):
            found.append(_moved(reminder, until))
        elif announced_at is None:
            found.append(reminder)
    return tuple(sorted(found, key=lambda reminder: (reminder.due_at, reminder.urgency.value)))


def unanswered(card: ProductCard, state: State) -> tuple[Reminder, ...]:
    """What was announced and neither answered nor overtaken, the most urgent first."""
    found = [
        reminder
        for reminder in reminders(card, state)
        if reminder.key in state.announced
        and state.acknowledged.get(
            reminder.key, datetime.min.replace(tzinfo=reminder.due_at.tzinfo)
        )
        < state.announced[reminder.key]
    ]
    last_of_series = {reminder.series: reminder for reminder in found}
    return tuple(sorted(last_of_series.values(), key=lambda r: (r.urgency.value, r.due_at)))


def next_deadline(card: ProductCard, state: State) -> datetime | None:
    """The moment at which something has to be announced; None when nothing runs."""
    return min((reminder.due_at for reminder in waiting(card, state)), default=None)


def _moved(reminder: Reminder, until: datetime) -> Reminder:
    return Reminder(
        reminder.key,
        reminder.called,
        reminder.number,
        until,
        reminder.series,
        reminder.percent,
        reminder.ends_at,
    )


def _of_cups(state: State) -> Iterator[Reminder]:
    for batch in state.batches:
        clock = batch.running_clock
        if clock is None:
            continue
        series = f"cup {batch.number} from {clock.met_at.isoformat()}"
        for percent in WARNING_PERCENTS:
            yield Reminder(
                f"{series}, {percent}",
                Called.POT_LIFE,
                batch.number,
                clock.due_at(percent),
                series,
                percent,
                clock.ends_at,
            )


def _of_coats(card: ProductCard, state: State) -> Iterator[Reminder]:
    coat = state.last_coat
    if coat is None or coat.finished_at is None or card.cure is None:
        return
    clock = film_clock(card.cure, state, coat)
    if clock is None:
        return
    start = f"coat {coat.number} from {coat.finished_at.isoformat()}"

    def of(
        called: Called, at: datetime | None, series: str, ends_at: datetime | None = None
    ) -> Iterator[Reminder]:
        if at is not None:
            yield Reminder(f"{start}, {called.value}", called, coat.number, at, series, 0, ends_at)

    if state.tape_set_at is not None:
        tape, last_at = f"{start}, tape", clock.tape_last_call_at
        yield from of(Called.TAPE_ASK, clock.tape_ask_at, tape, last_at)
        yield from of(Called.TAPE_INSIST, clock.tape_insist_at, tape, last_at)
        yield from of(Called.TAPE_LAST_CALL, last_at, tape, last_at)
    yield from of(Called.TACKY_CHECK, clock.at(Stage.TACK_FREE), f"{start}, tacky")
    closes_at = clock.at(Stage.RECOAT_CLOSES)
    opens_at = clock.at(Stage.RECOAT_OPENS)
    window = f"{start}, recoat"
    # Where the two sides of the table overlap there is no window: only the end is called.
    if opens_at is not None and (closes_at is None or opens_at < closes_at):
        yield from of(Called.RECOAT_OPENS, opens_at, window, closes_at)
        if closes_at is not None and closes_at - BEFORE_RECOAT_CLOSES > opens_at:
            soon_at = closes_at - BEFORE_RECOAT_CLOSES
            yield from of(Called.RECOAT_CLOSES_SOON, soon_at, window, closes_at)
    yield from of(Called.RECOAT_CLOSED, closes_at, window)
    for called, stage in (
        (Called.HANDLE, Stage.HANDLE),
        (Called.SAND, Stage.SAND),
        (Called.USE, Stage.USE),
        (Called.FULL_CURE, Stage.FULL_CURE),
    ):
        yield from of(called, clock.at(stage), f"{start}, {called.value}")


def _of_timers(state: State) -> Iterator[Reminder]:
    for timer in state.timers:
        key = f"timer {timer.number}"
        yield Reminder(key, Called.TIMER, timer.number, timer.due_at, key)
