"""A job through sleep, clock steps, kills, reboots and disk faults: nothing lost, nothing early."""

import errno
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from handsfree.job.boundary import Heard, Say, TimePassed
from handsfree.job.events import Announced, TimerSet
from handsfree.language import replies
from handsfree.language.times import say_minutes
from handsfree.shell.cards import load_card
from handsfree.shell.clock import Clock, Stamp
from handsfree.shell.job_folder import ProductDiffers, Reopened, reopen
from handsfree.shell.journal import JOURNAL_NAME, Journal
from handsfree.shell.session import setup_of
from handsfree.shell.watch import Watch
from tests.shell.fake_time import FakeTime
from tests.shell.journal_faults import FaultyFiles

SETUP = setup_of(load_card("gate-coat"))
DEAD_BATTERY = datetime(1970, 1, 1, tzinfo=UTC)


class NoLock:
    """A machine that never sleeps."""

    def hold(self) -> bool:
        return True

    def release(self) -> None:
        """Nothing is held."""


class ForgetfulFiles(FaultyFiles):
    """A disk that keeps, over a power cut, only what was synced; and that can be full."""

    def __init__(self) -> None:
        """Has room."""
        super().__init__()
        self.is_full = False
        self.synced: dict[int, int] = {}

    def write(self, descriptor: int, data: bytes) -> int:
        if self.is_full:
            return super().write(descriptor, data[: len(data) // 3])
        return super().write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Returns at once: what was synced is known by its length."""
        self.synced[descriptor] = len(self.read(descriptor))

    def sync_folder(self, path: Path) -> None:
        """Returns at once."""


def open_job(folder: Path, source: FakeTime, files: FaultyFiles | None = None) -> Reopened[Clock]:
    """The job as a new start finds it."""

    def clock_after(last: Stamp | None) -> Clock:
        return Clock(source, last)

    journal = Journal(folder, files or ForgetfulFiles())
    job = reopen(journal, SETUP, clock_after)
    JOURNALS.append(journal)
    return job


JOURNALS: list[Journal] = []


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    close_all()


def close_all() -> None:
    """Ends the programs that are still running, as a kill does."""
    for journal in JOURNALS:
        journal.close()
    JOURNALS.clear()


def timer_words(minutes: int) -> tuple[str, ...]:
    """The order of a timer."""
    return ("timer", *say_minutes(minutes).split())


def said_of(job: Reopened[Clock]) -> list[replies.Reply]:
    """What is said first after a start."""
    return [effect.reply for effect in job.effects if isinstance(effect, Say)]


class Bench(RuleBasedStateMachine):
    """A bench with timers, and everything that can happen to its machine."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="handsfree-test-"))
        self.source = FakeTime()
        self.files = ForgetfulFiles()
        self.due_at: dict[int, datetime] = {}  # True moments, of timers that were said to be set.
        self.unsaved: set[int] = set()
        self.was_doubted = False

    @initialize()
    def start(self) -> None:
        self.job = open_job(self.folder, self.source, self.files)
        self.watch = Watch(self.job.session, self.job.clock, NoLock())

    def teardown(self) -> None:
        close_all()
        shutil.rmtree(self.folder)

    def poll(self) -> None:
        now = self.job.clock.now()
        self.watch.look(now)
        before = set(self.job.session.state.announced)
        self.job.session.step(TimePassed(), now)
        for key in set(self.job.session.state.announced) - before:
            self.check_not_early(key)

    def check_not_early(self, key: str) -> None:
        number = int(key.split()[1])
        if number in self.due_at:
            assert self.source.true_at >= self.due_at[number], "called early"

    @rule(minutes=st.integers(1, 60))
    def set_timer(self, minutes: int) -> None:
        self.job.session.step(Heard(("wake", "up")), self.job.clock.now())
        decision = self.job.session.step(Heard(timer_words(minutes)), self.job.clock.now())
        (event,) = decision.events
        assert isinstance(event, TimerSet)
        self.due_at[event.timer] = self.source.true_at + timedelta(minutes=minutes)
        says = [say.reply for say in decision.said]
        if replies.NotSaved() in says:
            assert self.files.is_full
            self.unsaved.add(event.timer)
        else:
            # What the disk refused before went with it.
            self.unsaved.clear()

    @rule(seconds=st.integers(1, 4000))
    def time_passes(self, seconds: int) -> None:
        self.source.advance(timedelta(seconds=seconds))
        self.poll()

    # A step that a full disk keeps out of the record cannot be known after a power cut: three
    # faults at once, and nothing on the machine remembers the first.
    @precondition(lambda self: not self.files.is_full)
    @rule(hours=st.integers(-24, 24))
    def wall_clock_is_set(self, hours: int) -> None:
        self.source.set_wall(timedelta(hours=hours))
        self.poll()

    @rule(name=st.sampled_from(["Asia/Tokyo", "America/New_York", "Europe/Berlin"]))
    def zone_changes(self, name: str) -> None:
        self.source.zone_name = name
        self.poll()

    @rule()
    def somebody_answers(self) -> None:
        before = set(self.job.session.state.acknowledged)
        self.job.session.step(Heard(("got", "it")), self.job.clock.now())
        after = set(self.job.session.state.acknowledged)
        assert len(after - before) <= 1, "an answer is of one alarm"

    @rule()
    def disk_fills(self) -> None:
        self.files.is_full = True

    @rule()
    def disk_has_room(self) -> None:
        self.files.is_full = False
        self.poll()

    @rule(seconds=st.integers(0, 4000))
    def program_is_killed(self, seconds: int) -> None:
        self.source.advance(timedelta(seconds=seconds))
        self.restart()

    @rule(seconds=st.integers(0, 4000))
    def power_is_cut(self, seconds: int) -> None:
        self.lose_unsynced()
        self.source.reboot(timedelta(seconds=seconds))
        self.restart()

    @rule(seconds=st.integers(0, 4000))
    def power_is_cut_and_the_battery_is_dead(self, seconds: int) -> None:
        self.lose_unsynced()
        self.source.reboot(timedelta(seconds=seconds), wall_at=DEAD_BATTERY)
        self.was_doubted = True
        self.restart()
        assert self.job.clock.doubt is not None
        said = said_of(self.job)
        assert replies.WallClockWrong() in said
        if self.job.session.next_deadline() is not None:
            assert any(isinstance(reply, replies.TimeInDoubt) for reply in said)

    def lose_unsynced(self) -> None:
        path = self.folder / JOURNAL_NAME
        kept = max(self.files.synced.values(), default=0)
        data = path.read_bytes()
        # Half of what was not synced reached the disk.
        path.write_bytes(data[: kept + (len(data) - kept) // 2])

    def restart(self) -> None:
        close_all()
        self.files = ForgetfulFiles()
        for number in self.unsaved:
            del self.due_at[number]
        self.unsaved.clear()
        before = self.source.true_at
        self.job = open_job(self.folder, self.source, self.files)
        assert self.source.true_at == before
        self.watch = Watch(self.job.session, self.job.clock, NoLock())
        for key in self.job.session.state.announced:
            self.check_not_early(key)
        self.poll()

    @invariant()
    def nothing_is_lost(self) -> None:
        if not hasattr(self, "job"):
            return
        timers = {timer.number for timer in self.job.session.state.timers}
        assert set(self.due_at) <= timers

    @precondition(lambda self: not self.was_doubted)
    @invariant()
    def everything_due_was_called(self) -> None:
        if not hasattr(self, "job"):
            return
        self.poll()
        for number, due_at in self.due_at.items():
            if due_at <= self.source.true_at:
                assert f"timer {number}" in self.job.session.state.announced

    @invariant()
    def nothing_was_called_twice(self) -> None:
        if not hasattr(self, "job"):
            return
        keys = [e.key for e in self.job.session.state.log if isinstance(e, Announced)]
        assert len(keys) == len(set(keys))


Bench.TestCase.settings = settings(max_examples=40, stateful_step_count=30)
TestBench = Bench.TestCase


@pytest.mark.slow
class TestBenchLong(Bench.TestCase):  # type: ignore[misc,valid-type]
    """The same for a long time."""

    settings = settings(max_examples=10_000, stateful_step_count=50)


# --- what is said after a start -----------------------------------------------------------


def test_after_a_kill_it_says_where_things_stand_and_what_fell_due(tmp_path: Path) -> None:
    source = FakeTime()
    job = open_job(tmp_path, source)
    assert said_of(job) == []
    for minutes in (5, 60):
        job.session.step(Heard(timer_words(minutes)), job.clock.now())
    close_all()
    source.advance(timedelta(minutes=17))
    again = open_job(tmp_path, source)
    due = replies.Call(replies.Called.TIMER, 1, 0, None, 12)
    assert said_of(again) == [replies.Resumed((), None, None, 1, (due,), 0)]
    # It is told once; it stays unanswered.
    assert again.session.step(TimePassed(), again.clock.now()).events == ()
    answer = again.session.step(Heard(("got", "it")), again.clock.now()).said
    assert answer[0].reply == replies.AcknowledgedReply(replies.Called.TIMER)


def test_a_battery_change_is_a_doubt_about_everything_that_runs(tmp_path: Path) -> None:
    source = FakeTime()
    job = open_job(tmp_path, source)
    job.session.step(Heard(timer_words(60)), job.clock.now())
    close_all()
    source.reboot(timedelta(minutes=5), wall_at=DEAD_BATTERY)
    again = open_job(tmp_path, source)
    running = replies.Call(replies.Called.TIMER, 1, 0, None, 0)
    assert replies.TimeInDoubt((running,), 0) in said_of(again)
    assert replies.WallClockWrong() in said_of(again)
    # And it is called at the latest moment that it can be due, too.
    deadline = again.session.next_deadline()
    assert deadline is not None
    assert deadline - again.clock.now() == timedelta(minutes=60, seconds=-30)


def test_a_full_disk_is_an_alarm_and_the_timers_go_on(tmp_path: Path) -> None:
    source = FakeTime()
    files = ForgetfulFiles()
    job = open_job(tmp_path, source, files)
    files.is_full = True
    said = job.session.step(Heard(timer_words(5)), job.clock.now()).said
    assert said[0].reply == replies.NotSaved()
    assert job.session.next_deadline() == job.clock.now() + timedelta(minutes=5)
    files.is_full = False
    said = job.session.step(Heard(timer_words(6)), job.clock.now()).said
    assert said[0].reply == replies.SavedAgain()
    close_all()
    assert len(open_job(tmp_path, source).session.state.timers) == 2


def test_a_folder_that_takes_nothing_is_told_at_the_start(tmp_path: Path) -> None:
    job = open_job(tmp_path, FakeTime(), FaultyFiles(2, errno.EROFS))
    assert said_of(job) == [replies.NotSaved()]


def test_damage_and_a_cut_are_told_at_the_start(tmp_path: Path) -> None:
    source = FakeTime()
    job = open_job(tmp_path, source)
    for minutes in (5, 6, 7):
        job.session.step(Heard(timer_words(minutes)), job.clock.now())
    close_all()
    path = tmp_path / JOURNAL_NAME
    data = path.read_bytes()
    path.write_bytes(data + b"torn")
    assert replies.RecordCutOff() in said_of(open_job(tmp_path, source))
    close_all()
    lines = data.splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:2], lines[2][:20] + b"\n", *lines[3:]]))
    damaged = open_job(tmp_path, source)
    assert said_of(damaged)[0] == replies.RecordDamaged(1)
    assert [timer.number for timer in damaged.session.state.timers] == [1, 3]


def test_a_job_with_another_product_is_not_gone_on_with(tmp_path: Path) -> None:
    source = FakeTime()
    job = open_job(tmp_path, source)
    job.session.step(Heard(timer_words(5)), job.clock.now())
    close_all()
    other = replace(SETUP, card=load_card("floor-seal"))
    with pytest.raises(ProductDiffers, match="Gate Coat, not Floor Seal"):
        reopen(Journal(tmp_path), other, lambda last: Clock(source, last))
    assert len(open_job(tmp_path, source).session.state.timers) == 1
