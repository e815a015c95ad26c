"""A small notation for sentences: one row both recognizes and makes them.

Notation: words; ``[a b]`` may be left out; ``(a|b c)`` is one of; ``{name}`` is a slot.
A pattern compiles to a regular expression over words that each end in one blank, and can
be expanded into example sentences.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

Pick = Callable[[int], int]
"""Chooses one of n: given n, returns 0 to n - 1."""

_TOKEN = re.compile(r"\s*([\[\]()|]|\{[a-z_]+\}|[a-z']+)")


@dataclass(frozen=True)
class Word:
    """One word, as the recognizer writes it."""

    text: str


@dataclass(frozen=True)
class Slot:
    """A place for words that have a grammar of their own, such as a mass."""

    name: str


@dataclass(frozen=True)
class Choice:
    """One of several sequences; one of them may be empty."""

    options: tuple["Sequence_", ...]


Sequence_ = tuple[Word | Slot | Choice, ...]


@lru_cache(maxsize=1024)
def parse_pattern(text: str) -> Sequence_:
    """The pattern as a tree.

    Raises:
        ValueError: a bracket is not closed or a character is not of the notation.
    """
    tokens: list[str] = []
    at = 0
    stripped = text.strip()
    while at < len(stripped):
        match = _TOKEN.match(stripped, at)
        if match is None:
            raise ValueError(f"pattern {text!r}: unexpected {stripped[at:]!r}")
        tokens.append(match.group(1))
        at = match.end()
    options, rest = _options(tokens, 0)
    if rest != len(tokens) or len(options) != 1:
        raise ValueError(f"pattern {text!r}: brackets do not match")
    return options[0]


def _options(tokens: Sequence[str], at: int) -> tuple[list[Sequence_], int]:
    options: list[Sequence_] = []
    current: list[Word | Slot | Choice] = []
    while at < len(tokens) and tokens[at] not in "])":
        token = tokens[at]
        at += 1
        if token == "|":
            options.append(tuple(current))
            current = []
        elif token in "[(":
            inner, at = _options(tokens, at)
            if at >= len(tokens) or tokens[at] != {"[": "]", "(": ")"}[token]:
                raise ValueError(f"pattern {' '.join(tokens)!r}: brackets do not match")
            at += 1
            current.append(Choice((*inner, ()) if token == "[" else tuple(inner)))
        elif token.startswith("{"):
            current.append(Slot(token[1:-1]))
        else:
            current.append(Word(token))
    options.append(tuple(current))
    return options, at


def regex_of(
    pattern: Sequence_,
    slots: Mapping[str, str],
    spelled_out: Callable[[Sequence[str]], tuple[str, ...]] = tuple,
) -> str:
    """A regular expression for words that each end in one blank.

    Args:
        pattern: from ``parse_pattern``.
        slots: for each slot name the expression of what may stand there.
        spelled_out: writes contractions in full; by default words stay as they are.
    """
    parts = []
    for item in pattern:
        match item:
            case Word(text):
                parts += [f"{re.escape(word)} " for word in spelled_out([text])]
            case Slot(name):
                parts.append(f"(?P<{name}>{slots[name]})")
            case Choice(options):
                parts.append(
                    "(?:"
                    + "|".join(regex_of(option, slots, spelled_out) for option in options)
                    + ")"
                )
    return "".join(parts)


def words_of(pattern: Sequence_) -> Iterator[str]:
    """Every fixed word of the pattern."""
    for item in pattern:
        match item:
            case Word(text):
                yield text
            case Choice(options):
                for option in options:
                    yield from words_of(option)
            case Slot():
                pass


def example_of(pattern: Sequence_, slots: Mapping[str, Callable[[Pick], str]], pick: Pick) -> str:
    """One sentence of the pattern, its choices made by ``pick``."""
    parts = []
    for item in pattern:
        match item:
            case Word(text):
                parts.append(text)
            case Slot(name):
                parts.append(slots[name](pick))
            case Choice(options):
                parts.append(example_of(options[pick(len(options))], slots, pick))
    return " ".join(part for part in parts if part)
