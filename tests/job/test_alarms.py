"""Alarms: called in time, again until answered, the urgent first, and not one too many."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from fractions import Fraction
from itertools import pairwise

import pytest

from handsfree.job.alarms import (
    FLOOD_WITHIN,
    MOST_IN_FLOOD,
    MOST_NAMED,
    Alarm,
    Memory,
    QuietHours,
    Utterance,
    alarms,
    next_utterance,
    reply_of,
)
from handsfree.job.boundary import TimePassed
from handsfree.job.events import (
    Acknowledged,
    Announced,
    BatchOpened,
    ClockStarted,
    Event,
    TimerSet,
)
from handsfree.job.reminders import Reminder, Urgency
from handsfree.job.shelf import Shelf
from handsfree.job.state import State, replay
from handsfree.language.replies import Call, Called, CallTogether
from handsfree.shell.cards import load_card
from handsfree.shell.session import Session, setup_of

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)
CARD = load_card("gate-coat")
SHELF = Shelf(CARD)
OF = {
    Urgency.HIGH: Called.TAPE_INSIST,
    Urgency.MEDIUM: Called.TIMER,
    Urgency.LOW: Called.HANDLE,
}


def alarm(
    urgency: Urgency,
    *,
    key: str = "one",
    due_at: datetime = NOON,
    ends_at: datetime | None = None,
    half_at: datetime | None = None,
) -> Alarm:
    """An alarm that was announced when it was due."""
    reminder = Reminder(key, OF[urgency], 1, due_at, key, 0, ends_at)
    return Alarm(reminder, due_at, half_at)


def calls(
    found: tuple[Alarm, ...], until: timedelta, *, is_quiet: bool = False
) -> list[tuple[float, Utterance]]:
    """Everything said from noon on, with its second, when asked twice a second."""
    memory = Memory()
    said = []
    for step in range(int(until / SECOND) * 2 + 1):
        now = NOON + step * SECOND / 2
        open_now = tuple(one for one in found if one.announced_at <= now)
        utterance, memory = next_utterance(open_now, memory, now, is_quiet=is_quiet)
        if utterance is not None:
            said.append((step / 2, utterance))
    return said


def seconds(said: list[tuple[float, Utterance]]) -> list[float]:
    """When something was said."""
    return [second for second, _ in said]


def test_high_repeats_every_twelve_seconds_and_after_two_minutes_every_thirty() -> None:
    times = seconds(calls((alarm(Urgency.HIGH, ends_at=NOON + HOUR),), 5 * MINUTE))
    assert times[:10] == [12.0 * number for number in range(10)]
    assert times[10:13] == [120.0, 150.0, 180.0]
    assert times[-1] == 300.0


def test_high_is_missed_once_its_window_has_closed() -> None:
    said = calls((alarm(Urgency.HIGH, ends_at=NOON + 4 * MINUTE),), 40 * MINUTE)
    closed = [(second, one) for second, one in said if second >= 240]
    assert not any(one.is_missed for second, one in said if second < 240)
    assert all(one.is_missed for _, one in closed)
    gaps = [later - before for (before, _), (later, _) in pairwise(closed)]
    assert set(gaps) == {60.0, 300.0}
    assert gaps == sorted(gaps)


def test_an_alarm_without_a_window_does_not_stop_by_itself() -> None:
    times = seconds(calls((alarm(Urgency.HIGH),), 3 * HOUR))
    assert max(b - a for a, b in pairwise(times)) <= 300
    assert times[-1] >= 3 * 3600 - 300


def test_medium_repeats_every_thirty_seconds_and_after_two_minutes_every_two_minutes() -> None:
    times = seconds(calls((alarm(Urgency.MEDIUM),), 8 * MINUTE))
    assert times == [0.0, 30.0, 60.0, 90.0, 120.0, 240.0, 360.0, 480.0]


def test_low_is_said_twice() -> None:
    assert seconds(calls((alarm(Urgency.LOW),), HOUR)) == [0.0, 60.0]


@pytest.mark.parametrize(
    ("window", "left"),
    [
        pytest.param(20 * HOUR, HOUR, id="at most an hour"),
        pytest.param(100 * MINUTE, 20 * MINUTE, id="a fifth"),
        pytest.param(15 * MINUTE, 5 * MINUTE, id="at least five minutes"),
    ],
)
def test_medium_becomes_high_when_its_window_closes(window: timedelta, left: timedelta) -> None:
    one = alarm(Urgency.MEDIUM, ends_at=NOON + window)
    before, after = NOON + window - left - SECOND, NOON + window - left
    memory = Memory()
    utterance, memory = next_utterance((one,), memory, before)
    assert utterance is not None
    assert utterance.urgency is Urgency.MEDIUM
    utterance, _ = next_utterance((one,), memory, after + 12 * SECOND)
    assert utterance is not None
    assert utterance.urgency is Urgency.HIGH


def test_alarms_of_one_moment_are_one_announcement() -> None:
    found = tuple(
        alarm(urgency, key=f"{urgency.name} {number}")
        for urgency in (Urgency.LOW, Urgency.MEDIUM, Urgency.HIGH)
        for number in range(2)
    )
    utterance, _ = next_utterance(found, Memory(), NOON)
    assert utterance is not None
    assert utterance.urgency is Urgency.HIGH
    assert [one.urgency for one in utterance.named] == [Urgency.HIGH, Urgency.HIGH, Urgency.MEDIUM]
    assert utterance.more == 3


def test_those_that_were_only_counted_are_named_next() -> None:
    found = tuple(alarm(Urgency.HIGH, key=str(number)) for number in range(7))
    named = [one.key for _, said in calls(found, 11 * SECOND) for one in said.named]
    assert sorted(set(named)) == [str(number) for number in range(7)]


def test_a_high_alarm_does_not_wait_for_anything() -> None:
    medium, high = alarm(Urgency.MEDIUM), alarm(Urgency.HIGH, key="two", due_at=NOON + SECOND)
    assert seconds(calls((medium, high), 2 * SECOND)) == [0.0, 1.0]


def test_what_is_said_again_does_not_pile_up_on_what_is_being_said() -> None:
    high = alarm(Urgency.HIGH)
    _, memory = next_utterance((high,), Memory(), NOON)
    later = NOON + MINUTE
    assert next_utterance((high,), memory, later, is_speaking=True)[0] is None
    new_medium = alarm(Urgency.MEDIUM, key="two")
    assert next_utterance((new_medium,), memory, later, is_speaking=True)[0] is None
    new_high = alarm(Urgency.HIGH, key="three")
    assert next_utterance((high, new_high), memory, later, is_speaking=True)[0] is not None


def test_a_fallen_noise_calls_what_was_not_answered() -> None:
    for urgency, is_called in (
        (Urgency.HIGH, True),
        (Urgency.MEDIUM, True),
        (Urgency.LOW, False),
    ):
        _, memory = next_utterance((alarm(urgency),), Memory(), NOON)
        later = NOON + 6 * SECOND
        assert next_utterance((alarm(urgency),), memory, later)[0] is None
        found, _ = next_utterance((alarm(urgency),), memory, later, has_noise_fallen=True)
        assert (found is not None) is is_called


def test_quiet_hours_let_only_what_would_spoil_the_work_through() -> None:
    found = (alarm(Urgency.MEDIUM), alarm(Urgency.LOW, key="two"))
    assert calls(found, 10 * MINUTE, is_quiet=True) == []
    with_high = (*found, alarm(Urgency.HIGH, key="three"))
    said = calls(with_high, MINUTE, is_quiet=True)
    assert {one.key for _, utterance in said for one in utterance.named} == {"three"}
    # Afterwards they are called, late but not lost.
    assert calls(found, SECOND)[0][1].named == tuple(one.reminder for one in found)


@pytest.mark.parametrize(
    ("start", "end", "inside", "outside"),
    [
        (time(22), time(6, 30), [time(22), time(0), time(6, 29)], [time(6, 30), time(21, 59)]),
        (time(12), time(14), [time(12), time(13, 59)], [time(14), time(11, 59), time(0)]),
    ],
)
def test_quiet_hours_may_span_midnight(
    start: time, end: time, inside: list[time], outside: list[time]
) -> None:
    quiet = QuietHours(start, end)
    assert all(quiet.has(datetime.combine(NOON, at)) for at in inside)
    assert not any(quiet.has(datetime.combine(NOON, at)) for at in outside)


def test_an_answered_alarm_is_said_once_more_half_way_to_its_end() -> None:
    half = alarm(Urgency.MEDIUM, ends_at=NOON + HOUR, half_at=NOON + HOUR / 2)
    assert seconds(calls((half,), HOUR)) == [1800.0]


# --- from the state -----------------------------------------------------------------------


def cup(*events: Event) -> State:
    """A cup mixed at noon with forty minutes of pot life, and what happened then."""
    start = (
        BatchOpened(NOON, 1),
        ClockStarted(NOON, 1, NOON, Fraction(22), 40 * MINUTE),
    )
    return replay((*start, *events))


def key_at(percent: int) -> str:
    """The reminder of a share of the cup's pot life."""
    return f"cup 1 from {NOON.isoformat()}, {percent}"


def test_nothing_is_an_alarm_before_it_was_announced() -> None:
    assert alarms(SHELF, cup()) == ()


def test_a_later_alarm_of_a_series_takes_the_place_of_the_earlier() -> None:
    state = cup(
        Announced(NOON + 20 * MINUTE, key_at(50)), Announced(NOON + 30 * MINUTE, key_at(75))
    )
    (found,) = alarms(SHELF, state)
    assert found.reminder.percent == 75


def test_an_answer_is_of_one_alarm_only() -> None:
    timers = [TimerSet(NOON, number, NOON + MINUTE) for number in (1, 2)]
    announced = [Announced(NOON + MINUTE, f"timer {number}") for number in (1, 2)]
    state = replay([*timers, *announced, Acknowledged(NOON + 2 * MINUTE, "timer 1")])
    assert [found.reminder.key for found in alarms(SHELF, state)] == ["timer 2"]


def test_an_answer_is_not_the_deed() -> None:
    # Nine tenths announced at 36 minutes and answered; the end at 40 is the next of its series.
    state = cup(
        Announced(NOON + 36 * MINUTE, key_at(90)), Acknowledged(NOON + 36 * MINUTE, key_at(90))
    )
    (found,) = alarms(SHELF, state)
    assert found.half_at == NOON + 38 * MINUTE


def test_half_way_is_left_to_the_next_of_the_series() -> None:
    # Half announced at 20 and answered: three quarters come at 30, and half of the rest too.
    state = cup(
        Announced(NOON + 20 * MINUTE, key_at(50)), Acknowledged(NOON + 20 * MINUTE, key_at(50))
    )
    assert alarms(SHELF, state) == ()


def test_an_alarm_that_is_announced_again_starts_anew() -> None:
    one = alarm(Urgency.MEDIUM)
    _, memory = next_utterance((one,), Memory(), NOON)
    again = replace(one, announced_at=NOON + HOUR)
    times = []
    for step in range(61):
        now = NOON + HOUR + step * SECOND
        utterance, memory = next_utterance((again,), memory, now)
        times += [step] if utterance is not None else []
    assert times == [0, 30, 60]


def test_one_alarm_is_its_own_words_and_several_are_one_reply() -> None:
    one = alarm(Urgency.MEDIUM)
    utterance = Utterance(Urgency.MEDIUM, (one.reminder,), 0, False)
    call = Call(Called.TIMER, 1, 0, None, 0)
    assert reply_of(utterance, NOON) == call
    assert reply_of(replace(utterance, more=2), NOON) == CallTogether((call,), 2, False)
    assert reply_of(replace(utterance, is_missed=True), NOON) == CallTogether((call,), 0, True)


# --- many schedules -----------------------------------------------------------------------


@dataclass
class Tally:
    """What came of the schedules."""

    timers: int = 0
    called_late: int = 0
    utterances: int = 0


def schedule(pick: random.Random) -> Iterator[Event]:
    """Up to fifty timers and warnings of cups within twenty minutes."""
    for number in range(1, pick.randrange(1, 31) + 1):
        due_at = NOON + pick.randrange(10, 1200) * SECOND
        yield TimerSet(NOON, number, due_at)
    for number in range(1, pick.randrange(0, 6) + 1):
        yield BatchOpened(NOON, number)
        met_at = NOON - pick.randrange(0, 300) * SECOND
        yield ClockStarted(NOON, number, met_at, Fraction(22), pick.randrange(6, 21) * MINUTE)


def check_schedule(pick: random.Random, tally: Tally) -> None:
    """One schedule: none early, none lost, none after its answer, and no flood below HIGH."""
    session = Session(setup_of(CARD), state=replay(schedule(pick)))
    memory = Memory()
    minor_at: list[datetime] = []
    named: set[str] = set()
    answered: set[str] = set()
    now = NOON
    found = alarms(SHELF, session.state)
    while now < NOON + 30 * MINUTE:
        deadline = session.next_deadline()
        if deadline is not None and deadline <= now:
            session.step(TimePassed(), now)
            found = alarms(SHELF, session.state)
        before = memory
        utterance, memory = next_utterance(found, memory, now)
        fresh_high = [
            one
            for one in found
            if one.reminder.urgency is Urgency.HIGH
            and one.half_at is None
            and one.reminder.key not in before.times
        ]
        if fresh_high:
            # The tone sounds at once, whatever was said before.
            assert utterance is not None
            assert utterance.urgency is Urgency.HIGH
        if utterance is not None:
            tally.utterances += 1
            for one in utterance.named:
                assert one.due_at <= now
                assert one.key not in answered or one.ends_at is not None
                if one.key not in named:
                    late = now - one.due_at > SECOND
                    tally.called_late += late and one.urgency is not Urgency.HIGH
                named.add(one.key)
            if utterance.urgency is not Urgency.HIGH:
                minor_at = [at for at in minor_at if now - at < FLOOD_WITHIN] + [now]
                assert len(minor_at) <= MOST_IN_FLOOD
            assert len(utterance.named) <= MOST_NAMED
            if pick.random() < 0.5:
                key = utterance.named[0].key
                session.state = replay([Acknowledged(now, key)], session.state)
                found = alarms(SHELF, session.state)
                answered.add(key)
        now += SECOND
    timers = {f"timer {timer.number}" for timer in session.state.timers}
    tally.timers += len(timers)
    # What waits for the flood to pass is still an alarm.
    waiting = {one.reminder.key for one in alarms(SHELF, session.state)}
    assert timers <= named | waiting
    assert timers <= set(session.state.announced)


def test_random_schedules_are_called_in_time() -> None:
    pick = random.Random(5)
    tally = Tally()
    for _ in range(2):
        check_schedule(pick, tally)
    assert tally.utterances > 20


@pytest.mark.slow
def test_ten_thousand_random_schedules_are_called_in_time() -> None:
    pick = random.Random(6)
    tally = Tally()
    for _ in range(10_000):
        check_schedule(pick, tally)
    print(tally)
