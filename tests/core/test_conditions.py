"""Limits of air and surface, now and over a forecast."""

import pytest

from handsfree.core.conditions import (
    Breach,
    Conditions,
    Fault,
    Limits,
    breaches,
    can_blush,
    outlook,
)
from handsfree.core.errors import OutOfRange

LIMITS = Limits(
    least_air_c=10,
    largest_air_c=35,
    least_surface_c=8,
    largest_surface_c=40,
    largest_humidity_percent=80,
    dew_margin_k=3,
)
FINE = Conditions(0.0, 20.0, 50.0, 20.0)
NAN = float("nan")


def at(air_c: float, humidity: float, surface_c: float) -> Conditions:
    return Conditions(0.0, air_c, humidity, surface_c)


# Dew points by the ASHRAE formulation: 20 °C/50 % 9.3, 20/80 16.4, 25/60 16.7 °C.
BREACHED = [
    pytest.param(at(9.9, 50, 20), (Fault.AIR_TOO_COLD,), id="cold-air"),
    pytest.param(at(10, 50, 20), (), id="air-at-its-limit"),
    pytest.param(at(35.1, 20, 30), (Fault.AIR_TOO_HOT,), id="hot-air"),
    pytest.param(at(35, 20, 30), (), id="hot-air-at-its-limit"),
    pytest.param(at(15, 30, 7.9), (Fault.SURFACE_TOO_COLD,), id="cold-surface"),
    pytest.param(at(15, 30, 8), (), id="surface-at-its-limit"),
    pytest.param(at(30, 30, 40.1), (Fault.SURFACE_TOO_HOT,), id="hot-surface"),
    pytest.param(at(30, 30, 40), (), id="hot-surface-at-its-limit"),
    pytest.param(at(20, 80.1, 22), (Fault.TOO_HUMID,), id="humid"),
    pytest.param(at(20, 80, 22), (), id="humidity-at-its-limit"),
    pytest.param(at(25, 60, 19.6), (Fault.TOO_CLOSE_TO_DEW,), id="dew"),
    pytest.param(at(25, 60, 19.8), (), id="just-clear-of-dew"),
    pytest.param(
        at(5, 90, 2),
        (
            Fault.AIR_TOO_COLD,
            Fault.SURFACE_TOO_COLD,
            Fault.TOO_HUMID,
            Fault.TOO_CLOSE_TO_DEW,
        ),
        id="everything",
    ),
]


@pytest.mark.parametrize(("conditions", "faults"), BREACHED)
def test_limits_of_the_card(conditions: Conditions, faults: tuple[Fault, ...]) -> None:
    assert tuple(breach.fault for breach in breaches(LIMITS, conditions)) == faults


def test_breach_carries_the_reading_and_the_limit() -> None:
    assert breaches(LIMITS, at(9, 50, 20)) == (Breach(Fault.AIR_TOO_COLD, 9, 10),)
    assert breaches(LIMITS, at(36, 20, 30)) == (Breach(Fault.AIR_TOO_HOT, 36, 35),)
    assert breaches(LIMITS, at(20, 81, 22)) == (Breach(Fault.TOO_HUMID, 81, 80),)
    (close,) = breaches(LIMITS, at(20, 50, 11))
    assert close.limit == 3
    assert close.reading == pytest.approx(11 - 9.27, abs=0.04)


def test_silent_card_leaves_the_dew_margin_alone() -> None:
    assert breaches(None, at(-5, 50, 60)) == ()
    assert [b.fault for b in breaches(None, at(25, 60, 19.6))] == [Fault.TOO_CLOSE_TO_DEW]


def test_mix_is_at_least_as_warm_as_the_surface() -> None:
    assert breaches(LIMITS, FINE, mix_c=20) == ()
    assert breaches(LIMITS, FINE, mix_c=19.9) == (
        Breach(Fault.MIX_COLDER_THAN_SURFACE, 19.9, 20.0),
    )
    for mix_c in (-0.1, 40.1, NAN):
        with pytest.raises(OutOfRange) as refusal:
            breaches(LIMITS, FINE, mix_c=mix_c)
        assert refusal.value.field == "mix_c"


# 20 °C at 50 % has a dew point of 9.3 °C, 25 °C at 60 % of 16.7 °C (ASHRAE).
@pytest.mark.parametrize(
    ("conditions", "expected"),
    [
        pytest.param(at(20, 50, 15), False, id="at-the-limit"),
        pytest.param(at(20, 50, 14.9), True, id="cool"),
        pytest.param(at(20, 75, 22), False, id="damp-at-the-limit"),
        pytest.param(at(20, 75.1, 22), True, id="damp"),
        pytest.param(at(25, 60, 20.8), False, id="clear-of-dew"),
        pytest.param(at(25, 60, 20.6), True, id="near-dew"),
    ],
)
def test_cool_or_damp_cure_may_blush(conditions: Conditions, expected: bool) -> None:
    assert can_blush(conditions) is expected


def test_outlook_finds_the_first_breach_and_the_worst_moment() -> None:
    # Straight from 20 °C at 50 % to a surface of 10 °C in air of 14 °C at 60 %.
    night = [FINE, Conditions(8.0, 14.0, 60.0, 10.0), Conditions(16.0, 20.0, 50.0, 20.0)]
    found = outlook(LIMITS, night)
    assert found.least_margin_hours == pytest.approx(8.0)
    # 14 °C at 60 % has a dew point of 6.4 °C (ASHRAE).
    assert found.least_margin_k == pytest.approx(3.6, abs=0.05)
    assert found.first_breach_hours is None
    assert found.breaches == ()
    assert not found.is_margin_falling
    damp = outlook(LIMITS, [FINE, Conditions(8.0, 14.0, 78.0, 10.0)])
    assert damp.first_breach_hours is not None
    assert 5.0 < damp.first_breach_hours < 7.0
    assert [b.fault for b in damp.breaches] == [Fault.TOO_CLOSE_TO_DEW]
    assert damp.is_margin_falling


def test_outlook_is_looked_at_every_quarter_of_an_hour() -> None:
    limits = Limits(10, 35, 8, 40, 80, 3)
    found = outlook(limits, [FINE, Conditions(1.0, 20.0, 50.0, 4.0)])
    # The surface falls 4 °C each quarter; the dew point is 9.3 °C, so 16 °C holds and 12 does not.
    assert found.first_breach_hours == 0.5
    single = outlook(limits, [FINE])
    assert (single.least_margin_hours, single.is_margin_falling) == (0.0, False)
    quick = outlook(limits, [FINE, Conditions(0.1, 20.0, 50.0, 4.0)])
    assert quick.first_breach_hours == 0.1


@pytest.mark.parametrize(
    ("readings", "field"),
    [
        pytest.param([], "readings", id="none"),
        pytest.param([FINE] * 2001, "readings", id="many"),
        pytest.param([Conditions(-1, 20, 50, 20)], "reading_hours", id="before"),
        pytest.param([Conditions(401, 20, 50, 20)], "reading_hours", id="far"),
        pytest.param([FINE, FINE], "reading_hours", id="same-time"),
        pytest.param([FINE, Conditions(401, 20, 50, 20)], "reading_hours", id="too-far"),
        pytest.param([FINE, Conditions(NAN, 20, 50, 20)], "reading_hours", id="nan"),
        pytest.param([Conditions(0, 60, 50, 20)], "air_c", id="hot"),
        pytest.param([Conditions(0, 20, 0, 20)], "humidity_percent", id="dry"),
        pytest.param([Conditions(0, 20, 50, NAN)], "surface_c", id="nan-surface"),
    ],
)
def test_bad_forecast_is_refused(readings: list[Conditions], field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        outlook(LIMITS, readings)
    assert refusal.value.field == field
