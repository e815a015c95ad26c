"""Recordings in files, as blocks of the sound the recognizer takes."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
import soxr

from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16

BLOCK_S = 0.1
SHORTEST_S = 0.2


class UnreadableSound(Exception):
    """The file cannot be used as sound; the message says why."""


def blocks_of(path: Path) -> Iterator[bytes]:
    """The recording as blocks of 16-bit little-endian mono sound at 16 kHz.

    Args:
        path: a WAV, FLAC or Ogg file of any rate, with any number of channels; the channels
            are averaged.

    Raises:
        UnreadableSound: no such file, not a sound file, or too short to hold a word.
    """
    if not path.is_file():
        raise UnreadableSound(f"There is no file {path}.")
    try:
        with soundfile.SoundFile(path) as sound:
            if len(sound) < SHORTEST_S * sound.samplerate:
                raise UnreadableSound(
                    f"{path} holds {len(sound) / sound.samplerate:.2f} s of sound, "
                    "too short for a word."
                )
            resampler = soxr.ResampleStream(
                sound.samplerate, SAMPLE_RATE_HZ, num_channels=1, dtype="float32"
            )
            block_frames = max(1, int(BLOCK_S * sound.samplerate))
            for block in sound.blocks(block_frames, dtype="float32", always_2d=True):
                yield pcm16(resampler.resample_chunk(block.mean(axis=1)))
            yield pcm16(resampler.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
    except soundfile.LibsndfileError as error:
        raise UnreadableSound(f"{path} is not a sound file that can be read.") from error
