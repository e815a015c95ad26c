"""The one form in which sound is handled: 16 kHz, one channel, 16-bit little-endian samples."""

import numpy as np
import numpy.typing as npt

SAMPLE_RATE_HZ = 16_000
BYTES_PER_SAMPLE = 2
FULL_SCALE = 32768

Samples = npt.NDArray[np.float32]


def pcm16(samples: Samples) -> bytes:
    """Samples between -1 and 1 as 16-bit little-endian bytes, clipped at full scale."""
    return (np.clip(samples, -1.0, 1.0) * 32767).astype("<i2").tobytes()


def samples_of(sound: bytes) -> Samples:
    """16-bit little-endian bytes as samples between -1 and 1."""
    values: Samples = np.frombuffer(sound, dtype="<i2").astype(np.float32) / np.float32(FULL_SCALE)
    return values
