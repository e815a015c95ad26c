"""Spoken numbers: words to every value they may mean, and a value to words, side by side.

A reading is never guessed. Where the words allow two values, both are returned and the
dialogue asks; where they allow none, the result is empty and the dialogue says so.

Grammar (units, such as grams, are read in ``quantities.py``)::

    number   = whole | [whole] POINT digit{1,4}
    whole    = digits | cardinal | pair
    digits   = 1 to 5 of: digit, "double" digit (two), "triple" digit (three);
               no leading zero, except "zero" alone
    cardinal = [1-99 "thousand" ["and"]] [1-99 "hundred" ["and"]] [1-99]
               "a" stands for one, only at the start and only before hundred or thousand
    pair     = 1-99 followed by 10-99, or 10-99 followed by "oh"/"zero" and 1-9
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

DIGIT_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEEN_WORDS = (
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
)
TENS_WORDS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
ZERO_WORDS = frozenset({"zero", "oh", "nought", "naught"})
POINT_WORDS = frozenset({"point", "decimal"})

# ICAO Annex 10, volume II, 5.2.1.4.3.1: the spellings tree, fower, fife and niner.
DIGITS = (
    {word: value for value, word in enumerate(DIGIT_WORDS)}
    | dict.fromkeys(ZERO_WORDS, 0)
    | {"tree": 3, "fower": 4, "fife": 5, "niner": 9}
)
TEENS = {word: 10 + i for i, word in enumerate(TEEN_WORDS)}
TENS = {word: 20 + 10 * i for i, word in enumerate(TENS_WORDS)}
NUMBER_WORDS = (
    frozenset(DIGITS)
    | frozenset(TEENS)
    | frozenset(TENS)
    | POINT_WORDS
    | {"double", "triple", "hundred", "thousand", "and", "a", "minus", "negative"}
)

MAX_DIGITS = 5
"""Longest digit string: 99,999 is beyond any bench scale in grams."""

MAX_DECIMALS = 4
"""Decimals beyond these are no bench reading, in grams or in kilograms."""

# Words that one ear or one recognizer takes for the other (speech-error reports name the
# pairs; PA Patient Safety Advisory 2006 for fifteen and fifty).
TEEN_TENS_TWINS = {
    "thirteen": "thirty",
    "fourteen": "forty",
    "fifteen": "fifty",
    "sixteen": "sixty",
    "seventeen": "seventy",
    "eighteen": "eighty",
    "nineteen": "ninety",
}
_TWINS = TEEN_TENS_TWINS | {tens: teen for teen, tens in TEEN_TENS_TWINS.items()}


class Form(Enum):
    """How a number was spoken; the dialogue trusts digits most."""

    DIGITS = "digit by digit"
    CARDINAL = "cardinal"
    PAIR = "in pairs"


@dataclass(frozen=True)
class NumberReading:
    """One value that spoken words may mean."""

    value: Fraction
    form: Form
    decimals: int  # Digits spoken after the point.


@dataclass(frozen=True)
class _Whole:
    value: int
    form: Form


def read_number(words: Sequence[str]) -> tuple[NumberReading, ...]:
    """Every value the words may mean, without doubles, smallest first.

    Args:
        words: lower-case words, the whole of the number and nothing else.

    Returns:
        One reading when the words are clear, several when they are ambiguous, and none
        when they are not a number. The sign is never dropped: "minus two" is no number
        here, since no quantity of the bench is negative except a temperature, which is
        read by ``read_signed``.
    """
    found: dict[tuple[Fraction, int], NumberReading] = {}
    for reading in _all_readings(tuple(words)):
        found.setdefault((reading.value, reading.decimals), reading)
    return tuple(sorted(found.values(), key=lambda reading: (reading.value, reading.decimals)))


def read_signed(words: Sequence[str]) -> tuple[NumberReading, ...]:
    """As ``read_number``, with "minus" or "negative" allowed in front (temperatures)."""
    if words and words[0] in {"minus", "negative"}:
        return tuple(
            NumberReading(-reading.value, reading.form, reading.decimals)
            for reading in read_number(words[1:])
        )
    return read_number(words)


def sound_alike_values(words: Sequence[str]) -> frozenset[Fraction]:
    """Values the words would have if one teen were heard for its tens, or the reverse.

    "hardener fifteen" gives {50}; an empty set means no such word was spoken. Used to ask,
    never to replace what was heard.
    """
    values = set()
    for i, word in enumerate(words):
        twin = _TWINS.get(word)
        if twin is not None:
            swapped = (*words[:i], twin, *words[i + 1 :])
            values |= {reading.value for reading in read_number(swapped)}
    return frozenset(values - {reading.value for reading in read_number(words)})


def _all_readings(words: tuple[str, ...]) -> Iterator[NumberReading]:
    points = [i for i, word in enumerate(words) if word in POINT_WORDS]
    if not points:
        for whole in _wholes(words):
            yield NumberReading(Fraction(whole.value), whole.form, 0)
        return
    if len(points) > 1:
        return
    before, after = words[: points[0]], words[points[0] + 1 :]
    if not 1 <= len(after) <= MAX_DECIMALS or any(word not in DIGITS for word in after):
        return
    decimals = len(after)
    part = Fraction(int("".join(str(DIGITS[word]) for word in after)), 10**decimals)
    # "point five" is said for nought point five.
    wholes = list(_wholes(before)) if before else [_Whole(0, Form.DIGITS)]
    for whole in wholes:
        yield NumberReading(whole.value + part, whole.form, decimals)


def _wholes(words: tuple[str, ...]) -> Iterator[_Whole]:
    digits = _digit_string(words)
    if digits is not None:
        yield _Whole(digits, Form.DIGITS)
    cardinal = _cardinal(words)
    if cardinal is not None:
        yield _Whole(cardinal, Form.CARDINAL)
    yield from (_Whole(value, Form.PAIR) for value in _pairs(words))


def _digit_string(words: tuple[str, ...]) -> int | None:
    digits = ""
    times = 1
    for word in words:
        if word in {"double", "triple"}:
            if times != 1:
                return None
            times = 2 if word == "double" else 3
        elif word in DIGITS:
            digits += str(DIGITS[word]) * times
            times = 1
        else:
            return None
    if times != 1 or not 1 <= len(digits) <= MAX_DIGITS:
        return None
    if digits[0] == "0" and len(digits) > 1:
        return None
    return int(digits)


def _below_hundred(words: tuple[str, ...]) -> int | None:
    """1 to 99 as one says it: "seven", "seventeen", "seventy", "seventy seven"."""
    if len(words) == 1:
        word = words[0]
        if word in ZERO_WORDS:
            return None
        return DIGITS.get(word) or TEENS.get(word) or TENS.get(word)
    if len(words) == 2 and words[0] in TENS and words[1] not in ZERO_WORDS:
        unit = DIGITS.get(words[1])
        return None if unit is None else TENS[words[0]] + unit
    return None


def _cardinal(words: tuple[str, ...]) -> int | None:
    if not words:
        return None
    if words[0] == "a":
        if len(words) < 2 or words[1] not in {"hundred", "thousand"}:
            return None
        words = ("one", *words[1:])
    total = 0
    for name, size in (("thousand", 1000), ("hundred", 100)):
        if name not in words:
            continue
        at = words.index(name)
        count = _below_hundred(words[:at])
        if count is None or (total and count > 9):
            return None
        total += count * size
        words = words[at + 1 :]
        if words and words[0] == "and":
            words = words[1:]
            # "and" joins something: "two hundred and" was cut off.
            if not words:
                return None
    if not words:
        return total or None
    rest = _below_hundred(words)
    return None if rest is None else total + rest


def _pairs(words: tuple[str, ...]) -> Iterator[int]:
    for cut in range(1, len(words)):
        first, second = _below_hundred(words[:cut]), words[cut:]
        if first is None:
            continue
        low = _below_hundred(second)
        if low is not None and low >= 10:
            yield first * 100 + low
            # "forty forty two" may be a slip put right: forty, no, forty-two.
            if words[:cut] == second[:cut]:
                yield low
        if len(second) == 2 and second[0] in ZERO_WORDS and first >= 10:
            unit = DIGITS.get(second[1])
            if unit:
                yield first * 100 + unit


def say_below_hundred(value: int) -> str:
    """1 to 99 as one says it, for example "seventy seven"."""
    if value < 10:
        return DIGIT_WORDS[value]
    if value < 20:
        return TEEN_WORDS[value - 10]
    tens, unit = divmod(value, 10)
    return TENS_WORDS[tens - 2] + (f" {DIGIT_WORDS[unit]}" if unit else "")


def say_cardinal(value: int, *, joiner: str = "") -> str:
    """A whole number, 0 to 99,999, as a cardinal; ``joiner`` is "" or "and"."""
    if value == 0:
        return "zero"
    parts = []
    thousands, rest = divmod(value, 1000)
    hundreds, below = divmod(rest, 100)
    if thousands:
        parts.append(f"{say_below_hundred(thousands)} thousand")
    if hundreds:
        parts.append(f"{DIGIT_WORDS[hundreds]} hundred")
    if below:
        if parts and joiner:
            parts.append(joiner)
        parts.append(say_below_hundred(below))
    return " ".join(parts)


def decimal_text(value: Fraction) -> str:
    """A finite decimal as digits, without trailing zeros: Fraction(241, 2) is "120.5".

    Raises:
        ValueError: the value has no finite decimal form within six places.
    """
    scaled = value * 10**6
    if scaled.denominator != 1:
        raise ValueError(f"{value} has no short decimal form")
    sign = "-" if value < 0 else ""
    whole, part = divmod(abs(scaled.numerator), 10**6)
    places = f"{part:06d}".rstrip("0")
    return f"{sign}{whole}.{places}" if places else f"{sign}{whole}"


def say_digits(value: Fraction) -> str:
    """A number digit by digit: 856 is "eight five six", 0.5 is "zero point five".

    ICAO Annex 10, volume II, 5.2.1.4.1: each digit is pronounced separately, and zero is
    said "zero".
    """
    names = {"-": "minus", ".": "point"}
    return " ".join(
        names[char] if char in names else DIGIT_WORDS[int(char)] for char in decimal_text(value)
    )


def spoken_forms(value: int) -> tuple[str, ...]:
    """Every way of saying a whole number, 0 to 9,999, that ``read_number`` accepts.

    Doubles and triples are given where digits repeat; "oh", "nought" and "naught" beside
    "zero". The aviation spellings are left out, they are one word for another.
    """
    forms = [say_cardinal(value), say_cardinal(value, joiner="and")]
    forms += [f"a {form[4:]}" for form in forms if form.startswith(("one hundred", "one thousand"))]
    digits = [DIGIT_WORDS[int(char)] for char in str(value)]
    forms += [" ".join(zero if word == "zero" else word for word in digits) for zero in ZERO_WORDS]
    forms += _repeated_digit_forms(str(value))
    high, low = divmod(value, 100)
    if high and high <= 99:
        if low >= 10:
            forms.append(f"{say_below_hundred(high)} {say_below_hundred(low)}")
        elif low and high >= 10:
            forms += [f"{say_below_hundred(high)} {zero} {DIGIT_WORDS[low]}" for zero in ZERO_WORDS]
        if high >= 10 and high % 10:
            for joiner in ("", " and"):
                tail = f"{joiner} {say_below_hundred(low)}" if low else ""
                forms.append(f"{say_below_hundred(high)} hundred{tail}")
    return tuple(dict.fromkeys(forms))


def _repeated_digit_forms(digits: str) -> list[str]:
    for i in range(len(digits) - 1):
        if digits[i] != digits[i + 1]:
            continue
        count = 3 if digits[i : i + 3] == digits[i] * 3 else 2
        before = [DIGIT_WORDS[int(char)] for char in digits[:i]]
        after = [DIGIT_WORDS[int(char)] for char in digits[i + count :]]
        name = "triple" if count == 3 else "double"
        if not before and digits[i] == "0":
            return []
        return [" ".join([*before, name, DIGIT_WORDS[int(digits[i])], *after])]
    return []
