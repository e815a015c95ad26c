"""How long the record of a job of 10,000 events takes, in each form; prints a table.

Usage: python -m tests.bench_record
"""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

from handsfree.core.mix import Component
from handsfree.job.events import (
    Acknowledged,
    Announced,
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    Event,
    FilmFelt,
    Measured,
    ReadingTaken,
    TakenBack,
    TapePulled,
    TapeSet,
)
from handsfree.language.intents import Film
from handsfree.shell.cards import card_text
from handsfree.shell.clock import Stamp
from handsfree.shell.journal import Journal
from handsfree.shell.journal_entries import Equipment
from tests.shell.fake_time import START
from tests.shell.journal_faults import UnsyncedFiles

EVENTS = 10_000
CUPS_A_COAT = 3
CUP_EVERY = timedelta(minutes=40)


def events() -> Iterator[Event]:
    """A job without end: cups with a correction each, readings of the air, coats with tape."""
    number = coat = 0
    while True:
        number += 1
        at = START + number * CUP_EVERY
        for measured, value in (
            (Measured.AIR_C, 18 + number % 7),
            (Measured.HUMIDITY_PERCENT, 50 + number % 20),
            (Measured.SURFACE_C, 16 + number % 9),
        ):
            yield ConditionTold(at, measured, Fraction(value))
        yield BatchOpened(at, number)
        resin_g = Fraction(700)
        yield ReadingTaken(at, number, Component.RESIN, resin_g, resin_g, Fraction(0), True)
        for hardener_g, is_confirmed in ((60, False), (80, False), (99 + number % 4, True)):
            grams = Fraction(hardener_g)
            yield ReadingTaken(at, number, Component.HARDENER, grams, grams, resin_g, is_confirmed)
            if grams == 80:
                yield TakenBack(at)
        yield ClockStarted(at, number, at, Fraction(22), timedelta(minutes=23))
        key = f"cup {number} from {at.isoformat()}, 50"
        yield Announced(at + timedelta(minutes=11), key)
        yield Acknowledged(at + timedelta(minutes=12), key)
        yield CupEmptied(at + timedelta(minutes=18), number)
        if number % CUPS_A_COAT == 0:
            coat += 1
            yield TapeSet(at)
            yield CoatStarted(at, coat)
            yield CoatFinished(at + timedelta(minutes=19), coat)
            yield FilmFelt(at + timedelta(minutes=30), coat, Film.TACKY)
            yield TapePulled(at + timedelta(minutes=35))


def write_journal(folder: Path) -> int:
    """Writes a journal of 10,000 events; returns its size, bytes."""
    journal = Journal(folder, UnsyncedFiles())
    journal.open()
    first = _stamp(0)
    journal.begin(first, "Gate Coat")
    journal.equip(first, Equipment((card_text("gate-coat"),), "", "", Fraction(1)))
    for count, event in enumerate(events(), start=1):
        journal.append((event,), _stamp(count))
        if count == EVENTS:
            break
    journal.close()
    return journal.path.stat().st_size


def _stamp(count: int) -> Stamp:
    at = START + count * timedelta(seconds=150)
    return Stamp(at, at, at - START, "bench", "UTC", timedelta())


def main() -> None:
    """Measures each form in a program of its own, start included, and prints."""
    with tempfile.TemporaryDirectory() as folder:
        size = write_journal(Path(folder))
        print(f"{EVENTS} events, journal {size / 1e6:.1f} MB\n")
        print("| form | time, start included | processor time | size |\n|---|---:|---:|---:|")
        for form in ("html", "pdf", "csv", "json", "html,pdf,csv,json"):
            out = Path(folder) / form.replace(",", "-")
            words = ["record", "--data", folder, "--out", str(out), "--format", form]
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            start_s = time.perf_counter()
            subprocess.run(
                [sys.executable, "-m", "handsfree", *words],
                check=True,
                stdout=subprocess.DEVNULL,
            )
            took_s = time.perf_counter() - start_s
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            used_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            written = sum(path.stat().st_size for path in out.iterdir())
            print(f"| {form} | {took_s:.2f} s | {used_s:.2f} s | {written / 1e6:.1f} MB |")
        print(f"\nmost memory of one: {after.ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
