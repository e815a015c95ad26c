"""Blocks of sound from the microphone, into a bounded queue."""

import queue
from types import ModuleType
from typing import Any

import soxr

from handsfree.shell.sound_device import require_device
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16, samples_of

BLOCK_S = 0.02
QUEUE_S = 10.0  # More than any stall that is not a fault.


class Microphone:
    """The default input device, as blocks of 16-bit mono sound at 16 kHz."""

    def __init__(self, library: ModuleType) -> None:
        """Finds the device.

        Raises:
            NoSoundDevice: there is none.
        """
        device = require_device(library, "input")
        self.name = str(device["name"])
        self.overruns = 0
        self._rate_hz = int(float(str(device["default_samplerate"])))
        self._queue: queue.Queue[bytes] = queue.Queue(maxsize=int(QUEUE_S / BLOCK_S))
        self._resampler = soxr.ResampleStream(self._rate_hz, SAMPLE_RATE_HZ, 1, dtype="float32")
        self._stream = library.RawInputStream(
            samplerate=self._rate_hz,
            channels=1,
            dtype="int16",
            blocksize=int(self._rate_hz * BLOCK_S),
            callback=self._on_block,
        )

    def __enter__(self) -> "Microphone":
        self._stream.start()
        return self

    def __exit__(self, *_exception: object) -> None:
        self._stream.abort()
        self._stream.close()

    def _on_block(self, indata: Any, frames: int, time: Any, status: Any) -> None:  # noqa: ARG002
        """Called by the device on its own thread: copies, and leaves."""
        if status:
            self.overruns += 1
        try:
            self._queue.put_nowait(bytes(indata))
        except queue.Full:
            self.overruns += 1

    def read(self, timeout_s: float) -> bytes | None:
        """The next block at 16 kHz; None when none came in time."""
        try:
            block = self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None
        return pcm16(self._resampler.resample_chunk(samples_of(block)))

    def drop_waiting(self) -> None:
        """Forgets sound that has not been read."""
        while True:
            try:
                self._queue.get_nowait()
            except queue.Empty:
                return
