"""Another recognizer on the same recordings: pocketsphinx with the digits or the commands.

Its English model comes with its package.  A grammar of any number of listed words stands in for
Vosk's run-time list.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from .evaluate import COMMANDS, NUMBERS, Score, read_set
from .speech import RATE, SpeechError
from .texts import DIGITS


def score(folder: Path, words: Sequence[str], every: int) -> Score:
    """Score one set; a word that the package's dictionary lacks is left out of the grammar."""
    try:
        import pocketsphinx
    except ImportError as missing:
        raise SpeechError("pocketsphinx is missing: pip install pocketsphinx") from missing
    decoder = pocketsphinx.Decoder(samprate=RATE, lm=None, loglevel="FATAL")
    known = [word for word in words if decoder.lookup_word(word)]
    grammar = f"#JSGF V1.0; grammar g; public <g> = ({' | '.join(known)})+;"
    decoder.add_jsgf_string("g", grammar)
    decoder.activate_search("g")
    out = Score()
    for sound, voice, said in read_set(folder, every):
        begin = time.process_time()
        decoder.start_utt()
        decoder.process_raw((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes(), full_utt=True)
        decoder.end_utt()
        heard = decoder.hyp().hypstr.split() if decoder.hyp() else []
        out.cpu += time.process_time() - begin
        out.seconds += len(sound) / RATE
        out.exact += heard == said
        out.rejected += not heard
        out.wrong += heard != said and bool(heard)
        counts = out.by_voice.setdefault(voice, [0, 0])
        counts[0] += heard == said
        counts[1] += 1
    return out


def main(arguments: Sequence[str] | None = None) -> int:
    """The command: ``python -m models.making.peers FOLDER:LIST ...``."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:LIST, LIST full or digits")
    parser.add_argument("--every", type=int, default=1, help="take each Nth utterance")
    chosen = parser.parse_args(arguments)
    lists = {"full": sorted({*COMMANDS, *NUMBERS}), "digits": [*DIGITS, "oh"]}
    for given in chosen.sets:
        folder, _, listed = given.rpartition(":")
        print(
            score(Path(folder), lists[listed], chosen.every).line(f"{Path(folder).name} {listed}")
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
