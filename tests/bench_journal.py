"""How fast and how small the record and the alarms are; prints a table.

Usage: python -m tests.bench_journal
"""

import resource
import statistics
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

from handsfree.core.mix import Component
from handsfree.job.boundary import Heard, TimePassed
from handsfree.job.events import (
    Acknowledged,
    Announced,
    BatchOpened,
    ClockStarted,
    CupEmptied,
    Event,
    ReadingTaken,
    TimerSet,
)
from handsfree.job.state import replay
from handsfree.language.numbers import DIGIT_WORDS
from handsfree.shell.cards import load_card
from handsfree.shell.clock import Clock
from handsfree.shell.files import Files
from handsfree.shell.job_folder import reopen
from handsfree.shell.journal import JOURNAL_NAME, Journal
from handsfree.shell.live import Caller
from handsfree.shell.session import Keeping, Session, setup_of
from handsfree.shell.watch import Watch
from tests.shell.fake_time import START, FakeTime
from tests.shell.journal_faults import UnsyncedFiles

SETUP = setup_of(load_card("gate-coat"))
APPENDS = 500
EVENTS = 10_000
TIMERS = 1_000
DAYS = 30
CUPS_A_DAY = 20
POLLS_A_SECOND = 2


class NoLock:
    """A machine that never sleeps."""

    def hold(self) -> bool:
        """Always."""
        return True

    def release(self) -> None:
        """Nothing is held."""


def cup(number: int) -> Iterator[Event]:
    """The events of one cup, from its opening to its emptying."""
    at = START + timedelta(minutes=number)
    yield BatchOpened(at, number)
    for grams in range(100, 900, 100):
        value = Fraction(grams)
        yield ReadingTaken(at, number, Component.RESIN, value, value, Fraction(0), True)
    yield ClockStarted(at, number, at, Fraction(22), timedelta(minutes=23))
    key = f"cup {number} from {at.isoformat()}, 50"
    yield Announced(at, key)
    yield Acknowledged(at, key)
    yield CupEmptied(at, number)


def appends(folder: Path) -> str:
    """From a decision to its event on the disk."""
    clock = Clock()
    journal = Journal(folder, Files())
    journal.open()
    times_s = []
    for number in range(APPENDS):
        start_s = time.perf_counter()
        now = clock.now()
        journal.append((BatchOpened(now, number),), clock.stamp(now))
        times_s.append(time.perf_counter() - start_s)
    journal.close()
    times_s.sort()
    median, slow = statistics.median(times_s), times_s[int(0.99 * APPENDS)]
    return f"median {median * 1000:.1f} ms, 99 in 100 within {slow * 1000:.1f} ms"


def readback(folder: Path) -> str:
    """From the words of a reading to what is answered, with and without a record on a disk."""
    took_s: dict[bool, list[float]] = {False: [], True: []}
    for is_kept, times_s in took_s.items():
        keeping = None
        if is_kept:
            clock, journal = Clock(), Journal(folder, Files())
            journal.open()
            keeping = Keeping(journal, clock.stamp)
        session = Session(SETUP, keeping=keeping)
        for number in range(APPENDS):
            grams = " ".join(DIGIT_WORDS[int(digit)] for digit in str(100 + number))
            for words in ("new cup", f"resin {grams} grams", "yes"):
                start_s = time.perf_counter()
                session.step(Heard(tuple(words.split())), START + timedelta(minutes=number))
            times_s.append(time.perf_counter() - start_s)  # Of the yes, which is recorded.
    without, kept = (sorted(times)[int(0.99 * APPENDS)] for times in took_s.values())
    return f"99 in 100 within {kept * 1000:.1f} ms, without a record {without * 1000:.1f} ms"


def restart(folder: Path) -> str:
    """A start with a long journal."""
    source = FakeTime()
    clock = Clock(source)
    journal = Journal(folder, UnsyncedFiles())
    journal.open()
    journal.begin(clock.stamp(START), SETUP.card.name)
    count = number = 0
    while count < EVENTS:
        number += 1
        for event in cup(number):
            journal.append((event,), clock.stamp(START))
            count += 1
    journal.close()
    size = (folder / JOURNAL_NAME).stat().st_size
    took_s = _reopened_in_s(folder, source)
    return f"{took_s:.2f} s of processor time for {count} events in {size / 1e6:.1f} MB"


def _reopened_in_s(folder: Path, source: FakeTime) -> float:
    start_s = time.process_time()
    journal = Journal(folder, UnsyncedFiles())
    reopen(journal, SETUP, lambda last: Clock(source, last))
    took_s = time.process_time() - start_s
    journal.close()
    return took_s


def many_timers() -> None:
    """The share of a core that the live loop's look at the clock takes."""
    due_at = START + timedelta(hours=5)
    state = replay(TimerSet(START, number, due_at) for number in range(1, TIMERS + 1))
    for what in ("waiting", "unanswered"):
        session = Session(SETUP, state=state)
        source = FakeTime()
        caller, watch = Caller(session, None), Watch(session, Clock(source), NoLock())
        if what == "unanswered":
            source.advance(timedelta(hours=5))
            session.step(TimePassed(), source.true_at)
        polls = 400
        start_s = time.process_time()
        for _ in range(polls):
            source.advance(timedelta(seconds=1) / POLLS_A_SECOND)
            session.next_deadline()
            watch.look(source.true_at)
            caller.due(source.true_at)
        share = (time.process_time() - start_s) / polls * POLLS_A_SECOND
        print(f"| {TIMERS} timers, all {what} | {share * 100:.2f} % of a core |")


def thirty_days(folder: Path) -> str:
    """The memory of a long job with cups, timers, answers and heartbeats."""
    source = FakeTime()
    clock = Clock(source)
    journal = Journal(folder, UnsyncedFiles())
    journal.open()
    session = Session(SETUP, keeping=Keeping(journal, clock.stamp))
    caller, watch = Caller(session, None), Watch(session, clock, NoLock())
    sizes_mb = []
    for _ in range(DAYS):
        for _ in range(CUPS_A_DAY):
            for words in ("new cup", "resin eight five six grams", "yes", "timer one hour"):
                session.step(Heard(tuple(words.split())), clock.now())
            for _ in range(72):
                source.advance(timedelta(minutes=1))
                deadline = session.next_deadline()
                if deadline is not None and deadline <= clock.now():
                    session.step(TimePassed(), clock.now())
                watch.look(clock.now())
                caller.due(clock.now())
            session.step(Heard(("got", "it")), clock.now())
        # The present size, where the system tells it; the largest so far elsewhere.
        sizes_mb.append(_resident_mb())
    journal.close()
    size = (folder / JOURNAL_NAME).stat().st_size
    return (
        f"{sizes_mb[0]:.0f} MB after one day, {sizes_mb[DAYS // 2]:.0f} after {DAYS // 2}, "
        f"{sizes_mb[-1]:.0f} after {DAYS}; journal {size / 1e6:.1f} MB, "
        f"{len(session.state.log)} events, restart {_reopened_in_s(folder, source):.2f} s"
    )


def _resident_mb() -> float:
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    """Measures and prints."""
    print("| what | result |\n|---|---|")
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        print(f"| event to disk | {appends(Path(folder))} |")
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        print(f"| a yes to its answer | {readback(Path(folder))} |")
    with tempfile.TemporaryDirectory() as folder:
        print(f"| restart | {restart(Path(folder))} |")
    many_timers()
    with tempfile.TemporaryDirectory() as folder:
        print(f"| {DAYS} days | {thirty_days(Path(folder))} |")


if __name__ == "__main__":
    main()
