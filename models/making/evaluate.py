"""Word-exact scores of a model folder through the real recognizer, by set, noise and voice."""

from __future__ import annotations

import argparse
import collections
import json
import random
import resource
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .speech import RATE
from .texts import DIGITS, TEENS, TENS

COMMANDS = (
    "resin hardener part a b c scale reads reading we are at poured of grams gram kilos "
    "kilograms base yes no undo scratch that correction repeat help status mixed tape "
    "pulled how much long left total tare cancel stop timer reminder recoat batch new done "
    "cautions forecast"
).split()
NUMBERS = [
    *DIGITS, *TEENS, *TENS,
    *"oh nought naught hundred thousand point decimal and double triple half".split(),
]  # fmt: skip


def number_phrase(rng: random.Random) -> str:
    """A number as the command grammar takes it."""

    def digit() -> str:
        return rng.choice([*DIGITS, "oh"])

    def two() -> str:
        composed = rng.choice(TENS) + " " + rng.choice(DIGITS[1:])
        return rng.choice([composed, rng.choice(TEENS), rng.choice(TENS)])

    way = rng.random()
    if way < 0.4:
        return " ".join(digit() for _ in range(rng.randint(1, 4)))
    if way < 0.7:
        lead = rng.choice(["", "one thousand ", "two thousand ", "a thousand ", "three thousand "])
        tail = rng.choice([two(), rng.choice(DIGITS[1:]), ""])
        joiner = rng.choice(["and ", ""]) if tail else ""
        return f"{lead}{rng.choice([*DIGITS[1:], 'a'])} hundred {joiner}{tail}"
    if way < 0.8:
        return two() + " " + rng.choice([two(), "oh " + rng.choice(DIGITS[1:])])
    if way < 0.9:
        return rng.choice(DIGITS) + " point " + digit()
    return two() + " point " + rng.choice(DIGITS)


def phrases(count: int, seed: int = 3) -> list[str]:
    """Example phrases for the run-time list: Vosk makes a bigram model of them."""
    rng, out = random.Random(seed), []
    frames = ["resin {} {}", "hardener {} {}", "part a {} {}", "part b {} {}", "{} {}"]
    frames += ["scale reads {} {}", "reading {} {}", "we are at {} {}", "poured {} grams of resin"]
    frames += ["{} grams of hardener", "{} {}"]
    for _ in range(count):
        unit = rng.choice(["grams", "grams", "", "kilos", "kilograms"])
        out.append(" ".join(rng.choice(frames).format(number_phrase(rng), unit).split()))
    return out


def word_lists(sampled: int) -> dict[str, list[str]]:
    """Run-time lists: "full" for commands, "digits" for digit strings; [unk] in each."""
    rng = random.Random(4)
    digits = [" ".join(rng.choice(DIGITS) for _ in range(4)) for _ in range(300)]
    full = [*phrases(sampled), *sorted({*COMMANDS, *NUMBERS}), "[unk]"]
    return {"full": full, "digits": [*digits, *DIGITS, "oh", "[unk]"]}


@dataclass
class Score:
    """Counts of one set."""

    exact: int = 0
    rejected: int = 0  # Not exact, and [unk] in the result or nothing heard.
    wrong: int = 0
    seconds: float = 0.0
    cpu: float = 0.0
    by_voice: dict[str, list[int]] = field(default_factory=dict)
    bad: list[tuple[str, str]] = field(default_factory=list)

    @property
    def count(self) -> int:
        return self.exact + self.rejected + self.wrong

    def line(self, name: str) -> str:
        return (
            f"{name:34s} exact {self.exact}/{self.count} = {100 * self.exact / self.count:5.1f} %"
            f"  rejected {self.rejected:3d}  wrong {self.wrong:3d}"
            f"  RTF {self.cpu / self.seconds:.3f}"
        )


def mixed(
    sound: npt.NDArray[np.float32],
    noise: npt.NDArray[np.float32],
    snr_db: float,
    rng: np.random.Generator,
) -> npt.NDArray[np.float32]:
    """Sound with a random stretch of noise; the ratio counts samples above 2 % of the peak."""
    start = int(rng.integers(0, max(1, len(noise) - len(sound))))
    part = np.resize(noise[start:], len(sound))
    loud = np.abs(sound) > 0.02 * np.abs(sound).max()
    power = np.square(sound[loud]).mean() / (np.square(part).mean() + 1e-12)
    out = sound + part * np.sqrt(power) * 10 ** (-snr_db / 20)
    return np.asarray(out / max(1.0, np.abs(out).max()), np.float32)


def read_sound(path: Path) -> npt.NDArray[np.float32]:
    """One channel at RATE."""
    import soundfile
    import soxr

    sound, rate = soundfile.read(path, dtype="float32")
    sound = sound if sound.ndim == 1 else sound[:, 0]
    return np.asarray(sound if rate == RATE else soxr.resample(sound, rate, RATE), np.float32)


def read_set(folder: Path, every: int) -> list[tuple[npt.NDArray[np.float32], str, list[str]]]:
    """Sound, voice and words of each line of index.tsv (file, voice, words or digits, ...)."""
    rows = []
    for line in (folder / "index.tsv").read_text(encoding="utf-8").splitlines()[::every]:
        name, voice, said = line.split("\t")[:3]
        if not (folder / name).exists():
            continue
        sound = read_sound(folder / name)
        if said.isdigit():
            said = " ".join(DIGITS[int(digit)] for digit in said)
            quiet = np.zeros(RATE // 3, np.float32)
            sound = np.concatenate([quiet, sound, quiet])
        rows.append((sound, voice, said.lower().replace("-", " ").split()))
    return rows


def hear(model: Any, words: str, sound: npt.NDArray[np.float32]) -> list[str]:
    """What the recognizer makes of one utterance, fed in blocks of 0.2 s."""
    from vosk import KaldiRecognizer

    recognizer = KaldiRecognizer(model, RATE, words)
    data = (np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes()
    heard = [
        json.loads(recognizer.Result())["text"]
        for at in range(0, len(data), 6400)
        if recognizer.AcceptWaveform(data[at : at + 6400])
    ]
    heard.append(json.loads(recognizer.FinalResult())["text"])
    return " ".join(heard).split()


def score(
    model: Any,
    rows: Iterable[tuple[npt.NDArray[np.float32], str, list[str]]],
    words: Sequence[str],
    noise: npt.NDArray[np.float32] | None = None,
    snr_db: float = 0.0,
) -> Score:
    """Score one set, perhaps in noise."""
    out, rng, listed = Score(), np.random.default_rng(0), json.dumps(list(words))
    for clean, voice, said in rows:
        sound = clean if noise is None else mixed(clean, noise, snr_db, rng)
        begin = time.process_time()
        heard = hear(model, listed, sound)
        out.cpu += time.process_time() - begin
        out.seconds += len(sound) / RATE
        voice_count = out.by_voice.setdefault(voice, [0, 0])
        voice_count[1] += 1
        if heard == said:
            out.exact += 1
            voice_count[0] += 1
            continue
        if "[unk]" in heard or not heard:
            out.rejected += 1
        else:
            out.wrong += 1
        out.bad.append((" ".join(said), " ".join(heard)))
    return out


def confusions(bad: Iterable[tuple[str, str]]) -> collections.Counter[tuple[str, str]]:
    """Word pairs (said, heard) of wrong utterances with as many words heard as said."""
    pairs: collections.Counter[tuple[str, str]] = collections.Counter()
    for said, heard in bad:
        one, two = said.split(), heard.split()
        if len(one) == len(two):
            pairs.update((a, b) for a, b in zip(one, two, strict=True) if a != b)
    return pairs


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument("sets", nargs="+", help="FOLDER:LIST, LIST full or digits")
    parser.add_argument("--noise", type=Path, help="folder of noise recordings (.flac)")
    parser.add_argument("--snr", default="20,10,5", help="ratios in dB")
    parser.add_argument("--only", default="", help="noises by name, with commas")
    parser.add_argument("--every", type=int, default=1, help="take each Nth utterance")
    parser.add_argument("--phrases", type=int, default=2000)
    parser.add_argument("--voices", action="store_true", help="show each voice")
    parser.add_argument("--show", type=int, default=0, help="show so many errors of a set")
    chosen = parser.parse_args(arguments)
    from vosk import Model, SetLogLevel

    SetLogLevel(-1)
    begin = time.perf_counter()
    model = Model(str(chosen.model))
    print(f"load {time.perf_counter() - begin:.2f} s")
    lists = word_lists(chosen.phrases)
    noises: list[tuple[str, Any, float]] = [("clean", None, 0.0)]
    if chosen.noise:
        noises = [
            (f"{path.stem} {snr} dB", read_sound(path), float(snr))
            for path in sorted(chosen.noise.glob("*.flac"))
            if not chosen.only or path.stem in chosen.only.split(",")
            for snr in chosen.snr.split(",")
        ]
    every: collections.Counter[tuple[str, str]] = collections.Counter()
    for given in chosen.sets:
        folder, _, listed = given.rpartition(":")
        rows = read_set(Path(folder), chosen.every)
        for name, noise, snr in noises:
            result = score(model, rows, lists[listed], noise, snr)
            every.update(confusions(result.bad))
            print(result.line(f"{Path(folder).name}:{listed} {name}"), flush=True)
            if chosen.voices:
                print("   ", {v: f"{a}/{b}" for v, (a, b) in sorted(result.by_voice.items())})
            for said, heard in result.bad[: chosen.show]:
                print("    ", said, "|", heard)
    print("confusions", " ".join(f"{a}>{b}:{n}" for (a, b), n in every.most_common(14)))
    print(f"memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
