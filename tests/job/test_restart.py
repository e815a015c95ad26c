"""After a restart: where things stand, and what fell due, worst first; and records with gaps."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest

from handsfree.core.mix import Component
from handsfree.job.boundary import Priority, Say
from handsfree.job.dialogue import Talk
from handsfree.job.events import (
    Acknowledged,
    Announced,
    BatchOpened,
    ClockStarted,
    ConditionTold,
    CupEmptied,
    Event,
    Measured,
    ReadingTaken,
    TakenBack,
    TimerSet,
)
from handsfree.job.restart import replay_parts, resume
from handsfree.job.state import State, replay
from handsfree.job.step import Decision, Outcome, Step
from handsfree.language import replies
from handsfree.language.wording import wording
from handsfree.shell.cards import load_card
from handsfree.shell.session import setup_of

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SETUP = setup_of(load_card("gate-coat"))


def resumed(events: list[Event], after: timedelta, *, is_time_in_doubt: bool = False) -> Decision:
    """What is said when the program starts a while after noon."""
    step = Step(SETUP, replay(events), Talk(), NOON + after)
    return resume(step, is_time_in_doubt=is_time_in_doubt)


def reading(batch: int, grams: int, at: datetime = NOON) -> ReadingTaken:
    """So much resin in a cup."""
    return ReadingTaken(
        at, batch, Component.RESIN, Fraction(grams), Fraction(grams), Fraction(0), True
    )


def mixed(batch: int, pot_life: timedelta) -> list[Event]:
    """A cup that was mixed at noon."""
    return [
        BatchOpened(NOON, batch),
        reading(batch, 700),
        ClockStarted(NOON, batch, NOON, Fraction(22), pot_life),
    ]


def words(decision: Decision) -> list[str]:
    """What is said."""
    return [wording(say.reply) for say in decision.said]


def test_nothing_is_said_where_nothing_was() -> None:
    assert resumed([], MINUTE) == Decision(Talk(), Outcome.IGNORED)


def test_what_fell_due_is_said_worst_first_with_how_late() -> None:
    events = [
        *mixed(1, 20 * MINUTE),
        *mixed(2, 60 * MINUTE),
        TimerSet(NOON, 1, NOON + 5 * MINUTE),
        TimerSet(NOON, 2, NOON + 90 * MINUTE),
    ]
    decision = resumed(events, 26 * MINUTE)
    assert words(decision) == [
        "I am back, cup two has thirty four minutes left, one timer runs. Meanwhile the pot life "
        "of cup one ended, six minutes ago; timer one was up, twenty one minutes ago."
    ]
    assert decision.effects == (Say(decision.said[0].reply, Priority.ALARM),)
    announced = {event.key for event in decision.events if isinstance(event, Announced)}
    assert announced == {f"cup 1 from {NOON.isoformat()}, {p}" for p in (50, 75, 90, 100)} | {
        "timer 1"
    }
    assert decision.talk.last_called == f"cup 1 from {NOON.isoformat()}, 100"


def test_more_than_three_are_counted() -> None:
    timers: list[Event] = [TimerSet(NOON, number, NOON + MINUTE) for number in range(1, 6)]
    (reply,) = (say.reply for say in resumed(timers, 10 * MINUTE).said)
    assert isinstance(reply, replies.Resumed)
    assert len(reply.fell_due) == 3
    assert reply.more == 2


def test_what_was_announced_before_and_not_answered_is_said_again() -> None:
    events: list[Event] = [TimerSet(NOON, 1, NOON + MINUTE), Announced(NOON + MINUTE, "timer 1")]
    decision = resumed(events, 3 * MINUTE)
    assert words(decision) == ["I am back. Meanwhile timer one was up, two minutes ago."]
    assert decision.events == ()
    answered = resumed([*events, Acknowledged(NOON + 2 * MINUTE, "timer 1")], 3 * MINUTE)
    assert answered.effects == ()


def test_a_cup_that_was_being_poured_is_named_and_an_emptied_one_is_not() -> None:
    events: list[Event] = [BatchOpened(NOON, 1), reading(1, 856)]
    assert words(resumed(events, MINUTE)) == [
        "I am back, cup one holds eight five six of resin. You missed nothing."
    ]
    assert resumed([*events, CupEmptied(NOON, 1)], MINUTE).effects == ()


def test_a_doubt_about_the_time_names_what_may_be_due() -> None:
    events: list[Event] = [*mixed(1, 60 * MINUTE), TimerSet(NOON, 1, NOON + 90 * MINUTE)]
    said = words(resumed(events, MINUTE, is_time_in_doubt=True))
    assert said[0].startswith("I am back, cup one has fifty nine minutes left")
    assert said[1] == (
        "I cannot know how long I was off, because the clock was lost. "
        "It may be time already, check the pot life of cup one, timer one."
    )


@pytest.mark.parametrize("after", [0, 1, 59])
def test_just_now_is_not_counted_in_minutes(after: int) -> None:
    due = NOON + 5 * MINUTE
    said = words(resumed([TimerSet(NOON, 1, due)], 5 * MINUTE + timedelta(seconds=after)))
    assert said == ["I am back. Meanwhile timer one was up, just now."]


# --- a record with gaps -------------------------------------------------------------------


def test_a_record_without_a_gap_is_replayed_as_it_is() -> None:
    events = [*mixed(1, 20 * MINUTE), reading(1, 800), TakenBack(NOON)]
    assert replay_parts([events]) == (replay(events), 0)
    assert replay_parts([]) == (State(), 0)


def test_a_cup_whose_opening_is_lost_keeps_its_number() -> None:
    state, skipped = replay_parts([[BatchOpened(NOON, 1), reading(1, 500)], [reading(3, 300)]])
    assert [batch.number for batch in state.batches] == [1, 2, 3]
    assert [batch.total_g for batch in state.batches] == [500, 0, 300]
    assert skipped == 0
    state, _ = replay_parts([[], [BatchOpened(NOON, 2), reading(2, 300)]])
    assert [batch.total_g for batch in state.batches] == [0, 300]


def test_a_fact_before_a_gap_is_not_taken_back_for_one_that_is_lost() -> None:
    before: list[Event] = [BatchOpened(NOON, 1), reading(1, 500)]
    state, skipped = replay_parts([before, [Announced(NOON, "timer 1"), TakenBack(NOON)]])
    assert state.batches[0].total_g == 500
    assert skipped == 1


def test_a_fact_after_a_gap_is_taken_back_once() -> None:
    before: list[Event] = [BatchOpened(NOON, 1), reading(1, 500)]
    after: list[Event] = [
        ConditionTold(NOON, Measured.AIR_C, Fraction(20)),
        TakenBack(NOON),
        TakenBack(NOON),
    ]
    state, skipped = replay_parts([before, after])
    assert state.conditions == ()
    assert state.batches[0].total_g == 500
    assert skipped == 1
