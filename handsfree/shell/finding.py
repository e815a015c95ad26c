"""One thing that ``handsfree check`` looked at."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum


class Verdict(Enum):
    """How it stands."""

    OK = "ok"
    NOTE = "note"  # It works, but not everything does, or not for long.
    PROBLEM = "problem"  # Nothing goes on before this is mended.


@dataclass(frozen=True)
class Finding:
    """What was found of one thing."""

    name: str  # Holds nothing private.
    verdict: Verdict
    text: str  # What it is, or what is wrong and what to do.
    public: str = ""  # The part of the text that may stand in a report that others read.


def ok(name: str, text: str, public: str | None = None) -> Finding:
    """All is well; the text is public unless another one is given."""
    return Finding(name, Verdict.OK, text, text if public is None else public)


def note(name: str, text: str, public: str = "") -> Finding:
    """Something that is good to know."""
    return Finding(name, Verdict.NOTE, text, public)


def problem(name: str, text: str, public: str = "") -> Finding:
    """Something that must be mended."""
    return Finding(name, Verdict.PROBLEM, text, public)


def tried(
    name: str,
    look: Callable[[], Finding],
    troubles: tuple[type[Exception], ...],
    otherwise: Callable[[str, str, str], Finding] = problem,
) -> Finding:
    """What looking gave, or its known trouble; of that only the kind is public."""
    try:
        return look()
    except troubles as error:
        return otherwise(name, str(error), type(error).__name__)
