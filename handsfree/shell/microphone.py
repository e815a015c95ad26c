"""Sound from the microphone's process, as the recognizer takes it."""

import time

import soxr

from handsfree.shell.capture import Block, Started, Stopped, capture
from handsfree.shell.child import Child
from handsfree.shell.sound_device import NoSoundDevice
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16, samples_of

START_TIMEOUT_S = 10.0
# The process itself says after two seconds that the device has gone; this is for a process that
# hangs in the sound system.
SILENT_S = 4.0


class MicrophoneLost(Exception):
    """The device has gone, or its process crashed or hangs; ``open`` may bring it back."""


class Microphone:
    """One input device, as blocks of 16-bit mono sound at 16 kHz.

    Use as a context manager. After ``MicrophoneLost`` call ``open`` again.
    """

    def __init__(self, wanted: str | None = None) -> None:
        """Opens nothing yet.

        Args:
            wanted: part of the device's name; None: the default device.
        """
        self.name = wanted or "the default microphone"
        self.overruns = 0
        self._child = Child("microphone", MicrophoneLost, capture, wanted)
        self._resampler: soxr.ResampleStream | None = None
        self._heard_at = 0.0

    def __enter__(self) -> "Microphone":
        self.open()
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def open(self) -> None:
        """Starts the process and waits until the device is open.

        Raises:
            NoSoundDevice: there is no such device, or it cannot be opened.
        """
        self._child.start()
        try:
            first = self._child.receive(START_TIMEOUT_S)
        except MicrophoneLost as lost:
            raise NoSoundDevice(f"The microphone cannot be opened: {lost}.") from lost
        if isinstance(first, Stopped):
            self.close()
            raise NoSoundDevice(first.message)
        assert isinstance(first, Started)
        self.name = first.name
        self.overruns = 0
        self._resampler = soxr.ResampleStream(first.rate_hz, SAMPLE_RATE_HZ, 1, dtype="float32")
        self._heard_at = time.monotonic()

    def close(self) -> None:
        """Lets the device go."""
        self._child.stop()
        self._resampler = None

    @property
    def pid(self) -> int | None:
        """The process id; None when the device is not open."""
        return self._child.pid

    def read(self, timeout_s: float) -> bytes | None:
        """The next block at 16 kHz; None when none came in time.

        Raises:
            MicrophoneLost: the device has gone.
        """
        if self._resampler is None or not self._child.has_answer(timeout_s):
            if time.monotonic() - self._heard_at > SILENT_S:
                raise MicrophoneLost("the microphone's process hangs")
            return None
        message = self._child.receive(timeout_s)
        if isinstance(message, Stopped):
            raise MicrophoneLost(message.message)
        assert isinstance(message, Block)
        self._heard_at = time.monotonic()
        self.overruns = message.overruns
        return pcm16(self._resampler.resample_chunk(samples_of(message.samples)))

    def drop_waiting(self) -> None:
        """Forgets sound that has not been read.

        Raises:
            MicrophoneLost: the device has gone.
        """
        while self._child.has_answer():
            if self.read(0.0) is None:
                return
