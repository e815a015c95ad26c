"""The refusals a calculation can make, each with its fields."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import TypeAlias

# Two months in steps of one minute; more is no history of one coat.
LARGEST_HISTORY = 100_000

Number: TypeAlias = int | float | Decimal | Fraction


class Refusal(ValueError):  # Nothing has gone wrong: it is an answer.
    """A calculation that is not made. The fields say why; the wording here is only a fallback."""


class OutOfRange(Refusal):
    """A value outside its domain.

    Fields:
        field: the argument's name, which carries its unit.
        value: what was given; may be NaN or infinite.
        low, high: the limits, both allowed unless low_excluded.
        unit: the unit as a person writes it, or empty.
        low_excluded: the value must be above low.
    """

    def __init__(
        self,
        field: str,
        value: Number,
        low: Number,
        high: Number,
        unit: str = "",
        *,
        low_excluded: bool = False,
    ) -> None:
        span = f"above {_shown(low)} and up to" if low_excluded else f"{_shown(low)} to"
        tail = f" {unit}" if unit else ""
        super().__init__(f"{field} is {_shown(value)}; allowed is {span} {_shown(high)}{tail}.")
        self.field, self.value, self.low, self.high, self.unit = field, value, low, high, unit
        self.low_excluded = low_excluded


class Missing(Refusal):
    """A value that was not given and that nothing else can stand in for."""

    def __init__(self, field: str, needed_for: str) -> None:
        super().__init__(f"{field} is missing; it is needed for {needed_for}.")
        self.field, self.needed_for = field, needed_for


class NotAllowed(Refusal):
    """A word, a text or a combination that is none of those allowed."""

    def __init__(self, field: str, value: str, allowed: str) -> None:
        super().__init__(f"{field} is {value[:60]!r}; allowed is {allowed}.")
        self.field, self.value, self.allowed = field, value, allowed


class BasisNeedsDensities(Refusal):
    """A ratio by volume, asked for in grams, without both densities.

    Fields:
        missing: the names of the densities that were not given.
    """

    def __init__(self, missing: Sequence[str]) -> None:
        super().__init__(
            "The ratio is by volume and the scale shows weight; "
            f"without {' and '.join(missing)} the hardener could be off by a fifth."
        )
        self.missing = tuple(missing)


class BatchTooSmall(Refusal):
    """A batch whose hardener the scale cannot weigh within the tolerance.

    Fields (grams are exact):
        resin_g: the resin asked for.
        least_resin_g: the least resin whose hardener one scale step leaves within the tolerance.
        step_g: the scale's step.
        tolerance: the ratio error allowed, as a fraction.
    """

    def __init__(
        self, resin_g: Fraction, least_resin_g: Fraction, step_g: Fraction, tolerance: Fraction
    ) -> None:
        super().__init__(
            f"{_shown(resin_g)} g of resin is too little for a scale that reads "
            f"{_shown(step_g)} g: {_shown(tolerance * 100)} % needs at least "
            f"{_shown(least_resin_g)} g of resin."
        )
        self.resin_g, self.least_resin_g = resin_g, least_resin_g
        self.step_g, self.tolerance = step_g, tolerance


class CupTooSmall(Refusal):
    """A mix that does not fit the cup. Grams are exact."""

    def __init__(self, total_g: Fraction, cup_g: Fraction) -> None:
        super().__init__(f"{_shown(total_g)} g does not fit a cup for {_shown(cup_g)} g.")
        self.total_g, self.cup_g = total_g, cup_g


class StoodTooLong(Refusal):
    """A mixed cup that has stood too long for fresh material to be stirred in."""

    def __init__(self, stood_minutes: float, limit_minutes: float) -> None:
        super().__init__(
            f"The cup has stood {_shown(stood_minutes)} minutes; "
            f"nothing is added after {_shown(limit_minutes)} minutes."
        )
        self.stood_minutes, self.limit_minutes = stood_minutes, limit_minutes


class TooManyCups(Refusal):
    """A job whose cups cannot be used up in time at the person's pace, however small."""

    def __init__(self, most_cups: int) -> None:
        super().__init__(
            f"Even {most_cups} cups a coat could not be spread in time; "
            "spread faster, work cooler, or use a slower hardener."
        )
        self.most_cups = most_cups


class CardInvalid(Refusal):
    """A product card that is not accepted.

    Fields:
        key: the key's full name, such as "mix.ratio"; empty when it concerns the whole file.
        value: what stands there, as text.
        line: its line, from 1; None when the key is missing.
        allowed: what would be accepted.
    """

    def __init__(self, key: str, value: str, line: int | None, allowed: str) -> None:
        place = f"Line {line}: " if line is not None else "Card: "
        subject = f"{key} is {value[:60]}" if key else value[:60]
        super().__init__(f"{place}{subject}; allowed is {allowed}.")
        self.key, self.value, self.line, self.allowed = key, value, line, allowed


def check_range(
    field: str,
    value: float | Fraction,
    low: float | Fraction,
    high: float | Fraction,
    unit: str = "",
    *,
    low_excluded: bool = False,
) -> None:
    """Refuses a value outside its domain, NaN included; the arguments are OutOfRange's."""
    if not low <= value <= high or (low_excluded and value == low):
        raise OutOfRange(field, value, low, high, unit, low_excluded=low_excluded)


def check_rising(field: str, times: Sequence[float], high: float, unit: str) -> None:
    """Refuses times of a history that do not start at 0 and rise to at most high.

    Args:
        field: the name of a later time; the first one's is first_ and this.
        times: 1 to 100,000 of them.
        high: the latest allowed, in the unit.
    """
    check_range("history_readings", len(times), 1, LARGEST_HISTORY)
    check_range(f"first_{field}", times[0], 0, 0, unit)
    for earlier, later in pairwise(times):
        check_range(field, later, earlier, high, unit, low_excluded=True)


def _shown(value: Number) -> str:
    """A number as a refusal prints it: up to six digits, never in a form that overflows."""
    try:
        return f"{float(value):.6g}"
    except OverflowError:
        return "too large a number"
    except ValueError:  # A decimal's signaling NaN.
        return "nan"
