"""What a number on the scale means for the open cup, and what is to be poured next."""

from dataclasses import dataclass
from fractions import Fraction

from handsfree.core.card import ProductCard
from handsfree.core.errors import BatchTooSmall
from handsfree.core.mix import (
    Band,
    Component,
    Tolerance,
    band_of,
    check_batch_size,
    correction,
    hardener_error,
    hardener_for_resin_g,
    resin_for_hardener_g,
    rounded_to_step,
    split_total_g,
    weight_ratio,
)
from handsfree.job.dialogue import Candidate
from handsfree.job.state import Batch

# A reading up to this share of the target can be a pour gone wrong; above it, it is more
# likely a number of something else. Judgement.
CREDIBLE_SHARE_OF_TARGET = Fraction(3, 2)


@dataclass(frozen=True)
class Scale:
    """The bench scale: its steps and what it carries."""

    step_g: Fraction
    capacity_g: Fraction

    def can_show(self, grams: Fraction) -> bool:
        """Whether the number is one of the scale's steps."""
        return (grams / self.step_g).denominator == 1


@dataclass(frozen=True)
class Recipe:
    """What is mixed: resin to one part of hardener by weight, and how exact it must be."""

    resin_per_hardener: Fraction
    tolerance: Tolerance


@dataclass(frozen=True)
class Target:
    """What is to be poured of a part, in the cup, exact."""

    component: Component
    grams: Fraction


def recipe_of(card: ProductCard) -> Recipe:
    """The recipe a card gives for a scale.

    Raises:
        BasisNeedsDensities: the label's ratio is by volume and a density is missing.
    """
    return Recipe(
        weight_ratio(card.ratio, card.resin_g_per_ml, card.hardener_g_per_ml), card.tolerance
    )


def other(component: Component) -> Component:
    """The other part."""
    return Component.HARDENER if component is Component.RESIN else Component.RESIN


def error_with(recipe: Recipe, batch: Batch, component: Component, grams: Fraction) -> Fraction:
    """The ratio error if the cup held that much of the part; above 0: too much hardener.

    The resin of a wanted total has no other part beside it: its error is against the total.
    """
    if is_first_part_open(batch):
        target = target_of(recipe, batch)
        assert target is not None, "a first part without a wanted total has no error"
        return target.grams / grams - 1
    resin_g = grams if component is Component.RESIN else batch.grams_of(Component.RESIN)
    hardener_g = grams if component is Component.HARDENER else batch.grams_of(Component.HARDENER)
    return hardener_error(
        resin_g=resin_g, hardener_g=hardener_g, weight_ratio=recipe.resin_per_hardener
    )


def is_first_part_open(batch: Batch) -> bool:
    """Whether no part is in the cup yet, or only the resin of a wanted total, unconfirmed."""
    return not any(reading.is_confirmed for reading in batch.readings)


def is_complete(recipe: Recipe, batch: Batch) -> bool:
    """Whether both parts are in, confirmed, and inside the tolerance."""
    if not batch.is_confirmed or not all(batch.grams_of(part) for part in Component):
        return False
    last = batch.readings[-1]
    error = error_with(recipe, batch, last.component, last.grams)
    return band_of(error, recipe.tolerance) in (Band.ON_TARGET, Band.WITHIN_TOLERANCE)


def target_of(recipe: Recipe, batch: Batch) -> Target | None:
    """What is to be poured now; None where that is open, or nothing is missing."""
    if is_first_part_open(batch):
        if batch.wanted_total_g is None:
            return None
        resin_g, _ = split_total_g(
            total_g=batch.wanted_total_g, weight_ratio=recipe.resin_per_hardener
        )
        return Target(Component.RESIN, resin_g)
    if is_complete(recipe, batch):
        return None
    resin_g, hardener_g = batch.grams_of(Component.RESIN), batch.grams_of(Component.HARDENER)
    ratio = recipe.resin_per_hardener
    if not hardener_g:
        grams = hardener_for_resin_g(resin_g=resin_g, weight_ratio=ratio)
        return Target(Component.HARDENER, grams)
    if not resin_g:
        grams = resin_for_hardener_g(hardener_g=hardener_g, weight_ratio=ratio)
        return Target(Component.RESIN, grams)
    add = correction(resin_g=resin_g, hardener_g=hardener_g, weight_ratio=ratio)
    return Target(add.component, batch.grams_of(add.component) + add.add_g)


def good_range_g(recipe: Recipe, target: Target, step_g: Fraction) -> tuple[Fraction, Fraction]:
    """The least and the largest number of the scale that needs no correction.

    The band's edge is a ratio error of the hardener. Where the steps are too coarse for the
    inner band, the outer one is used; a batch too small for that is refused before.
    """
    for error in (recipe.tolerance.good, recipe.tolerance.tolerated):
        if target.component is Component.HARDENER:
            low, high = target.grams * (1 - error), target.grams * (1 + error)
        else:
            low, high = target.grams / (1 + error), target.grams / (1 - error)
        low_g, high_g = -(-low // step_g) * step_g, high // step_g * step_g
        if low_g <= high_g:
            return low_g, high_g
    rounded = rounded_to_step(target.grams, step_g)
    return rounded, rounded


def too_small(recipe: Recipe, target: Target, batch: Batch, scale: Scale) -> BatchTooSmall | None:
    """Why the scale cannot hold the tolerance for so little; None when it can."""
    is_resin = target.component is Component.RESIN
    resin_g = target.grams if is_resin else batch.grams_of(Component.RESIN)
    try:
        check_batch_size(
            resin_g=resin_g,
            weight_ratio=recipe.resin_per_hardener,
            step_g=scale.step_g,
            tolerance=recipe.tolerance.tolerated,
        )
    except BatchTooSmall as refusal:
        return refusal
    return None


def shown_at(batch: Batch, target: Target, zero_g: Fraction) -> Fraction:
    """What the scale shows once the target is in the cup, zeroed when that much was in it."""
    return batch.grams_of(other(target.component)) + target.grams - zero_g


def candidate(batch: Batch, component: Component, shown_g: Fraction, zero_g: Fraction) -> Candidate:
    """The part's mass in the cup if the scale showed zero with ``zero_g`` in the cup."""
    grams = shown_g + zero_g - batch.grams_of(other(component))
    return Candidate(component, grams, shown_g, zero_g)


def is_credible(batch: Batch, target: Target | None, reading: Candidate) -> bool:
    """Whether the pour can have come to this: not less than before, not far past the target."""
    if reading.grams <= 0 or reading.grams < batch.grams_of(reading.component):
        return False
    if target is None or target.component is not reading.component:
        return True
    return reading.grams <= CREDIBLE_SHARE_OF_TARGET * target.grams


def off_by_ten(grams: Fraction, expected_g: Fraction) -> bool:
    """Whether ten times or a tenth of the number is nearer to what was expected.

    The guard against a lost or a doubled digit (Thimbleby and Cairns 2010: blocking such
    errors halves the chance of being out by ten).
    """

    def away(value: Fraction) -> Fraction:
        return max(value / expected_g, expected_g / value)

    return min(away(grams * 10), away(grams / 10)) < away(grams)
