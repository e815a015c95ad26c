"""What has to be called out and when: derived from the state, never stored."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import Enum

from handsfree.core.cure import Stage
from handsfree.job.film import film_clock
from handsfree.job.shelf import Shelf
from handsfree.job.state import Coat, State
from handsfree.language.replies import Called

WARNING_PERCENTS = (50, 75, 90, 100)
BEFORE_RECOAT_CLOSES = timedelta(hours=1)
TIMER_KEY = "timer "
# More than ten announcements in ten minutes is a flood in the guides for control rooms (from
# memory: EEMUA 191, ISA-18.2).
FLOOD_WITHIN, MOST_IN_FLOOD = timedelta(minutes=10), 10


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
    name: str = ""  # Of the area or the timer; empty: it has none.

    @property
    def urgency(self) -> Urgency:
        """How much is lost when it is not heard."""
        return URGENCY[self.called]


_CUP_KEY = re.compile(r"cup (\d{1,9}) from [^,]+, (\d{1,3})", re.ASCII)
_COAT_KEY = re.compile(r"coat (\d{1,9})(?: on the (.+))? from [^ ,]+, (.+)", re.ASCII)
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
    name: str = ""  # Of the area; a timer's does not stand in its key.

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

    def is_of_timer(self, number: int) -> bool:
        """Whether it is a person's own reminder of that number."""
        return self.called is Called.TIMER and self.number == number

    @property
    def is_of_tape(self) -> bool:
        """Whether it is about masking tape."""
        return self.called in _TAPE

    @property
    def is_of_coat(self) -> bool:
        """Whether it is about a coat, and over once the next one on its area is begun."""
        return self.called not in (None, Called.POT_LIFE, Called.TIMER)


def subject_of(key: str) -> Subject:
    """What the key of a reminder, as it stands in a record, is about."""
    if found := _CUP_KEY.fullmatch(key):
        return Subject(key, Called.POT_LIFE, int(found[1]), int(found[2]))
    if found := _COAT_KEY.fullmatch(key):
        called = next((one for one in Called if one.value == found[3]), None)
        return Subject(key, called, int(found[1]), name=found[2] or "")
    if found := _TIMER_KEY.fullmatch(key):
        return Subject(key, Called.TIMER, int(found[1]))
    return Subject(key, None)


def reminders(shelf: Shelf, state: State) -> tuple[Reminder, ...]:
    """Everything that is or will be due, the earliest first."""
    found = [*_of_cups(state), *_of_coats(shelf, state), *_of_timers(state)]
    return tuple(sorted(found, key=lambda reminder: (reminder.due_at, reminder.urgency.value)))


def waiting(shelf: Shelf, state: State) -> tuple[Reminder, ...]:
    """What was not announced yet, or was put off; the earliest first."""
    found = []
    for reminder in reminders(shelf, state):
        until = state.put_off.get(reminder.key)
        announced_at = state.announced.get(reminder.key)
        if until is not None and (announced_at is None or announced_at < until):
            found.append(replace(reminder, due_at=until))
        elif announced_at is None:
            found.append(reminder)
    return tuple(sorted(found, key=lambda reminder: (reminder.due_at, reminder.urgency.value)))


def unanswered(shelf: Shelf, state: State) -> tuple[Reminder, ...]:
    """What was announced and neither answered nor overtaken, the most urgent first."""
    found = [
        reminder
        for reminder in reminders(shelf, state)
        if reminder.key in state.announced
        and state.acknowledged.get(
            reminder.key, datetime.min.replace(tzinfo=reminder.due_at.tzinfo)
        )
        < state.announced[reminder.key]
    ]
    last_of_series = {reminder.series: reminder for reminder in found}
    return tuple(sorted(last_of_series.values(), key=lambda r: (r.urgency.value, r.due_at)))


def next_deadline(shelf: Shelf, state: State) -> datetime | None:
    """The moment at which something has to be announced; None when nothing runs."""
    return min((reminder.due_at for reminder in waiting(shelf, state)), default=None)


def most_together(shelf: Shelf, state: State) -> int:
    """The most announcements below HIGH that fall due within one FLOOD_WITHIN."""
    due = [r.due_at for r in waiting(shelf, state) if r.urgency is not Urgency.HIGH]
    first = most = 0
    for last, at in enumerate(due):
        while at - due[first] > FLOOD_WITHIN:
            first += 1
        most = max(most, last - first + 1)
    return most


def next_timer(state: State) -> int:
    """A number that no timer had: what was announced of one must not answer for another."""
    announced = (key.removeprefix(TIMER_KEY) for key in state.announced)
    used = [int(number) for number in announced if number.isdecimal()]
    return max([*used, *(timer.number for timer in state.timers)], default=0) + 1


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


def _of_coats(shelf: Shelf, state: State) -> Iterator[Reminder]:
    for coat in state.top_coats:
        yield from _of_coat(shelf, state, coat)


def _of_coat(shelf: Shelf, state: State, coat: Coat) -> Iterator[Reminder]:
    table = shelf.card(coat.product).cure
    if coat.finished_at is None or table is None:
        return
    clock = film_clock(table, state, coat)
    if clock is None:
        return
    where = f" on the {coat.area}" if coat.area else ""
    start = f"coat {coat.number}{where} from {coat.finished_at.isoformat()}"

    def of(
        called: Called, at: datetime | None, series: str, ends_at: datetime | None = None
    ) -> Iterator[Reminder]:
        if at is not None:
            key = f"{start}, {called.value}"
            yield Reminder(key, called, coat.number, at, series, 0, ends_at, coat.area)

    if state.tape_on(coat.area) is not None:
        tape, last_at = f"{start}, tape", clock.tape_last_call_at
        yield from of(Called.TAPE_ASK, clock.tape_ask_at, tape, last_at)
        yield from of(Called.TAPE_INSIST, clock.tape_insist_at, tape, last_at)
        yield from of(Called.TAPE_LAST_CALL, last_at, tape, last_at)
    yield from of(Called.TACKY_CHECK, clock.at(Stage.TACK_FREE), f"{start}, tacky")
    if not state.is_last_planned(coat):
        closes_at, opens_at = clock.at(Stage.RECOAT_CLOSES), clock.at(Stage.RECOAT_OPENS)
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
        key = f"{TIMER_KEY}{timer.number}"
        yield Reminder(key, Called.TIMER, timer.number, timer.due_at, key, name=timer.name)
