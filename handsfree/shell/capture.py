"""The microphone's own process: whatever the sound system does, only this process suffers.

PortAudio lists devices once, may spin or end the process when one is pulled out, and goes on
without a word when the sound server moves the stream. A process that starts afresh is the one
cure for all of these.
"""

import queue
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from types import ModuleType
from typing import Any

BLOCK_S = 0.02
QUEUE_S = 10.0  # More than any stall that is not a fault.
# Without a callback for so long the device has gone. Blocks come every 20 ms, but a machine with
# more to do than it can holds them up for over a second.
GONE_S = 2.0
# Sound that comes so much later than before has a stall, and perhaps a hole, behind it.
LATE_S = 0.5


@dataclass(frozen=True)
class Started:
    """The device is open."""

    name: str
    rate_hz: int


@dataclass(frozen=True)
class Block:
    """Sound of BLOCK_S at the device's rate: 16-bit mono in the machine's byte order."""

    samples: bytes
    overruns: int  # Times that sound was lost, since the start.


@dataclass(frozen=True)
class Stopped:
    """The device has gone, or never came; the message says which."""

    message: str


def capture(pipe: Connection, wanted: str | None) -> None:
    """The process's whole life: opens the device and sends its sound until it is gone.

    Args:
        pipe: takes Started, then Blocks, then Stopped.
        wanted: part of a device's name; None: the default device.
    """
    try:
        import sounddevice

        from handsfree.shell.sound_device import NoSoundDevice, find_device
    except OSError as error:
        pipe.send(Stopped(f"PortAudio does not start: {error}"))
        return
    try:
        device = find_device(sounddevice, "input", wanted)
        stream = _Stream(sounddevice, device)
    except (NoSoundDevice, sounddevice.PortAudioError) as error:
        pipe.send(Stopped(str(error)))
        return
    pipe.send(Started(str(device["name"]), stream.rate_hz))
    try:
        while True:
            block = stream.read()
            if block is None:
                pipe.send(Stopped("The microphone gives no sound any more."))
                return
            pipe.send(block)
    except (OSError, KeyboardInterrupt):  # Nobody listens any more.
        return
    finally:
        # Not closed: closing a device that has gone may hang. The process ends, that is enough.
        stream.leave()


class _Stream:
    """An open device."""

    def __init__(self, library: ModuleType, device: dict[str, object]) -> None:
        self.rate_hz = int(float(str(device["default_samplerate"])))
        self._queue: queue.Queue[bytes] = queue.Queue(maxsize=int(QUEUE_S / BLOCK_S))
        self._overruns = 0
        self._frames = 0
        self._began = time.monotonic()
        self._least_late_s: float | None = None
        self._stream = library.RawInputStream(
            device=device["index"],
            samplerate=self.rate_hz,
            channels=1,
            dtype="int16",
            blocksize=int(self.rate_hz * BLOCK_S),
            callback=self._on_block,
        )
        self._stream.start()

    def _on_block(self, indata: Any, frames: int, _time: Any, status: Any) -> None:
        """Called by the device on its own thread: copies, and leaves."""
        if status:
            self._overruns += 1
        self._note_time(frames)
        try:
            self._queue.put_nowait(bytes(indata))
        except queue.Full:
            self._overruns += 1

    def _note_time(self, frames: int) -> None:
        """Counts a stall as lost sound: a sound server reports none when it was stalled."""
        self._frames += frames
        late_s = time.monotonic() - self._began - self._frames / self.rate_hz
        if self._least_late_s is None or late_s < self._least_late_s:
            self._least_late_s = late_s
        elif late_s > self._least_late_s + LATE_S:
            self._overruns += 1
            self._least_late_s = late_s

    def read(self) -> Block | None:
        """The next block; None when the device has gone."""
        try:
            return Block(self._queue.get(timeout=GONE_S), self._overruns)
        except queue.Empty:
            return None

    def leave(self) -> None:
        """Lets the device go without waiting for it."""
        self._stream.abort(ignore_errors=True)
