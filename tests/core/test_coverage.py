"""Coverage: laws and refusals; the values stand in tests/reference/outside_values.csv."""

from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.core.coverage import (
    Profile,
    coats_needed,
    comb_wft_um,
    dry_film_um,
    liters_needed,
    spreading_rate_m2_per_l,
    thinned_solids_percent,
    wet_film_um,
)
from handsfree.core.errors import OutOfRange

NAN = float("nan")
films = st.floats(1, 5000)
solids = st.floats(1, 100)
losses = st.floats(0, 90)


@given(dft_um=films, percent=st.floats(50, 100), thinner=st.floats(0, 100))
def test_wet_and_back_changes_nothing(dft_um: float, percent: float, thinner: float) -> None:
    wet_um = wet_film_um(dft_um=dft_um, volume_solids_percent=percent, thinner_percent=thinner)
    if wet_um <= 10_000:
        dry_um = dry_film_um(wft_um=wet_um, volume_solids_percent=percent, thinner_percent=thinner)
        assert dry_um == pytest.approx(dft_um)


@given(area_m2=st.floats(0.1, 1000), dft_um=films, percent=solids, loss=losses)
def test_liters_are_area_over_spreading_rate(
    area_m2: float, dft_um: float, percent: float, loss: float
) -> None:
    needed = partial(liters_needed, dft_um=dft_um, volume_solids_percent=percent, loss_percent=loss)
    rate = spreading_rate_m2_per_l(dft_um=dft_um, volume_solids_percent=percent, loss_percent=loss)
    assert needed(area_m2=area_m2) * rate == pytest.approx(area_m2)
    assert needed(area_m2=2 * area_m2) == pytest.approx(2 * needed(area_m2=area_m2))


def test_loss_divides_and_is_not_added() -> None:
    lossless = liters_needed(area_m2=10, dft_um=100, volume_solids_percent=50)
    lossy = liters_needed(area_m2=10, dft_um=100, volume_solids_percent=50, loss_percent=30)
    assert lossy / lossless == pytest.approx(1 / 0.7)


def test_roughness_adds_to_the_film() -> None:
    smooth = liters_needed(area_m2=10, dft_um=100, volume_solids_percent=50)
    for profile in Profile:
        rough = liters_needed(area_m2=10, dft_um=100, volume_solids_percent=50, profile=profile)
        assert rough / smooth == pytest.approx((100 + profile.value) / 100)


def test_no_thinner_is_the_default() -> None:
    assert wet_film_um(dft_um=100, volume_solids_percent=50) == 200
    assert dry_film_um(wft_um=100, volume_solids_percent=50) == 50


@pytest.mark.parametrize("thinner", [0.0, 10.0, 100.0])
def test_thinner_goes_into_the_volume(thinner: float) -> None:
    assert thinned_solids_percent(60.0, thinner) == pytest.approx(60.0 / (1 + thinner / 100))


def test_comb_gives_the_span_between_two_teeth() -> None:
    assert comb_wft_um(wetted_um=150, next_dry_um=175) == (150, 175)
    for wetted_um, next_dry_um in ((150, 150), (150, 10_001), (0.5, 50), (NAN, 50), (50, NAN)):
        with pytest.raises(OutOfRange):
            comb_wft_um(wetted_um=wetted_um, next_dry_um=next_dry_um)


def test_coats_are_whole() -> None:
    assert coats_needed(total_dft_um=200, largest_dft_um=200) == 1
    assert coats_needed(total_dft_um=200.1, largest_dft_um=200) == 2
    for total_um, largest_um in ((0, 200), (200, 0), (NAN, 200), (200, NAN)):
        with pytest.raises(OutOfRange):
            coats_needed(total_dft_um=total_um, largest_dft_um=largest_um)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"area_m2": 0.0}, "area_m2"),
        ({"area_m2": 10_001.0}, "area_m2"),
        ({"area_m2": NAN}, "area_m2"),
        ({"dft_um": 0.9}, "dft_um"),
        ({"dft_um": 10_001.0}, "dft_um"),
        ({"dft_um": NAN}, "dft_um"),
        ({"volume_solids_percent": 0.9}, "volume_solids_percent"),
        ({"volume_solids_percent": 100.1}, "volume_solids_percent"),
        ({"volume_solids_percent": NAN}, "volume_solids_percent"),
        ({"loss_percent": -0.1}, "loss_percent"),
        ({"loss_percent": 90.1}, "loss_percent"),
        ({"loss_percent": NAN}, "loss_percent"),
    ],
)
def test_outside_the_domain_is_refused(changes: dict[str, float], field: str) -> None:
    inside = partial(
        liters_needed, area_m2=10.0, dft_um=100.0, volume_solids_percent=50.0, loss_percent=10.0
    )
    with pytest.raises(OutOfRange) as refusal:
        partial(inside, **changes)()
    assert refusal.value.field == field


@pytest.mark.parametrize("edge", [(1.0, 1.0, 90.0), (10_000.0, 100.0, 0.0)])
def test_edges_of_the_domain_are_allowed(edge: tuple[float, float, float]) -> None:
    dft_um, percent, loss = edge
    assert (
        liters_needed(
            area_m2=10_000, dft_um=dft_um, volume_solids_percent=percent, loss_percent=loss
        )
        > 0
    )


@pytest.mark.parametrize("thinner", [-0.1, 100.1, NAN])
def test_thinner_outside_its_range_is_refused(thinner: float) -> None:
    with pytest.raises(OutOfRange) as refusal:
        wet_film_um(dft_um=100, volume_solids_percent=50, thinner_percent=thinner)
    assert refusal.value.field == "thinner_percent"
    with pytest.raises(OutOfRange) as refusal:
        dry_film_um(wft_um=0.0, volume_solids_percent=50)
    assert refusal.value.field == "wft_um"
