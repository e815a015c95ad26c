"""Words to an intent, or to a reason with the words it concerns.

The whole utterance must parse. Nothing is repaired: a word outside the list or a word left
over means that the sentence was not understood, because the recognizer's list is only a bag
of words and other talk comes out of it as listed words.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import lru_cache

from handsfree.language.grammar import (
    COMPONENT_WORDS,
    CORRECTIONS,
    UNKNOWN_WORD,
    NotANumber,
    Row,
    expressions,
)
from handsfree.language.intents import Intent, TakeReading
from handsfree.language.numbers import NUMBER_WORDS
from handsfree.language.quantities import is_cut_off

ENDINGS = {"s": "is", "ve": "have", "m": "am", "re": "are", "ll": "will", "d": "would"}
LEADING_FILLERS = frozenset({"okay", "so", "now", "right", "well", "and", "just", "please", "then"})
TRAILING_FILLERS = frozenset({"please", "now", "thanks", "then"})
LONGEST_UTTERANCE_WORDS = 24
"""Longer than any sentence of the grammar; a radio goes on for longer."""


class Reason(Enum):
    """Why words were not understood."""

    SILENCE = "no words"
    UNKNOWN_WORDS = "some words are outside the list"
    TOO_LONG = "too many words"
    NUMBER_CUT_OFF = "the number stops in its middle"
    NOT_A_NUMBER = "the number words make no number"
    NO_SENTENCE = "the words make no sentence of the list"
    TWO_MEANINGS = "the words make two different sentences"


@dataclass(frozen=True)
class Misheard:
    """Words that were not understood, and what stood out in them."""

    reason: Reason
    words: tuple[str, ...]
    has_number: bool  # At least one number word was among them.
    has_component: bool  # A part was named.


@lru_cache(maxsize=1)
def _compiled() -> tuple[tuple[Row, re.Pattern[str]], ...]:
    return tuple((row, re.compile(expression)) for row, expression in expressions(spelled_out))


def spelled_out(words: Sequence[str]) -> tuple[str, ...]:
    """Contractions in full: "resin's at" is "resin is at", "i've" is "i have"."""
    out: list[str] = []
    for word in words:
        stem, _, ending = word.partition("'")
        out += [stem, ENDINGS[ending]] if stem and ending in ENDINGS else [word]
    return tuple(out)


def _without_fillers(words: tuple[str, ...]) -> tuple[str, ...]:
    """The sentence between words that carry no meaning, such as "okay" and "please"."""
    start, end = 0, len(words)
    while start < end and words[start] in LEADING_FILLERS:
        start += 1
    while end > start and words[end - 1] in TRAILING_FILLERS:
        end -= 1
    return words[start:end]


def parse(words: Sequence[str]) -> Intent | Misheard:
    """The one meaning of an utterance.

    Args:
        words: lower-case words as the recognizer or the keyboard gives them.

    Returns:
        The intent, or why there is none. A reading whose number has several values is an
        intent that carries them all.
    """
    words = tuple(words)
    if not words:
        return _misheard(Reason.SILENCE, words)
    if UNKNOWN_WORD in words:
        return _misheard(Reason.UNKNOWN_WORDS, words)
    if len(words) > LONGEST_UTTERANCE_WORDS:
        return _misheard(Reason.TOO_LONG, words)
    words = spelled_out(words)
    whole = _parse_sentence(words)
    if not isinstance(whole, Misheard):
        return whole
    bare = _without_fillers(words)
    if bare and bare != words:
        meaning = _parse_sentence(bare)
        if not isinstance(meaning, Misheard):
            return meaning
    return _parse_correction(words) or whole


def _parse_correction(words: tuple[str, ...]) -> TakeReading | None:
    """A reading that replaces what was said before it; None when it is no such thing."""
    starts = [len(c) for c in CORRECTIONS if words[: len(c)] == c]
    if "correction" in words:
        # "resin eight five six, correction, eight six five": only what follows counts.
        starts.append(len(words) - words[::-1].index("correction"))
    for start in sorted(starts, reverse=True):
        rest = _parse_sentence(_without_fillers(words[start:]))
        if isinstance(rest, TakeReading):
            return replace(rest, is_correction=True)
    return None


def _parse_sentence(words: tuple[str, ...]) -> Intent | Misheard:
    text = "".join(f"{word} " for word in words)
    found: list[Intent] = []
    bad_number: tuple[str, ...] | None = None
    for row, expression in _compiled():
        match = expression.fullmatch(text)
        if match is None:
            continue
        slots = {name: value.strip() for name, value in match.groupdict().items() if value}
        try:
            intent = row.build(slots)
        except NotANumber as error:
            bad_number = error.words
            continue
        if intent not in found:
            found.append(intent)
    if len(found) == 1:
        return found[0]
    if found:
        return _misheard(Reason.TWO_MEANINGS, words)
    if bad_number is not None:
        cut_off = is_cut_off(bad_number)
        return _misheard(Reason.NUMBER_CUT_OFF if cut_off else Reason.NOT_A_NUMBER, words)
    return _misheard(Reason.NO_SENTENCE, words)


def _misheard(reason: Reason, words: tuple[str, ...]) -> Misheard:
    text = f" {' '.join(words)} "
    return Misheard(
        reason,
        words,
        has_number=any(word in NUMBER_WORDS - {"a", "and"} for word in words),
        has_component=any(f" {phrase} " in text for phrase in COMPONENT_WORDS),
    )
