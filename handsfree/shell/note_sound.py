"""The sound of a note, kept beside the record where the user asked for it."""

from pathlib import Path

import numpy as np

from handsfree.shell.sound_format import SAMPLE_RATE_HZ


class SoundNotKept(Exception):
    """The sound could not be written; the message says why."""


def keep_sound(folder: Path, name: str, sound: bytes) -> Path:
    """Writes a FLAC file and returns its path.

    Args:
        folder: of the record.
        name: as it stands in the record.
        sound: 16-bit little-endian mono at 16 kHz.

    Raises:
        SoundNotKept: there is no sound, or it cannot be written.
    """
    import soundfile

    if not sound:
        raise SoundNotKept(f"there is no sound for {name}: the note was typed")
    path = folder / name
    try:
        with path.open("xb") as file:
            samples = np.frombuffer(sound, dtype="<i2")
            soundfile.write(file, samples, SAMPLE_RATE_HZ, format="FLAC")
    except (OSError, soundfile.LibsndfileError) as error:
        raise SoundNotKept(f"the sound of the note was not kept in {path}: {error}") from error
    return path
