"""The one clock: what time it is, and how it is told."""

import time
from datetime import UTC, datetime, timedelta


class Clock:
    """The moment of the start plus the time elapsed since.

    The elapsed time comes from a clock that counts a machine's sleep and is never set, so a
    pot life neither stops in suspend nor jumps when the wall clock is put right.
    """

    def __init__(self) -> None:
        """Reads the wall clock once."""
        self._started_at = datetime.now(UTC)
        self._started_s = _elapsed_s()

    def now(self) -> datetime:
        """The present moment, UTC."""
        return self._started_at + timedelta(seconds=_elapsed_s() - self._started_s)


def _elapsed_s() -> float:
    # Linux alone tells the time including suspend; elsewhere the monotonic clock does so.
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()
