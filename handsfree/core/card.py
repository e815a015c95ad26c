"""What a product card says, checked once when it is read from TOML text."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import Enum
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType

from handsfree.core.card_fields import Fields, fields_of
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
from handsfree.core.potlife import (
    LARGEST_BATCH_G,
    LARGEST_C,
    LARGEST_LABEL_MINUTES,
    LEAST_C,
    LEAST_LABEL_MINUTES,
    LEAST_TEST_G,
    LabelPotLife,
    Method,
)

FORMAT = 1
LARGEST_TABLE = 8  # Temperatures in the cure table.

NAME = re.compile(r"[A-Za-z][A-Za-z0-9 '-]{0,39}")


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


def read_card(text: str) -> ProductCard:
    """A product card from its TOML text.

    Args:
        text: the whole file, up to 64 KiB; template.toml explains every key.

    Raises:
        CardInvalid: names the key, what stands there, its line, and what is allowed.
    """
    card = fields_of(text, KEYS)
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
        ratio=_ratio_of(card, basis),
        resin_g_per_ml=densities[0],
        hardener_g_per_ml=densities[1],
        tolerance=_tolerance_of(card),
        pot_life=_pot_life_of(card),
        film=_film_of(card),
        limits=_limits_of(card),
        cure=_cure_of(card),
        origins=_origins_of(card),
    )


def _ratio_of(card: Fields, basis: Basis) -> MixRatio:
    allowed = 'a ratio such as "7:1", "100:44" or "14.3 phr", between 1:20 and 20:1'
    text = card.text("mix.ratio", allowed, longest=40)
    try:
        return parse_ratio(text, basis)
    except Refusal as refusal:
        raise card.invalid("mix.ratio", allowed) from refusal


def _tolerance_of(card: Fields) -> Tolerance:
    if "mix.tolerance_percent" not in card.values:
        return Tolerance()
    percents = card.numbers("mix.tolerance_percent", Fraction(1, 10), 50, range(3, 4))
    if list(percents) != sorted(percents):
        raise card.invalid("mix.tolerance_percent", "three numbers that do not fall")
    return Tolerance(*(percent / 100 for percent in percents))


def _pot_life_of(card: Fields) -> LabelPotLife | None:
    if not card.has_section("pot_life"):
        return None
    return LabelPotLife(
        minutes=float(card.number("pot_life.minutes", LEAST_LABEL_MINUTES, LARGEST_LABEL_MINUTES)),
        test_g=float(card.number("pot_life.test_g", LEAST_TEST_G, LARGEST_BATCH_G)),
        test_c=float(card.number("pot_life.test_c", LEAST_C, LARGEST_C)),
        method=card.choice("pot_life.method", Method),
        induction_minutes=float(
            card.number_or("pot_life.induction_minutes", 0, 240, default=Fraction())
        ),
    )


def _film_of(card: Fields) -> FilmSheet | None:
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


def _limits_of(card: Fields) -> Limits | None:
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


def _cure_of(card: Fields) -> CureTable | None:
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


def _origins_of(card: Fields) -> Mapping[str, Origin]:
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


class Feature(Enum):
    """What a card lets the assistant do."""

    WEIGH = "weighing the hardener"
    LITERS = "grams from liters or an area"
    POT_LIFE = "the pot life clock"
    AREA = "amounts from an area"
    CONDITIONS = "the card's own limits of air and surface"
    TAPE = "when tape comes off and the tacky check"
    RECOAT = "the recoat window"
    READY = "ready to handle, sand and use, and full cure"


def missing_for(card: ProductCard) -> Mapping[Feature, tuple[str, ...]]:
    """The keys or sections a card lacks, by the feature that needs them.

    Args:
        card: as read_card returns it.

    Returns:
        Only the features that lack something.
    """
    densities = [
        name
        for name, value in (
            ("mix.resin_g_per_ml", card.resin_g_per_ml),
            ("mix.hardener_g_per_ml", card.hardener_g_per_ml),
        )
        if value is None
    ]
    rows = {} if card.cure is None else card.cure.hours
    lacking = {
        Feature.WEIGH: densities if card.ratio.basis is Basis.VOLUME else [],
        Feature.LITERS: densities,
        Feature.POT_LIFE: [] if card.pot_life is not None else ["pot_life"],
        Feature.AREA: [] if card.film is not None else ["film"],
        Feature.CONDITIONS: [] if card.limits is not None else ["limits"],
        Feature.TAPE: _row_keys_missing(rows, Stage.TACK_FREE),
        Feature.RECOAT: _row_keys_missing(rows, Stage.RECOAT_OPENS, Stage.RECOAT_CLOSES),
        Feature.READY: _row_keys_missing(
            rows, Stage.HANDLE, Stage.SAND, Stage.USE, Stage.FULL_CURE
        ),
    }
    return {feature: tuple(keys) for feature, keys in lacking.items() if keys}


def _row_keys_missing(rows: Mapping[Stage, tuple[float, ...]], *stages: Stage) -> list[str]:
    return [f"cure.{stage.value}_h" for stage in stages if stage not in rows]
