"""Renders the words that are played when there is no speech engine; run once when they change.

Usage: python -m tests.render_alarm_sounds
"""

from pathlib import Path

import numpy as np
import soundfile

import handsfree
from handsfree.shell.tones import SOUNDS_FOLDER, SPARE_WORDS
from handsfree.shell.voice import Voice


def main() -> None:
    """Writes one file for each alarm into the package."""
    folder = Path(handsfree.__file__).parent / SOUNDS_FOLDER
    folder.mkdir(exist_ok=True)
    with Voice() as voice:
        for name, words in SPARE_WORDS.items():
            speech = voice.render(words)
            samples = np.frombuffer(speech.samples, dtype="<i2")
            soundfile.write(folder / f"{name}.flac", samples, speech.rate_hz, subtype="PCM_16")


if __name__ == "__main__":
    main()
