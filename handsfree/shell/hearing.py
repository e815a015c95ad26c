"""The ear in a process of its own, which may crash or hang without harm to the clocks."""

from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random

from handsfree.language.grammar import (
    DANGER_SENTENCES,
    SOUND_LIKE_NUMBERS,
    WAKE_PHRASES,
    essential_words,
    example_phrases,
    vocabulary,
)
from handsfree.shell.child import Child
from handsfree.shell.ear import Attention, Ear, Lists, Utterance
from handsfree.shell.model_folder import check_model, known_words
from handsfree.shell.recognizer import Recognizer, WordList, word_list
from handsfree.shell.sound_format import BYTES_PER_SAMPLE, SAMPLE_RATE_HZ

EXAMPLE_PHRASES = 2_000
# The phrases are the same each time, so that the same sound gives the same words.
PHRASE_SEED = 1
WAKE_TIMES = 20  # How often a wake phrase counts against a sentence of danger. Judgement.
# What may be taken for a wake phrase or for danger, and what is said most: with a place of its
# own in the list it is not forced into one of the phrases.
DECOYS = (
    "yellow fellow hollow hey help bend bent french wrench branch bunch beach lesson "
    "listening missing system sister mission up cap cut spoken joking broken smoked the and okay "
    "yes no oh you what that it is was we have to be in of on for not this are as with one two "
    "three four five"
).split()
START_TIMEOUT_S = 20.0  # A slow disk and a cold cache; then something is wrong.
ANSWER_TIMEOUT_S = 5.0
# Sound sent ahead of the answers: less than a pipe holds, so that sending never blocks.
MOST_UNANSWERED_BYTES = SAMPLE_RATE_HZ * BYTES_PER_SAMPLE


class HearingLost(Exception):
    """The child process crashed or gave no answer in time."""


@dataclass(frozen=True)
class _Ready:
    """The model is loaded."""


@dataclass(frozen=True)
class _Failed:
    """The model could not be loaded."""

    message: str


@dataclass(frozen=True)
class _Heard:
    """One message was worked through."""

    taken_bytes: int
    utterances: tuple[Utterance, ...]


class Hearing:
    """Sound in, utterances out, by way of the child process.

    Use as a context manager. After ``HearingLost`` call ``start`` again.
    """

    def __init__(
        self,
        model_folder: Path,
        wake_phrases: tuple[str, ...] = (),
        products: tuple[str, ...] = (),
        *,
        keeps_sound: bool = False,
    ) -> None:
        """Takes what ``start`` will load.

        Args:
            model_folder: in Vosk's layout.
            wake_phrases: the user's own, beside the sentences of the grammar.
            products: names that may be said; one with a word that the model lacks is left out.
            keeps_sound: whether an utterance carries its sound.
        """
        self._model_folder = model_folder
        self._needed = {*essential_words(), *(w for p in wake_phrases for w in p.split())}
        self._child = Child(
            "recognizer", HearingLost, _listen, model_folder, wake_phrases, products, keeps_sound
        )
        self._unanswered_bytes = 0

    def __enter__(self) -> "Hearing":
        self.start()
        return self

    def __exit__(self, *_exception: object) -> None:
        self.stop()

    def start(self) -> None:
        """Starts the child and waits until it listens.

        Raises:
            ModelUnusable: the model folder cannot serve.
            HearingLost: the child could not load it, or died.
        """
        check_model(self._model_folder, self._needed)
        self._child.start()
        self._unanswered_bytes = 0
        first = self._child.receive(START_TIMEOUT_S)
        if isinstance(first, _Failed):
            self.stop()
            raise HearingLost(first.message)

    def stop(self) -> None:
        """Ends the child, whatever it is doing."""
        self._child.stop()

    @property
    def pid(self) -> int | None:
        """The child's process id; None when it is not running."""
        return self._child.pid

    def hear(self, block: bytes, attention: Attention = Attention.ALL) -> list[Utterance]:
        """Sends a block of sound and returns the utterances that have ended by now.

        Args:
            block: 16-bit little-endian mono sound at 16 kHz, at most one second.
            attention: what is listened for.

        Raises:
            HearingLost: the child crashed, or hangs.
        """
        self._send((block, attention), max(len(block), 1))
        ended: list[Utterance] = []
        while self._unanswered_bytes > MOST_UNANSWERED_BYTES or self._child.has_answer():
            ended += self._take_answer()
        return ended

    def finish(self) -> list[Utterance]:
        """The stream has ended: the utterances that are still open. A new stream may follow.

        Raises:
            HearingLost: the child crashed, or hangs.
        """
        self._send(None, 1)
        ended: list[Utterance] = []
        while self._unanswered_bytes:
            ended += self._take_answer()
        return ended

    def hear_all(self, blocks: Iterator[bytes]) -> Iterator[Utterance]:
        """The utterances of a whole stream, as they end."""
        for block in blocks:
            yield from self.hear(block)
        yield from self.finish()

    def _send(self, message: tuple[bytes, Attention] | None, counted_bytes: int) -> None:
        self._child.send(message)
        self._unanswered_bytes += counted_bytes

    def _take_answer(self) -> tuple[Utterance, ...]:
        answer = self._child.receive(ANSWER_TIMEOUT_S)
        assert isinstance(answer, _Heard)
        self._unanswered_bytes -= answer.taken_bytes
        return answer.utterances


def what_may_be_said(
    model_folder: Path, wake_phrases: tuple[str, ...] = (), products: tuple[str, ...] = ()
) -> WordList:
    """The recognizer's list: every word of the grammar that the model knows, and examples.

    Args:
        model_folder: in Vosk's layout.
        wake_phrases: the user's own.
        products: names that may be said.
    """
    known = known_words(model_folder) - SOUND_LIKE_NUMBERS
    phrases = [
        phrase
        for phrase in example_phrases(EXAMPLE_PHRASES, Random(PHRASE_SEED).randrange)
        if known.issuperset(phrase.split())
    ]
    named = [name for name in products if known.issuperset(name.split())]
    own_words = {word for phrase in (*wake_phrases, *named) for word in phrase.split()}
    words = known & {*vocabulary(), *own_words}
    # A wake phrase counts as often as the commonest commands do among the examples.
    own = [*wake_phrases * (EXAMPLE_PHRASES // 100), *(f"the product is {n}" for n in named)]
    return word_list(sorted(words), [*phrases, *own])


def lists_of(
    model_folder: Path, wake_phrases: tuple[str, ...] = (), products: tuple[str, ...] = ()
) -> Lists:
    """What may be said, awake and asleep; the arguments are those of ``what_may_be_said``."""
    known = known_words(model_folder)
    wake = [tuple(phrase.split()) for phrase in wake_phrases or WAKE_PHRASES]
    danger = [
        words for words in (tuple(s.split()) for s in DANGER_SENTENCES) if known.issuperset(words)
    ]
    decoys = sorted(known.intersection(DECOYS))
    phrases = [" ".join(words) for words in (*wake * WAKE_TIMES, *danger)]
    return Lists(
        what_may_be_said(model_folder, wake_phrases, products),
        word_list([*sorted({word for p in phrases for word in p.split()}), *decoys], phrases),
        frozenset(wake),
        frozenset(danger),
    )


def _listen(
    pipe: Connection,
    model_folder: Path,
    wake_phrases: tuple[str, ...],
    products: tuple[str, ...],
    keeps_sound: bool,
) -> None:
    """The child's whole life: loads the model, then answers each block of sound."""
    lists = lists_of(model_folder, wake_phrases, products)
    try:
        recognizer = Recognizer(model_folder)
    except RuntimeError as error:
        pipe.send(_Failed(str(error)))
        return
    pipe.send(_Ready())
    ear = Ear(recognizer, lists, keeps_sound=keeps_sound)
    while True:
        try:
            message = pipe.recv()
        except (EOFError, KeyboardInterrupt):
            return
        if message is None:
            ended = ear.finish()
            ear = Ear(recognizer, lists, keeps_sound=keeps_sound)
            pipe.send(_Heard(1, tuple(ended)))
        else:
            block, attention = message
            pipe.send(_Heard(max(len(block), 1), tuple(ear.hear(block, attention))))
