"""The one clock: what time it is, through sleep, a set wall clock and a new start.

``now`` is the moment of the first start plus the time elapsed since. Durations are read off a
clock that counts the machine's sleep and is never set; only over a reboot, which ends that
clock, is the wall clock asked, and only where it is believable.
"""

import os
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

# Less than this between the wall clock and the elapsed time is drift or a correction from the
# network, and says nothing. Judgement; a common quartz drifts by 7 s a day.
SMALL_STEP = timedelta(seconds=5)
# A step of the wall clock that a person is told about. Judgement: less changes no time of day
# as it is spoken.
SPOKEN_STEP = timedelta(minutes=1)
# No wall clock before this can be right: the program is younger. A clock whose battery is dead
# starts in 1970 or at the making of its board.
FIRST_CREDIBLE_AT = datetime(2026, 1, 1, tzinfo=UTC)
HALF_DAY = timedelta(hours=12)
_BOOT_ID_PATH = Path("/proc/sys/kernel/random/boot_id")
_LOCAL_ZONE_PATH = Path("/etc/localtime")
_ZONE_FOLDER = "zoneinfo/"


@dataclass(frozen=True)
class Stamp:
    """A moment on every clock there is."""

    at: datetime  # The program's own time, by which everything is counted; UTC.
    wall_at: datetime  # What the machine's wall clock showed, UTC.
    since_boot: timedelta  # Sleep counted.
    boot: str  # The name of this run of the machine; empty where there is none.
    zone: str  # The time zone's name; empty where it has none.
    utc_offset: timedelta  # Of the zone, then.


@dataclass(frozen=True)
class ClockDoubt:
    """It is not known how much time passed while the program was off."""

    at_least: timedelta  # The machine has been on for so long.


class TimeSource(Protocol):
    """The machine's clocks."""

    def wall_at(self) -> datetime:
        """The wall clock, UTC."""

    def since_boot(self) -> timedelta:
        """The time since the machine was started, sleep counted."""

    def boot(self) -> str:
        """The name of this run of the machine; empty where the system gives none."""

    def zone(self) -> tuple[str, tzinfo]:
        """The local time zone and its name; the name is empty where it has none."""


class SystemTime:
    """The clocks of this machine."""

    def wall_at(self) -> datetime:
        """The wall clock, UTC."""
        return datetime.now(UTC)

    def since_boot(self) -> timedelta:
        """The time since the machine was started, sleep counted.

        Linux alone tells the time including suspend; elsewhere the monotonic clock does so.
        """
        if hasattr(time, "CLOCK_BOOTTIME"):
            elapsed_ns = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
        else:
            elapsed_ns = time.monotonic_ns()
        return timedelta(microseconds=elapsed_ns // 1000)

    def boot(self) -> str:
        """The kernel's name for this run; empty outside Linux."""
        try:
            return _BOOT_ID_PATH.read_text(encoding="ascii").strip()
        except OSError:
            return ""

    def zone(self) -> tuple[str, tzinfo]:
        """The zone that TZ or the system's setting names, as it is at this moment."""
        name = os.environ.get("TZ", "").removeprefix(":")
        if not name and _LOCAL_ZONE_PATH.is_symlink():
            name = str(_LOCAL_ZONE_PATH.readlink()).rpartition(_ZONE_FOLDER)[2]
        try:
            return name, ZoneInfo(name)
        except (KeyError, ValueError, OSError):
            # A zone without a name, or without rules on this machine, still has an offset.
            return "", _fixed_zone()


def _fixed_zone() -> tzinfo:
    zone = datetime.now(UTC).astimezone().tzinfo
    assert zone is not None
    return zone


class Clock:
    """The program's time, made in this one place."""

    def __init__(self, source: TimeSource | None = None, last: Stamp | None = None) -> None:
        """Reads the machine's clocks, and goes on from the last moment that was recorded.

        Args:
            source: the machine's clocks; None takes those of this machine.
            last: the newest stamp in the journal; None when there is none.
        """
        self._source = source or SystemTime()
        self._boot = self._source.boot()
        self.doubt: ClockDoubt | None = None
        wall_at, self._started = self._source.wall_at(), self._source.since_boot()
        self.is_wall_credible = wall_at >= FIRST_CREDIBLE_AT
        self._started_at = wall_at if last is None else self._after(last, wall_at)
        # A step while the program was off is found by the first question for one; where the
        # time itself is in doubt, that is said instead.
        self._wall_ahead = wall_at - self._started_at
        if last is not None and self.doubt is None:
            self._wall_ahead = last.wall_at - last.at
        self._zone = last.zone if last is not None else self._source.zone()[0]

    def _after(self, last: Stamp, wall_at: datetime) -> datetime:
        is_same_boot = self._boot != "" and self._boot == last.boot
        if is_same_boot and self._started >= last.since_boot:
            return last.at + (self._started - last.since_boot)
        by_wall = wall_at - last.wall_at
        # A new boot came after the stamp, so the machine was on for this long since, at least.
        at_least = self._started if self._boot and not is_same_boot else timedelta()
        is_credible = self.is_wall_credible and last.wall_at >= FIRST_CREDIBLE_AT
        if by_wall + SMALL_STEP < at_least or not is_credible:
            self.doubt = ClockDoubt(at_least)
            return last.at + at_least
        return last.at + max(by_wall, at_least)

    def now(self) -> datetime:
        """The present moment, UTC. It never goes back and never jumps."""
        return self._started_at + (self._source.since_boot() - self._started)

    def stamp(self, at: datetime) -> Stamp:
        """A moment of this clock with what the other clocks show now.

        Args:
            at: from ``now``, just before.
        """
        wall_at = self._source.wall_at()
        name, zone = self._source.zone()
        offset = wall_at.astimezone(zone).utcoffset()
        return Stamp(
            at,
            wall_at,
            self._source.since_boot(),
            self._boot,
            name,
            offset or timedelta(),
        )

    def wall_step(self) -> timedelta:
        """By how much the wall clock was set since this was last asked; small steps are 0."""
        ahead = self._source.wall_at() - self.now()
        step = ahead - self._wall_ahead
        if abs(step) <= SMALL_STEP:
            return timedelta()
        self._wall_ahead = ahead
        return step

    def has_new_zone(self) -> bool:
        """Whether the time zone was changed since this was last asked."""
        before, self._zone = self._zone, self._source.zone()[0]
        return before != self._zone

    def listener_zone(self) -> tzinfo:
        """The zone in which a moment of this clock is what a clock on the wall shows.

        Where the wall clock was set since, that is a zone of its own: only the time of day and
        the difference of days can then be told in it, not the date.
        """
        wall_at = self._source.wall_at()
        zone = self._source.zone()[1]
        ahead = wall_at - self.now()
        if abs(ahead) <= SMALL_STEP:
            return zone
        offset = (wall_at.astimezone(zone).utcoffset() or timedelta()) + ahead
        return timezone((offset + HALF_DAY) % (2 * HALF_DAY) - HALF_DAY)
