"""The heat balance against scipy's stiff solver, published bounds, and laws."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from handsfree.core.errors import OutOfRange
from handsfree.core.exotherm import (
    BASE,
    FIERCE,
    GAS_J_PER_MOL_K,
    GEL_CONVERSION,
    HEAT_J_PER_G_K,
    MILD,
    Kinetics,
    Smoke,
    course,
    exotherm,
    label_speed,
    loss_per_minute,
)
from handsfree.core.potlife import LabelPotLife, Method, share_gone_at_rise

GATE = LabelPotLife(25.0, 100.0, 25.0, Method.CUP_IN_AIR)


def solved(
    constants: Kinetics, speed: float, loss: float, mix_c: float, rise_k: float = 1000.0
) -> tuple[float, float, float]:
    """Minutes to gel, peak and minutes to a rise, from the two equations in the module's docstring.

    By LSODA, in air at the mix's own starting temperature; a rise never reached is infinite.
    """

    def slopes(_: float, state: list[float]) -> list[float]:
        conversion, mix = state
        pace = (
            speed
            * (constants.start_share + conversion)
            * math.exp(
                constants.energy_j_per_mol / GAS_J_PER_MOL_K * (1.0 / 298.15 - 1.0 / (mix + 273.15))
            )
            * max(1.0 - conversion, 0.0) ** 2
        )
        heat = constants.heat_j_per_g / HEAT_J_PER_G_K * pace
        return [pace, heat - loss * (mix - mix_c)]

    def gelled(_: float, state: list[float]) -> float:
        return state[0] - GEL_CONVERSION

    def warmed(_: float, state: list[float]) -> float:
        return state[1] - mix_c - rise_k

    found = solve_ivp(
        slopes,
        (0.0, 3000.0),
        [0.0, mix_c],
        method="LSODA",
        rtol=1e-8,
        atol=1e-9,
        events=[gelled, warmed],
        max_step=5.0,
    )
    warm_minutes = float(found.t_events[1][0]) if len(found.t_events[1]) else math.inf
    return float(found.t_events[0][0]), float(found.y[1].max()), warm_minutes


@pytest.mark.parametrize("constants", [MILD, BASE, FIERCE], ids=["mild", "base", "fierce"])
@pytest.mark.parametrize(("batch_g", "mix_c"), [(50, 15), (100, 25), (500, 20), (2000, 35)])
def test_steps_agree_with_a_stiff_solver(constants: Kinetics, batch_g: float, mix_c: float) -> None:
    speed = label_speed(constants, 25.0, 100.0, 25.0, False)
    loss = loss_per_minute(constants, batch_g)
    gel_minutes, peak_c, _ = solved(constants, speed, loss, mix_c)
    ours = course(constants, speed_per_minute=speed, loss_per_minute=loss, mix_c=mix_c, air_c=mix_c)
    assert ours.gel_minutes == pytest.approx(gel_minutes, rel=0.02)
    # Where the cup hovers between warming and running away the peak is the more sensitive.
    assert ours.peak_c == pytest.approx(peak_c, rel=0.06, abs=3.0)


# Minutes to gel by an independent program (scipy's LSODA) with the base constants, calibrated to
# 25 min, 100 g, 25 °C.
PROTOTYPE = [
    (50, (64.8, 39.7, 25.9, 17.6, 12.3)),
    (100, (59.4, 37.6, 25.0, 17.2, 12.1)),
    (200, (55.6, 36.1, 24.3, 16.9, 11.9)),
    (500, (52.3, 34.6, 23.7, 16.5, 11.8)),
    (1000, (50.5, 33.9, 23.3, 16.4, 11.7)),
    (2000, (49.2, 33.3, 23.0, 16.2, 11.6)),
]


@pytest.mark.parametrize(("batch_g", "minutes"), PROTOTYPE)
def test_gel_times_of_an_independent_program(batch_g: float, minutes: tuple[float, ...]) -> None:
    speed = label_speed(BASE, 25.0, 100.0, 25.0, False)
    for mix_c, expected in zip((15, 20, 25, 30, 35), minutes, strict=True):
        ours = course(
            BASE,
            speed_per_minute=speed,
            loss_per_minute=loss_per_minute(BASE, batch_g),
            mix_c=mix_c,
            air_c=mix_c,
        )
        assert ours.gel_minutes == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(
    ("loss", "minutes"),
    [
        pytest.param(0.0, (44.7, 31.2, 22.0, 15.7, 11.3), id="no-loss"),
        pytest.param(math.inf, (356, 241, 165, 114, 80), id="held"),
    ],
)
def test_both_limits_of_heat_loss(loss: float, minutes: tuple[float, ...]) -> None:
    speed = label_speed(BASE, 25.0, 100.0, 25.0, False)
    for mix_c, expected in zip((15, 20, 25, 30, 35), minutes, strict=True):
        ours = course(BASE, speed_per_minute=speed, loss_per_minute=loss, mix_c=mix_c, air_c=mix_c)
        assert ours.gel_minutes == pytest.approx(expected, rel=0.012)


# The share of the life at a rise is what the second clock reads; its table is the worse end of
# the likely, so that no course of the heat balance may be further on than it says.
@pytest.mark.parametrize("constants", [MILD, BASE, FIERCE], ids=["mild", "base", "fierce"])
@pytest.mark.parametrize("minutes", [10.0, 25.0, 40.0])
@pytest.mark.parametrize("rise_k", [5.0, 10.0, 15.0, 25.0])
def test_warm_cup_is_no_further_on_than_the_second_clock_says(
    constants: Kinetics, minutes: float, rise_k: float
) -> None:
    speed = label_speed(constants, minutes, 100.0, 25.0, False)
    for batch_g, mix_c in ((100.0, 20.0), (500.0, 25.0), (2000.0, 30.0)):
        loss = loss_per_minute(constants, batch_g)
        gel_minutes, _, warm_minutes = solved(constants, speed, loss, mix_c, rise_k)
        if math.isinf(warm_minutes):
            continue
        said = share_gone_at_rise(mixed_c=mix_c, cup_c=mix_c + rise_k)
        assert warm_minutes / gel_minutes <= said + 0.03


def test_water_bath_label_is_the_faster_product() -> None:
    air = label_speed(BASE, 25.0, 100.0, 25.0, False)
    bath = label_speed(BASE, 25.0, 100.0, 25.0, True)
    assert bath > air
    held = course(BASE, speed_per_minute=bath, loss_per_minute=math.inf, mix_c=25, air_c=25)
    assert held.gel_minutes == pytest.approx(25.0)
    assert held.peak_c == pytest.approx(25.0)


def test_label_of_unknown_method_spans_both() -> None:
    def of(method: Method) -> tuple[float, float]:
        found = exotherm(LabelPotLife(40.0, 100.0, 23.0, method), batch_g=300, mix_c=23, air_c=23)
        return found.soonest_minutes, found.latest_minutes

    air, bath, unknown = of(Method.CUP_IN_AIR), of(Method.WATER_BATH), of(Method.UNKNOWN)
    assert unknown == (min(air[0], bath[0]), max(air[1], bath[1]))


@pytest.mark.parametrize(
    ("batch_g", "mix_c", "smoke"),
    [
        pytest.param(2000, 30, Smoke.EXPECT_IT, id="bucket"),
        pytest.param(100, 20, Smoke.POSSIBLE, id="cup"),
    ],
)
def test_will_this_cup_smoke(batch_g: float, mix_c: float, smoke: Smoke) -> None:
    found = exotherm(GATE, batch_g=batch_g, mix_c=mix_c, air_c=mix_c)
    assert found.smoke is smoke
    assert found.least_peak_c <= found.largest_peak_c
    assert found.soonest_minutes <= found.latest_minutes


def test_small_cool_cup_of_a_slow_product_does_not_smoke() -> None:
    slow = LabelPotLife(240.0, 100.0, 25.0, Method.CUP_IN_AIR)
    found = exotherm(slow, batch_g=5, mix_c=10, air_c=10)
    assert found.smoke is Smoke.UNLIKELY
    assert found.largest_peak_c < 80.0


@settings(max_examples=40)
@given(
    batch_g=st.floats(0.1, 5000),
    mix_c=st.floats(0, 40),
    air_c=st.floats(0, 40),
    minutes=st.floats(2, 240),
    method=st.sampled_from(Method),
)
def test_peak_lies_between_the_start_and_the_heat_there_is(
    batch_g: float, mix_c: float, air_c: float, minutes: float, method: Method
) -> None:
    found = exotherm(
        LabelPotLife(minutes, 100.0, 25.0, method), batch_g=batch_g, mix_c=mix_c, air_c=air_c
    )
    # 500 J/g over 1.9 J/g/K are 263 K.
    assert mix_c - 1e-6 <= found.least_peak_c <= found.largest_peak_c
    assert found.largest_peak_c <= max(mix_c, air_c) + 264.0
    assert 0.0 <= found.soonest_minutes <= found.latest_minutes < math.inf


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        pytest.param({"batch_g": 0.0}, "batch_g", id="no-batch"),
        pytest.param({"batch_g": 5001.0}, "batch_g", id="drum"),
        pytest.param({"mix_c": float("nan")}, "mix_c", id="nan"),
        pytest.param({"air_c": 41.0}, "air_c", id="hot-air"),
    ],
)
def test_outside_the_domain_is_refused(changes: dict[str, float], field: str) -> None:
    given = {"batch_g": 100.0, "mix_c": 20.0, "air_c": 20.0} | changes
    with pytest.raises(OutOfRange) as refusal:
        exotherm(GATE, **given)
    assert refusal.value.field == field
