"""TOML text from a stranger, turned into values of known keys with the line each stands on."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from typing import TypeVar

from handsfree.core.errors import CardInvalid

# A card is a page; anything larger is no card. The line limit also bounds the time the TOML
# parser takes: a dotted key of 40 kB takes it seconds.
LARGEST_BYTES, LARGEST_KEYS, LARGEST_LINE, LARGEST_DEPTH = 65_536, 50, 400, 4
PLAIN_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
SECTION_LINE = re.compile(r"\s*\[\s*([A-Za-z0-9_.-]+)\s*\]")
KEY_LINE = re.compile(r"\s*([A-Za-z0-9_.-]+)\s*=")
TOML_LINE = re.compile(r"at line ([0-9]+)")

AnyEnum = TypeVar("AnyEnum", bound=Enum)


@dataclass(frozen=True)
class OddNumber:
    """A TOML number that is not plain: infinite, not a number, or with an exponent."""

    text: str


@dataclass(frozen=True)
class Fields:
    """A card's values by full key, with the line each stands on."""

    values: Mapping[str, object]
    lines: Mapping[str, int]

    def invalid(self, key: str, allowed: str) -> CardInvalid:
        """The refusal of what stands at a key, or of its absence."""
        if key not in self.values:
            return CardInvalid(key, "missing", None, allowed)
        return CardInvalid(key, _written(self.values[key]), self.lines.get(key), allowed)

    def has_section(self, section: str) -> bool:
        """Whether any key of a section is given."""
        return any(key.startswith(section + ".") for key in self.values)

    def text(self, key: str, allowed: str, longest: int = 200) -> str:
        """Printable text on one line. Raises CardInvalid for anything else."""
        value = self.values.get(key)
        if not isinstance(value, str) or len(value) > longest or not value.isprintable():
            raise self.invalid(key, allowed)
        return value

    def choice(self, key: str, kind: type[AnyEnum]) -> AnyEnum:
        """One of an enumeration's values. Raises CardInvalid for anything else."""
        allowed = " or ".join(f'"{member.value}"' for member in kind)
        text = self.text(key, allowed)
        for member in kind:
            if member.value == text:
                return member
        raise self.invalid(key, allowed)

    def flag(self, key: str) -> bool:
        """True or false. Raises CardInvalid for anything else, 1 and 0 included."""
        value = self.values.get(key)
        if not isinstance(value, bool):
            raise self.invalid(key, "true or false")
        return value

    def number(self, key: str, low: Fraction | float, high: Fraction | float) -> Fraction:
        """A plain number within limits, exact. Raises CardInvalid for anything else."""
        number = plain_number(self.values.get(key))
        if number is None or not low <= number <= high:
            raise self.invalid(key, f"a plain number from {float(low):g} to {float(high):g}")
        return number

    def number_or(self, key: str, low: int, high: int, default: Fraction) -> Fraction:
        """As number, or the default when the key is missing."""
        return self.number(key, low, high) if key in self.values else default

    def numbers(
        self, key: str, low: Fraction | float, high: Fraction | float, counts: range
    ) -> tuple[Fraction, ...]:
        """A list of plain numbers within limits. Raises CardInvalid for anything else."""
        size = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
        allowed = f"a list of {size} plain numbers from {float(low):g} to {float(high):g}"
        value = self.values.get(key)
        if not isinstance(value, list) or len(value) not in counts:
            raise self.invalid(key, allowed)
        numbers = [plain_number(entry) for entry in value]
        kept = tuple(n for n in numbers if n is not None and low <= n <= high)
        if len(kept) != len(value):
            raise self.invalid(key, allowed)
        return kept

    def rising_pair(self, key: str, low: int, high: int) -> tuple[float, float]:
        """Two plain numbers, the smaller first. Raises CardInvalid for anything else."""
        first, second = self.numbers(key, low, high, range(2, 3))
        if first > second:
            raise self.invalid(key, "the smaller number first")
        return float(first), float(second)


def fields_of(text: str, allowed_keys: frozenset[str]) -> Fields:
    """A card's values by full key, such as "mix.ratio".

    Args:
        text: TOML, up to 64 KiB.
        allowed_keys: the full keys there may be.

    Raises:
        CardInvalid: it is no TOML, too large, or has a key that is not allowed.
    """
    card = fields_in(text)
    for key in card.values:
        if key not in allowed_keys:
            raise card.invalid(key, "a key that template.toml explains")
    return card


def fields_in(text: str) -> Fields:
    """The values of a TOML text by full key, whatever the keys are.

    Args:
        text: TOML, up to 64 KiB.

    Raises:
        CardInvalid: it is no TOML, or too large.
    """
    if len(text.encode("utf-8", "replace")) > LARGEST_BYTES:
        raise CardInvalid("", "a file over 64 KiB", None, "up to 64 KiB")
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LARGEST_LINE:
            raise CardInvalid(
                "", f"{len(line)} characters", number, f"up to {LARGEST_LINE} in one line"
            )
    try:
        tree = tomllib.loads(text, parse_float=_number_from_toml)
    except (ValueError, RecursionError) as error:
        found = TOML_LINE.search(str(error))
        line_number = int(found[1]) if found else None
        raise CardInvalid("", f"not TOML ({error})", line_number, "TOML") from error
    values = dict(_flattened(tree))
    if len(values) > LARGEST_KEYS:
        raise CardInvalid("", f"{len(values)} keys", None, f"up to {LARGEST_KEYS} keys")
    return Fields(values, _lines_of(text))


def _flattened(
    tree: Mapping[str, object], prefix: str = "", depth: int = 1
) -> Iterator[tuple[str, object]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            if depth == LARGEST_DEPTH:
                raise CardInvalid(prefix + key, "a section", None, "sections one level deep")
            yield from _flattened(value, f"{prefix}{key}.", depth + 1)
        else:
            yield prefix + key, value


def _lines_of(text: str) -> dict[str, int]:
    lines: dict[str, int] = {}
    prefix = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if found := SECTION_LINE.match(line):
            prefix = found[1] + "."
        elif found := KEY_LINE.match(line):
            lines.setdefault(prefix + found[1], number)
    return lines


def _number_from_toml(text: str) -> Decimal | OddNumber:
    # An exponent is refused, since 1e-999999 would take the exact arithmetic for ever.
    return Decimal(text) if PLAIN_NUMBER.fullmatch(text) else OddNumber(text)


def plain_number(value: object) -> Fraction | None:
    """A number out of a TOML text, exact; None for anything else."""
    # In Python true is an int, in a card it is not.
    if isinstance(value, int | Decimal) and not isinstance(value, bool):
        return Fraction(value)
    return None


def _written(value: object) -> str:
    match value:
        case bool():
            return str(value).lower()
        case OddNumber(text):
            return text
        case list():
            return "[" + ", ".join(_written(entry) for entry in value[:8]) + "]"
        case str():
            return repr(value[:60])
        case _:
            return str(value)[:60]
