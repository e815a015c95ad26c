"""A number with the unit a person used, and the one place where units are converted.

Pint is handed numbers and unit names from the table below, never text from a person: its string
parser reads "10,5 g" as 105 g.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from functools import cache
from typing import Any

from handsfree.core.errors import NotAllowed, OutOfRange

# Nothing in one workshop is larger; it keeps every later product finite.
LARGEST = Fraction(10**9)
SMALLEST_TEMPERATURE_C = Fraction(-27315, 100)


class Kind(Enum):
    """What a unit measures; the value is the suffix of the canonical unit in our names."""

    MASS = "g"
    VOLUME = "ml"
    TEMPERATURE = "c"
    TEMPERATURE_DIFFERENCE = "k"
    LENGTH = "um"
    AREA = "m2"
    DENSITY = "g_per_ml"
    SPREADING_RATE = "m2_per_l"
    DURATION = "min"


# Our unit name, what it measures, and pint's name for it. An ounce of mass is "oz", of volume
# "US fl oz"; a bare "ounce" of liquid has no entry, so that it is asked.
UNITS: dict[str, tuple[Kind, str]] = {
    "g": (Kind.MASS, "gram"),
    "kg": (Kind.MASS, "kilogram"),
    "mg": (Kind.MASS, "milligram"),
    "oz": (Kind.MASS, "ounce"),
    "lb": (Kind.MASS, "pound"),
    "ml": (Kind.VOLUME, "milliliter"),
    "l": (Kind.VOLUME, "liter"),
    "US fl oz": (Kind.VOLUME, "US_fluid_ounce"),
    "US pint": (Kind.VOLUME, "US_pint"),
    "US qt": (Kind.VOLUME, "US_liquid_quart"),
    "US gal": (Kind.VOLUME, "US_liquid_gallon"),
    "degC": (Kind.TEMPERATURE, "degree_Celsius"),
    "degF": (Kind.TEMPERATURE, "degree_Fahrenheit"),
    "K difference": (Kind.TEMPERATURE_DIFFERENCE, "kelvin"),
    "degC difference": (Kind.TEMPERATURE_DIFFERENCE, "delta_degree_Celsius"),
    "degF difference": (Kind.TEMPERATURE_DIFFERENCE, "delta_degree_Fahrenheit"),
    "um": (Kind.LENGTH, "micrometer"),
    "mm": (Kind.LENGTH, "millimeter"),
    "cm": (Kind.LENGTH, "centimeter"),
    "m": (Kind.LENGTH, "meter"),
    "mil": (Kind.LENGTH, "thou"),
    "in": (Kind.LENGTH, "inch"),
    "ft": (Kind.LENGTH, "foot"),
    "m2": (Kind.AREA, "meter ** 2"),
    "ft2": (Kind.AREA, "foot ** 2"),
    "g/ml": (Kind.DENSITY, "gram / milliliter"),
    "kg/l": (Kind.DENSITY, "kilogram / liter"),
    "lb/US gal": (Kind.DENSITY, "pound / US_liquid_gallon"),
    "m2/l": (Kind.SPREADING_RATE, "meter ** 2 / liter"),
    "ft2/US gal": (Kind.SPREADING_RATE, "foot ** 2 / US_liquid_gallon"),
    "s": (Kind.DURATION, "second"),
    "min": (Kind.DURATION, "minute"),
    "h": (Kind.DURATION, "hour"),
    "d": (Kind.DURATION, "day"),
}
CANONICAL: dict[Kind, str] = {
    Kind.MASS: "g",
    Kind.VOLUME: "ml",
    Kind.TEMPERATURE: "degC",
    Kind.TEMPERATURE_DIFFERENCE: "K difference",
    Kind.LENGTH: "um",
    Kind.AREA: "m2",
    Kind.DENSITY: "g/ml",
    Kind.SPREADING_RATE: "m2/l",
    Kind.DURATION: "min",
}
# The same units as they may also be written.
ALIASES: dict[str, str] = {
    "°C": "degC",
    "°F": "degF",
    "µm": "um",  # U+00B5, the micro sign.
    "μm": "um",  # U+03BC, the Greek letter.
    "m²": "m2",
    "ft²": "ft2",
    "mL": "ml",
    "L": "l",
}


@dataclass(frozen=True)
class Amount:
    """A number and its unit, as a person gave them, so that they can be said back unchanged.

    Raises:
        NotAllowed: the unit is not in the table.
        OutOfRange: the number is not finite or beyond one thousand million.
    """

    number: Fraction | Decimal
    unit: str

    def __post_init__(self) -> None:
        kind_of(self.unit)
        # Ordering a decimal NaN raises, so it is asked first.
        is_finite = isinstance(self.number, Fraction) or self.number.is_finite()
        if not is_finite or not -LARGEST <= self.number <= LARGEST:
            raise OutOfRange("number", self.number, -LARGEST, LARGEST, self.unit)

    @property
    def kind(self) -> Kind:
        """What the amount measures."""
        return kind_of(self.unit)

    def to_g(self) -> Fraction:
        """The mass in grams; see grams()."""
        return grams(self)


def kind_of(unit: str) -> Kind:
    """What a unit measures. Raises NotAllowed for a unit that is not in the table."""
    entry = UNITS.get(ALIASES.get(unit, unit))
    if entry is None:
        raise NotAllowed("unit", unit, f"one of {', '.join(UNITS)}")
    return entry[0]


@cache
def registry() -> Any:
    """The one unit registry, with exact fractions; made when first needed, since it takes 0.3 s."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def pint_unit(unit: str) -> Any:
    """Pint's unit for a name of our table; only names from the table get this far."""
    return registry().Unit(UNITS[unit][1])


def converted(amount: Amount, unit: str) -> Fraction:
    """The amount's number in another unit of the same kind.

    Args:
        amount: what is converted.
        unit: the unit wanted, from the table.

    Returns:
        The number, exact: every factor in the table is exact by definition.

    Raises:
        NotAllowed: the unit is unknown or measures something else.
        OutOfRange: a temperature below absolute zero.

    Source:
        Factors are pint's, which follow the definitions in NIST SP 811, Appendix B
        (1 lb = 0.453 592 37 kg, 1 in = 2.54 cm, 1 US gal = 231 in3).
    """
    here, there = ALIASES.get(amount.unit, amount.unit), ALIASES.get(unit, unit)
    kind = kind_of(here)
    if kind_of(there) is not kind:
        same = ", ".join(name for name, (other, _) in UNITS.items() if other is kind)
        raise NotAllowed("unit", unit, f"one of {same}")
    number = Fraction(amount.number)
    if here != there:
        number = Fraction(
            registry().Quantity(number, pint_unit(here)).to(pint_unit(there)).magnitude
        )
    if kind is Kind.TEMPERATURE:
        in_c = number if there == "degC" else Fraction(number - 32) * Fraction(5, 9)
        if in_c < SMALLEST_TEMPERATURE_C:
            raise OutOfRange("temperature_c", in_c, SMALLEST_TEMPERATURE_C, LARGEST, "°C")
    return number


def canonical(amount: Amount, kind: Kind) -> Fraction:
    """The amount's number in the canonical unit of a kind, exact.

    Raises:
        NotAllowed: the amount measures something else.
        OutOfRange: a temperature below absolute zero.
    """
    return converted(amount, CANONICAL[kind])


def grams(amount: Amount) -> Fraction:
    """The mass in grams, exact. Raises NotAllowed when the amount is not a mass."""
    return canonical(amount, Kind.MASS)
