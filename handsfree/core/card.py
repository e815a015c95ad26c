"""What a product card says, checked once when it is read from TOML text."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType
from typing import TypeVar

from handsfree.core.conditions import Limits
from handsfree.core.coverage import FilmSheet
from handsfree.core.cure import CureTable, Stage
from handsfree.core.errors import CardInvalid, Refusal
from handsfree.core.mix import (
    LARGEST_DENSITY_G_PER_ML,
    LEAST_DENSITY_G_PER_ML,
    Basis,
    MixRatio,
    Tolerance,
    parse_ratio,
)
from handsfree.core.potlife import LabelPotLife, Method

FORMAT = 1
# A card is a page; anything larger is no card. The line limit also bounds the time the TOML
# parser takes: a dotted key of 40 kB takes it seconds.
LARGEST_BYTES, LARGEST_KEYS, LARGEST_LINE, LARGEST_DEPTH = 65_536, 50, 400, 4
LARGEST_TABLE = 8  # Temperatures in the cure table.

NAME = re.compile(r"[A-Za-z][A-Za-z0-9 '-]{0,39}")
PLAIN_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
SECTION_LINE = re.compile(r"\s*\[\s*([A-Za-z0-9_.-]+)\s*\]")
KEY_LINE = re.compile(r"\s*([A-Za-z0-9_.-]+)\s*=")
TOML_LINE = re.compile(r"at line ([0-9]+)")

AnyEnum = TypeVar("AnyEnum", bound=Enum)


class Origin(Enum):
    """Where a card's field came from."""

    LABEL = "label"
    DATA_SHEET = "data_sheet"
    GUESS = "guess"


@dataclass(frozen=True)
class ProductCard:
    """One product. What the card does not say is None, and the feature that needs it refuses."""

    name: str  # As it is spoken.
    invented: bool
    note: str
    ratio: MixRatio
    resin_g_per_ml: Fraction | None
    hardener_g_per_ml: Fraction | None
    tolerance: Tolerance
    pot_life: LabelPotLife | None
    film: FilmSheet | None
    limits: Limits | None
    cure: CureTable | None
    origins: Mapping[str, Origin]  # By key, such as "mix.ratio", or by section.

    def origin_of(self, key: str) -> Origin | None:
        """Where a field came from: its own entry, else its section's, else not stated."""
        return self.origins.get(key, self.origins.get(key.partition(".")[0]))


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
        if key not in self.values:
            return CardInvalid(key, "missing", None, allowed)
        return CardInvalid(key, written(self.values[key]), self.lines.get(key), allowed)

    def has_section(self, section: str) -> bool:
        return any(key.startswith(section + ".") for key in self.values)

    def text(self, key: str, allowed: str, longest: int = 200) -> str:
        value = self.values.get(key)
        if not isinstance(value, str) or len(value) > longest or not value.isprintable():
            raise self.invalid(key, allowed)
        return value

    def choice(self, key: str, kind: type[AnyEnum]) -> AnyEnum:
        allowed = " or ".join(f'"{member.value}"' for member in kind)
        text = self.text(key, allowed)
        for member in kind:
            if member.value == text:
                return member
        raise self.invalid(key, allowed)

    def flag(self, key: str) -> bool:
        value = self.values.get(key)
        if not isinstance(value, bool):
            raise self.invalid(key, "true or false")
        return value

    def number(self, key: str, low: Fraction | int, high: Fraction | int) -> Fraction:
        number = plain_number(self.values.get(key))
        if number is None or not low <= number <= high:
            raise self.invalid(key, f"a plain number from {float(low):g} to {float(high):g}")
        return number

    def number_or(self, key: str, low: int, high: int, default: Fraction) -> Fraction:
        return self.number(key, low, high) if key in self.values else default

    def numbers(
        self, key: str, low: Fraction | int, high: Fraction | int, counts: range
    ) -> tuple[Fraction, ...]:
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
        first, second = self.numbers(key, low, high, range(2, 3))
        if first > second:
            raise self.invalid(key, "the smaller number first")
        return float(first), float(second)


def read_card(text: str) -> ProductCard:
    """A product card from its TOML text.

    Args:
        text: the whole file, up to 64 KiB; template.toml explains every key.

    Raises:
        CardInvalid: names the key, what stands there, its line, and what is allowed.
    """
    card = fields_of(text)
    card.number("format", FORMAT, FORMAT)
    name = card.text("name", "up to 40 letters, digits, spaces, hyphens, starting with a letter")
    if not NAME.fullmatch(name):
        raise card.invalid("name", "up to 40 letters, digits, spaces, hyphens")
    basis = card.choice("mix.by", Basis)
    densities = [
        card.number(key, LEAST_DENSITY_G_PER_ML, LARGEST_DENSITY_G_PER_ML)
        if key in card.values
        else None
        for key in ("mix.resin_g_per_ml", "mix.hardener_g_per_ml")
    ]
    return ProductCard(
        name=name,
        invented=card.flag("invented"),
        note=card.text("note", "up to 200 characters on one line") if "note" in card.values else "",
        ratio=ratio_of(card, basis),
        resin_g_per_ml=densities[0],
        hardener_g_per_ml=densities[1],
        tolerance=tolerance_of(card),
        pot_life=pot_life_of(card),
        film=film_of(card),
        limits=limits_of(card),
        cure=cure_of(card),
        origins=origins_of(card),
    )


def ratio_of(card: Fields, basis: Basis) -> MixRatio:
    allowed = 'a ratio such as "7:1", "100:44" or "14.3 phr", between 1:20 and 20:1'
    text = card.text("mix.ratio", allowed, longest=40)
    try:
        return parse_ratio(text, basis)
    except Refusal as refusal:
        raise card.invalid("mix.ratio", allowed) from refusal


def tolerance_of(card: Fields) -> Tolerance:
    if "mix.tolerance_percent" not in card.values:
        return Tolerance()
    percents = card.numbers("mix.tolerance_percent", Fraction(1, 10), 50, range(3, 4))
    if list(percents) != sorted(percents):
        raise card.invalid("mix.tolerance_percent", "three numbers that do not fall")
    return Tolerance(*(percent / 100 for percent in percents))


def pot_life_of(card: Fields) -> LabelPotLife | None:
    if not card.has_section("pot_life"):
        return None
    return LabelPotLife(
        minutes=float(card.number("pot_life.minutes", 1, 1440)),
        test_g=float(card.number("pot_life.test_g", 1, 100_000)),
        test_c=float(card.number("pot_life.test_c", 0, 60)),
        method=card.choice("pot_life.method", Method),
        induction_minutes=float(
            card.number_or("pot_life.induction_minutes", 0, 240, default=Fraction())
        ),
    )


def film_of(card: Fields) -> FilmSheet | None:
    if not card.has_section("film"):
        return None
    least_um, largest_um = card.rising_pair("film.dft_um", 5, 5000)
    coats = card.number("film.coats", 1, 10)
    if coats.denominator != 1:
        raise card.invalid("film.coats", "a whole number from 1 to 10")
    return FilmSheet(
        volume_solids_percent=float(card.number("film.volume_solids_percent", 1, 100)),
        least_dft_um=least_um,
        largest_dft_um=largest_um,
        coats=int(coats),
    )


def limits_of(card: Fields) -> Limits | None:
    if not card.has_section("limits"):
        return None
    least_air_c, largest_air_c = card.rising_pair("limits.air_c", -20, 60)
    least_surface_c, largest_surface_c = card.rising_pair("limits.surface_c", -20, 60)
    return Limits(
        least_air_c=least_air_c,
        largest_air_c=largest_air_c,
        least_surface_c=least_surface_c,
        largest_surface_c=largest_surface_c,
        largest_humidity_percent=float(card.number("limits.humidity_percent", 1, 100)),
        dew_margin_k=float(card.number("limits.dew_margin_k", 1, 20)),
    )


def cure_of(card: Fields) -> CureTable | None:
    if not card.has_section("cure"):
        return None
    surface_c = card.numbers("cure.surface_c", -10, 60, range(1, LARGEST_TABLE + 1))
    if any(second <= first for first, second in pairwise(surface_c)):
        raise card.invalid("cure.surface_c", "temperatures that rise")
    hours: dict[Stage, tuple[float, ...]] = {}
    for stage in Stage:
        key = f"cure.{stage.value}_h"
        if key not in card.values:
            continue
        row = card.numbers(key, Fraction(1, 10), 10_000, range(len(surface_c), len(surface_c) + 1))
        if any(second > first for first, second in pairwise(row)):
            raise card.invalid(key, "hours that do not rise as it gets warmer")
        hours[stage] = tuple(float(hour) for hour in row)
    if not hours:
        raise CardInvalid("cure", "a table without a row", None, "at least one key ending in _h")
    for earlier, later in IN_ORDER:
        if any(b < a for a, b in zip(hours.get(earlier, ()), hours.get(later, ()), strict=False)):
            raise card.invalid(f"cure.{later.value}_h", f"no hours before {earlier.value}_h")
    return CureTable(
        surface_c=tuple(float(c) for c in surface_c),
        hours=MappingProxyType(hours),
        least_c=float(card.number("cure.least_c", -10, 60)),
    )


# No coat is ready for the second before it is ready for the first.
IN_ORDER = (
    (Stage.RECOAT_OPENS, Stage.RECOAT_CLOSES),
    (Stage.TACK_FREE, Stage.HANDLE),
    (Stage.HANDLE, Stage.USE),
    (Stage.HANDLE, Stage.FULL_CURE),
    (Stage.SAND, Stage.FULL_CURE),
    (Stage.USE, Stage.FULL_CURE),
)


def origins_of(card: Fields) -> Mapping[str, Origin]:
    origins: dict[str, Origin] = {}
    sections = {key.partition(".")[0] for key in KEYS if "." in key} - {"source"}
    for origin in Origin:
        key = f"source.{origin.value}"
        listed = card.values.get(key, [])
        allowed = "a list of keys or sections, each in one list, such as 'mix.ratio' or 'cure'"
        if not isinstance(listed, list):
            raise card.invalid(key, allowed)
        for entry in listed:
            known = isinstance(entry, str) and (entry in KEYS or entry in sections)
            if not known or entry in origins:
                raise card.invalid(key, allowed)
            origins[entry] = origin
    return MappingProxyType(origins)


KEYS = frozenset(
    {
        "format",
        "name",
        "invented",
        "note",
        "mix.ratio",
        "mix.by",
        "mix.resin_g_per_ml",
        "mix.hardener_g_per_ml",
        "mix.tolerance_percent",
        *(f"pot_life.{field.name}" for field in fields(LabelPotLife)),
        "film.volume_solids_percent",
        "film.dft_um",
        "film.coats",
        "limits.air_c",
        "limits.surface_c",
        "limits.humidity_percent",
        "limits.dew_margin_k",
        "cure.surface_c",
        "cure.least_c",
        *(f"cure.{stage.value}_h" for stage in Stage),
        *(f"source.{origin.value}" for origin in Origin),
    }
)


def fields_of(text: str) -> Fields:
    """The card's values by full key; refuses what is no TOML, too large, or an unknown key."""
    if len(text.encode("utf-8", "replace")) > LARGEST_BYTES:
        raise CardInvalid("", "a file over 64 KiB", None, "up to 64 KiB")
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LARGEST_LINE:
            raise CardInvalid(
                "", f"{len(line)} characters", number, f"up to {LARGEST_LINE} in one line"
            )
    try:
        tree = tomllib.loads(text, parse_float=number_from_toml)
    except (ValueError, RecursionError) as error:
        found = TOML_LINE.search(str(error))
        line_number = int(found[1]) if found else None
        raise CardInvalid("", f"not TOML ({error})", line_number, "TOML") from error
    values = dict(flattened(tree))
    if len(values) > LARGEST_KEYS:
        raise CardInvalid("", f"{len(values)} keys", None, f"up to {LARGEST_KEYS} keys")
    card = Fields(values, lines_of(text))
    for key in values:
        if key not in KEYS:
            raise card.invalid(key, "a key that template.toml explains")
    return card


def flattened(
    tree: Mapping[str, object], prefix: str = "", depth: int = 1
) -> Iterator[tuple[str, object]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            if depth == LARGEST_DEPTH:
                raise CardInvalid(prefix + key, "a section", None, "sections one level deep")
            yield from flattened(value, f"{prefix}{key}.", depth + 1)
        else:
            yield prefix + key, value


def lines_of(text: str) -> dict[str, int]:
    lines: dict[str, int] = {}
    prefix = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if found := SECTION_LINE.match(line):
            prefix = found[1] + "."
        elif found := KEY_LINE.match(line):
            lines.setdefault(prefix + found[1], number)
    return lines


def number_from_toml(text: str) -> Decimal | OddNumber:
    # An exponent is refused, since 1e-999999 would take the exact arithmetic for ever.
    return Decimal(text) if PLAIN_NUMBER.fullmatch(text) else OddNumber(text)


def plain_number(value: object) -> Fraction | None:
    # In Python true is an int, in a card it is not.
    if isinstance(value, int | Decimal) and not isinstance(value, bool):
        return Fraction(value)
    return None


def written(value: object) -> str:
    match value:
        case bool():
            return str(value).lower()
        case OddNumber(text):
            return text
        case list():
            return "[" + ", ".join(written(entry) for entry in value[:8]) + "]"
        case str():
            return repr(value[:60])
        case _:
            return str(value)[:60]
