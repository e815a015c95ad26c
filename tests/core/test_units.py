"""Units against the factors of NIST Special Publication 811 (2008), Appendix B."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.core.errors import NotAllowed, OutOfRange
from handsfree.core.units import CANONICAL, UNITS, Amount, Kind, canonical, converted, grams


def test_kilogram_is_exactly_a_thousand_grams() -> None:
    assert grams(Amount(Decimal(1), "kg")) == Fraction(1000)
    assert Amount(Decimal("1.191"), "kg").to_g() == Fraction(1191)


@given(
    number=st.fractions(min_value=1, max_value=500, max_denominator=1000),
    units=st.sampled_from([(a, b) for a in UNITS for b in UNITS if UNITS[a][0] is UNITS[b][0]]),
)
def test_there_and_back_changes_nothing(number: Fraction, units: tuple[str, str]) -> None:
    here, there = units
    assert converted(Amount(converted(Amount(number, here), there), there), here) == number


@pytest.mark.parametrize("unit", ["", "G", "gram", "g ", "ounce", "stone", "10 g", "g*9**9**9"])
def test_unit_outside_the_table_is_refused(unit: str) -> None:
    with pytest.raises(NotAllowed) as refusal:
        Amount(Decimal(1), unit)
    assert refusal.value.value == unit


def test_unit_of_another_kind_is_refused() -> None:
    with pytest.raises(NotAllowed):
        grams(Amount(Decimal(1), "ml"))
    with pytest.raises(NotAllowed):
        canonical(Amount(Decimal(1), "oz"), Kind.VOLUME)


@pytest.mark.parametrize("number", ["NaN", "sNaN", "Infinity", "-Infinity", "1e10", "-1e10"])
def test_number_that_is_not_finite_or_too_large_is_refused(number: str) -> None:
    with pytest.raises(OutOfRange):
        Amount(Decimal(number), "g")


def test_below_absolute_zero_is_refused() -> None:
    assert converted(Amount(Decimal("-459.67"), "degF"), "degC") == Fraction("-273.15")
    with pytest.raises(OutOfRange):
        converted(Amount(Decimal("-459.68"), "degF"), "degC")
    with pytest.raises(OutOfRange):
        converted(Amount(Decimal(-274), "degC"), "degF")


def test_signs_as_people_write_them() -> None:
    assert converted(Amount(Decimal(50), "°F"), "°C") == 10
    assert converted(Amount(Decimal(1), "mil"), "\u00b5m") == Fraction("25.4")
    assert converted(Amount(Decimal(1), "mil"), "\u03bcm") == Fraction("25.4")
    assert converted(Amount(Decimal(1), "m²"), "m2") == 1


def test_every_kind_has_a_canonical_unit() -> None:
    for kind in Kind:
        assert UNITS[CANONICAL[kind]][0] is kind
