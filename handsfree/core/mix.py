"""Amounts of resin and hardener: from a ratio, from what was poured, and after a pour too many.

All masses are exact fractions of a gram and are rounded once, for the scale or the voice.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from handsfree.core.errors import (
    BasisNeedsDensities,
    BatchTooSmall,
    CupTooSmall,
    Missing,
    NotAllowed,
    StoodTooLong,
    check_range,
)

# One tonne: far beyond a hand mix, and it keeps every result finite.
LARGEST_MASS_G = Fraction(1_000_000)
# Common practice, no published source: hand-mixed systems lie between 1:2 and 20:1; the wider
# range also admits a hardener that is the larger part.
LEAST_RATIO, LARGEST_RATIO = Fraction(1, 20), Fraction(20)
# Liquid components from a light solvent to a heavily filled putty, g/ml. Judgement.
LEAST_DENSITY_G_PER_ML, LARGEST_DENSITY_G_PER_ML = Fraction(1, 2), Fraction(4)
# Judgement: fresh material is stirred in only during the first quarter of the pot life, because
# stirring takes some four minutes and the clock of the first contact runs on.
LATEST_CORRECTION_SHARE = 0.25

NUMBER = r"[0-9]{1,6}(?:\.[0-9]{1,6})?"
PARTS = re.compile(rf"({NUMBER}) ?(?::|/|to) ?({NUMBER})")
PHR = re.compile(rf"({NUMBER}) ?phr")
PERCENT_OF_TOTAL = re.compile(rf"({NUMBER}) ?(?:%|percent) (?:hardener )?of total")


class Component(Enum):
    """The two parts, in the label's order."""

    RESIN = "resin"
    HARDENER = "hardener"


class Basis(Enum):
    """What a ratio's parts are measured in."""

    WEIGHT = "weight"
    VOLUME = "volume"


@dataclass(frozen=True)
class MixRatio:
    """Parts of resin to parts of hardener, by weight or by volume; between 1:20 and 20:1.

    Raises:
        OutOfRange: a part is not above 0, or the ratio lies outside that range.
    """

    resin_parts: Fraction
    hardener_parts: Fraction
    basis: Basis

    def __post_init__(self) -> None:
        check_mass("resin_parts", self.resin_parts, unit="parts")
        check_mass("hardener_parts", self.hardener_parts, unit="parts")
        _check_weight_ratio("ratio", self.resin_parts / self.hardener_parts)


def parse_ratio(text: str, basis: Basis) -> MixRatio:
    """A mix ratio as labels write it, resin first.

    Args:
        text: "7:1", "100:44", "7 to 1", "14.3 phr" (grams of hardener to 100 g of resin),
            "12.5 % of total" (hardener in the whole mix); each may end in "by weight" or
            "by volume".
        basis: by weight or by volume.

    Returns:
        The ratio with its parts exactly as written.

    Raises:
        NotAllowed: another form, a basis that contradicts the argument, or phr by volume.
        OutOfRange: the ratio lies outside 1:20 to 20:1.

    Source:
        "phr", parts per hundred of resin, is a mass ratio in the usage of the epoxy trade
        (common practice, no published source).
    """
    words = " ".join(text.split()).lower() if text.isascii() else text
    for other in Basis:
        ending = f" by {other.value}"
        if words.endswith(ending):
            if other is not basis:
                raise NotAllowed("ratio", text, f"a ratio by {basis.value}")
            words = words.removesuffix(ending)
    if found := PARTS.fullmatch(words):
        return MixRatio(Fraction(found[1]), Fraction(found[2]), basis)
    if found := PHR.fullmatch(words):
        if basis is Basis.VOLUME:
            raise NotAllowed("ratio", text, "parts such as 2:1, since phr is by weight")
        return MixRatio(Fraction(100), Fraction(found[1]), basis)
    if found := PERCENT_OF_TOTAL.fullmatch(words):
        percent = Fraction(found[1])
        return MixRatio(100 - percent, percent, basis)
    raise NotAllowed(
        "ratio", text, "resin:hardener such as 7:1 or 100:44, 14.3 phr, or 12.5 % of total"
    )


def weight_ratio(
    ratio: MixRatio,
    resin_g_per_ml: Fraction | None = None,
    hardener_g_per_ml: Fraction | None = None,
) -> Fraction:
    """Grams of resin to one gram of hardener.

    Args:
        ratio: the label's ratio.
        resin_g_per_ml, hardener_g_per_ml: densities, g/ml, 0.5 to 4; needed for a ratio by volume
            and without effect on one by weight.

    Raises:
        BasisNeedsDensities: the ratio is by volume and a density is missing.
        OutOfRange: a density, or the ratio that follows, lies outside its range.

    Source:
        Mass is volume times density: r_weight = r_volume * resin density / hardener density.
    """
    parts = ratio.resin_parts / ratio.hardener_parts
    if ratio.basis is Basis.WEIGHT:
        return parts
    densities = {"resin_g_per_ml": resin_g_per_ml, "hardener_g_per_ml": hardener_g_per_ml}
    missing = [name for name, density in densities.items() if density is None]
    if resin_g_per_ml is None or hardener_g_per_ml is None:
        raise BasisNeedsDensities(missing)
    _check_density("resin_g_per_ml", resin_g_per_ml)
    _check_density("hardener_g_per_ml", hardener_g_per_ml)
    by_weight = parts * resin_g_per_ml / hardener_g_per_ml
    _check_weight_ratio("weight_ratio", by_weight)
    return by_weight


def hardener_for_resin_g(*, resin_g: Fraction, weight_ratio: Fraction) -> Fraction:
    """Grams of hardener for the resin poured, exact.

    Args:
        resin_g: above 0, up to 1,000,000 g.
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the definition of the ratio, B = A / r.
    """
    check_mass("resin_g", resin_g)
    _check_weight_ratio("weight_ratio", weight_ratio)
    return resin_g / weight_ratio


def resin_for_hardener_g(*, hardener_g: Fraction, weight_ratio: Fraction) -> Fraction:
    """Grams of resin for the hardener poured, exact.

    Args:
        hardener_g: above 0, up to 1,000,000 g.
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the definition of the ratio, A = r B.
    """
    check_mass("hardener_g", hardener_g)
    _check_weight_ratio("weight_ratio", weight_ratio)
    return hardener_g * weight_ratio


def split_total_g(*, total_g: Fraction, weight_ratio: Fraction) -> tuple[Fraction, Fraction]:
    """Grams of resin and of hardener that make a total, exact.

    Args:
        total_g: above 0, up to 1,000,000 g.
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: A + B = total and A = r B give B = total / (r + 1).
    """
    check_mass("total_g", total_g)
    _check_weight_ratio("weight_ratio", weight_ratio)
    hardener_g = total_g / (weight_ratio + 1)
    return total_g - hardener_g, hardener_g


def running_total_g(*, resin_g: Fraction, weight_ratio: Fraction, cup_g: Fraction) -> Fraction:
    """What the scale shows at the hardener's target when it is not zeroed in between, exact.

    Args:
        resin_g: resin in the cup, above 0, up to 1,000,000 g.
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.
        cup_g: the cup's own weight if the scale shows it, else 0; up to 1,000,000 g.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the sum of what stands on the scale.
    """
    check_range("cup_g", cup_g, 0, LARGEST_MASS_G, "g")
    return cup_g + resin_g + hardener_for_resin_g(resin_g=resin_g, weight_ratio=weight_ratio)


def mixed_density_g_per_ml(
    *, weight_ratio: Fraction, resin_g_per_ml: Fraction, hardener_g_per_ml: Fraction
) -> Fraction:
    """Density of the fresh mix, g/ml, exact.

    Args:
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.
        resin_g_per_ml, hardener_g_per_ml: densities, g/ml, 0.5 to 4.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: masses add and volumes add; an average of the densities by weight is wrong.

    Not covered: air stirred in, and shrinkage as it cures.
    """
    _check_weight_ratio("weight_ratio", weight_ratio)
    _check_density("resin_g_per_ml", resin_g_per_ml)
    _check_density("hardener_g_per_ml", hardener_g_per_ml)
    volume_ml = weight_ratio / resin_g_per_ml + 1 / hardener_g_per_ml
    return (weight_ratio + 1) / volume_ml


def addition_g(*, mixed_g: Fraction, addition_percent: Fraction) -> Fraction:
    """Grams of filler, pigment or thinner for a mix, exact.

    Args:
        mixed_g: resin and hardener together, above 0, up to 1,000,000 g.
        addition_percent: grams to 100 g of the mix, 0 to 100.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the definition, parts by weight of the mixed resin and hardener. The ratio of resin to
        hardener is not touched: an inert addition takes no part in the reaction.

    Not covered: whether the label allows it.
    """
    check_mass("mixed_g", mixed_g)
    check_range("addition_percent", addition_percent, 0, 100, "%")
    return mixed_g * addition_percent / 100


def rounded_to_step(value: Fraction, step: Fraction) -> Fraction:
    """A value rounded to the nearest multiple of a step, halves away from zero.

    Args:
        value: any finite number.
        step: the scale's step, above 0, up to 1,000,000.

    Raises:
        OutOfRange: the step lies outside its range.

    Source: Judgement: away from zero is what people expect of a half; Python rounds to even.
    """
    check_mass("step", step)
    steps = math.floor(abs(value) / step + Fraction(1, 2))
    return steps * step if value >= 0 else -steps * step


def rounded_parts_g(parts_g: Sequence[Fraction], step_g: Fraction) -> tuple[Fraction, ...]:
    """Parts rounded to the scale's step whose sum is the rounded total.

    Args:
        parts_g: parts of one total, g, each 0 or more.
        step_g: the scale's step, g, above 0.

    Returns:
        Multiples of the step, each less than one step from its part.

    Raises:
        OutOfRange: a part is negative or the step lies outside its range.

    Source: the method of the largest remainder.
    """
    for part_g in parts_g:
        check_range("part_g", part_g, 0, LARGEST_MASS_G, "g")
    total_steps = rounded_to_step(sum(parts_g, Fraction()), step_g) / step_g
    exact_steps = [part_g / step_g for part_g in parts_g]
    steps = [math.floor(exact) for exact in exact_steps]
    by_remainder = sorted(range(len(steps)), key=lambda i: steps[i] - exact_steps[i])
    for i in by_remainder[: int(total_steps) - sum(steps)]:
        steps[i] += 1
    return tuple(count * step_g for count in steps)


def least_resin_g(*, weight_ratio: Fraction, step_g: Fraction, tolerance: Fraction) -> Fraction:
    """Least resin whose smaller part a scale can weigh within a tolerance, exact.

    Args:
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.
        step_g: the scale's step, g, above 0.
        tolerance: ratio error allowed, as a fraction, above 0 and up to 1.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source:
        A tared reading is the difference of two readings, each off by up to half a step, so one
        step on the smaller part is the worst case. The larger part's own step is left out, as
        it is the smaller error.
    """
    _check_weight_ratio("weight_ratio", weight_ratio)
    check_mass("step_g", step_g)
    _check_tolerance("tolerance", tolerance)
    return max(weight_ratio, Fraction(1)) * step_g / tolerance


def check_batch_size(
    *, resin_g: Fraction, weight_ratio: Fraction, step_g: Fraction, tolerance: Fraction
) -> None:
    """Refuses a batch that the scale cannot weigh within the tolerance.

    Args: as for least_resin_g; resin_g: above 0, up to 1,000,000 g.

    Raises:
        BatchTooSmall: with the least resin that works.
        OutOfRange: an argument lies outside its range.
    """
    check_mass("resin_g", resin_g)
    least_g = least_resin_g(weight_ratio=weight_ratio, step_g=step_g, tolerance=tolerance)
    if resin_g < least_g:
        raise BatchTooSmall(resin_g, least_g, step_g, tolerance)


def hardener_error(*, resin_g: Fraction, hardener_g: Fraction, weight_ratio: Fraction) -> Fraction:
    """How far the hardener is off its exact target, as a fraction: B / (A/r) - 1.

    Args:
        resin_g: resin in the cup, above 0, up to 1,000,000 g.
        hardener_g: hardener in the cup, 0 to 1,000,000 g.
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.

    Returns:
        Above 0 for too much hardener, -1 for none yet; exact, never against a rounded target.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the definition of a relative error.
    """
    target_g = hardener_for_resin_g(resin_g=resin_g, weight_ratio=weight_ratio)
    check_range("hardener_g", hardener_g, 0, LARGEST_MASS_G, "g")
    return hardener_g / target_g - 1


class Band(Enum):
    """Where a ratio error lies, and what is done about it."""

    ON_TARGET = "on target"  # Say the number, nothing else.
    WITHIN_TOLERANCE = "within tolerance"  # Say so and carry on.
    CORRECT = "correct"  # Offer the correction.
    STOP = "stop"  # Do not use it as it is.


@dataclass(frozen=True)
class Tolerance:
    """The largest ratio error of the first three bands, as fractions that do not fall.

    Source of the defaults: 2 % is good practice and 5 % the usual outer limit (from memory);
    10 % is Judgement. A label's own tolerance replaces them.

    Raises:
        OutOfRange: a limit is not above 0 and up to 1, or is less than the one before.
    """

    good: Fraction = Fraction(2, 100)
    tolerated: Fraction = Fraction(5, 100)
    limit: Fraction = Fraction(10, 100)

    def __post_init__(self) -> None:
        _check_tolerance("good", self.good)
        for name, value, least in (
            ("tolerated", self.tolerated, self.good),
            ("limit", self.limit, self.tolerated),
        ):
            check_range(name, value, least, 1)


def band_of(error: Fraction, tolerance: Tolerance) -> Band:
    """The band of a ratio error; a limit itself still belongs to the better band.

    Args:
        error: as hardener_error returns it.
        tolerance: the card's limits.
    """
    size = abs(error)
    if size <= tolerance.good:
        return Band.ON_TARGET
    if size <= tolerance.tolerated:
        return Band.WITHIN_TOLERANCE
    if size <= tolerance.limit:
        return Band.CORRECT
    return Band.STOP


@dataclass(frozen=True)
class Correction:
    """What balances a cup: grams of one component to add, and the total afterward, exact."""

    component: Component
    add_g: Fraction
    total_g: Fraction


def correction(
    *,
    resin_g: Fraction,
    hardener_g: Fraction,
    weight_ratio: Fraction,
    cup_g: Fraction | None = None,
    stood_minutes: float | None = None,
    pot_life_minutes: float | None = None,
) -> Correction:
    """What to add to a cup so that its ratio is exact.

    Args:
        resin_g: resin in the cup, above 0, up to 1,000,000 g.
        hardener_g: hardener in the cup, 0 to 1,000,000 g.
        weight_ratio: grams of resin to one gram of hardener, 1/20 to 20.
        cup_g: grams of mix the cup holds; None when it sets no limit.
        stood_minutes: time since the two parts first touched; None before they are mixed.
        pot_life_minutes: the batch's pot life; needed with stood_minutes.

    Returns:
        Resin to add after too much hardener, else hardener to add (0 g when it is exact).

    Raises:
        CupTooSmall: the corrected mix does not fit the cup.
        StoodTooLong: the cup has stood for more than a quarter of its pot life.
        Missing: stood_minutes is given without pot_life_minutes.
        OutOfRange: an argument lies outside its range.

    Source: A = r B for the part that is short; the standing limit is Judgement, see above.

    Not covered: the clock. It keeps the moment of the first contact, whatever is added.
    """
    error = hardener_error(resin_g=resin_g, hardener_g=hardener_g, weight_ratio=weight_ratio)
    if stood_minutes is not None:
        if pot_life_minutes is None:
            raise Missing("pot_life_minutes", "a correction after the cup has stood")
        check_range("pot_life_minutes", pot_life_minutes, 0, 100_000, "min", low_excluded=True)
        check_range("stood_minutes", stood_minutes, 0, 100_000, "min")
        limit_minutes = LATEST_CORRECTION_SHARE * pot_life_minutes
        if stood_minutes > limit_minutes:
            raise StoodTooLong(stood_minutes, limit_minutes)
    if error > 0:
        component, add_g = Component.RESIN, weight_ratio * hardener_g - resin_g
    else:
        component, add_g = Component.HARDENER, resin_g / weight_ratio - hardener_g
    total_g = resin_g + hardener_g + add_g
    if cup_g is not None and total_g > cup_g:
        raise CupTooSmall(total_g, cup_g)
    return Correction(component, add_g, total_g)


def check_mass(field: str, value: Fraction, *, unit: str = "g") -> None:
    """Refuses a mass that is not above 0 and up to a tonne."""
    check_range(field, value, 0, LARGEST_MASS_G, unit, low_excluded=True)


def _check_weight_ratio(field: str, value: Fraction) -> None:
    """Refuses a ratio outside 1:20 to 20:1."""
    check_range(field, value, LEAST_RATIO, LARGEST_RATIO, "resin to 1 hardener")


def _check_density(field: str, value: Fraction) -> None:
    """Refuses a density outside 0.5 to 4 g/ml."""
    check_range(field, value, LEAST_DENSITY_G_PER_ML, LARGEST_DENSITY_G_PER_ML, "g/ml")


def _check_tolerance(field: str, value: Fraction) -> None:
    """Refuses a tolerance that is not above 0 and up to 1."""
    check_range(field, value, 0, 1, low_excluded=True)
