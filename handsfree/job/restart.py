"""After a crash, a reboot or a flat battery: where things stand, and what fell due meanwhile."""

from collections.abc import Sequence
from dataclasses import replace

from handsfree.core.mix import Component
from handsfree.job.boundary import Priority, Say
from handsfree.job.calls import call_of
from handsfree.job.events import (
    Announced,
    BatchOpened,
    ClockStarted,
    CupEmptied,
    CupLeft,
    CupWarmed,
    Event,
    ReadingTaken,
    ScaleTared,
    TakenBack,
    Told,
    TotalWanted,
)
from handsfree.job.pour import is_complete
from handsfree.job.reminders import Reminder, Urgency, unanswered, waiting
from handsfree.job.state import State, evolve
from handsfree.job.step import Decision, Outcome, Step
from handsfree.language import replies
from handsfree.language.replies import Call
from handsfree.language.times import whole_minutes

MOST_TOLD = 3  # As of alarms; the others follow as such.


def resume(step: Step, *, is_time_in_doubt: bool = False) -> Decision:
    """What is said first after a restart; nothing when there is nothing to go on with.

    What fell due is recorded as announced, so that it is not called a second time by itself;
    it stays unanswered. Where the time that passed is not known, everything that runs may be
    due: it is told as that at once, and called again when it is due at the latest.

    Args:
        step: the state as it was recorded, and the moment of the restart.
        is_time_in_doubt: nobody knows how much time passed.
    """
    shelf, state, now = step.setup.shelf, step.state, step.now
    due = [r for r in waiting(shelf, state) if r.due_at <= now]
    latest = {r.series: r for r in (*unanswered(shelf, state), *due)}
    fell_due = sorted(latest.values(), key=lambda r: (r.urgency.value, r.due_at))
    calls = tuple(call_of(reminder, now) for reminder in fell_due)
    reply = _standing(step, calls)
    if not fell_due and reply == replies.Resumed((), None, None, 0, (), 0):
        return Decision(step.talk, Outcome.IGNORED)
    said = [Say(reply, Priority.ALARM if _has_high(fell_due) else Priority.CALL)]
    if is_time_in_doubt:
        ahead = {r.series: r for r in reversed(waiting(shelf, state)) if r.due_at > now}
        first = sorted(ahead.values(), key=lambda r: (r.urgency.value, r.due_at))
        told = tuple(call_of(r, now) for r in first[:MOST_TOLD])
        doubt = replies.TimeInDoubt(told, len(first) - len(told))
        said.append(Say(doubt, Priority.ALARM))
    talk = replace(step.talk, last=said[-1].reply)
    if fell_due:
        talk = replace(talk, last_called=fell_due[0].key)
    events: tuple[Event, ...] = tuple(Announced(now, reminder.key) for reminder in due)
    return Decision(talk, Outcome.ACCEPTED, events, tuple(said))


def _has_high(found: list[Reminder]) -> bool:
    return any(reminder.urgency is Urgency.HIGH for reminder in found)


def _standing(step: Step, calls: tuple[Call, ...]) -> replies.Resumed:
    state, now = step.state, step.now
    cups = tuple(
        (batch.number, whole_minutes(batch.running_clock.ends_at - now))
        for batch in state.batches
        if batch.running_clock is not None and batch.running_clock.ends_at > now
    )
    batch = state.open_batch
    poured = None
    if batch is not None and batch.readings and batch.clock is None and batch.emptied_at is None:
        poured = replies.Balance(
            batch.number,
            batch.grams_of(Component.RESIN) or None,
            batch.grams_of(Component.HARDENER) or None,
            is_complete(step.setup.recipe, batch),
            minutes_left=None,
        )
    coat = state.last_coat
    return replies.Resumed(
        cups,
        poured,
        coat.number if coat is not None and coat.finished_at is not None else None,
        sum(timer.due_at > now for timer in state.timers),
        calls[:MOST_TOLD],
        max(0, len(calls) - MOST_TOLD),
    )


def replay_parts(parts: Sequence[Sequence[Event]]) -> tuple[State, int]:
    """The state from a record with gaps in it, as well as it can be known.

    A cup whose opening is lost stands in for itself, so that every number keeps its cup. A fact
    is only taken back where the fact itself is still there: after a gap, "the last fact" would
    else be another one.

    Args:
        parts: the events between the gaps, in their order.

    Returns:
        The state, and how many takings back had nothing to take back.
    """
    state = State()
    skipped = 0
    for number, part in enumerate(parts):
        facts = 0
        for event in part:
            if isinstance(event, TakenBack):
                if number > 0 and not facts:
                    skipped += 1
                    continue
                facts -= 1
            elif isinstance(event, Told):
                facts += 1
            state = evolve(with_cup(state, event), event)
    return state, skipped


def with_cup(state: State, event: Event) -> State:
    """The state with every cup that an event needs, as far as its opening is lost."""
    match event:
        case BatchOpened(batch=number):
            missing = number - 1
        case (
            TotalWanted(batch=number)
            | ReadingTaken(batch=number)
            | ScaleTared(batch=number)
            | ClockStarted(batch=number)
            | CupWarmed(batch=number)
            | CupEmptied(batch=number)
            | CupLeft(batch=number)
        ):
            missing = number
        case _:
            return state
    for number in range(len(state.batches) + 1, missing + 1):
        state = evolve(state, BatchOpened(event.at, number))
    return state
