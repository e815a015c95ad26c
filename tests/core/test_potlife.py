"""Pot life: the rule against a numerical heat balance, its integral against scipy, and laws."""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from handsfree.core.errors import OutOfRange
from handsfree.core.exotherm import (
    BASE,
    FIERCE,
    MILD,
    Kinetics,
    course,
    label_speed,
    loss_per_minute,
)
from handsfree.core.potlife import (
    Doubt,
    LabelPotLife,
    Method,
    MixReading,
    pot_life,
    share_gone_at_rise,
    share_used,
)

GATE = LabelPotLife(minutes=25.0, test_g=100.0, test_c=25.0, method=Method.CUP_IN_AIR)

labels = st.builds(
    LabelPotLife,
    minutes=st.floats(2, 120),
    test_g=st.floats(10, 5000),
    test_c=st.floats(10, 40),
    method=st.sampled_from(Method),
)
batches = st.floats(0.1, 5000)
temperatures = st.floats(0, 40)
depths = st.none() | st.floats(0.1, 500)


def of(minutes: float, test_g: float, test_c: float) -> LabelPotLife:
    return LabelPotLife(minutes, test_g, test_c, Method.CUP_IN_AIR)


# Hand arithmetic of life = t (phi + (1 - phi) (m0 / m)^(1/3)), phi = 1 / (1 + t / 45), with
# t = t0 2.3^((T0 - T) / 10) when hotter and t0 1.7^((T0 - T) / 10) when colder.
RULE = [
    pytest.param(GATE, 100, 15, 42.5, id="100g-15C"),
    pytest.param(GATE, 100, 20, 32.6, id="100g-20C"),
    pytest.param(GATE, 100, 25, 25.0, id="100g-25C"),
    pytest.param(GATE, 100, 30, 16.5, id="100g-30C"),
    pytest.param(GATE, 100, 35, 10.9, id="100g-35C"),
    pytest.param(GATE, 500, 15, 33.9, id="500g-15C"),
    pytest.param(GATE, 500, 35, 10.0, id="500g-35C"),
    pytest.param(GATE, 1000, 20, 25.3, id="1000g-20C"),
    pytest.param(GATE, 1191, 20, 24.9, id="1191g-20C"),
    pytest.param(GATE, 1191, 30, 14.0, id="1191g-30C"),
    pytest.param(GATE, 2000, 25, 19.4, id="2000g-25C"),
    pytest.param(of(40, 200, 23), 1191, 20, 36.17, id="slower-label"),
    pytest.param(of(40, 200, 23), 2000, 35, 12.78, id="slower-label-hot"),
    pytest.param(of(15, 100, 20), 500, 30, 6.18, id="fast-label-hot"),
    pytest.param(of(120, 100, 25), 1191, 25, 70.94 * 0.75, id="very-slow-label-with-its-margin"),
    pytest.param(of(120, 100, 25), 50, 15, 204.0 * 0.75, id="very-slow-label-small-and-cool"),
]


@pytest.mark.parametrize(("label", "batch_g", "mix_c", "expected"), RULE)
def test_rule(label: LabelPotLife, batch_g: float, mix_c: float, expected: float) -> None:
    assert pot_life(label, batch_g=batch_g, mix_c=mix_c).minutes == pytest.approx(
        expected, abs=0.051
    )


def test_factors_multiply_to_the_minutes() -> None:
    life = pot_life(GATE, batch_g=1191, mix_c=20)
    product = life.method_factor * life.temperature_factor * life.mass_factor
    assert life.minutes == pytest.approx(25.0 * product, rel=1e-12)


@pytest.mark.parametrize("minutes", [10, 25, 40, 60])
@pytest.mark.parametrize("kinetics", [MILD, BASE, FIERCE], ids=["mild", "base", "fierce"])
def test_rule_is_hardly_ever_longer_than_the_heat_balance(
    minutes: float, kinetics: Kinetics
) -> None:
    # The heat balance is checked against scipy in test_exotherm. 10 % is what its own unknowns
    # leave; the last warning comes at nine tenths of the life.
    speed = label_speed(kinetics, minutes, 100.0, 25.0, False)
    for batch_g in (50, 100, 200, 500, 1000, 2000):
        for mix_c in (15, 20, 25, 30, 35):
            gel_minutes = course(
                kinetics,
                speed_per_minute=speed,
                loss_per_minute=loss_per_minute(kinetics, batch_g),
                mix_c=mix_c,
                air_c=mix_c,
            ).gel_minutes
            ours = pot_life(of(minutes, 100, 25), batch_g=batch_g, mix_c=mix_c).minutes
            assert ours <= 1.10 * gel_minutes, (batch_g, mix_c, ours, gel_minutes)


@given(label=labels, batch_g=batches, mix_c=temperatures, hotter=temperatures, depth=depths)
def test_hotter_never_has_more_time(
    label: LabelPotLife, batch_g: float, mix_c: float, hotter: float, depth: float | None
) -> None:
    cool, hot = sorted((mix_c, hotter))
    shorter = pot_life(label, batch_g=batch_g, mix_c=hot, fill_depth_mm=depth).minutes
    longer = pot_life(label, batch_g=batch_g, mix_c=cool, fill_depth_mm=depth).minutes
    assert 0.0 < shorter <= longer * (1 + 1e-12)
    assert math.isfinite(longer)


@given(label=labels, batch_g=batches, larger_g=batches, mix_c=temperatures)
def test_larger_never_has_more_time(
    label: LabelPotLife, batch_g: float, larger_g: float, mix_c: float
) -> None:
    small, large = sorted((batch_g, larger_g))
    assert (
        pot_life(label, batch_g=large, mix_c=mix_c).minutes
        <= pot_life(label, batch_g=small, mix_c=mix_c).minutes
    )


@given(label=labels, batch_g=batches, mix_c=temperatures, depth=st.floats(0.1, 500))
def test_another_shape_lies_between_the_cup_and_a_small_batch(
    label: LabelPotLife, batch_g: float, mix_c: float, depth: float
) -> None:
    cup = pot_life(label, batch_g=batch_g, mix_c=mix_c).minutes
    shaped = pot_life(label, batch_g=batch_g, mix_c=mix_c, fill_depth_mm=depth).minutes
    small = pot_life(label, batch_g=min(batch_g, label.test_g), mix_c=mix_c).minutes
    assert cup <= shaped * (1 + 1e-12)
    assert shaped <= small * (1 + 1e-12)


def test_fill_as_deep_as_wide_is_the_ordinary_cup() -> None:
    # 1.1 g/ml pi/4 d^3 = 500 g at d = 83.3 mm.
    depth_mm = 10.0 * (500 / (1.1 * math.pi / 4)) ** (1 / 3)
    shaped = pot_life(GATE, batch_g=500, mix_c=25, fill_depth_mm=depth_mm).minutes
    assert shaped == pytest.approx(pot_life(GATE, batch_g=500, mix_c=25).minutes, rel=1e-9)
    # 500 g spread to 10 mm: d = 240.6 mm, V/S = d h / (2d + 4h) = 4.616 mm, as a cup of 26 g.
    tray = pot_life(GATE, batch_g=500, mix_c=25, fill_depth_mm=10).minutes
    assert tray == pytest.approx(25.0)
    # To 40 mm: d = 120.3 mm, V/S = 12.01 mm, as a cup 72.1 mm wide, which holds 323 g:
    # 25 (0.6429 + 0.3571 (100/323)^(1/3)) = 22.11.
    deep = pot_life(GATE, batch_g=500, mix_c=25, fill_depth_mm=40).minutes
    assert deep == pytest.approx(22.11, abs=0.02)


def test_doubts_are_named() -> None:
    assert pot_life(GATE, batch_g=100, mix_c=25).doubts == ()
    assert pot_life(GATE, batch_g=100, mix_c=10).doubts == ()
    cold = pot_life(GATE, batch_g=50, mix_c=4)
    assert cold.doubts == (Doubt.COLDER_THAN_THE_RULE, Doubt.SMALL_BATCH_NO_CREDIT)
    assert cold.minutes == pot_life(GATE, batch_g=100, mix_c=10).minutes
    slow = pot_life(of(90, 100, 25), batch_g=100, mix_c=25)
    assert slow.doubts == (Doubt.SLOW_PRODUCT,)
    assert slow.minutes == pytest.approx(67.5)
    assert pot_life(of(60, 100, 25), batch_g=100, mix_c=25).minutes == pytest.approx(60.0)


# Life of a cup in air against a water bath: the heat balance gives 0.68, 0.48, 0.25 at labels
# of 25, 60, 240 minutes; 42.5 lies halfway between the first two.
@pytest.mark.parametrize(
    ("method", "minutes", "expected", "doubt"),
    [
        pytest.param(Method.WATER_BATH, 25, 17.0, Doubt.WATER_BATH_LABEL, id="bath-25"),
        pytest.param(Method.WATER_BATH, 10, 6.8, Doubt.WATER_BATH_LABEL, id="bath-10"),
        pytest.param(Method.WATER_BATH, 42.5, 24.65, Doubt.WATER_BATH_LABEL, id="bath-between"),
        pytest.param(Method.WATER_BATH, 60, 28.8, Doubt.WATER_BATH_LABEL, id="bath-60"),
        pytest.param(Method.WATER_BATH, 240, 60.0, Doubt.WATER_BATH_LABEL, id="bath-240"),
        pytest.param(Method.UNKNOWN, 25, 15.0, Doubt.METHOD_UNKNOWN, id="unknown-25"),
        pytest.param(Method.UNKNOWN, 60, 28.8, Doubt.METHOD_UNKNOWN, id="unknown-60"),
    ],
)
def test_label_of_another_method_is_cut_short(
    method: Method, minutes: float, expected: float, doubt: Doubt
) -> None:
    label = LabelPotLife(minutes, 100.0, 25.0, method)
    life = pot_life(label, batch_g=100, mix_c=25)
    assert life.minutes == pytest.approx(expected)
    assert life.doubts == (doubt,)


def test_label_too_slow_for_a_larger_batch_is_refused() -> None:
    slow = of(240, 100, 25)
    assert pot_life(slow, batch_g=100, mix_c=25).minutes == pytest.approx(180.0)
    with pytest.raises(OutOfRange) as refusal:
        pot_life(slow, batch_g=101, mix_c=25)
    assert (refusal.value.field, refusal.value.value) == ("label_minutes", 240)
    assert (refusal.value.low, refusal.value.high, refusal.value.unit) == (2, 120, "min")
    assert pot_life(of(120, 100, 25), batch_g=101, mix_c=25).minutes < 90.0


NAN = float("nan")
REFUSED = [
    pytest.param(of(1.9, 100, 25), 100, 25, None, "label_minutes", id="fast"),
    pytest.param(of(241, 100, 25), 100, 25, None, "label_minutes", id="slow"),
    pytest.param(of(NAN, 100, 25), 100, 25, None, "label_minutes", id="nan-label"),
    pytest.param(of(25, 9, 25), 100, 25, None, "label_test_g", id="label-mass"),
    pytest.param(of(25, 5001, 25), 100, 25, None, "label_test_g", id="label-mass-high"),
    pytest.param(of(25, 100, 9), 100, 25, None, "label_test_c", id="label-cold"),
    pytest.param(of(25, 100, 41), 100, 25, None, "label_test_c", id="label-hot"),
    pytest.param(GATE, 0, 25, None, "batch_g", id="no-batch"),
    pytest.param(GATE, 5001, 25, None, "batch_g", id="large"),
    pytest.param(GATE, math.inf, 25, None, "batch_g", id="infinite"),
    pytest.param(GATE, 100, -0.1, None, "mix_c", id="frozen"),
    pytest.param(GATE, 100, 40.1, None, "mix_c", id="hot"),
    pytest.param(GATE, 100, NAN, None, "mix_c", id="nan"),
    pytest.param(GATE, 100, 25, 0.05, "fill_depth_mm", id="film"),
    pytest.param(GATE, 100, 25, 501, "fill_depth_mm", id="well"),
]


@pytest.mark.parametrize(("label", "batch_g", "mix_c", "depth_mm", "field"), REFUSED)
def test_outside_the_domain_is_refused(
    label: LabelPotLife, batch_g: float, mix_c: float, depth_mm: float | None, field: str
) -> None:
    with pytest.raises(OutOfRange) as refusal:
        pot_life(label, batch_g=batch_g, mix_c=mix_c, fill_depth_mm=depth_mm)
    assert refusal.value.field == field


histories = st.lists(st.tuples(st.floats(0.1, 200), temperatures), min_size=1, max_size=8).map(
    lambda steps: [
        MixReading(sum(minutes for minutes, _ in steps[:i]), mix_c)
        for i, (_, mix_c) in enumerate(steps)
    ]
)


@given(label=labels, batch_g=batches, history=histories, now=st.floats(0, 1440))
def test_closed_integral_agrees_with_numerical_integration(
    label: LabelPotLife, batch_g: float, history: list[MixReading], now: float
) -> None:
    times = [reading.minutes for reading in history]
    values = [reading.mix_c for reading in history]

    def rate(minutes: float) -> float:
        mix_c = float(np.interp(minutes, times, values))
        return 1.0 / pot_life(label, batch_g=batch_g, mix_c=mix_c).minutes

    expected = 0.0
    for start, end in zip(times, [*times[1:], math.inf], strict=True):
        if start < now:
            expected += integral(rate, start, min(end, now), kinks(history, label.test_c))
    ours = share_used(label, batch_g=batch_g, history=history, now_minutes=now)
    assert ours == pytest.approx(expected, rel=1e-6, abs=1e-9)


def kinks(history: Sequence[MixReading], test_c: float) -> list[float]:
    """Where a ramp crosses a temperature at which the rule changes its slope."""
    found = []
    for earlier, later in pairwise(history):
        for level in (10.0, test_c):
            if min(earlier.mix_c, later.mix_c) < level < max(earlier.mix_c, later.mix_c):
                share = (level - earlier.mix_c) / (later.mix_c - earlier.mix_c)
                found.append(earlier.minutes + share * (later.minutes - earlier.minutes))
    return found


def integral(
    rate: Callable[[float], float], start: float, end: float, breaks: list[float]
) -> float:
    if end - start < 1e-9:
        return 0.0  # Too short for the integrator's own arithmetic.
    inside = [place for place in breaks if start < place < end]
    value, _ = quad(rate, start, end, points=inside or None, limit=200, epsabs=1e-10)
    return float(value)


def test_steady_temperature_uses_the_life_up_at_its_end() -> None:
    for mix_c in (8.0, 15.0, 25.0, 33.0):
        life = pot_life(GATE, batch_g=800, mix_c=mix_c).minutes
        used = share_used(GATE, batch_g=800, history=[MixReading(0.0, mix_c)], now_minutes=life)
        assert used == pytest.approx(1.0, rel=1e-12)
        shaped = pot_life(GATE, batch_g=800, mix_c=mix_c, fill_depth_mm=30).minutes
        assert shaped > life
        used = share_used(
            GATE,
            batch_g=800,
            history=[MixReading(0.0, mix_c)],
            now_minutes=shaped,
            fill_depth_mm=30,
        )
        assert used == pytest.approx(1.0, rel=1e-12)


def test_it_is_the_history_that_counts_and_not_the_last_value() -> None:
    # 10 minutes at 35 °C use 10 / 10.87 of a 100 g cup; 5 more at 25 °C use 5 / 25.
    history = [MixReading(0, 35), MixReading(10, 35), MixReading(10.001, 25)]
    used = share_used(GATE, batch_g=100, history=history, now_minutes=15)
    assert used == pytest.approx(10 / 10.870 + 5 / 25, abs=0.001)


def test_very_slow_product_spread_thin_keeps_its_clock() -> None:
    # 400 g would be refused in a cup; 10 mm deep they lose heat like a cup of 22 g.
    slow = of(240, 100, 25)
    with pytest.raises(OutOfRange):
        share_used(slow, batch_g=400, history=[MixReading(0, 25)], now_minutes=90)
    used = share_used(
        slow, batch_g=400, history=[MixReading(0, 25)], now_minutes=90, fill_depth_mm=10
    )
    assert used == pytest.approx(0.5)


def test_ramp_from_the_cold_counts_the_cold_part_too() -> None:
    # 0 to 10 °C in 20 minutes at the 10 °C life, 25 x 1.7^1.5 = 55.41 min; then 10 °C on.
    history = [MixReading(0, 0), MixReading(20, 10)]
    used = share_used(GATE, batch_g=100, history=history, now_minutes=30)
    assert used == pytest.approx(30 / 55.413, rel=1e-4)


@given(history=histories, now=st.floats(0, 700), more=st.floats(0, 700))
def test_life_is_never_given_back(history: list[MixReading], now: float, more: float) -> None:
    earlier = share_used(GATE, batch_g=300, history=history, now_minutes=now)
    later = share_used(GATE, batch_g=300, history=history, now_minutes=now + more)
    assert 0.0 <= earlier <= later * (1 + 1e-12)


@pytest.mark.parametrize(
    ("history", "now", "field"),
    [
        pytest.param([], 1, "history_readings", id="none"),
        pytest.param([MixReading(1, 20)], 1, "first_reading_minutes", id="late-start"),
        pytest.param([MixReading(0, 20), MixReading(0, 20)], 1, "reading_minutes", id="same-time"),
        pytest.param([MixReading(0, 20), MixReading(NAN, 20)], 1, "reading_minutes", id="nan"),
        pytest.param([MixReading(0, 20), MixReading(1441, 20)], 1, "reading_minutes", id="long"),
        pytest.param([MixReading(0, 41)], 1, "mix_c", id="hot"),
        pytest.param([MixReading(0, 20)], -1, "now_minutes", id="before"),
        pytest.param([MixReading(0, 20)], 1441, "now_minutes", id="after"),
    ],
)
def test_bad_history_is_refused(history: list[MixReading], now: float, field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        share_used(GATE, batch_g=100, history=history, now_minutes=now)
    assert refusal.value.field == field


# Upper ends of the heat balance's spread; the middles are 33, 52, 70 and 85 %.
@pytest.mark.parametrize(
    ("rise_k", "share"),
    [(-3, 0.0), (0, 0.0), (2.5, 0.28), (5, 0.56), (10, 0.77), (15, 0.87), (25, 0.94), (40, 1.0)],
)
def test_warm_cup_is_a_second_clock(rise_k: float, share: float) -> None:
    assert share_gone_at_rise(mixed_c=20.0, cup_c=20.0 + rise_k) == pytest.approx(share)


def test_hot_cup_is_over() -> None:
    assert share_gone_at_rise(mixed_c=20.0, cup_c=300.0) == 1.0
    with pytest.raises(OutOfRange):
        share_gone_at_rise(mixed_c=20.0, cup_c=301.0)
    with pytest.raises(OutOfRange) as refusal:
        share_gone_at_rise(mixed_c=41.0, cup_c=50.0)
    assert refusal.value.field == "mixed_c"
