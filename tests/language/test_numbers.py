"""Spoken numbers, checked against two independent libraries and by round trip."""

from fractions import Fraction

import pytest
from num2words import num2words
from text_to_num import text2num

from handsfree.language.numbers import (
    Form,
    decimal_text,
    read_number,
    read_signed,
    say_cardinal,
    say_digits,
    sound_alike_values,
    spoken_forms,
)


def values(words: str) -> list[Fraction]:
    return [reading.value for reading in read_number(words.split())]


def library_words(value: int) -> str:
    """The words num2words writes, without its punctuation."""
    return str(num2words(value)).replace("-", " ").replace(",", "")


def test_every_spoken_form_of_every_value_reads_back() -> None:
    # A form may be ambiguous, but never without its value among the readings.
    for value in range(10_000):
        for form in spoken_forms(value):
            assert value in values(form), (value, form)


def test_only_repeated_pairs_are_ambiguous() -> None:
    for value in range(10_000):
        for form in spoken_forms(value):
            if len(values(form)) > 1:
                high, low = divmod(value, 100)
                assert values(form) == [low, value], (value, form)
                assert str(low).startswith(str(high)) or high // 10 == low // 10


def test_cardinals_agree_with_num2words() -> None:
    # num2words writes British style: "one thousand, two hundred and thirty-four".
    for value in range(10_000):
        words = library_words(value)
        assert values(words) == [value], (value, words)
        assert say_cardinal(value, joiner="and") == words


def test_cardinals_agree_with_text2num() -> None:
    # text2num documents cardinals with and without "and"; digit strings it refuses.
    for value in range(0, 100_000, 7):
        for joiner in ("", "and"):
            words = say_cardinal(value, joiner=joiner)
            assert text2num(words, "en") == value
            assert values(words) == [value]


def test_no_value_is_read_from_another_values_cardinal() -> None:
    for value in range(10_000):
        assert values(library_words(value)) == [value]


TABLE = [
    pytest.param("one zero six two", [1062], id="digits"),
    pytest.param("one oh six two", [1062], id="oh"),
    pytest.param("one nought six two", [1062], id="nought"),
    pytest.param("ten sixty two", [1062], id="pair"),
    pytest.param("three sixty five", [365], id="hundreds-pair"),
    pytest.param("thirty two oh eight", [3208], id="pair-with-oh"),
    pytest.param("one oh four", [104], id="digits-not-decimal"),
    pytest.param("one hundred four", [104], id="american"),
    pytest.param("one hundred and four", [104], id="british"),
    pytest.param("a thousand and sixty two", [1062], id="a-thousand"),
    pytest.param("ten hundred and sixty two", [1062], id="ten-hundred"),
    pytest.param("fourteen hundred", [1400], id="fourteen-hundred"),
    pytest.param("nineteen eighty four", [1984], id="year-like"),
    pytest.param("double four", [44], id="double"),
    pytest.param("one triple five", [1555], id="triple"),
    pytest.param("niner fife tree fower", [9534], id="icao"),
    pytest.param("forty forty two", [42, 4042], id="slip-put-right"),
    pytest.param("twenty twenty", [20, 2020], id="twice-or-pair"),
    pytest.param("zero", [0], id="zero"),
    pytest.param("one point zero four two", [Fraction("1.042")], id="decimal"),
    pytest.param("one decimal oh four two", [Fraction("1.042")], id="decimal-oh"),
    pytest.param("one four point two", [Fraction("14.2")], id="digits-point"),
    pytest.param("three hundred sixty five point five", [Fraction("365.5")], id="cardinal-point"),
    pytest.param("point five", [Fraction("0.5")], id="bare-point"),
    pytest.param("nought point five", [Fraction("0.5")], id="nought-point"),
]


@pytest.mark.parametrize(("words", "expected"), TABLE)
def test_words_to_values(words: str, expected: list[Fraction]) -> None:
    assert values(words) == expected


NO_NUMBER = [
    "",
    "a",
    "and",
    "hundred",
    "thousand",
    "one hundred and",
    "one point",
    "point",
    "one point two point three",
    "one point forty two",
    "one point double two",
    "one point one two three four five",
    "zero zero seven",
    "oh four two",
    "twenty one two",
    "one two sixty two",
    "forty two forty two forty two",
    "double",
    "double double four",
    "triple twenty",
    "seven teen",
    "for two",
    "two to one",
    "minus two",
    "one two three four five six",
    "one hundred two hundred",
    "one thousand one thousand",
    "one thousand twelve hundred",
    "a one hundred",
    "one a hundred",
    "and one hundred",
    "one hundred hundred",
    "twenty zero",
    "ten five",
    "resin five",
]


@pytest.mark.parametrize("words", NO_NUMBER)
def test_these_are_no_number(words: str) -> None:
    # word2number reads several of these as sums (its documented behavior is to add).
    assert values(words) == []


def test_form_tells_how_it_was_spoken() -> None:
    assert read_number("one zero six two".split())[0].form is Form.DIGITS
    assert read_number("ten sixty two".split())[0].form is Form.PAIR
    assert read_number("sixty two".split())[0].form is Form.CARDINAL
    assert read_number("one four point two five".split())[0].decimals == 2


def test_sign_is_kept_or_refused_never_dropped() -> None:
    assert [r.value for r in read_signed("minus two".split())] == [-2]
    assert [r.value for r in read_signed("negative one point five".split())] == [Fraction("-1.5")]
    assert read_number("minus two".split()) == ()
    assert read_signed("minus minus two".split()) == ()


@pytest.mark.parametrize(
    ("words", "twins"),
    [("fifteen", [50]), ("fifty", [15]), ("one forty", [114]), ("eight five six", [])],
)
def test_teens_and_tens_name_their_twin(words: str, twins: list[int]) -> None:
    # Fifteen heard as fifty: PA Patient Safety Advisory 2006 (dose errors by ear).
    assert sorted(sound_alike_values(words.split())) == twins


def test_digits_are_said_one_by_one() -> None:
    # ICAO Annex 10, volume II, 5.2.1.4.1.
    assert say_digits(Fraction(856)) == "eight five six"
    assert say_digits(Fraction("105.05")) == "one zero five point zero five"
    assert say_digits(Fraction("-0.5")) == "minus zero point five"


def test_said_digits_read_back_to_the_same_value() -> None:
    for tenths in range(0, 100_000, 3):
        value = Fraction(tenths, 10)
        assert values(say_digits(value)) == [value]


def test_endless_decimals_are_refused() -> None:
    with pytest.raises(ValueError, match="no short decimal"):
        decimal_text(Fraction(1, 3))
