"""The microphone's process, with a sound library that does what devices were seen to do."""

import queue
import threading
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from handsfree.shell import capture, microphone
from handsfree.shell.capture import Block, Started, Stopped
from handsfree.shell.child import Child
from handsfree.shell.microphone import Microphone, MicrophoneLost
from handsfree.shell.sound_device import NoSoundDevice, find_device
from handsfree.shell.sound_format import SAMPLE_RATE_HZ

RATE_HZ = 48_000
DEVICES = [
    {"index": 0, "name": "Desk speaker", "max_input_channels": 0, "max_output_channels": 2},
    {"index": 1, "name": "USB headset", "max_input_channels": 1, "max_output_channels": 2},
    {"index": 2, "name": "USB camera", "max_input_channels": 2, "max_output_channels": 0},
]


class PortAudioError(Exception):
    """As the library's own."""


def library(stream: object = None) -> Any:
    def query_devices(kind: str | None = None) -> object:
        return DEVICES if kind is None else DEVICES[1]

    return SimpleNamespace(
        query_devices=query_devices, PortAudioError=PortAudioError, RawInputStream=stream
    )


def test_a_device_is_found_by_part_of_its_name() -> None:
    assert find_device(library(), "input", "headset")["index"] == 1
    assert find_device(library(), "output", "DESK")["index"] == 0


@pytest.mark.parametrize(("wanted", "why"), [("usb", "several are"), ("desk", "none is")])
def test_a_name_that_fits_none_or_several_is_refused_with_the_names(wanted: str, why: str) -> None:
    with pytest.raises(NoSoundDevice, match=f"{why} called '{wanted}'.*USB camera"):
        find_device(library(), "input", wanted)


class Pipe:
    """Takes what the process sends, and breaks after some messages."""

    def __init__(self, most: int) -> None:
        self.sent: list[object] = []
        self._most = most

    def send(self, message: object) -> None:
        if len(self.sent) >= self._most:
            raise BrokenPipeError
        self.sent.append(message)


class Device:
    """An input stream that gives so many blocks, and then nothing more."""

    def __init__(self, blocks: int, stall_at: int | None = None) -> None:
        self.blocks, self.stall_at = blocks, stall_at
        self.aborted = False

    def __call__(self, *, callback: Callable[..., None], blocksize: int, **_given: object) -> Any:
        self.callback, self.frames = callback, blocksize
        return self

    def start(self) -> None:
        for number in range(self.blocks):
            status = "input overflow" if number == self.stall_at else None
            self.callback(bytes(2 * self.frames), self.frames, None, status)

    def abort(self, ignore_errors: bool) -> None:
        assert ignore_errors
        self.aborted = True


def captured(
    monkeypatch: pytest.MonkeyPatch, device: Device, wanted: str | None, most: int = 100
) -> list[object]:
    monkeypatch.setattr(capture, "GONE_S", 0.01)
    given = {**DEVICES[1], "default_samplerate": float(RATE_HZ)}
    fake = library(device)
    fake.query_devices = lambda kind=None: [given] if kind is None else given
    monkeypatch.setitem(__import__("sys").modules, "sounddevice", fake)
    pipe = Pipe(most)
    capture.capture(cast(Any, pipe), wanted)
    return pipe.sent


def test_a_device_that_gives_no_more_sound_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    device = Device(blocks=3)
    first, *blocks, last = captured(monkeypatch, device, None)
    assert first == Started("USB headset", RATE_HZ)
    assert blocks == [Block(bytes(2 * 960), 0)] * 3
    assert isinstance(last, Stopped)
    assert device.aborted


def test_lost_sound_is_counted_in_the_block_after_it(monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = captured(monkeypatch, Device(blocks=4, stall_at=1), None)[1:-1]
    assert all(isinstance(block, Block) and block.overruns == 1 for block in blocks)


def test_a_stall_of_the_sound_server_counts_as_lost_sound(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    moments = iter([0.0, 0.02, 0.04, 1.2, 1.22])
    monkeypatch.setattr(time, "monotonic", lambda: next(moments))
    blocks = captured(monkeypatch, Device(blocks=4), None)[1:-1]
    assert [block.overruns for block in blocks if isinstance(block, Block)] == [1] * 4


def test_an_unknown_device_is_refused_by_the_process(monkeypatch: pytest.MonkeyPatch) -> None:
    (only,) = captured(monkeypatch, Device(blocks=1), "violin")
    assert isinstance(only, Stopped)
    assert "USB headset" in only.message


def test_the_process_ends_when_nobody_listens(monkeypatch: pytest.MonkeyPatch) -> None:
    device = Device(blocks=50)
    assert len(captured(monkeypatch, device, None, most=5)) == 5
    assert device.aborted


def talkative(pipe: Any, messages: list[object], stays: bool) -> None:
    """A process that sends these and then hangs, or ends."""
    for message in messages:
        pipe.send(message)
    if stays:
        threading.Event().wait()


def speaking(
    monkeypatch: pytest.MonkeyPatch, messages: list[object], *, stays: bool = False
) -> Microphone:
    made = Microphone()
    child = Child("microphone", MicrophoneLost, talkative, messages, stays)
    monkeypatch.setattr(made, "_child", child)
    return made


def test_sound_comes_at_the_rate_of_the_recognizer(monkeypatch: pytest.MonkeyPatch) -> None:
    tone = (8000 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)).astype("<i2")
    parts = [Block(part.tobytes(), 0) for part in tone.reshape(50, -1)]
    with speaking(monkeypatch, [Started("USB headset", RATE_HZ), *parts], stays=True) as made:
        assert made.name == "USB headset"
        sound = b"".join(made.read(2.0) or b"" for _ in parts)
    heard = np.frombuffer(sound, "<i2").astype(float)
    assert abs(len(heard) - SAMPLE_RATE_HZ) < SAMPLE_RATE_HZ * 0.05
    spectrum = np.abs(np.fft.rfft(heard))
    assert abs(np.argmax(spectrum) * SAMPLE_RATE_HZ / len(heard) - 440) < 2


def test_a_device_that_has_gone_or_a_process_that_died_is_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    first = Started("USB headset", RATE_HZ)
    with (
        speaking(monkeypatch, [first, Stopped("gone")]) as made,
        pytest.raises(MicrophoneLost, match="gone"),
    ):
        made.read(2.0)
    with (
        speaking(monkeypatch, [first]) as made,
        pytest.raises(MicrophoneLost, match="crashed"),
    ):
        made.read(2.0)


def test_a_process_that_hangs_is_lost_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(microphone, "SILENT_S", 0.0)
    with (
        speaking(monkeypatch, [Started("USB headset", RATE_HZ)], stays=True) as made,
        pytest.raises(MicrophoneLost, match="hangs"),
    ):
        made.read(0.01)


def test_a_device_that_cannot_be_opened_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(NoSoundDevice, match="no microphone"):
        speaking(monkeypatch, [Stopped("There is no microphone.")]).open()
    with pytest.raises(NoSoundDevice, match="crashed"):
        speaking(monkeypatch, []).open()


def test_waiting_sound_can_be_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = [Block(bytes(1920), 0)] * 5
    with speaking(monkeypatch, [Started("USB headset", RATE_HZ), *blocks], stays=True) as made:
        deadline: queue.Queue[None] = queue.Queue()
        with pytest.raises(queue.Empty):
            deadline.get(timeout=0.3)  # Until all of them are in the pipe.
        made.drop_waiting()
        assert made.read(0.0) is None
