"""Between the sentences: the wall clock, the zone, the heartbeat and the machine's sleep."""

from collections.abc import Sequence
from datetime import timedelta

import pytest

from handsfree.job.boundary import Effect, Heard, Say, TimePassed
from handsfree.job.events import Event
from handsfree.language import replies
from handsfree.language.replies import Reply
from handsfree.shell.cards import load_card
from handsfree.shell.clock import Clock, Stamp
from handsfree.shell.journal_entries import NotSaved
from handsfree.shell.session import Keeping, Session, setup_of
from handsfree.shell.watch import Watch
from tests.shell.fake_time import FakeTime

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


class Lock:
    """A lock on sleep that can be had or not."""

    def __init__(self, *, is_there: bool = True) -> None:
        self.is_there = is_there
        self.is_held = False

    def hold(self) -> bool:
        self.is_held = self.is_there
        return self.is_there

    def release(self) -> None:
        self.is_held = False


class Notes:
    """A record in memory, that can be full."""

    def __init__(self) -> None:
        self.trouble: str | None = None
        self.entries: list[tuple[Sequence[Event], Stamp]] = []
        self.is_full = False

    def append(self, events: Sequence[Event], stamp: Stamp) -> None:
        if self.is_full:
            self.trouble = "full"
            raise NotSaved(self.trouble)
        self.trouble = None
        self.entries.append((events, stamp))


class Bench:
    """A session, its clocks, its record and its watch."""

    def __init__(self, lock: Lock) -> None:
        self.source = FakeTime()
        self.clock = Clock(self.source)
        self.notes = Notes()
        keeping = Keeping(self.notes, self.clock.stamp)
        self.session = Session(setup_of(load_card("gate-coat")), keeping=keeping)
        self.watch = Watch(self.session, self.clock, lock)

    def say(self, words: str) -> None:
        self.session.step(Heard(tuple(words.split())), self.clock.now())

    def look(self) -> list[Reply]:
        return replies_of(self.watch.look(self.clock.now()))

    def beats(self) -> int:
        return sum(not events for events, _ in self.notes.entries)


def replies_of(effects: tuple[Effect, ...]) -> list[Reply]:
    """What is said."""
    return [effect.reply for effect in effects if isinstance(effect, Say)]


def test_where_nothing_runs_nothing_is_recorded_and_the_machine_may_sleep() -> None:
    lock = Lock()
    bench = Bench(lock)
    for _ in range(10):
        bench.source.advance(HOUR)
        assert bench.look() == []
    assert bench.notes.entries == []
    assert not lock.is_held


def test_while_something_runs_the_machine_stays_awake() -> None:
    lock = Lock()
    bench = Bench(lock)
    bench.say("timer ten minutes")
    assert bench.look() == []
    assert lock.is_held
    bench.say("scratch that")
    assert bench.look() == []
    assert not lock.is_held


def test_an_open_question_is_nothing_that_runs_and_an_unanswered_call_is() -> None:
    lock = Lock()
    bench = Bench(lock)
    bench.say("resin eight five six grams")
    bench.look()
    assert not lock.is_held
    bench.say("timer one minute")
    bench.source.advance(MINUTE)
    bench.session.step(TimePassed(), bench.clock.now())
    bench.look()
    assert lock.is_held
    bench.say("got it")
    bench.look()
    assert not lock.is_held


def test_a_lock_that_cannot_be_had_is_said_once() -> None:
    bench = Bench(Lock(is_there=False))
    bench.say("timer ten minutes")
    assert bench.look() == [replies.MaySleep()]
    assert bench.look() == []


@pytest.mark.parametrize(
    ("words", "every"),
    [("timer one hour", MINUTE), ("timer twenty hours", 10 * MINUTE)],
)
def test_a_heartbeat_is_recorded_the_more_often_the_nearer_the_deadline(
    words: str, every: timedelta
) -> None:
    bench = Bench(Lock())
    bench.say(words)
    bench.look()
    assert bench.beats() == 1
    bench.source.advance(every - timedelta(seconds=1))
    bench.look()
    assert bench.beats() == 1
    bench.source.advance(timedelta(seconds=1))
    bench.look()
    assert bench.beats() == 2


@pytest.mark.parametrize(
    ("step", "said"),
    [
        (timedelta(seconds=4), []),
        (timedelta(seconds=40), []),
        (-75 * MINUTE, [replies.WallClockSet(75, False)]),
        (2 * HOUR, [replies.WallClockSet(120, True)]),
    ],
)
def test_a_set_wall_clock_is_recorded_and_said_when_it_is_worth_it(
    step: timedelta, said: list[Reply]
) -> None:
    bench = Bench(Lock())
    bench.source.set_wall(step)
    assert bench.look() == said
    assert bench.beats() == (abs(step) > timedelta(seconds=5))
    assert bench.look() == []


def test_a_new_zone_is_recorded_and_said() -> None:
    bench = Bench(Lock())
    bench.source.zone_name = "Asia/Tokyo"
    assert bench.look() == [replies.ZoneChanged()]
    assert bench.notes.entries[-1][1].zone == "Asia/Tokyo"


def test_a_heartbeat_that_cannot_be_saved_is_an_alarm() -> None:
    bench = Bench(Lock())
    bench.say("timer one hour")
    bench.look()
    bench.notes.is_full = True
    bench.source.advance(MINUTE)
    assert bench.look() == [replies.NotSaved()]
    bench.notes.is_full = False
    bench.source.advance(MINUTE)
    assert bench.look() == [replies.SavedAgain()]
