"""A machine's clocks that a test sets, stops and breaks."""

from datetime import UTC, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

START = datetime(2026, 3, 2, 12, tzinfo=UTC)
FIRST_BOOT_FOR = timedelta(hours=1)  # How long the machine was on when the test began.


class FakeTime:
    """The clocks, beside the true time that no machine knows."""

    def __init__(self) -> None:
        """Agrees with the true time."""
        self.true_at = START
        self._wall_ahead = timedelta()
        self._booted_at = START - FIRST_BOOT_FOR
        self._boot = 1
        self.zone_name = "Europe/Berlin"

    def advance(self, length: timedelta) -> None:
        """Time passes, asleep or awake: these clocks count both."""
        self.true_at += length

    def set_wall(self, step: timedelta) -> None:
        """Somebody sets the wall clock."""
        self._wall_ahead += step

    def reboot(self, off_for: timedelta, wall_at: datetime | None = None) -> None:
        """The machine is off for a while; with a dead battery its clock then shows anything."""
        self.true_at += off_for
        self._booted_at = self.true_at
        self._boot += 1
        self.true_at += timedelta(seconds=30)
        if wall_at is not None:
            self._wall_ahead = wall_at - self.true_at

    def wall_at(self) -> datetime:
        """The wall clock."""
        return self.true_at + self._wall_ahead

    def since_boot(self) -> timedelta:
        """The time since the last start of the machine."""
        return self.true_at - self._booted_at

    def boot(self) -> str:
        """The name of this run."""
        return f"boot-{self._boot}"

    def zone(self) -> tuple[str, tzinfo]:
        """The zone that is set."""
        return self.zone_name, ZoneInfo(self.zone_name)
