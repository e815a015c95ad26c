"""How long a mixed cup can be used: from the label, the batch and its temperatures.

The rule and its constants were fitted to a lumped heat balance (core/exotherm.py is its like), not
to measurements: no public set of gel times against mass is known. It is built to err short.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from handsfree.core.errors import OutOfRange, check_range, check_rising

# The rule that life halves per +10 °C (UFGS 09 97 13) is not safe both ways: published pairs of
# pot lives and temperatures give factors from 1.4 to 2.3 per 10 °C. So: the largest when hotter
# than the label's test, and a credit near the smaller end when colder.
HOTTER_PER_10K, COLDER_PER_10K = 2.3, 1.7
# A batch that keeps all its heat still has the share 1 / (1 + life / 45 min) of the label's life;
# fitted to the worst case of the heat balance, with margin. Judgement.
NO_LOSS_MINUTES = 45.0
# Limits of the fit.
LEAST_C, LARGEST_C = 10.0, 40.0
LEAST_BATCH_G, LARGEST_BATCH_G = 0.1, 5000.0
LEAST_TEST_G = 10.0
LEAST_LABEL_MINUTES, LARGEST_LABEL_MINUTES = 2.0, 240.0
SLOW_MINUTES, SLOWEST_MINUTES = 60.0, 120.0
# Over 60 minutes the heat balance comes out up to a quarter shorter than the rule. Judgement.
SLOW_FACTOR = 0.75
# Life of a cup in air against the same mass in a water bath, by the label's minutes: from the heat
# balance. A maker that states no method may have used one, hence the second constant. Judgement.
WATER_BATH_FACTORS = ((25.0, 0.68), (60.0, 0.48), (240.0, 0.25))
UNKNOWN_METHOD_FACTOR = 0.6
# Share of the life that is gone when the cup is this much warmer than when it was mixed: the
# upper end of the spread of the heat balance (+10 K: 39 to 77 %), labels of 10 to 40 minutes.
GONE_AT_RISE = ((0.0, 0.0), (5.0, 0.56), (10.0, 0.77), (15.0, 0.87), (25.0, 0.94), (40.0, 1.0))
# Fresh mix, from memory; only the cup's proportions depend on it.
MIX_G_PER_ML = 1.1
LARGEST_MINUTES = 1440.0


class Method(Enum):
    """How the label's pot life was measured."""

    CUP_IN_AIR = "cup in air"
    WATER_BATH = "water bath"
    UNKNOWN = "unknown"


class Doubt(Enum):
    """Why a pot life is stated shorter than the plain rule gives, or should not be leaned on."""

    WATER_BATH_LABEL = "water bath label"
    METHOD_UNKNOWN = "method unknown"
    SLOW_PRODUCT = "slow product"
    COLDER_THAN_THE_RULE = "colder than the rule"
    SMALL_BATCH_NO_CREDIT = "small batch, no credit"


@dataclass(frozen=True)
class LabelPotLife:
    """The pot life a label states, with the test it holds for."""

    minutes: float
    test_g: float  # Resin and hardener together.
    test_c: float
    method: Method
    induction_minutes: float = 0.0  # Standing time the label asks for; part of the pot life.


@dataclass(frozen=True)
class PotLife:
    """The pot life of one batch, and what made it so; the factors multiply the label's minutes."""

    minutes: float
    method_factor: float
    temperature_factor: float
    mass_factor: float
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True)
class MixReading:
    """A temperature of the air round the cup, or of the mix as it was poured."""

    minutes: float  # Since the two parts first touched.
    mix_c: float


def pot_life(
    label: LabelPotLife, *, batch_g: float, mix_c: float, fill_depth_mm: float | None = None
) -> PotLife:
    """Minutes from the first contact during which a batch can be used.

    Args:
        label: minutes 2 to 240, test mass 10 to 5000 g, test temperature 10 to 40 °C.
        batch_g: resin and hardener together, 0.1 to 5000 g.
        mix_c: the mix's temperature when poured, 0 to 40 °C; below 10 °C the value for 10 °C holds.
        fill_depth_mm: depth of the mix in a wide cup or tray, 0.1 to 500 mm; None for
            an ordinary cup, taken as deep as it is wide, which keeps its heat longest.

    Returns:
        Unrounded minutes and the factors. Never longer for a hotter or a larger batch, and a
        batch smaller than the label's gets no credit.

    Raises:
        OutOfRange: an argument lies outside its range, or the label is too slow for its life to
            be carried over to a larger batch (over 120 minutes as a cup in air).

    Source:
        life = t * (phi + (1 - phi) * (test_g / batch_g) ** (1/3)), where t is the label's life at
        the mix's temperature and phi = 1 / (1 + t / 45 min) what is left without any heat loss.
        Heat loss goes with surface over volume, hence the cube root. Constants: see above.

    Not covered:
        Material that was spread: a film has several times the life of the cup.
    """
    check_label(label)
    check_range("batch_g", batch_g, LEAST_BATCH_G, LARGEST_BATCH_G, "g")
    check_mix_c(mix_c)
    method_factor, doubts = _method_factor_of(label)
    air_minutes = label.minutes * method_factor
    compact_g = batch_g if fill_depth_mm is None else _compact_mass_g(batch_g, fill_depth_mm)
    is_larger = compact_g > label.test_g
    if compact_g > largest_batch_g(label):
        raise OutOfRange(
            "label_minutes", label.minutes, LEAST_LABEL_MINUTES, SLOWEST_MINUTES, "min"
        )
    if air_minutes > SLOW_MINUTES:
        doubts.append(Doubt.SLOW_PRODUCT)
        method_factor *= SLOW_FACTOR
    if mix_c < LEAST_C:
        doubts.append(Doubt.COLDER_THAN_THE_RULE)
    if compact_g < label.test_g:
        doubts.append(Doubt.SMALL_BATCH_NO_CREDIT)
    temperature_factor = _temperature_factor_of(label, mix_c)
    # The slow factor is a margin, not a faster product, so the mass rule does not see it.
    mass_factor = 1.0
    if is_larger:
        mass_factor = _mass_factor_of(air_minutes * temperature_factor, label.test_g / compact_g)
    minutes = label.minutes * method_factor * temperature_factor * mass_factor
    return PotLife(minutes, method_factor, temperature_factor, mass_factor, tuple(doubts))


def largest_batch_g(label: LabelPotLife) -> float:
    """The largest batch in an ordinary cup that a label's pot life can be carried over to, g.

    Args:
        label: as for pot_life.

    Source: Judgement: small batches of a very slow product sit near the edge of running away, so
        that its life says nothing about larger ones.
    """
    method_factor, _ = _method_factor_of(label)
    is_too_slow = label.minutes * method_factor > SLOWEST_MINUTES
    return label.test_g if is_too_slow else LARGEST_BATCH_G


def share_used(
    label: LabelPotLife,
    *,
    batch_g: float,
    history: Sequence[MixReading],
    now_minutes: float,
    fill_depth_mm: float | None = None,
) -> float:
    """Share of the pot life that is gone, over the temperatures there have been.

    Args:
        label, batch_g, fill_depth_mm: as for pot_life.
        history: readings with rising times, the first at 0 minutes, up to 100,000; the
            temperature runs straight from one to the next and stays at the last.
        now_minutes: time since the first contact, 0 to 1440.

    Returns:
        0 at the first contact, 1 when the life is over, more after it; not the last reading's
        life but the integral of 1 / life.

    Raises:
        OutOfRange: an argument lies outside its range, or the times do not rise from 0.

    Source:
        With t falling exponentially with temperature, 1 / life = 1/t + (1 - k) / (45 + k t), where
        k = (test_g / batch_g) ** (1/3); both terms have closed integrals over a straight ramp.

    Not covered:
        The heat of the mix itself, which the rule already contains: readings are of the air round
        the cup. A thermometer in the cup is the second clock, share_gone_at_rise.
    """
    check_range("now_minutes", now_minutes, 0, LARGEST_MINUTES, "min")
    _check_history(history)
    at_test = pot_life(label, batch_g=batch_g, mix_c=label.test_c, fill_depth_mm=fill_depth_mm)
    method_factor, _ = _method_factor_of(label)
    compact_g = batch_g if fill_depth_mm is None else _compact_mass_g(batch_g, fill_depth_mm)
    cube_root = min(1.0, math.cbrt(label.test_g / compact_g))
    margin = at_test.method_factor / method_factor
    air_minutes = label.minutes * method_factor

    used = 0.0
    for earlier, later in pairwise((*history, MixReading(math.inf, history[-1].mix_c))):
        if earlier.minutes >= now_minutes:
            break
        end = min(later.minutes, now_minutes)
        end_c = later.mix_c
        if end < later.minutes and math.isfinite(later.minutes):
            passed = (end - earlier.minutes) / (later.minutes - earlier.minutes)
            end_c = earlier.mix_c + passed * (later.mix_c - earlier.mix_c)
        used += _ramp_share(
            air_minutes, label.test_c, cube_root, end - earlier.minutes, earlier.mix_c, end_c
        )
    return used / margin


def share_gone_at_rise(*, mixed_c: float, cup_c: float) -> float:
    """Share of the pot life that may be gone, from the warmth of the cup itself.

    Args:
        mixed_c: the mix's temperature when it was poured, 0 to 40 °C.
        cup_c: the cup's temperature now, 0 to 300 °C.

    Returns:
        0 to 1; the worse end of what is likely, as a surface thermometer reads low. It may pull
        a warning forward, never back, so take the larger of this and share_used.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source:
        The rise of the heat balance over labels of 10 to 40 minutes, 100 to 2000 g, 15 to 35 °C.

    Not covered:
        Slower products, whose small or cool batches may gel without ever growing warm.
    """
    check_mix_c(mixed_c, field="mixed_c")
    check_range("cup_c", cup_c, 0, 300, "°C")
    return _read_off(GONE_AT_RISE, cup_c - mixed_c)


def check_label(label: LabelPotLife) -> None:
    """Refuses a label whose pot life cannot be carried over; the ranges stand at pot_life."""
    check_range("label_minutes", label.minutes, LEAST_LABEL_MINUTES, LARGEST_LABEL_MINUTES, "min")
    check_range("label_test_g", label.test_g, LEAST_TEST_G, LARGEST_BATCH_G, "g")
    check_range("label_test_c", label.test_c, LEAST_C, LARGEST_C, "°C")


def check_mix_c(mix_c: float, *, field: str = "mix_c") -> None:
    """Refuses a mix temperature outside 0 to 40 °C."""
    check_range(field, mix_c, 0, LARGEST_C, "°C")


def _check_history(history: Sequence[MixReading]) -> None:
    times = [reading.minutes for reading in history]
    check_rising("reading_minutes", times, LARGEST_MINUTES, "min")
    for reading in history:
        check_mix_c(reading.mix_c)


def _method_factor_of(label: LabelPotLife) -> tuple[float, list[Doubt]]:
    match label.method:
        case Method.CUP_IN_AIR:
            return 1.0, []
        case Method.WATER_BATH:
            return _read_off(WATER_BATH_FACTORS, label.minutes), [Doubt.WATER_BATH_LABEL]
        case Method.UNKNOWN:
            bath = _read_off(WATER_BATH_FACTORS, label.minutes)
            return min(UNKNOWN_METHOD_FACTOR, bath), [Doubt.METHOD_UNKNOWN]


def _temperature_factor_of(label: LabelPotLife, mix_c: float) -> float:
    above_k = max(mix_c, LEAST_C) - label.test_c
    per_10k = HOTTER_PER_10K if above_k > 0 else COLDER_PER_10K
    return math.pow(per_10k, -above_k / 10.0)


def _mass_factor_of(minutes: float, mass_ratio: float) -> float:
    no_loss = 1.0 / (1.0 + minutes / NO_LOSS_MINUTES)
    return no_loss + (1.0 - no_loss) * math.cbrt(mass_ratio)


def _compact_mass_g(batch_g: float, fill_depth_mm: float) -> float:
    """Mass of an ordinary cup that loses heat as fast as this fill; at most the batch itself.

    Source: equal volume over surface, V/S = d h / (2 d + 4 h) for a cylinder d wide and h deep,
        which is d/6 for h = d and largest there.
    """
    check_range("fill_depth_mm", fill_depth_mm, 0.1, 500, "mm")
    depth_cm = fill_depth_mm / 10.0
    width_cm = math.sqrt(4.0 * batch_g / (math.pi * MIX_G_PER_ML * depth_cm))
    volume_over_surface_cm = width_cm * depth_cm / (2.0 * width_cm + 4.0 * depth_cm)
    compact_width_cm = 6.0 * volume_over_surface_cm
    return min(batch_g, MIX_G_PER_ML * math.pi / 4.0 * compact_width_cm**3)


def _ramp_share(
    air_minutes: float,
    test_c: float,
    cube_root: float,
    duration: float,
    start_c: float,
    end_c: float,
) -> float:
    """Integral of 1 / life over a straight ramp, split where the rule changes its slope."""
    low_c, high_c = min(start_c, end_c), max(start_c, end_c)
    if high_c <= LEAST_C or high_c - low_c < 1e-9:
        return duration * _use_rate(air_minutes, test_c, cube_root, max(high_c, LEAST_C))
    used = 0.0
    per_k = duration / (high_c - low_c)
    if low_c < LEAST_C:
        used += (LEAST_C - low_c) * per_k * _use_rate(air_minutes, test_c, cube_root, LEAST_C)
        low_c = LEAST_C
    for part_low_c, part_high_c, per_10k in (
        (low_c, min(high_c, test_c), COLDER_PER_10K),
        (max(low_c, test_c), high_c, HOTTER_PER_10K),
    ):
        if part_low_c < part_high_c:
            used += per_k * _slope_share(
                air_minutes,
                cube_root,
                math.log(per_10k) / 10.0,
                part_low_c - test_c,
                part_high_c - test_c,
            )
    return used


def _slope_share(
    air_minutes: float, cube_root: float, per_k: float, low_k: float, high_k: float
) -> float:
    """Integral of 1 / life over temperature, in kelvin per minute, between two rises over the test.

    Source: see share_used; d/dT [T + ln(45 + k t) / c] = 45 / (45 + k t) for t = t0 exp(-c T).
    """
    low_minutes = air_minutes * math.exp(-per_k * low_k)
    high_minutes = air_minutes * math.exp(-per_k * high_k)
    plain = (1.0 / high_minutes - 1.0 / low_minutes) / per_k
    ratio = (NO_LOSS_MINUTES + cube_root * high_minutes) / (
        NO_LOSS_MINUTES + cube_root * low_minutes
    )
    heat = ((high_k - low_k) + math.log(ratio) / per_k) / NO_LOSS_MINUTES
    return plain + (1.0 - cube_root) * heat


def _use_rate(air_minutes: float, test_c: float, cube_root: float, mix_c: float) -> float:
    per_10k = HOTTER_PER_10K if mix_c > test_c else COLDER_PER_10K
    minutes = air_minutes * math.pow(per_10k, (test_c - mix_c) / 10.0)
    return 1.0 / minutes + (1.0 - cube_root) / (NO_LOSS_MINUTES + cube_root * minutes)


def _read_off(points: Sequence[tuple[float, float]], at: float) -> float:
    """The value of a table at a place, straight between its points and constant beyond them."""
    if at <= points[0][0]:
        return points[0][1]
    for (left, left_value), (right, right_value) in pairwise(points):
        if at <= right:
            return left_value + (right_value - left_value) * (at - left) / (right - left)
    return points[-1][1]
