"""What the board shows at a moment: one dominant thing, and the rest. Pure, nothing is kept."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from fractions import Fraction

from handsfree.core.mix import Component, rounded_to_step
from handsfree.job import pour
from handsfree.job.alarms import Alarm, alarms, is_missed, urgency
from handsfree.job.boundary import Heard, Input
from handsfree.job.decide import is_awake
from handsfree.job.dialogue import ChooseZero, ConfirmFact, ConfirmReading, Talk
from handsfree.job.reminders import Reminder, Urgency, waiting
from handsfree.job.state import Batch, State
from handsfree.job.step import Decision, Outcome, Setup
from handsfree.language.board_wording import (
    YES_OR_NO,
    ahead_text,
    called_text,
    cup_text,
    grams_text,
    name_text,
    number_text,
    question_text,
    reading_text,
    time_text,
)
from handsfree.language.replies import AskYes, Called, CupWarning, Reply
from handsfree.language.wording import Level, wording

# A pour that nobody went on with for so long gives way to the clocks. Judgement: the longest
# pours take a few minutes, and a reading is called every one or two.
POUR_GOES_ON = timedelta(minutes=15)
# A warning of a cup that runs away stays as long, whatever else is said. Judgement: time to
# carry the cup out and to look again.
WARNING_STAYS = timedelta(minutes=2)
MOST_REST = 4  # More are not taken in at a glance; the number of the others is shown.


@dataclass(frozen=True)
class Noted:
    """The last things heard and said: what the board shows beside the state and the question."""

    heard: tuple[str, ...] = ()
    heard_at: datetime | None = None
    was_understood: bool = True
    said: tuple[Reply, ...] = ()
    warning: CupWarning | None = None
    warned_at: datetime | None = None


def noted_after(noted: Noted, incoming: Input, decision: Decision, now: datetime) -> Noted:
    """What is noted after an input and what was decided; what was not for us leaves no trace."""
    if decision.outcome is Outcome.IGNORED:
        return noted
    if isinstance(incoming, Heard):
        understood = decision.outcome is not Outcome.REJECTED
        noted = replace(noted, heard=incoming.words, heard_at=now, was_understood=understood)
    said = tuple(say.reply for say in decision.said)
    if said:
        noted = replace(noted, said=said)
    for reply in said:
        if isinstance(reply, CupWarning):
            noted = replace(noted, warning=reply, warned_at=now)
    return noted


@dataclass(frozen=True)
class AlarmPanel:
    """An announcement without an answer."""

    key: str  # Of the reminder; empty: a warning, which cannot be acknowledged.
    name: str
    text: str
    urgency: Urgency
    is_missed: bool  # The time to act is over.
    ends_at: datetime | None  # When the pot life or the window is over.
    ends_text: str


@dataclass(frozen=True)
class PourPanel:
    """A part that is being poured; numbers as the scale shows them."""

    cup: str
    part: str
    target_g: str
    low_g: str  # The band that needs no correction.
    high_g: str
    poured_g: str
    asked_g: str  # A reading that waits for a yes; empty: none does.
    left_g: str  # Still to pour; below 0: too much was poured.
    scale_text: str  # What the scale shows at the target; empty: the target itself.


@dataclass(frozen=True)
class ClockPanel:
    """Something that runs to a moment."""

    name: str
    what: str
    starts_at: datetime | None  # None: only its end is known.
    ends_at: datetime
    ends_text: str
    is_cup: bool = False  # A pot life, whose end spoils the cup.
    is_timer: bool = False


@dataclass(frozen=True)
class QuestionPanel:
    """What is asked, and what may be said to it."""

    text: str
    answers: tuple[str, ...]


@dataclass(frozen=True)
class NotePanel:
    """Where things stand when nothing runs."""

    title: str
    text: str


Panel = AlarmPanel | PourPanel | ClockPanel | QuestionPanel | NotePanel


@dataclass(frozen=True)
class BoardView:
    """Everything on the board. Times count by the program's clock."""

    product: str
    clock_text: str  # The time of day.
    main: Panel
    rest: tuple[Panel, ...]
    more: int  # Others that found no place.
    asked: QuestionPanel | None  # None: nothing is asked, or it is the main thing.
    heard: str
    heard_at_text: str
    was_understood: bool
    said: str
    wake_phrase: str  # Empty: it listens to everything.
    is_saved: bool


def board_view(
    setup: Setup,
    state: State,
    talk: Talk,
    noted: Noted,
    now: datetime,
    *,
    level: Level = Level.NORMAL,
    is_saved: bool = True,
) -> BoardView:
    """What the board shows.

    One thing is dominant: an alarm, else the pour in hand, else the open question, else the
    clock that ends first, else news without a hurry, else where things stand. A question goes
    before a clock because it lasts under a minute, and in front of the clock the number in it
    could not be checked from afar.

    Args:
        setup: product and scale, and the listener's zone.
        state: from the recorded events.
        talk: the conversation so far.
        noted: what was heard and said last.
        now: the moment, UTC.
        level: how much is said.
        is_saved: whether the disk takes the record.
    """
    setup = setup.at(state)
    local = _Local(setup, now)
    found = tuple(
        alarm
        for alarm in sorted(alarms(setup.shelf, state), key=lambda a: _worst_first(a, now))
        if alarm.half_at is None
    )
    pressing = [a for a in found if urgency(a, now) is not Urgency.LOW]
    calm = [a for a in found if urgency(a, now) is Urgency.LOW]
    asked = _question(talk)
    poured = _pour(setup, state, talk)
    is_pouring = poured is not None and _is_going_on(state, now)
    called = {_name(a.reminder) for a in pressing}
    # An alarm of a cup counts down itself.
    clocks = [cup for cup in _cups(state, local) if cup.name not in called]
    series = {a.reminder.series for a in pressing}
    clocks += _ahead(setup, state, local, series)
    panels: list[Panel] = [*_warning(noted, now), *(_alarm(a, local) for a in pressing)]
    panels += [poured] if poured is not None and is_pouring else []
    panels += [asked] if asked is not None else []
    panels += clocks
    panels += [_alarm(a, local) for a in calm]
    panels += [poured] if poured is not None and not is_pouring else []
    panels += _cup_in_hand(setup, state)
    panels = panels or [_nothing_runs(state)]
    main, others = panels[0], [panel for panel in panels[1:] if panel is not asked]
    phrase = " ".join(setup.wake_phrases[0]) if not is_awake(setup, state, talk, now) else ""
    return BoardView(
        setup.card.name,
        local.time(now),
        main,
        tuple(others[:MOST_REST]),
        len(others[MOST_REST:]),
        None if main is asked else asked,
        " ".join(noted.heard),
        local.time(noted.heard_at) if noted.heard_at is not None else "",
        noted.was_understood,
        " ".join(wording(reply, level) for reply in noted.said),
        phrase,
        is_saved,
    )


@dataclass(frozen=True)
class _Local:
    """The listener's clock."""

    setup: Setup
    now: datetime

    def time(self, moment: datetime) -> str:
        zone = self.setup.zone
        return time_text(moment.astimezone(zone), self.now.astimezone(zone))


def _worst_first(alarm: Alarm, now: datetime) -> tuple[int, bool, datetime]:
    """The most urgent first; of those what can still be acted on, then what is due longest."""
    return urgency(alarm, now).value, is_missed(alarm, now), alarm.reminder.due_at


def _alarm(alarm: Alarm, local: _Local) -> AlarmPanel:
    reminder = alarm.reminder
    return AlarmPanel(
        reminder.key,
        _name(reminder),
        called_text(reminder.called, reminder.percent),
        urgency(alarm, local.now),
        is_missed(alarm, local.now),
        reminder.ends_at,
        local.time(reminder.ends_at) if reminder.ends_at is not None else "",
    )


def _name(reminder: Reminder) -> str:
    return name_text(reminder.called, reminder.number, reminder.name)


def _warning(noted: Noted, now: datetime) -> Iterator[AlarmPanel]:
    """A cup that runs away, of which a person told: said once, but shown for a while."""
    warning, at = noted.warning, noted.warned_at
    if warning is not None and at is not None and now - at < WARNING_STAYS:
        name = "The cup" if warning.batch is None else cup_text(warning.batch)
        text = wording(warning)
        yield AlarmPanel("", name, text, Urgency.HIGH, is_missed=False, ends_at=None, ends_text="")


def _question(talk: Talk) -> QuestionPanel | None:
    if talk.question is None or talk.asked is None:
        return None
    if isinstance(talk.asked, AskYes):
        # It asks for a clear yes; to what is in the question itself.
        match talk.question:
            case ConfirmReading(candidate):
                text = f"{reading_text(candidate.component, candidate.shown_g)}?"
                return QuestionPanel(text, YES_OR_NO)
            case ChooseZero(if_yes=candidate):
                first = pour.other(candidate.component).value
                text = f"{grams_text(candidate.shown_g)} together with the {first}?"
                return QuestionPanel(text, YES_OR_NO)
            case ConfirmFact():
                return QuestionPanel(wording(talk.asked), YES_OR_NO)
            case _:
                pass
    return QuestionPanel(*question_text(talk.asked))


def _pour(setup: Setup, state: State, talk: Talk) -> PourPanel | None:
    """The part that is to be poured into the cup on the scale; None when none is."""
    batch = state.open_batch
    if batch is None or batch.clock is not None or batch.emptied_at is not None:
        return None
    target = pour.target_of(setup.recipe, batch)
    if target is None:
        return None
    step_g = setup.scale.step_g
    low_g, high_g = pour.good_range_g(setup.recipe, target, step_g)
    target_g = rounded_to_step(target.grams, step_g)
    poured_g = batch.grams_of(target.component)
    return PourPanel(
        cup_text(batch.number),
        target.component.value,
        number_text(target_g),
        number_text(low_g),
        number_text(high_g),
        number_text(poured_g),
        _asked_g(talk, target.component),
        number_text(target_g - poured_g),
        _scale_text(batch, replace(target, grams=target_g)),
    )


def _scale_text(batch: Batch, target: pour.Target) -> str:
    """What the scale shows with the target in the cup, where that is another number."""
    zero_g = batch.zero_g
    shown_g = pour.shown_at(batch, target, Fraction(0) if zero_g is None else zero_g)
    if shown_g == target.grams:
        return ""
    tare = ", without a tare" if zero_g is None else ""
    return f"scale shows {number_text(shown_g)}{tare}"


def _asked_g(talk: Talk, component: Component) -> str:
    """The reading that waits for a yes, as what of the part would then be in the cup."""
    match talk.question:
        case ConfirmReading(candidate) if candidate.component is component:
            return number_text(candidate.grams)
        case _:
            return ""


def _is_going_on(state: State, now: datetime) -> bool:
    """Whether anything was told of the cup on the scale a short while ago."""
    last = state.last_fact
    return last is not None and now - last.at < POUR_GOES_ON


def _cups(state: State, local: _Local) -> list[ClockPanel]:
    """Cups whose clock runs, or ran out while they are still in use; the first to end first."""
    found = [
        ClockPanel(
            cup_text(batch.number),
            ahead_text(Called.POT_LIFE),
            clock.ends_at - clock.pot_life,
            clock.ends_at,
            local.time(clock.ends_at),
            is_cup=True,
        )
        for batch in state.batches
        if (clock := batch.running_clock) is not None
    ]
    return sorted(found, key=lambda panel: panel.ends_at)


def _ahead(setup: Setup, state: State, local: _Local, called: set[str]) -> Iterator[ClockPanel]:
    """What a coat or a timer comes to next: of each series the first, the earliest first.

    Not of a series that is being called: more of the same only says so again.
    """
    for reminder in _first_of_series(waiting(setup.shelf, state)):
        is_called = reminder.called is Called.POT_LIFE or reminder.series in called
        if not is_called and reminder.due_at > local.now:
            yield ClockPanel(
                _name(reminder),
                ahead_text(reminder.called),
                None,
                reminder.due_at,
                local.time(reminder.due_at),
                is_timer=reminder.called is Called.TIMER,
            )


def _first_of_series(found: Iterable[Reminder]) -> Iterator[Reminder]:
    seen: set[str] = set()
    for reminder in found:
        if reminder.series not in seen:
            seen.add(reminder.series)
            yield reminder


def _cup_in_hand(setup: Setup, state: State) -> Iterator[NotePanel]:
    """What the cup on the scale waits for, where that is not a pour."""
    batch = state.open_batch
    if batch is None or batch.clock is not None or state.ended_at is not None:
        return
    if pour.is_complete(setup.recipe, batch):
        yield _complete(setup, batch)
    elif pour.target_of(setup.recipe, batch) is None:
        yield NotePanel(cup_text(batch.number), "What does the scale read?")


def _nothing_runs(state: State) -> NotePanel:
    if state.ended_at is not None:
        return NotePanel("The job is done", "Nothing runs any more")
    if state.open_batch is None:
        return NotePanel("Ready", "Say what the scale reads, or say help")
    return NotePanel("Nothing runs", "Say new cup, or say help")


def _complete(setup: Setup, batch: Batch) -> NotePanel:
    title = f"{cup_text(batch.number)}: {grams_text(batch.total_g)}, complete"
    if setup.card.pot_life is None:
        return NotePanel(title, "The card gives no pot life: go by the label")
    return NotePanel(title, "Say mixed when the two parts meet")
