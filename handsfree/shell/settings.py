"""What is typed as key=value, and what is printed in return."""

import json
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import TypeAlias, TypeVar

from handsfree.core.errors import Missing, NotAllowed, Refusal
from handsfree.shell.cards import CardUnusable

PLAIN_NUMBER = re.compile(r"[+-]?[0-9]{1,12}(?:\.[0-9]{1,12})?")

CAUTION = "The label, the safety data sheet and local rules come first."

# A result: what --json prints, and the same in sentences.
Answer: TypeAlias = tuple[Mapping[str, object], Sequence[str]]

AnyEnum = TypeVar("AnyEnum", bound=Enum)


@dataclass(frozen=True)
class Settings:
    """The values of one command, still as text, each under its key."""

    values: Mapping[str, str]

    def has(self, key: str) -> bool:
        """Whether the key was given."""
        return key in self.values

    def text(self, key: str, needed_for: str) -> str:
        """The value as it was typed. Raises Missing."""
        if key not in self.values:
            raise Missing(key, needed_for)
        return self.values[key]

    def exact(self, key: str, needed_for: str) -> Fraction:
        """The value as an exact number. Raises Missing, or NotAllowed when it is no number."""
        return plain_number(key, self.text(key, needed_for))

    def number(self, key: str, needed_for: str) -> float:
        """The value as a float. Raises Missing, or NotAllowed when it is no number."""
        return float(self.exact(key, needed_for))

    def exact_or_none(self, key: str) -> Fraction | None:
        """The value as an exact number, None when it is not given. Raises NotAllowed."""
        return plain_number(key, self.values[key]) if key in self.values else None

    def number_or(self, key: str, default: float) -> float:
        """The value as a float, or a default. Raises NotAllowed when it is no number."""
        exact = self.exact_or_none(key)
        return default if exact is None else float(exact)

    def choice_or(self, key: str, default: AnyEnum) -> AnyEnum:
        """The enumeration's member whose value or name was typed, or a default."""
        members = type(default).__members__
        if key not in self.values:
            return default
        typed = self.values[key]
        for name, member in members.items():
            if typed in (member.value, name.lower().replace("_", " ")):
                return member
        names = ", ".join(name.lower().replace("_", " ") for name in members)
        raise NotAllowed(key, typed, f"one of {names}")


def settings_from(arguments: Sequence[str], allowed: Sequence[str]) -> Settings:
    """Settings from arguments of the form key=value.

    Raises:
        NotAllowed: another form, a key that is not allowed, or a key given twice.
    """
    values: dict[str, str] = {}
    for argument in arguments:
        key, equals, value = argument.partition("=")
        if not equals:
            raise NotAllowed("argument", argument, "key=value")
        if key not in allowed:
            raise NotAllowed("key", key, f"one of {', '.join(allowed)}")
        if key in values:
            raise NotAllowed(key, value, "one value for each key")
        values[key] = value.strip()
    return Settings(values)


def plain_number(field: str, text: str) -> Fraction:
    """A number as a person types it, exact: digits with a decimal point, no comma, no exponent.

    Raises:
        NotAllowed: anything else.
    """
    if not PLAIN_NUMBER.fullmatch(text.strip()):
        raise NotAllowed(field, text, "a plain number such as 12 or 0.5")
    return Fraction(text.strip())


def print_answer(answer: Callable[[], Answer], *, as_json: bool) -> int:
    """Prints an answer and returns 0, or prints its refusal on standard error and returns 2."""
    try:
        found, sentences = answer()
    except (Refusal, CardUnusable) as refusal:
        print(refusal, file=sys.stderr)
        return 2
    if as_json:
        print(json.dumps(found, allow_nan=False, ensure_ascii=False))
    else:
        print("\n".join(sentences))
    return 0
