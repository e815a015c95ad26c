"""The sound before a spoken alarm: one for each urgency, and words that need no speech engine."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

import handsfree
from handsfree.job.reminders import Urgency
from handsfree.language.replies import (
    Call,
    Called,
    CallTogether,
    NotSaved,
    RecordDamaged,
    Reply,
)
from handsfree.shell.voice import Speech

RATE_HZ = 22_050
# Pulses: start and length in seconds, and the pitch in hertz. All between 500 and 3000 Hz, where
# a warning carries best (from memory: guides for warning signals); no pitch is used twice and
# neighbors lie a fifth or more apart, and the rhythms differ within the first half second.
PULSES: dict[Urgency, tuple[tuple[float, float, float], ...]] = {
    Urgency.HIGH: tuple(
        (start, 0.08, pitch_hz)
        for start, pitch_hz in (
            (0.00, 1900.0),
            (0.10, 2600.0),
            (0.20, 1900.0),
            (0.30, 2600.0),
            (0.40, 1900.0),
            (0.50, 2600.0),
            (0.60, 1900.0),
            (0.70, 2600.0),
        )
    ),
    Urgency.MEDIUM: ((0.00, 0.20, 1100.0), (0.28, 0.20, 1100.0), (0.56, 0.20, 1100.0)),
    Urgency.LOW: ((0.00, 0.60, 620.0),),
}
LEVEL = 0.8  # Of full scale: a resampler must not clip it.
EDGE_S = 0.008  # Rise and fall of a pulse: without them it clicks over the whole spectrum.
# Where the words stand that are played when there is no speech engine.
SOUNDS_FOLDER = "sounds"
SPARE_WORDS = {
    "pot-life": "Cup. Pot life is running out. Look at the screen.",
    "pot-life-over": "Cup. Pot life is over. Do not use the rest.",
    "tape": "Tape. Pull the tape now.",
    "not-saved": "Not saved. Look at the screen.",
    "alarm": "Alarm. Look at the screen.",
}


def tone(urgency: Urgency) -> Speech:
    """The tone of an urgency; half a second or longer."""
    pulses = PULSES[urgency]
    length_s = max(start_s + pulse_s for start_s, pulse_s, _ in pulses)
    sound = np.zeros(int(length_s * RATE_HZ))
    for start_s, pulse_s, pitch_hz in pulses:
        pulse = _pulse(pulse_s, pitch_hz)
        start = int(start_s * RATE_HZ)
        sound[start : start + len(pulse)] += pulse[: len(sound) - start]
    return Speech((sound * LEVEL * 32767).astype("<i2").tobytes(), RATE_HZ)


def _pulse(length_s: float, pitch_hz: float) -> npt.NDArray[np.float64]:
    time_s = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    edge = np.minimum(1.0, np.minimum(time_s, length_s - time_s) / EDGE_S)
    pulse: npt.NDArray[np.float64] = np.sin(2 * np.pi * pitch_hz * time_s) * np.maximum(0.0, edge)
    return pulse


def spare_of(reply: Reply) -> Speech:
    """Words for an alarm from a file that came with the program.

    Raises:
        OSError: the file is missing; the program was not installed whole.
    """
    path = Path(handsfree.__file__).parent / SOUNDS_FOLDER / f"{_spare_name(reply)}.flac"
    try:
        samples, rate_hz = soundfile.read(path, dtype="int16")
    except soundfile.LibsndfileError as error:
        raise OSError(f"{path} cannot be played") from error
    return Speech(samples.astype("<i2").tobytes(), int(rate_hz))


def _spare_name(reply: Reply) -> str:
    match reply:
        case NotSaved() | RecordDamaged():
            return "not-saved"
        case CallTogether(calls, _, _):
            return _spare_name(calls[0])
        case Call(called=Called.POT_LIFE, percent=percent):
            return "pot-life-over" if percent >= 100 else "pot-life"
        case Call(called=Called.TAPE_ASK | Called.TAPE_INSIST | Called.TAPE_LAST_CALL):
            return "tape"
        case _:
            return "alarm"
