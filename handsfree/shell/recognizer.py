"""Sound of one utterance to words, with Vosk and a list of what may be said.

Vosk ends the process on a malformed or empty list and on a list that changes in the middle
of an utterance, so only ``WordList`` makes lists here and each utterance gets a recognizer
of its own.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import vosk

from handsfree.language.grammar import UNKNOWN_WORD
from handsfree.shell.sound_format import SAMPLE_RATE_HZ


@dataclass(frozen=True)
class Decoded:
    """The words of one utterance, each with its confidence from 0 to 1."""

    words: tuple[str, ...]
    confidences: tuple[float, ...]


@dataclass(frozen=True)
class WordList:
    """What may be said, as the JSON text that Vosk takes; made by ``word_list`` alone."""

    json_text: str


def word_list(words: Iterable[str], phrases: Iterable[str]) -> WordList:
    """The run-time list: example phrases, every single word, and the unknown word.

    Vosk makes a bigram model of the entries, so the phrases teach it which words follow
    which; single words alone were measured to be much worse.

    Raises:
        ValueError: there is no word, or an entry is not lower-case words divided by single
            blanks (anything else would be dropped with a warning on stderr, or crash).
    """
    entries = [*phrases, *words]
    if not entries:
        raise ValueError("an empty word list would crash the recognizer")
    for entry in entries:
        parts = entry.split(" ")
        if not all(part and part.replace("'", "").isalpha() and part.islower() for part in parts):
            raise ValueError(f"not a phrase for the recognizer: {entry!r}")
    return WordList(json.dumps([*entries, UNKNOWN_WORD]))


class Recognizer:
    """A loaded model; one per process, since Vosk cannot change models."""

    def __init__(self, model_folder: Path) -> None:
        """Loads the model.

        Args:
            model_folder: checked beforehand with ``check_model``.

        Raises:
            RuntimeError: Vosk could not load it.
        """
        vosk.SetLogLevel(-1)
        try:
            # Always with a path: without one Vosk looks for models on the network.
            self._model = vosk.Model(str(model_folder))
        except Exception as error:  # Vosk raises nothing narrower.
            raise RuntimeError(f"Vosk could not load the model at {model_folder}") from error

    def utterance(self, words: WordList) -> "UtteranceDecoder":
        """A decoder for the next utterance."""
        return UtteranceDecoder(self._model, words)


class UtteranceDecoder:
    """Decodes one utterance: ``feed`` its sound, look at ``partial``, then ``finish``."""

    def __init__(self, model: vosk.Model, words: WordList) -> None:
        self._kaldi = vosk.KaldiRecognizer(model, SAMPLE_RATE_HZ, words.json_text)
        self._kaldi.SetWords(True)
        self._done: list[Decoded] = []

    def feed(self, sound: bytes) -> None:
        """Takes sound: 16-bit little-endian mono at 16 kHz, of any length."""
        # Vosk closes a part by itself at a long pause; the parts belong together here.
        if self._kaldi.AcceptWaveform(sound):
            self._done.append(_decoded(self._kaldi.Result()))

    def partial(self) -> tuple[str, ...]:
        """The words so far; they may still change."""
        done = tuple(word for part in self._done for word in part.words)
        now = json.loads(self._kaldi.PartialResult()).get("partial", "")
        return (*done, *now.split())

    def finish(self) -> Decoded:
        """The words of the whole utterance; nothing may be fed afterwards."""
        self._done.append(_decoded(self._kaldi.FinalResult()))
        return Decoded(
            tuple(word for part in self._done for word in part.words),
            tuple(conf for part in self._done for conf in part.confidences),
        )


def _decoded(result: str) -> Decoded:
    items = json.loads(result).get("result", [])
    return Decoded(
        tuple(item["word"] for item in items),
        tuple(float(item["conf"]) for item in items),
    )
