"""Levels and the alarm's tone, in sound that is made here, at ratios that are known."""

from collections.abc import Callable
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
import soxr

from handsfree.job.reminders import Urgency
from handsfree.language.tryout_wording import SoundVerdict
from handsfree.shell.microphone import Microphone, MicrophoneLost
from handsfree.shell.sound_check import (
    HEARD_RATIO,
    find_alarm_tone,
    hear_alarm_tone,
    levels_of,
    record,
)
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16, samples_of
from handsfree.shell.speaker import Output
from handsfree.shell.tones import tone
from handsfree.shell.voice import Speech

Sound = npt.NDArray[np.float64]
LENGTH = int(3.1 * SAMPLE_RATE_HZ)
TIME_S = np.arange(LENGTH) / SAMPLE_RATE_HZ


def at_16_khz(speech: Speech) -> Sound:
    """A tone as sound, its pulses with a power of 1."""
    samples = soxr.resample(samples_of(speech.samples), speech.rate_hz, SAMPLE_RATE_HZ)
    sounding = samples[np.abs(samples) > 0.01]
    return cast(Sound, samples / np.std(sounding))


def noise(pick: np.random.Generator, slope: int, length: int = LENGTH) -> Sound:
    """Noise of power 1: white (0), pink (1) or brown (2)."""
    spectrum = np.fft.rfft(pick.standard_normal(length))
    spectrum /= np.maximum(1, np.arange(len(spectrum))) ** (slope / 2)
    shaped = np.fft.irfft(spectrum, length)
    return cast(Sound, shaped / np.std(shaped))


def blows(pick: np.random.Generator) -> Sound:
    """Hammer blows on metal: sudden, ringing at any pitch."""
    sound = 0.002 * pick.standard_normal(LENGTH)
    length = SAMPLE_RATE_HZ // 5
    ring_s = TIME_S[:length]
    for _ in range(pick.integers(1, 6)):
        start = pick.integers(0, LENGTH - length)
        decay = np.exp(-ring_s / pick.uniform(0.01, 0.1))
        ring = np.sin(2 * np.pi * pick.uniform(400, 4000) * ring_s)
        sound[start : start + length] += 0.5 * decay * ring
    return sound


def found(sound: Sound) -> float:
    return find_alarm_tone(pcm16(sound.astype(np.float32))).ratio


@pytest.mark.parametrize(("slope", "snr_db"), [(0, 0), (0, -10), (1, -10), (1, -15), (2, -20)])
def test_the_tone_is_found_in_noise_and_its_moment_too(slope: int, snr_db: float) -> None:
    pick = np.random.default_rng(1)
    alarm = at_16_khz(tone(Urgency.HIGH)) * 10 ** (snr_db / 20)
    for _ in range(8):
        start = int(pick.integers(2_000, 20_000))
        sound = noise(pick, slope)
        sound[start : start + len(alarm)] += alarm
        result = find_alarm_tone(pcm16((0.1 * sound).astype(np.float32)))
        assert result.is_heard
        assert result.delay_s == pytest.approx(start / SAMPLE_RATE_HZ, abs=0.02)


def test_a_tone_far_below_the_noise_is_not_claimed() -> None:
    pick = np.random.default_rng(2)
    alarm = at_16_khz(tone(Urgency.HIGH)) * 10 ** (-40 / 20)
    for _ in range(8):
        sound = noise(pick, 0)
        sound[8_000 : 8_000 + len(alarm)] += alarm
        assert found(0.1 * sound) < HEARD_RATIO


@pytest.mark.parametrize(
    "make",
    [
        lambda pick: 0.1 * noise(pick, 0),
        lambda pick: 0.1 * noise(pick, 1),
        lambda pick: 0.1 * noise(pick, 2),
        blows,
    ],
    ids=["white", "pink", "brown", "blows"],
)
def test_noise_is_no_tone(make: Callable[[np.random.Generator], Sound]) -> None:
    pick = np.random.default_rng(3)
    assert max(found(make(pick)) for _ in range(25)) < HEARD_RATIO


@pytest.mark.parametrize("pitch_hz", [100, 620, 1100, 1900, 2600])
def test_a_machine_that_hums_at_its_pitches_is_no_tone(pitch_hz: float) -> None:
    pick = np.random.default_rng(4)
    hum = 0.3 * np.sin(2 * np.pi * pitch_hz * TIME_S) + 0.003 * pick.standard_normal(LENGTH)
    assert found(hum) < HEARD_RATIO


@pytest.mark.parametrize("urgency", [Urgency.MEDIUM, Urgency.LOW])
def test_another_tone_is_not_the_alarms(urgency: Urgency) -> None:
    sound = 0.01 * np.random.default_rng(5).standard_normal(LENGTH)
    other = 0.3 * at_16_khz(tone(urgency))
    sound[8_000 : 8_000 + len(other)] += other
    assert found(sound) < HEARD_RATIO


def test_an_echo_and_a_cheap_loudspeaker_do_not_hide_it() -> None:
    pick = np.random.default_rng(6)
    alarm = np.tanh(3 * at_16_khz(tone(Urgency.HIGH)))  # Distorted.
    room = np.zeros(4_000)
    room[0] = 1
    room[200:] = 0.15 * pick.standard_normal(3_800) * np.exp(-np.arange(3_800) / 1_200)
    heard = np.convolve(alarm, room)
    sound = 0.02 * noise(pick, 1)
    sound[6_000 : 6_000 + len(heard)] += 0.05 * heard
    assert found(sound) > HEARD_RATIO


@pytest.mark.parametrize("sound", [b"", bytes(2 * LENGTH), bytes(100)])
def test_no_sound_holds_no_tone(sound: bytes) -> None:
    assert not find_alarm_tone(sound).is_heard


def at_db(db: float, length_s: float = 3.0) -> bytes:
    """White noise of a level; a voice and a fan are the same to a meter."""
    samples = np.random.default_rng(7).standard_normal(int(length_s * SAMPLE_RATE_HZ))
    return pcm16((samples * 10 ** (db / 20)).astype(np.float32))


def spoken(db: float, noise_db: float, share: float = 0.3) -> bytes:
    """Noise with a louder stretch in it, as a sentence among pauses."""
    whole, loud = samples_of(at_db(noise_db, 5.0)), samples_of(at_db(db, 5.0))
    length = int(share * len(loud))
    return pcm16(np.concatenate((loud[:length], whole[length:])))


@pytest.mark.parametrize(
    ("voice_db", "noise_db", "verdict"),
    [
        (-25.0, -60.0, SoundVerdict.FINE),
        (-40.0, -65.0, SoundVerdict.FINE),
        (-50.0, -70.0, SoundVerdict.TOO_QUIET),
        (-70.0, -70.0, SoundVerdict.TOO_QUIET),  # Nobody spoke.
        (-25.0, -32.0, SoundVerdict.NOISY),
        (-1.0, -60.0, SoundVerdict.CLIPPED),
    ],
)
def test_the_verdict_names_what_to_mend_first(
    voice_db: float, noise_db: float, verdict: SoundVerdict
) -> None:
    levels = levels_of(at_db(noise_db), spoken(voice_db, noise_db))
    assert levels.verdict is verdict
    # Whole samples are cut towards zero, which takes half a decibel where they are small.
    assert levels.noise_db == pytest.approx(noise_db, abs=1)
    if verdict is SoundVerdict.FINE:
        assert levels.speech_db == pytest.approx(voice_db, abs=1)


def test_zeros_are_a_mute_switch() -> None:
    assert levels_of(bytes(96_000), bytes(96_000)).verdict is SoundVerdict.MUTED
    assert levels_of(b"", b"").verdict is SoundVerdict.MUTED


class OpenMicrophone:
    """Hears what it is given, then silence, a block at each reading."""

    def __init__(self, sound: bytes) -> None:
        self.sound = sound
        self.opened = 0

    def read(self, timeout_s: float) -> bytes:
        size = int(timeout_s * SAMPLE_RATE_HZ) * 2
        block, self.sound = self.sound[:size], self.sound[size:]
        return block.ljust(size, b"\0")

    def open(self) -> None:
        self.opened += 1


class PlayedInto:
    """A loudspeaker in the same room as a microphone."""

    def __init__(self, microphone: OpenMicrophone) -> None:
        self.microphone = microphone

    def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:
        assert not is_cut()
        samples = soxr.resample(samples_of(speech.samples), speech.rate_hz, SAMPLE_RATE_HZ)
        self.microphone.sound = bytes(9_000) + pcm16((0.1 * samples).astype(np.float32))
        return True

    def close(self) -> None:
        pass


def test_a_stretch_is_recorded_from_now_on() -> None:
    microphone = OpenMicrophone(at_db(-20))
    sound = record(cast(Microphone, microphone), 1.0)
    assert (len(sound), microphone.opened) == (32_000, 1)


def test_a_stall_is_got_over_once() -> None:
    class Stalling(OpenMicrophone):
        stalls = 1

        def read(self, timeout_s: float) -> bytes:
            if self.stalls:
                self.stalls -= 1
                raise MicrophoneLost("no sound any more")
            return super().read(timeout_s)

    microphone = Stalling(at_db(-20))
    assert len(record(cast(Microphone, microphone), 1.0)) == 32_000
    assert microphone.opened == 2
    microphone.stalls = 2
    with pytest.raises(MicrophoneLost):
        record(cast(Microphone, microphone), 1.0)


def test_the_loudspeaker_is_heard_or_not() -> None:
    microphone = OpenMicrophone(b"")
    output = PlayedInto(microphone)
    output.play(tone(Urgency.HIGH), lambda: False)
    sound = record(cast(Microphone, microphone), 2.8)
    assert find_alarm_tone(sound).is_heard
    assert not find_alarm_tone(record(cast(Microphone, microphone), 2.8)).is_heard


def test_a_loudspeaker_that_fails_is_told() -> None:
    class Broken:
        def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:  # noqa: ARG002
            raise OSError("device gone")

        def close(self) -> None:
            pass

    troubles: list[str] = []
    output: Output = Broken()
    result = hear_alarm_tone(cast(Microphone, OpenMicrophone(b"")), output, troubles.append)
    assert (result.is_heard, troubles) == (False, ["device gone"])
