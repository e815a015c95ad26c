"""Spoken masses and temperatures."""

from fractions import Fraction

import pytest

from handsfree.language.quantities import (
    is_cut_off,
    may_go_on,
    read_mass,
    read_temperature_c,
)


def grams(words: str) -> list[Fraction]:
    return [mass.grams for mass in read_mass(words.split())]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("eight five six grams", [856]),
        ("eight five six", [856]),
        ("one gram", [1]),
        ("one point oh six two kilos", [1062]),
        ("two kilograms", [2000]),
        ("one kilo two hundred grams", [1200]),
        ("two kilos and fifty grams", [2050]),
        ("one kilo fifty", [1050, 1500]),
        ("one kilo two", [1002, 1200]),
        ("one kilo two hundred", [1200]),
        ("forty forty two grams", [42, 4042]),
    ],
)
def test_words_to_grams(words: str, expected: list[int]) -> None:
    assert grams(words) == expected


@pytest.mark.parametrize(
    "words",
    [
        "",
        "grams",
        "kilos",
        "two kilos grams",
        "one kilo two kilos",
        "half a kilo",
        "one point five kilos two grams",
        "one kilo one point five grams",
        "one kilo two thousand grams",
        "grams five",
        "five grams five",
    ],
)
def test_these_are_no_mass(words: str) -> None:
    assert grams(words) == []


def test_a_unit_shows_that_the_number_was_heard_to_its_end() -> None:
    assert read_mass("five grams".split())[0].has_unit
    assert not read_mass(["five"])[0].has_unit


@pytest.mark.parametrize(
    ("words", "celsius"),
    [
        ("two two degrees", 22),
        ("twenty two degrees celsius", 22),
        # NIST SP 811 (2008), B.8: t/°C = (t/°F - 32)/1.8.
        ("seventy seven degrees fahrenheit", 25),
        ("thirty two degrees fahrenheit", 0),
        ("minus five degrees", -5),
    ],
)
def test_words_to_celsius(words: str, celsius: int) -> None:
    assert read_temperature_c(words.split()) == (Fraction(celsius),)


@pytest.mark.parametrize("words", ["twenty two", "degrees", "celsius", "twenty two grams", ""])
def test_a_temperature_needs_its_degrees(words: str) -> None:
    assert read_temperature_c(words.split()) == ()


def test_an_open_number_may_go_on() -> None:
    assert may_go_on("resin one zero four".split())
    assert not may_go_on("resin one zero four grams".split())
    assert is_cut_off("resin one point".split())
    assert not is_cut_off("resin one".split())
    assert not is_cut_off([])
