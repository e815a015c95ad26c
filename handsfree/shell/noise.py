"""How loud the shop is: notices when a machine is switched off."""

from collections import deque

import numpy as np

from handsfree.shell.capture import BLOCK_S
from handsfree.shell.sound_format import FULL_SCALE

# A step of 10 dB is heard as half as loud; shop machines stand 20 dB and more above a quiet
# room (hobby measurements: 75 to 120 dB against 40 to 50).
FALL_DB = 10.0
LOUD_FOR_S, QUIET_FOR_S = 3.0, 1.0
FLOOR_DB = -90.0  # Of full scale: digital silence has no level of its own.


class NoiseWatch:
    """Compares the last second with the seconds before it."""

    def __init__(self) -> None:
        """Has heard nothing yet."""
        self._levels_db: deque[float] = deque(maxlen=round((LOUD_FOR_S + QUIET_FOR_S) / BLOCK_S))

    def has_fallen(self, block: bytes) -> bool:
        """Whether a loud stretch has just ended; told once for each.

        Args:
            block: 16-bit little-endian mono sound, of the microphone's BLOCK_S.
        """
        self._levels_db.append(level_db(block))
        if len(self._levels_db) < (self._levels_db.maxlen or 0):
            return False
        levels = np.array(self._levels_db)
        quiet_blocks = round(QUIET_FOR_S / BLOCK_S)
        # Medians: a single hammer blow is no loud stretch, a single word no end of one.
        fall_db = np.median(levels[:-quiet_blocks]) - np.median(levels[-quiet_blocks:])
        if fall_db < FALL_DB:
            return False
        self._levels_db.clear()
        return True

    @property
    def ambient_db(self) -> float:
        """The noise of the last seconds, in dB of full scale: what is there most of the time."""
        return float(np.median(self._levels_db)) if self._levels_db else FLOOR_DB


def level_db(block: bytes) -> float:
    """The level of a block of 16-bit little-endian mono sound, in dB of full scale."""
    samples = np.frombuffer(block, dtype="<i2").astype(np.float64) / FULL_SCALE
    power = float(np.mean(samples**2)) if len(samples) else 0.0
    return max(FLOOR_DB, float(10 * np.log10(power))) if power else FLOOR_DB
