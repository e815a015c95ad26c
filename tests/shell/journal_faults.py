"""Files that fail, and disks that forget, for the tests of the journal."""

import errno
import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from handsfree.core.mix import Component
from handsfree.job.events import BatchOpened, Event, ReadingTaken, TimerSet
from handsfree.shell.clock import Stamp
from handsfree.shell.files import Files

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
SHORT = -1  # A write that takes only a part, instead of an error.


class FaultyFiles(Files):
    """The real file system, but the n-th call fails, and with ``is_lasting`` all after it."""

    def __init__(self, fails_at: int = 0, error: int = errno.EIO, *, is_lasting: bool = False):
        """Fails at the call of that number, counted from 1; 0: never."""
        self.calls: list[str] = []
        self.fails_at = fails_at
        self.error = error
        self._is_lasting = is_lasting

    def _count(self, name: str) -> bool:
        """Counts a call; whether a write is to be short. Raises what was ordered."""
        self.calls.append(name)
        number = len(self.calls)
        if not self.fails_at or number < self.fails_at:
            return False
        if number > self.fails_at and not self._is_lasting:
            return False
        if self.error == SHORT:
            return name == "write"
        raise OSError(self.error, os.strerror(self.error))

    def make_folder(self, path: Path) -> None:
        self._count("make_folder")
        super().make_folder(path)

    def open(self, path: Path, flags: int) -> int:
        self._count("open")
        return super().open(path, flags)

    def read(self, descriptor: int) -> bytes:
        self._count("read")
        return super().read(descriptor)

    def write(self, descriptor: int, data: bytes) -> int:
        if self._count("write"):
            return super().write(descriptor, data[: len(data) // 2])
        return super().write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        self._count("sync")
        super().sync(descriptor)

    def truncate(self, descriptor: int, length: int) -> None:
        self._count("truncate")
        super().truncate(descriptor, length)

    def rename(self, source: Path, target: Path) -> None:
        self._count("rename")
        super().rename(source, target)

    def sync_folder(self, path: Path) -> None:
        self._count("sync_folder")
        super().sync_folder(path)

    def lock(self, descriptor: int) -> bool:
        self._count("lock")
        return super().lock(descriptor)


class UnsyncedFiles(Files):
    """The real file system, but nothing reaches the disk: for runs too fast to wait for it."""

    def sync(self, descriptor: int) -> None:
        """Returns at once."""

    def sync_folder(self, path: Path) -> None:
        """Returns at once."""


def stamp(at: datetime) -> Stamp:
    """A moment on clocks that agree."""
    return Stamp(at, at, at - NOON + timedelta(hours=1), "boot-one", "Etc/UTC", timedelta())


def decisions(count: int) -> Iterator[tuple[Event, ...]]:
    """Events of one decision after the other, as a long pour and its timers give."""
    yield (BatchOpened(NOON, 1),)
    for number in range(1, count):
        at = NOON + timedelta(seconds=number)
        grams = Fraction(number)
        reading = ReadingTaken(at, 1, Component.RESIN, grams, grams, Fraction(0), False)
        timer = TimerSet(at, number, at + timedelta(minutes=number))
        yield (reading, timer) if number % 3 else (reading,)
