"""The dew point against the ASHRAE formulation, and what a margin means."""

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.core.dewpoint import DewVerdict, dew_margin_k, dew_point_c, dew_verdict
from handsfree.core.errors import OutOfRange

NAN = float("nan")


# The instruments read 0.5 °C; the formulations differ by up to 0.04 °C in this range.
@given(air_c=st.floats(0, 45), humidity=st.floats(20, 100))
def test_agrees_with_the_ashrae_formulation(air_c: float, humidity: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    reference_c = psychrolib.GetTDewPointFromRelHum(air_c, humidity / 100.0)
    if reference_c >= 0.0:  # Below it that library gives the frost point.
        ours = dew_point_c(air_c=air_c, humidity_percent=humidity)
        assert ours == pytest.approx(reference_c, abs=0.04)


def test_frost_forms_above_the_dew_point_over_water() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    frost_c = psychrolib.GetTDewPointFromRelHum(0.0, 0.5)
    dew_c = dew_point_c(air_c=0.0, humidity_percent=50.0)
    assert 0.5 < frost_c - dew_c < 2.1


@given(air_c=st.floats(-40, 50), one=st.floats(1, 100), other=st.floats(1, 100))
def test_rises_with_humidity_and_never_above_the_air(
    air_c: float, one: float, other: float
) -> None:
    dry, damp = sorted((one, other))
    low = dew_point_c(air_c=air_c, humidity_percent=dry)
    assert low <= dew_point_c(air_c=air_c, humidity_percent=damp) <= air_c


@given(humidity=st.floats(1, 100), one=st.floats(-40, 50), other=st.floats(-40, 50))
def test_rises_with_the_air(humidity: float, one: float, other: float) -> None:
    cold, warm = sorted((one, other))
    low = dew_point_c(air_c=cold, humidity_percent=humidity)
    assert low <= dew_point_c(air_c=warm, humidity_percent=humidity) + 1e-9


def test_saturated_air_is_at_its_dew_point() -> None:
    for air_c in (-40.0, 0.0, 20.0, 50.0):
        assert dew_point_c(air_c=air_c, humidity_percent=100.0) == pytest.approx(air_c)


@pytest.mark.parametrize(
    ("margin_k", "needed_k", "verdict"),
    [
        (-1.0, 3.0, DewVerdict.WET),
        (0.0, 3.0, DewVerdict.WET),
        (0.01, 3.0, DewVerdict.TOO_CLOSE),
        (2.99, 3.0, DewVerdict.TOO_CLOSE),
        (3.0, 3.0, DewVerdict.THIN),
        (3.99, 3.0, DewVerdict.THIN),
        (4.0, 3.0, DewVerdict.CLEAR),
        (4.0, 5.0, DewVerdict.TOO_CLOSE),
    ],
)
def test_verdict(margin_k: float, needed_k: float, verdict: DewVerdict) -> None:
    assert dew_verdict(margin_k, needed_k=needed_k) is verdict


def test_three_degrees_hold_when_the_card_is_silent() -> None:
    assert dew_verdict(2.9) is DewVerdict.TOO_CLOSE
    assert dew_verdict(3.0) is DewVerdict.THIN


@pytest.mark.parametrize(
    ("air_c", "humidity", "field"),
    [
        (-40.1, 50, "air_c"),
        (50.1, 50, "air_c"),
        (NAN, 50, "air_c"),
        (20, 0.9, "humidity_percent"),
        (20, 100.1, "humidity_percent"),
        (20, NAN, "humidity_percent"),
    ],
)
def test_outside_the_domain_is_refused(air_c: float, humidity: float, field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        dew_point_c(air_c=air_c, humidity_percent=humidity)
    assert refusal.value.field == field


def test_margin_refuses_what_is_no_surface_and_no_margin() -> None:
    assert dew_margin_k(air_c=20, humidity_percent=100, surface_c=80) == pytest.approx(60)
    for surface_c in (-40.1, 80.1, NAN):
        with pytest.raises(OutOfRange):
            dew_margin_k(air_c=20, humidity_percent=50, surface_c=surface_c)
    for margin_k in (-201.0, 201.0, NAN):
        with pytest.raises(OutOfRange):
            dew_verdict(margin_k)
    for needed_k in (0.9, 20.1, NAN):
        with pytest.raises(OutOfRange):
            dew_verdict(5.0, needed_k=needed_k)
