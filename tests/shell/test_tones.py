"""The tones: heard over a shop, told apart in its noise, and words without a speech engine."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

import handsfree
from handsfree.job.reminders import URGENCY, Urgency
from handsfree.language import replies
from handsfree.language.replies import Call, Called, CallTogether
from handsfree.shell.tones import RATE_HZ, SOUNDS_FOLDER, SPARE_WORDS, spare_of, tone
from handsfree.shell.voice import Speech, check_length

Sound = npt.NDArray[np.float64]
FIRST_S = 0.5
FRAME = 512


def samples_of(urgency: Urgency) -> Sound:
    """The tone as numbers between -1 and 1."""
    return np.frombuffer(tone(urgency).samples, dtype="<i2").astype(np.float64) / 32768


@pytest.mark.parametrize("urgency", list(Urgency))
def test_a_tone_is_long_enough_and_where_it_is_heard(urgency: Urgency) -> None:
    assert tone(urgency).duration_s >= FIRST_S
    sound = samples_of(urgency)
    assert 0.5 < np.abs(sound).max() < 1.0
    power = np.abs(np.fft.rfft(sound)) ** 2
    pitch_hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    assert power[(pitch_hz >= 500) & (pitch_hz <= 3000)].sum() > 0.95 * power.sum()


def shop_noise(pick: np.random.Generator, length: int) -> Sound:
    """A machine: noise that falls with pitch, the hum of its motor, and hammer blows."""
    spectrum = np.fft.rfft(pick.standard_normal(length))
    pitch_hz = np.fft.rfftfreq(length, 1 / RATE_HZ)
    spectrum /= np.maximum(pitch_hz, 50.0) ** pick.uniform(0.0, 0.7)
    noise: Sound = np.fft.irfft(spectrum, length)
    noise /= noise.std()
    time_s = np.arange(length) / RATE_HZ
    motor_hz = pick.uniform(80.0, 800.0)
    for harmonic in range(1, 6):
        noise += np.sin(2 * np.pi * motor_hz * harmonic * time_s) / harmonic
    noise[pick.integers(0, length, 3)] += 20.0
    leveled: Sound = noise / noise.std()
    return leveled


def bands_of(sound: Sound) -> Sound:
    """How loud each pitch is at each time."""
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME) * np.hanning(FRAME)
    bands: Sound = np.abs(np.fft.rfft(frames, axis=1))
    return bands


def check_told_apart(pick: np.random.Generator) -> None:
    """A listener who knows the three tones names the right one from its first half second."""
    length = int(FIRST_S * RATE_HZ)
    known = {urgency: bands_of(samples_of(urgency)[:length]) for urgency in Urgency}
    for urgency in Urgency:
        sound = samples_of(urgency)[:length]
        noise = shop_noise(pick, length) * sound.std()  # As loud as the tone itself: 0 dB.
        heard = bands_of(sound + noise)
        likeness = {
            each: float((heard * bands).sum() / np.linalg.norm(bands))
            for each, bands in known.items()
        }
        assert max(likeness, key=lambda each: likeness[each]) is urgency


def test_the_tones_are_told_apart_in_noise_as_loud_as_they() -> None:
    pick = np.random.default_rng(7)
    for _ in range(50):
        check_told_apart(pick)


@pytest.mark.slow
def test_the_tones_are_told_apart_1000_times() -> None:
    pick = np.random.default_rng(8)
    for _ in range(1000):
        check_told_apart(pick)


def test_every_alarm_has_words_that_need_no_speech_engine() -> None:
    for called in Called:
        if URGENCY[called] is not Urgency.LOW:
            for percent in (90, 100):
                call = Call(called, 1, percent, 5, 0)
                assert spare_of(call).duration_s > 1.0
                assert spare_of(CallTogether((call,), 2, True)) == spare_of(call)
    for reply in (replies.NotSaved(), replies.RecordDamaged(1), replies.TimeInDoubt((), 0)):
        assert spare_of(reply).duration_s > 1.0


def test_the_words_fit_what_they_stand_for() -> None:
    def of(called: Called, percent: int = 0) -> object:
        return spare_of(Call(called, 1, percent, 5, 0))

    assert of(Called.POT_LIFE, 100) != of(Called.POT_LIFE, 90)
    assert of(Called.TAPE_INSIST) == of(Called.TAPE_LAST_CALL)
    assert of(Called.TAPE_INSIST) != of(Called.TIMER)


@pytest.mark.parametrize("name", sorted(SPARE_WORDS))
def test_the_files_are_as_long_as_their_words(name: str) -> None:

    path = Path(handsfree.__file__).parent / SOUNDS_FOLDER / f"{name}.flac"
    samples, rate_hz = soundfile.read(path, dtype="int16")
    check_length(Speech(samples.tobytes(), rate_hz), SPARE_WORDS[name])
    assert np.abs(samples).max() > 3000


def test_no_file_is_left_over() -> None:
    folder = Path(handsfree.__file__).parent / SOUNDS_FOLDER
    assert {path.stem for path in folder.iterdir()} == set(SPARE_WORDS)
