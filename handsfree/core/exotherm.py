"""How hot a cup left standing gets, and when: bounds from a heat balance, not a promise.

    da/dt = s (c + a) exp(E/R (1/298 - 1/T)) (1 - a)^2        conversion a
    dT/dt = dH/cp da/dt - U S/(m cp) (T - T_air)              one well-mixed lump

The one unknown, the speed s, is set so that the label's own test comes out; the rest is taken at
both ends of what is published, and the answer is the span of the results.
"""

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from itertools import pairwise

from handsfree.core.errors import check_range
from handsfree.core.potlife import (
    LARGEST_BATCH_G,
    LEAST_BATCH_G,
    MIX_G_PER_ML,
    LabelPotLife,
    Method,
    check_label,
    check_mix_c,
)

GAS_J_PER_MOL_K = 8.314462618  # CODATA 2018.
ZERO_C_IN_K = 273.15
REFERENCE_K = 298.15
HEAT_J_PER_G_K = 1.9  # Specific heat of liquid epoxy, from memory.
# Gel of a stoichiometric mix of a four-functional amine with a two-functional epoxide (Flory and
# Stockmayer): 1 / sqrt(3).
GEL_CONVERSION = 1.0 / math.sqrt(3.0)
# Followed this far: the peak comes before it.
LAST_CONVERSION = 0.97
GEL_STEPS, LAST_STEPS = 40, 24
# Trials for the speed, and the relative error of the label's minutes that ends them.
MOST_TRIALS, CLOSE_ENOUGH = 40, 1e-6
# A disposable plastic cup softens near the first, and epoxy smokes and chars from the second.
# From memory.
SOFTENS_C, SMOKES_C = 80.0, 150.0


class Smoke(Enum):
    """What to expect of a cup that is left standing."""

    UNLIKELY = "unlikely"
    POSSIBLE = "possible"
    EXPECT_IT = "expect it"


@dataclass(frozen=True)
class Kinetics:
    """One set of constants of the heat balance."""

    energy_j_per_mol: float
    start_share: float  # c: the uncatalyzed speed over the autocatalytic one.
    heat_j_per_g: float
    loss_w_per_m2_k: float  # From the cup to still air.


# The middle, and the ends that give the mildest and the fiercest cup. Activation energies of 50 to
# 60 kJ/mol: J. Appl. Polym. Sci. 56 (1995) 1029, Thermochim. Acta 447 (2006) 167; heat of 98 to 110
# kJ per epoxide, and 5 to 12 W/m2/K for a cup in still air, from memory.
BASE = Kinetics(55e3, 0.10, 450.0, 8.0)
MILD = Kinetics(50e3, 0.50, 300.0, 12.0)
FIERCE = Kinetics(60e3, 0.02, 500.0, 5.0)


@dataclass(frozen=True)
class Exotherm:
    """The span in which a cup's peak is expected, and how soon."""

    least_peak_c: float
    largest_peak_c: float
    soonest_minutes: float
    latest_minutes: float
    smoke: Smoke


@dataclass(frozen=True)
class Course:
    """What one integration gives: minutes to gel, and the peak with its time."""

    gel_minutes: float
    peak_c: float
    peak_minutes: float


def exotherm(label: LabelPotLife, *, batch_g: float, mix_c: float, air_c: float) -> Exotherm:
    """The peak of a cup that is left standing full.

    Args:
        label: as for pot_life; a water-bath label is taken as held at its temperature, and one of
            unknown method as either.
        batch_g: resin and hardener together, 0.1 to 5000 g, in a cup as deep as it is wide.
        mix_c: the mix's temperature when poured, 0 to 40 °C.
        air_c: the air's, 0 to 40 °C.

    Returns:
        Unrounded spans. Above about 200 °C read "melts the cup and smokes": boiling, charring and
        a cool rim are left out.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the heat balance above, with the constants' published span.

    Not covered:
        Other shapes, fillers, and what the cup stands on.
    """
    check_label(label)
    check_range("batch_g", batch_g, LEAST_BATCH_G, LARGEST_BATCH_G, "g")
    check_mix_c(mix_c)
    check_mix_c(air_c, field="air_c")
    in_bath = {
        Method.CUP_IN_AIR: (False,),
        Method.WATER_BATH: (True,),
        Method.UNKNOWN: (False, True),
    }[label.method]
    courses = [
        course(
            kinetics,
            speed_per_minute=label_speed(
                kinetics, label.minutes, label.test_g, label.test_c, is_bath
            ),
            loss_per_minute=loss_per_minute(kinetics, batch_g),
            mix_c=mix_c,
            air_c=air_c,
        )
        for kinetics in (MILD, BASE, FIERCE)
        for is_bath in in_bath
    ]
    least_c, largest_c = min(c.peak_c for c in courses), max(c.peak_c for c in courses)
    smoke = Smoke.POSSIBLE
    if largest_c < SOFTENS_C:
        smoke = Smoke.UNLIKELY
    elif least_c >= SMOKES_C:
        smoke = Smoke.EXPECT_IT
    return Exotherm(
        least_peak_c=least_c,
        largest_peak_c=largest_c,
        soonest_minutes=min(c.peak_minutes for c in courses),
        latest_minutes=max(c.peak_minutes for c in courses),
        smoke=smoke,
    )


def loss_per_minute(kinetics: Kinetics, batch_g: float) -> float:
    """How fast a cup as deep as it is wide gives off its warmth, 1/min.

    Source: U S / (m cp); such a cup has the surface 3/2 pi d^2 and the volume pi d^3 / 4.
    """
    width_cm = math.cbrt(4.0 * batch_g / (math.pi * MIX_G_PER_ML))
    surface_m2 = 1.5 * math.pi * width_cm**2 * 1e-4
    return kinetics.loss_w_per_m2_k * surface_m2 * 60.0 / (batch_g * HEAT_J_PER_G_K)


def course(
    kinetics: Kinetics,
    *,
    speed_per_minute: float,
    loss_per_minute: float,
    mix_c: float,
    air_c: float,
) -> Course:
    """One integration of the heat balance, in steps of conversion.

    Args:
        kinetics: the constants.
        speed_per_minute: s at 25 °C, 1/min, above 0.
        loss_per_minute: as from loss_per_minute; infinite holds the mix at the air's temperature.
        mix_c, air_c: °C.

    Source: within a step the speed of the middle holds and the approach to the balance of heat made
        and lost is exact, so that the thin and slow cases do not oscillate.
    """
    rise_k = kinetics.heat_j_per_g / HEAT_J_PER_G_K
    per_k = kinetics.energy_j_per_mol / GAS_J_PER_MOL_K
    minutes = gel_minutes = peak_minutes = 0.0
    mix_k, air_k = mix_c + ZERO_C_IN_K, air_c + ZERO_C_IN_K
    if math.isinf(loss_per_minute):
        mix_k = air_k
    peak_k = mix_k
    for end, span, minutes_at_unit_speed in _steps_of(kinetics.start_share):
        duration = minutes_at_unit_speed / (speed_per_minute * _hastened(per_k, mix_k))
        half_k = _after(mix_k, air_k, rise_k, span / duration, loss_per_minute, 0.5 * duration)
        duration = minutes_at_unit_speed / (speed_per_minute * _hastened(per_k, half_k))
        mix_k = _after(mix_k, air_k, rise_k, span / duration, loss_per_minute, duration)
        minutes += duration
        if end == GEL_CONVERSION:
            gel_minutes = minutes
        if mix_k > peak_k:
            peak_k, peak_minutes = mix_k, minutes
    return Course(gel_minutes, peak_k - ZERO_C_IN_K, peak_minutes)


@lru_cache(maxsize=8)
def _steps_of(start_share: float) -> tuple[tuple[float, float, float], ...]:
    """Each step's end, its span of conversion, and its minutes at a speed of 1 per minute.

    Source: the integral of da / ((c + a) (1 - a)^2) in closed form, so that a steady temperature is
        exact whatever the step.
    """

    def minutes_to(conversion: float) -> float:
        whole = 1.0 + start_share
        left = 1.0 - conversion
        return math.log((start_share + conversion) / left) / whole**2 + 1.0 / (whole * left)

    before = [GEL_CONVERSION * i / GEL_STEPS for i in range(GEL_STEPS)]
    beyond = LAST_CONVERSION - GEL_CONVERSION
    ends = [*before, *(GEL_CONVERSION + beyond * i / LAST_STEPS for i in range(LAST_STEPS + 1))]
    return tuple(
        (end, end - start, minutes_to(end) - minutes_to(start)) for start, end in pairwise(ends)
    )


def _hastened(per_k: float, mix_k: float) -> float:
    """Speed at a temperature over the speed at 25 °C."""
    return math.exp(per_k * (1.0 / REFERENCE_K - 1.0 / mix_k))


def _after(
    mix_k: float, air_k: float, rise_k: float, pace: float, loss_per_minute: float, duration: float
) -> float:
    """The mix's temperature after a time at one pace of reaction."""
    if math.isinf(loss_per_minute):
        return air_k
    if loss_per_minute == 0.0:
        return mix_k + rise_k * pace * duration
    balance_k = air_k + rise_k * pace / loss_per_minute
    return mix_k + (balance_k - mix_k) * -math.expm1(-loss_per_minute * duration)


@lru_cache(maxsize=64)
def label_speed(
    kinetics: Kinetics, minutes: float, test_g: float, test_c: float, is_bath: bool
) -> float:
    """The speed at which the label's own test gels at the label's minutes, 1/min.

    Source: with all heat held, and with none, time goes as one over speed; the label's cup lies
        between, where the speed is found by trial.
    """

    def gel_minutes(speed_per_minute: float, loss: float) -> float:
        return course(
            kinetics,
            speed_per_minute=speed_per_minute,
            loss_per_minute=loss,
            mix_c=test_c,
            air_c=test_c,
        ).gel_minutes

    fast = gel_minutes(1.0, math.inf) / minutes
    if is_bath:
        return fast
    slow = gel_minutes(1.0, 0.0) / minutes
    loss = loss_per_minute(kinetics, test_g)
    # False position with the Illinois change, on logarithms, where the curve is nearly straight.
    low, high = math.log(slow), math.log(fast)
    low_miss = math.log(gel_minutes(slow, loss) / minutes)
    high_miss = math.log(gel_minutes(fast, loss) / minutes)
    for _ in range(MOST_TRIALS):
        middle = high - high_miss * (high - low) / (high_miss - low_miss)
        miss = math.log(gel_minutes(math.exp(middle), loss) / minutes)
        if abs(miss) < CLOSE_ENOUGH:
            break
        if miss * high_miss < 0.0:
            low, low_miss = high, high_miss
        else:
            low_miss /= 2.0
        high, high_miss = middle, miss
    return math.exp(middle)
