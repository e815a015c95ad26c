"""The level of the microphone on the terminal."""

import sys
import time
from typing import TextIO

# Speech close to a microphone lies between; what is softer is the room. Judgement.
LOWEST_DB, HIGHEST_DB = -70.0, 0.0
WIDTH = 28
EVERY_S = 0.25


class Meter:
    """One line that is written over, on a terminal only: a file would fill with it."""

    def __init__(self, out: TextIO | None = None) -> None:
        """Shows nothing yet."""
        self._out = out if out is not None else sys.stderr
        self._shown_at = 0.0

    def show(self, level_db: float, *, is_awake: bool) -> None:
        """Shows a level, a few times a second at the most.

        Args:
            level_db: of full scale.
            is_awake: whether all is listened to.
        """
        now = time.monotonic()
        if not self._out.isatty() or now - self._shown_at < EVERY_S:
            return
        self._shown_at = now
        self._out.write(f"\r{line_of(level_db, is_awake=is_awake)}\r")
        self._out.flush()


def line_of(level_db: float, *, is_awake: bool) -> str:
    """The level as a bar, its number, and whether it listens."""
    share = (level_db - LOWEST_DB) / (HIGHEST_DB - LOWEST_DB)
    filled = round(min(1.0, max(0.0, share)) * WIDTH)
    state = "listening" if is_awake else "waiting for the wake phrase"
    return f"microphone [{'#' * filled:<{WIDTH}}] {level_db:4.0f} dB  {state:<27}"
