"""Whether a microphone hears a person, and the loudspeaker; what to do where it does not."""

import math
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsfree.job.reminders import Urgency
from handsfree.language.tryout_wording import SoundVerdict
from handsfree.shell.capture import BLOCK_S
from handsfree.shell.ear import CLIPPED_SHARE, FULL_SCALE, SOUNDING_SHARE
from handsfree.shell.hear import CLEAR_SNR_DB
from handsfree.shell.microphone import Microphone, MicrophoneLost
from handsfree.shell.noise import FLOOR_DB, level_db
from handsfree.shell.sound_format import BYTES_PER_SAMPLE, SAMPLE_RATE_HZ, samples_of
from handsfree.shell.speaker import Output
from handsfree.shell.tones import PULSES, tone

BLOCK_BYTES = int(BLOCK_S * SAMPLE_RATE_HZ) * BYTES_PER_SAMPLE
# Of 24 shipped readings made softer, with the noise of the last bit, as many as ever are heard
# right down to 40 dB below full scale, 21 at 50 dB, 15 at 60 dB and 2 at 65 dB.
TOO_QUIET_DB = -45.0
# The tone in white noise of -10 dB has 5.4 at least, in a shop's deeper noise 7. Of 600 stretches
# of noise none had more than 2.1, of 100 with hammer blows none 4; a steady hum at the tone's own
# pitches has 1.6 (measured 2026-11-25; tests/shell/test_sound_check.py does it again).
HEARD_RATIO = 4.0
ELSEWHERE_PERCENTILE = 90
BESIDE_HZ = 300.0
SILENCE_S, VOICE_S = 3.0, 5.0  # Measured for so long; a person takes a second to begin.
SETTLE_S, TAIL_S = 0.3, 2.0  # Before the tone, and for its way through devices and room.


@dataclass(frozen=True)
class Levels:
    """What a microphone gave, first in silence and then while somebody spoke; dB of full scale."""

    noise_db: float
    speech_db: float  # Of the blocks that sound, as a mean of powers.
    clipped_share: float  # Of the samples spoken.
    is_muted: bool  # Nothing but zeros.

    @property
    def snr_db(self) -> float:
        """Speech over noise, as a ratio of powers; minus infinity where nobody spoke."""
        over = _power(self.speech_db) - _power(self.noise_db)
        return 10 * math.log10(over / _power(self.noise_db)) if over > 0 else -math.inf

    @property
    def shown(self) -> str:
        """The levels for people."""
        return f"voice {self.speech_db:.0f} dB, noise {self.noise_db:.0f} dB of full scale"

    @property
    def verdict(self) -> SoundVerdict:
        """The one thing to mend first."""
        if self.is_muted:
            return SoundVerdict.MUTED
        if self.clipped_share > CLIPPED_SHARE:
            return SoundVerdict.CLIPPED
        if self.speech_db < TOO_QUIET_DB:
            return SoundVerdict.TOO_QUIET
        if self.snr_db < CLEAR_SNR_DB:
            return SoundVerdict.NOISY
        return SoundVerdict.FINE


@dataclass(frozen=True)
class ToneFound:
    """What became of a tone that was played."""

    is_heard: bool
    ratio: float  # The best match over the others; see HEARD_RATIO.
    delay_s: float  # From the start of the sound to the start of the tone in it.


def levels_of(silence: bytes, speech: bytes) -> Levels:
    """The levels of two stretches of 16-bit mono sound at 16 kHz."""
    quiet = [level_db(block) for block in _blocks(silence)]
    powers = np.array([_power(level_db(block)) for block in _blocks(speech)] or [_power(FLOOR_DB)])
    sounding = powers[powers >= SOUNDING_SHARE * powers.max()]
    samples = np.abs(np.frombuffer(speech, dtype="<i2").astype(np.int32))
    return Levels(
        float(np.median(quiet)) if quiet else FLOOR_DB,
        float(10 * np.log10(sounding.mean())),
        float(np.mean(samples >= FULL_SCALE)) if len(samples) else 0.0,
        not any(silence) and not any(speech),
    )


def record(
    microphone: Microphone, length_s: float, on_open: Callable[[], None] = lambda: None
) -> bytes:
    """The next stretch of a microphone's sound.

    It is opened anew: sound that waited unread, up to ten seconds of it, is not of now. A stall
    that is taken for the end of the device is got over once.

    Args:
        microphone: any state.
        length_s: of the stretch.
        on_open: called when it listens, to tell the person: opening may take seconds.

    Raises:
        MicrophoneLost, NoSoundDevice: the device has gone.
    """
    microphone.open()
    on_open()
    try:
        return _stretch(microphone, length_s)
    except MicrophoneLost:
        microphone.open()
        return _stretch(microphone, length_s)


def _stretch(microphone: Microphone, length_s: float) -> bytes:
    sound = b""
    while len(sound) < length_s * SAMPLE_RATE_HZ * BYTES_PER_SAMPLE:
        sound += microphone.read(BLOCK_S) or b""
    return sound


def hear_alarm_tone(
    microphone: Microphone, output: Output, on_trouble: Callable[[str], None]
) -> ToneFound:
    """Plays the tone of an urgent alarm and looks for it in the microphone's sound.

    Args:
        microphone: open.
        output: plays it.
        on_trouble: told why the tone could not be played.

    Raises:
        MicrophoneLost, NoSoundDevice: the microphone has gone.
    """
    sound_of_alarm = tone(Urgency.HIGH)

    def play() -> None:
        try:
            output.play(sound_of_alarm, lambda: False)
        except Exception as error:  # A device may raise whatever its driver does.
            on_trouble(str(error))

    microphone.open()  # As in ``record``, but before the tone starts.
    player = threading.Timer(SETTLE_S, play)
    player.start()
    try:
        sound = _stretch(microphone, SETTLE_S + sound_of_alarm.duration_s)
        # A loudspeaker takes its time to open, on a busy machine seconds.
        while player.is_alive():
            sound += microphone.read(BLOCK_S) or b""
        sound += _stretch(microphone, TAIL_S)
    finally:
        player.join()
    return find_alarm_tone(sound)


def find_alarm_tone(sound: bytes) -> ToneFound:
    """Looks for the tone of an urgent alarm in sound, whatever its loudness.

    At every shift each pulse is compared with the sound by its share there: the magnitude at its
    pitch over its length, against all that sounds in the band. A quarter of the pulses may be
    missing. A blow has little of its energy at the right pitches, a steady hum as much at one
    shift as at another; only the tone itself stands out at one.

    Args:
        sound: 16-bit mono at 16 kHz, at least twice as long as the tone.
    """
    heard = samples_of(sound).astype(np.float64)
    pulses = PULSES[Urgency.HIGH]
    length = round(max(start_s + pulse_s for start_s, pulse_s, _ in pulses) * SAMPLE_RATE_HZ)
    shifts = len(heard) - length
    if shifts < length or not np.any(heard):
        return ToneFound(is_heard=False, ratio=0.0, delay_s=0.0)
    heard = _in_band(heard)
    shares = []
    for start_s, pulse_s, pitch_hz in pulses:
        share = _share(heard, pitch_hz, round(pulse_s * SAMPLE_RATE_HZ))
        start = round(start_s * SAMPLE_RATE_HZ)
        shares.append(share[start : start + shifts])
    # A quarter of the pulses may be worse than this one.
    worst = len(pulses) // 4
    match = np.partition(np.array(shares), worst, axis=0)[worst]
    best = int(np.argmax(match))
    # Close by, the tone overlaps with itself.
    apart = np.abs(np.arange(shifts) - best) > length // 2
    elsewhere = float(np.percentile(match[apart], ELSEWHERE_PERCENTILE))
    ratio = float(match[best]) / elsewhere if elsewhere > 0 else math.inf
    return ToneFound(ratio >= HEARD_RATIO, ratio, best / SAMPLE_RATE_HZ)


def _in_band(samples: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The sound around the pitches of the tone: what is below is most of a shop's noise."""
    pitches_hz = [pitch_hz for _, _, pitch_hz in PULSES[Urgency.HIGH]]
    spectrum = np.fft.rfft(samples)
    frequencies_hz = np.fft.rfftfreq(len(samples), 1 / SAMPLE_RATE_HZ)
    is_outside = (frequencies_hz < min(pitches_hz) - BESIDE_HZ) | (
        frequencies_hz > max(pitches_hz) + BESIDE_HZ
    )
    spectrum[is_outside] = 0
    return np.fft.irfft(spectrum, len(samples))


def _share(
    samples: npt.NDArray[np.float64], pitch_hz: float, length: int
) -> npt.NDArray[np.float64]:
    """The magnitude at a pitch over so many samples from each one on (a sliding DFT), 0 to 1."""
    turning = np.exp(-2j * np.pi * pitch_hz / SAMPLE_RATE_HZ * np.arange(len(samples)))
    magnitude = np.abs(_sliding_sum(samples * turning, length))
    energy = _sliding_sum(samples**2, length).real
    # A whole number of periods of a sine has the magnitude sqrt(energy * length / 2). The last
    # bit of the samples is the least energy there is.
    least = length / FULL_SCALE**2
    share: npt.NDArray[np.float64] = magnitude / np.sqrt((energy + least) * length / 2)
    return share


def _sliding_sum(
    values: npt.NDArray[np.complex128] | npt.NDArray[np.float64], length: int
) -> npt.NDArray[np.complex128]:
    sums = np.concatenate(([0j], np.cumsum(values)))
    return sums[length:] - sums[:-length]


def _blocks(sound: bytes) -> Iterator[bytes]:
    for at in range(0, len(sound) - BLOCK_BYTES + 1, BLOCK_BYTES):
        yield sound[at : at + BLOCK_BYTES]


def _power(db: float) -> float:
    return float(10 ** (db / 10))
