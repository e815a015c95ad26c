"""Spoken masses, temperatures, shares and lengths of time: a number with its unit.

Each reader gives every value the words may mean.

Grammar::

    mass = number [GRAM] | number KILO | whole KILO [and] below_thousand [GRAM]
    temperature = signed "degrees" ["celsius" | "fahrenheit"]
    percent = number "percent"
    duration = (number | "a" | "an") UNIT ["and a half"]
             | ["a"] ("half" | "quarter") ("an" | "of an") "hour" | "three quarters of an hour"
             | number "and a half" UNIT

A mass without a unit is in grams: it is what a bench scale shows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from handsfree.core.units import Amount, Kind, canonical
from handsfree.language.numbers import NUMBER_WORDS, Form, read_number, read_signed

GRAM_WORDS = frozenset({"gram", "grams"})
KILO_WORDS = frozenset({"kilo", "kilos", "kilogram", "kilograms"})
DEGREE_WORDS = frozenset({"degree", "degrees"})
SCALE_WORDS = frozenset({"celsius", "fahrenheit"})
TIME_UNITS: Mapping[str, timedelta] = {
    "second": timedelta(seconds=1),
    "seconds": timedelta(seconds=1),
    "minute": timedelta(minutes=1),
    "minutes": timedelta(minutes=1),
    "hour": timedelta(hours=1),
    "hours": timedelta(hours=1),
}
SHARES_OF_AN_HOUR: Mapping[str, timedelta] = {
    "half an hour": timedelta(minutes=30),
    "a half hour": timedelta(minutes=30),
    "quarter of an hour": timedelta(minutes=15),
    "a quarter of an hour": timedelta(minutes=15),
    "three quarters of an hour": timedelta(minutes=45),
}
DURATION_WORDS = NUMBER_WORDS | frozenset(TIME_UNITS) | {"an", "of", "half", "quarter", "quarters"}
TEMPERATURE_WORDS = NUMBER_WORDS | DEGREE_WORDS | SCALE_WORDS
MASS_WORDS = NUMBER_WORDS | GRAM_WORDS | KILO_WORDS

UNFINISHED_ENDINGS = frozenset({"point", "decimal", "and", "double", "triple", "minus", "a"})
"""A number that ends so was cut off: there is more to come, or some was lost."""


@dataclass(frozen=True)
class MassReading:
    """One mass that spoken words may mean."""

    grams: Fraction
    form: Form
    has_unit: bool  # A unit was spoken, so the number was heard to its end.


def read_mass(words: Sequence[str]) -> tuple[MassReading, ...]:
    """Every mass the words may mean, smallest first; empty when they are no mass.

    "one kilo fifty" may be 1,050 g or 1.50 kg and gives both; with "grams" behind it, or
    with three digits, it can only be 1,050 g.
    """
    words = tuple(words)
    if not words:
        return ()
    has_grams = words[-1] in GRAM_WORDS
    body = words[:-1] if has_grams else words
    kilos = [i for i, word in enumerate(body) if word in KILO_WORDS]
    if not kilos:
        return tuple(
            MassReading(reading.value, reading.form, has_grams) for reading in read_number(body)
        )
    if len(kilos) > 1:
        return ()
    before, after = body[: kilos[0]], body[kilos[0] + 1 :]
    if not after:
        if has_grams:
            return ()
        return tuple(
            MassReading(reading.value * 1000, reading.form, True) for reading in read_number(before)
        )
    return _kilos_and_grams(before, after, has_grams)


def _kilos_and_grams(
    before: Sequence[str], after: Sequence[str], has_grams: bool
) -> tuple[MassReading, ...]:
    joined = after[0] == "and"
    if joined:
        after = after[1:]
    found: dict[Fraction, MassReading] = {}
    for kilos in read_number(before):
        for grams in read_number(after):
            if kilos.decimals or grams.decimals or not 0 < grams.value < 1000:
                return ()
            values = [kilos.value * 1000 + grams.value]
            if not has_grams and not joined and grams.value < 100:
                tenths = 10 if grams.value >= 10 else 100
                values.append(kilos.value * 1000 + grams.value * tenths)
            for value in values:
                found.setdefault(value, MassReading(value, Form.CARDINAL, has_grams))
    return tuple(sorted(found.values(), key=lambda reading: reading.grams))


def read_temperature_c(words: Sequence[str]) -> tuple[Fraction, ...]:
    """Every temperature in degrees Celsius the words may mean; empty when they are none.

    "degrees" must be spoken: a bare number is a mass. Without a scale it is Celsius.
    """
    words = tuple(words)
    scale = words[-1] if words and words[-1] in SCALE_WORDS else "celsius"
    body = words[:-1] if words and words[-1] in SCALE_WORDS else words
    if not body or body[-1] not in DEGREE_WORDS:
        return ()
    unit = "degF" if scale == "fahrenheit" else "degC"
    return tuple(
        canonical(Amount(reading.value, unit), Kind.TEMPERATURE)
        for reading in read_signed(body[:-1])
    )


def read_percent(words: Sequence[str]) -> tuple[Fraction, ...]:
    """Every percentage the words may mean; "percent" must be spoken."""
    if not words or words[-1] != "percent":
        return ()
    return tuple(reading.value for reading in read_number(words[:-1]))


def read_duration(words: Sequence[str]) -> tuple[timedelta, ...]:
    """Every length of time the words may mean, above zero; the unit must be spoken.

    Halves and quarters are for hours: nobody measures a pour in them.
    """
    text = " ".join(words)
    if text in SHARES_OF_AN_HOUR:
        return (SHARES_OF_AN_HOUR[text],)
    extra = Fraction(0)
    body = tuple(words)
    if body[-3:] == ("and", "a", "half"):
        extra, body = Fraction(1, 2), body[:-3]
    elif len(body) > 4 and body[-4:-1] == ("and", "a", "half"):
        extra, body = Fraction(1, 2), (*body[:-4], body[-1])
    unit = TIME_UNITS.get(body[-1]) if body else None
    if unit is None:
        return ()
    if body[:-1] in {("a",), ("an",)}:
        values: tuple[Fraction, ...] = (Fraction(1),)
    else:
        values = tuple(reading.value for reading in read_number(body[:-1]))
    lengths = (float(value + extra) * unit for value in values)
    return tuple(length for length in lengths if length > timedelta())


def may_go_on(words: Sequence[str]) -> bool:
    """Whether the number may not be over yet, so that listening should go on a little.

    A number with its unit is over; a bare one may go on: "one zero four ... two".
    """
    return bool(words) and words[-1] in NUMBER_WORDS


def is_cut_off(words: Sequence[str]) -> bool:
    """Whether the words stop in the middle of a number, for example at "point"."""
    return bool(words) and words[-1] in UNFINISHED_ENDINGS
