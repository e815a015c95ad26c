"""Mixing against arithmetic shown here, published worked examples, and laws."""

from fractions import Fraction
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.core.errors import (
    BasisNeedsDensities,
    BatchTooSmall,
    CupTooSmall,
    Missing,
    NotAllowed,
    OutOfRange,
    StoodTooLong,
)
from handsfree.core.mix import (
    Band,
    Basis,
    Component,
    Correction,
    MixRatio,
    Tolerance,
    addition_g,
    band_of,
    check_batch_size,
    correction,
    hardener_error,
    hardener_for_resin_g,
    least_resin_g,
    mixed_density_g_per_ml,
    parse_ratio,
    resin_for_hardener_g,
    rounded_parts_g,
    rounded_to_step,
    running_total_g,
    split_total_g,
    weight_ratio,
)

SEVEN = Fraction(7)

masses = st.fractions(min_value=Fraction(1, 100), max_value=40_000, max_denominator=1000)
ratios = st.fractions(min_value=Fraction(1, 20), max_value=20, max_denominator=1000)


# The forms are those of labels (common practice, no published source).
LABELS = [
    pytest.param("7:1", SEVEN, id="parts"),
    pytest.param(" 7 : 1 ", SEVEN, id="spaces"),
    pytest.param("7 to 1", SEVEN, id="to"),
    pytest.param("7/1", SEVEN, id="slash"),
    pytest.param("100:44", Fraction(25, 11), id="per-hundred"),
    pytest.param("1:0.4", Fraction(5, 2), id="decimal"),
    pytest.param("7:1 by weight", SEVEN, id="basis-said"),
    pytest.param("14.3 phr", Fraction(1000, 143), id="phr"),
    pytest.param("12.5 % of total", SEVEN, id="percent-sign"),
    pytest.param("12.5% hardener of total", SEVEN, id="percent-hardener"),
    pytest.param("12.5 percent of total", SEVEN, id="percent-word"),
    pytest.param("20:1", Fraction(20), id="largest"),
    pytest.param("1:20", Fraction(1, 20), id="least"),
]


@pytest.mark.parametrize(("text", "expected"), LABELS)
def test_label_form_gives_its_ratio(text: str, expected: Fraction) -> None:
    assert weight_ratio(parse_ratio(text, Basis.WEIGHT)) == expected


NO_RATIO = [
    "",
    "7",
    "7:",
    ":1",
    "7:1:1",
    "-7:1",
    "7,5:1",
    "1e3:1",
    "7:1 by volume",
    "\u0667:1",
    "7 1",
    "7\u2003:\u20031",
    "14.3 % phr",
    "0x7:1",
    "7:1" + "0" * 40,
]


@pytest.mark.parametrize("text", NO_RATIO)
def test_another_form_is_refused(text: str) -> None:
    with pytest.raises(NotAllowed):
        parse_ratio(text, Basis.WEIGHT)


@pytest.mark.parametrize("text", ["21:1", "1:21", "7:0", "0:1", "0 % of total", "100 % of total"])
def test_ratio_beyond_its_limits_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange):
        parse_ratio(text, Basis.WEIGHT)


def test_phr_is_by_weight_only() -> None:
    with pytest.raises(NotAllowed):
        parse_ratio("44 phr", Basis.VOLUME)
    assert parse_ratio("2:1 by volume", Basis.VOLUME) == MixRatio(
        Fraction(2), Fraction(1), Basis.VOLUME
    )


def test_ratio_by_volume_refuses_without_both_densities() -> None:
    ratio = MixRatio(SEVEN, Fraction(1), Basis.VOLUME)
    with pytest.raises(BasisNeedsDensities) as refusal:
        weight_ratio(ratio)
    assert refusal.value.missing == ("resin_g_per_ml", "hardener_g_per_ml")
    with pytest.raises(BasisNeedsDensities) as refusal:
        weight_ratio(ratio, resin_g_per_ml=Fraction(115, 100))
    assert refusal.value.missing == ("hardener_g_per_ml",)
    assert "hardener_g_per_ml" in str(refusal.value)


def test_ratio_by_volume_taken_as_weight_is_a_fifth_too_much() -> None:
    # 7:1 by volume at 1.15 and 0.97 g/ml: 7 * 1.15 / 0.97 = 8.2990 by weight;
    # 1000 g / 8.2990 = 120.5 g; 142.857 / 120.497 = 1.1856.
    ratio = MixRatio(SEVEN, Fraction(1), Basis.VOLUME)
    by_weight = weight_ratio(ratio, Fraction(115, 100), Fraction(97, 100))
    assert by_weight == Fraction(805, 97)
    right_g = hardener_for_resin_g(resin_g=Fraction(1000), weight_ratio=by_weight)
    wrong_g = hardener_for_resin_g(resin_g=Fraction(1000), weight_ratio=SEVEN)
    assert float(right_g) == pytest.approx(120.5, abs=0.05)
    error = hardener_error(resin_g=Fraction(1000), hardener_g=wrong_g, weight_ratio=by_weight)
    assert float(error) == pytest.approx(0.186, abs=0.0005)


# 1000 g of resin at 7:1: the exact target is 142.857 g. Hand arithmetic.
POURS = [
    pytest.param(134, -0.0620, Band.CORRECT, id="134"),
    pytest.param(139, -0.0270, Band.WITHIN_TOLERANCE, id="139"),
    pytest.param(143, 0.0010, Band.ON_TARGET, id="143"),
    pytest.param(144, 0.0080, Band.ON_TARGET, id="144"),
    pytest.param(146, 0.0220, Band.WITHIN_TOLERANCE, id="146"),
    pytest.param(147, 0.0290, Band.WITHIN_TOLERANCE, id="147"),
    pytest.param(148, 0.0360, Band.WITHIN_TOLERANCE, id="148"),
    pytest.param(150, 0.0500, Band.WITHIN_TOLERANCE, id="150"),
    pytest.param(154, 0.0780, Band.CORRECT, id="154"),
    pytest.param(158, 0.1060, Band.STOP, id="158"),
    pytest.param(0, -1.0, Band.STOP, id="none-yet"),
]


@pytest.mark.parametrize(("hardener_g", "expected", "band"), POURS)
def test_error_and_band_of_a_pour(hardener_g: int, expected: float, band: Band) -> None:
    error = hardener_error(
        resin_g=Fraction(1000), hardener_g=Fraction(hardener_g), weight_ratio=SEVEN
    )
    assert float(error) == pytest.approx(expected, abs=0.00005)
    assert band_of(error, Tolerance()) is band


@pytest.mark.parametrize("sign", [1, -1])
def test_limit_itself_belongs_to_the_better_band(sign: int) -> None:
    tolerance = Tolerance(Fraction(1, 50), Fraction(1, 20), Fraction(1, 10))
    just = Fraction(1, 10**9)
    for limit, better, worse in (
        (tolerance.good, Band.ON_TARGET, Band.WITHIN_TOLERANCE),
        (tolerance.tolerated, Band.WITHIN_TOLERANCE, Band.CORRECT),
        (tolerance.limit, Band.CORRECT, Band.STOP),
    ):
        assert band_of(sign * limit, tolerance) is better
        assert band_of(sign * (limit + just), tolerance) is worse


def test_tolerances_that_fall_are_refused() -> None:
    with pytest.raises(OutOfRange) as refusal:
        Tolerance(Fraction(5, 100), Fraction(2, 100), Fraction(10, 100))
    assert refusal.value.field == "tolerated"
    with pytest.raises(OutOfRange):
        Tolerance(limit=Fraction(4, 100))
    with pytest.raises(OutOfRange):
        Tolerance(good=Fraction(0))
    with pytest.raises(OutOfRange):
        Tolerance(limit=Fraction(101, 100))


# Full corrections for 1000 g of resin at 7:1: 7 * 148 - 1000 = 36, 7 * 154 - 1000 = 78,
# 7 * 146 - 1000 = 22; 1000 / 7 - 134 = 8.857. Hand arithmetic.
@pytest.mark.parametrize(
    ("hardener_g", "component", "add_g"),
    [
        pytest.param(148, Component.RESIN, Fraction(36), id="148"),
        pytest.param(154, Component.RESIN, Fraction(78), id="154"),
        pytest.param(146, Component.RESIN, Fraction(22), id="146"),
        pytest.param(134, Component.HARDENER, Fraction(62, 7), id="134"),
    ],
)
def test_correction_balances_the_cup(
    hardener_g: int, component: Component, add_g: Fraction
) -> None:
    found = correction(resin_g=Fraction(1000), hardener_g=Fraction(hardener_g), weight_ratio=SEVEN)
    assert found == Correction(component, add_g, 1000 + hardener_g + add_g)


@given(resin_g=masses, hardener_g=masses, ratio=ratios)
def test_corrected_cup_has_no_error(
    resin_g: Fraction, hardener_g: Fraction, ratio: Fraction
) -> None:
    found = correction(resin_g=resin_g, hardener_g=hardener_g, weight_ratio=ratio)
    assert found.add_g >= 0
    if found.component is Component.RESIN:
        resin_g += found.add_g
    else:
        hardener_g += found.add_g
    assert hardener_error(resin_g=resin_g, hardener_g=hardener_g, weight_ratio=ratio) == 0
    assert found.total_g == resin_g + hardener_g


def test_exact_cup_needs_no_more_hardener() -> None:
    found = correction(resin_g=Fraction(7), hardener_g=Fraction(1), weight_ratio=SEVEN)
    assert found == Correction(Component.HARDENER, Fraction(0), Fraction(8))


def test_correction_is_capped_by_the_cup() -> None:
    cup = partial(correction, resin_g=Fraction(1000), hardener_g=Fraction(148), weight_ratio=SEVEN)
    assert cup(cup_g=Fraction(1184)).add_g == 36
    with pytest.raises(CupTooSmall) as refusal:
        cup(cup_g=Fraction(1183))
    assert refusal.value.total_g == 1184
    assert refusal.value.cup_g == 1183


def test_correction_is_refused_once_the_cup_has_stood() -> None:
    cup = partial(correction, resin_g=Fraction(1000), hardener_g=Fraction(148), weight_ratio=SEVEN)
    assert cup(stood_minutes=5.0, pot_life_minutes=20.0).add_g == 36
    with pytest.raises(StoodTooLong) as refusal:
        cup(stood_minutes=5.1, pot_life_minutes=20.0)
    assert (refusal.value.stood_minutes, refusal.value.limit_minutes) == (5.1, 5.0)
    with pytest.raises(Missing) as missing:
        cup(stood_minutes=1.0)
    assert missing.value.field == "pot_life_minutes"
    assert missing.value.needed_for == "a correction after the cup has stood"
    with pytest.raises(OutOfRange):
        cup(stood_minutes=float("nan"), pot_life_minutes=20.0)


@given(resin_g=masses, ratio=ratios)
def test_resin_to_hardener_and_back_changes_nothing(resin_g: Fraction, ratio: Fraction) -> None:
    hardener_g = hardener_for_resin_g(resin_g=resin_g, weight_ratio=ratio)
    assert resin_for_hardener_g(hardener_g=hardener_g, weight_ratio=ratio) == resin_g
    total_g = resin_g + hardener_g
    assert split_total_g(total_g=total_g, weight_ratio=ratio) == (resin_g, hardener_g)


@given(resin_g=masses, ratio=ratios, scale=st.fractions(min_value=1, max_value=9))
def test_twice_the_resin_takes_twice_the_hardener(
    resin_g: Fraction, ratio: Fraction, scale: Fraction
) -> None:
    once = hardener_for_resin_g(resin_g=resin_g, weight_ratio=ratio)
    assert hardener_for_resin_g(resin_g=scale * resin_g, weight_ratio=ratio) == scale * once


def test_running_total_adds_what_is_on_the_scale() -> None:
    # 1000 g of resin at 7:1 end at 1142.857 g; a 35 g cup left on adds its weight.
    at = running_total_g(resin_g=Fraction(1000), weight_ratio=SEVEN, cup_g=Fraction())
    assert rounded_to_step(at, Fraction(1)) == 1143
    with_cup = running_total_g(resin_g=Fraction(1000), weight_ratio=SEVEN, cup_g=Fraction(35))
    assert with_cup - at == 35
    with pytest.raises(OutOfRange):
        running_total_g(resin_g=Fraction(1000), weight_ratio=SEVEN, cup_g=Fraction(-1))


@given(ratio=ratios, density=st.fractions(min_value=Fraction(1, 2), max_value=4))
def test_equal_densities_mix_to_the_same_density(ratio: Fraction, density: Fraction) -> None:
    assert (
        mixed_density_g_per_ml(
            weight_ratio=ratio, resin_g_per_ml=density, hardener_g_per_ml=density
        )
        == density
    )


def test_addition_is_a_share_of_the_mix() -> None:
    assert addition_g(mixed_g=Fraction(400), addition_percent=Fraction(5)) == 20
    with pytest.raises(OutOfRange):
        addition_g(mixed_g=Fraction(400), addition_percent=Fraction(101))


@pytest.mark.parametrize(
    ("value", "step", "expected"),
    [
        pytest.param("142.857", "1", "143", id="to-a-gram"),
        pytest.param("142.5", "1", "143", id="half-goes-up"),
        pytest.param("-142.5", "1", "-143", id="half-goes-away-from-zero"),
        pytest.param("2.5", "1", "3", id="not-to-even"),
        pytest.param("142.849", "0.1", "142.8", id="tenth"),
        pytest.param("142.85", "0.1", "142.9", id="half-a-tenth"),
        pytest.param("7", "5", "5", id="coarse"),
        pytest.param("-7", "5", "-5", id="coarse-negative"),
        pytest.param("0", "5", "0", id="nothing"),
    ],
)
def test_rounding_to_the_step(value: str, step: str, expected: str) -> None:
    assert rounded_to_step(Fraction(value), Fraction(step)) == Fraction(expected)


@given(
    parts_g=st.lists(masses, min_size=1, max_size=6),
    step_g=st.sampled_from([Fraction(1), Fraction(1, 10), Fraction(1, 2), Fraction(5)]),
)
def test_rounded_parts_add_up_to_the_rounded_total(
    parts_g: list[Fraction], step_g: Fraction
) -> None:
    rounded = rounded_parts_g(parts_g, step_g)
    assert sum(rounded) == rounded_to_step(sum(parts_g, Fraction()), step_g)
    for part_g, shown_g in zip(parts_g, rounded, strict=True):
        assert abs(part_g - shown_g) < step_g
        assert (shown_g / step_g).denominator == 1


def test_rounded_parts_give_the_spare_step_to_the_largest_remainder() -> None:
    # 1.4 + 1.3 + 1.3 = 4: the floors make 3, and 0.4 is the largest remainder.
    parts_g = [Fraction("1.3"), Fraction("1.4"), Fraction("1.3")]
    assert list(rounded_parts_g(parts_g, Fraction(1))) == [Fraction(n) for n in (1, 2, 1)]


# A tared reading is off by up to one step: r * step / tolerance. Hand arithmetic.
@pytest.mark.parametrize(
    ("ratio", "step_g", "tolerance", "least_g"),
    [
        pytest.param("7", "1", "0.02", 350, id="1g-2pct"),
        pytest.param("7", "1", "0.05", 140, id="1g-5pct"),
        pytest.param("7", "0.1", "0.02", 35, id="tenth-2pct"),
        pytest.param("7", "0.1", "0.05", 14, id="tenth-5pct"),
        pytest.param("0.5", "1", "0.05", 20, id="resin-is-the-smaller-part"),
    ],
)
def test_batch_too_small_for_the_scale_names_the_least_that_works(
    ratio: str, step_g: str, tolerance: str, least_g: int
) -> None:
    limits = {
        "weight_ratio": Fraction(ratio),
        "step_g": Fraction(step_g),
        "tolerance": Fraction(tolerance),
    }
    assert least_resin_g(**limits) == least_g
    check_batch_size(resin_g=Fraction(least_g), **limits)
    with pytest.raises(BatchTooSmall) as refusal:
        check_batch_size(resin_g=least_g - Fraction(1, 1000), **limits)
    assert refusal.value.least_resin_g == least_g


@pytest.mark.parametrize("bad", [Fraction(0), Fraction(-1), Fraction(1_000_001)])
def test_mass_outside_its_range_is_refused(bad: Fraction) -> None:
    for call in (
        lambda: hardener_for_resin_g(resin_g=bad, weight_ratio=SEVEN),
        lambda: resin_for_hardener_g(hardener_g=bad, weight_ratio=SEVEN),
        lambda: split_total_g(total_g=bad, weight_ratio=SEVEN),
        lambda: addition_g(mixed_g=bad, addition_percent=Fraction(1)),
        lambda: hardener_error(resin_g=bad, hardener_g=Fraction(1), weight_ratio=SEVEN),
    ):
        with pytest.raises(OutOfRange) as refusal:
            call()
        assert refusal.value.value == bad
        assert refusal.value.high == 1_000_000


@pytest.mark.parametrize("bad", [Fraction(0), Fraction(1, 21), Fraction(21)])
def test_weight_ratio_outside_its_range_is_refused(bad: Fraction) -> None:
    with pytest.raises(OutOfRange) as refusal:
        hardener_for_resin_g(resin_g=Fraction(1), weight_ratio=bad)
    assert (refusal.value.field, refusal.value.low) == ("weight_ratio", Fraction(1, 20))


def test_density_outside_its_range_is_refused() -> None:
    ratio = MixRatio(Fraction(2), Fraction(1), Basis.VOLUME)
    with pytest.raises(OutOfRange) as refusal:
        weight_ratio(ratio, Fraction(11, 10), Fraction(5))
    assert refusal.value.field == "hardener_g_per_ml"
    with pytest.raises(OutOfRange):
        weight_ratio(MixRatio(Fraction(20), Fraction(1), Basis.VOLUME), Fraction(2), Fraction(1))
