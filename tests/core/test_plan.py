"""Job plans: what each number follows from, and when a plan is refused."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import handsfree
from handsfree.core.card import ProductCard, read_card
from handsfree.core.conditions import Conditions, Fault
from handsfree.core.cure import CureTable, Stage
from handsfree.core.errors import BatchTooSmall, Missing, OutOfRange, TooManyCups
from handsfree.core.mix import hardener_error
from handsfree.core.plan import STIR_MINUTES, Caution, Job, plan
from handsfree.core.potlife import LabelPotLife, Method, pot_life

CARDS = Path(handsfree.__file__).parent / "cards"


def card(name: str) -> ProductCard:
    return read_card((CARDS / f"{name}.toml").read_text(encoding="utf-8"))


GATE = card("gate-coat")
# 4.5 m² at 250 µm, 100 % solids and 15 % loss.
JOB = Job(
    area_m2=4.5,
    coats=2,
    dft_um=250.0,
    mix_c=20.0,
    step_g=Fraction(1, 10),
    spread_m2_per_hour=6.0,
    loss_percent=15.0,
)
STEADY = [Conditions(0.0, 20.0, 50.0, 20.0)]


def test_amounts_are_those_of_the_worked_example() -> None:
    # 4.5 x 0.25 = 1.125 l; / 0.85 = 1.3235 l; x 1.12393 g/ml = 1487.6 g: 1301.6 + 185.9 g.
    made = plan(GATE, replace(JOB, coats=1), STEADY)
    tenths = made.cups.count * 0.05  # Each cup is rounded to 0.1 g.
    assert float(made.resin_g) == pytest.approx(1301.6, abs=tenths + 0.05)
    assert float(made.hardener_g) == pytest.approx(185.9, abs=tenths + 0.05)


def test_cups_are_the_fewest_that_are_spread_in_half_their_life() -> None:
    made = plan(GATE, JOB, STEADY)
    assert GATE.pot_life is not None
    for count, fits in ((made.cups.count, True), (made.cups.count - 1, False)):
        life = pot_life(GATE.pot_life, batch_g=1487.6 / count, mix_c=20.0).minutes
        spread_minutes = 45.0 / count
        in_time = spread_minutes <= 0.5 * life and STIR_MINUTES + spread_minutes <= 0.75 * life
        assert in_time == fits
    assert made.cups.spread_minutes == pytest.approx(45.0 / made.cups.count)
    assert made.cups.busy_minutes == pytest.approx(5.0 + 45.0 / made.cups.count)


def test_warmest_air_of_the_forecast_sets_the_cups() -> None:
    noon = [*STEADY, Conditions(4.0, 30.0, 40.0, 24.0)]
    assert plan(GATE, JOB, noon).cups.count > plan(GATE, JOB, STEADY).cups.count
    warm_parts = plan(GATE, replace(JOB, mix_c=30.0), STEADY)
    assert warm_parts.cups.count == plan(GATE, JOB, noon).cups.count


def test_small_cup_sets_the_cups() -> None:
    made = plan(GATE, replace(JOB, cup_g=Fraction(150)), STEADY)
    assert made.cups.resin_g + made.cups.hardener_g <= 150
    assert made.cups.count == 10


def test_very_slow_product_is_mixed_in_cups_no_larger_than_its_test() -> None:
    slow = replace(GATE, pot_life=LabelPotLife(240, 100, 25, Method.CUP_IN_AIR))
    made = plan(slow, JOB, STEADY)
    # 1487.6 g in cups of at most 100 g.
    assert made.cups.count == 15
    assert Caution.POT_LIFE_DOUBTFUL in made.cautions


def test_induction_counts_as_busy_time() -> None:
    assert GATE.pot_life is not None
    waiting = replace(GATE, pot_life=replace(GATE.pot_life, induction_minutes=8.0))
    made = plan(waiting, JOB, STEADY)
    assert made.cups.count > plan(GATE, JOB, STEADY).cups.count
    assert made.cups.busy_minutes == pytest.approx(13.0 + 45.0 / made.cups.count)


def test_times_of_the_coats_at_a_steady_temperature() -> None:
    made = plan(GATE, JOB, STEADY)
    first, second = made.coats
    coat_hours = made.cups.count * made.cups.busy_minutes / 60.0
    assert (first.number, first.start_hours) == (1, 0.0)
    assert first.end_hours == pytest.approx(coat_hours)
    # Gate Coat at 20 °C: opens at 4 h after the last stroke, closes 48 h after the first.
    assert first.recoat_opens_hours == pytest.approx(coat_hours + 4.0)
    assert first.recoat_closes_hours == pytest.approx(48.0)
    # Tack-free at 6 h: tape at 1, 2 and 3 h from the first stroke, not while still coating.
    assert first.tape_ask_hours == pytest.approx(max(1.0, coat_hours))
    assert first.tape_insist_hours == pytest.approx(2.0)
    assert first.tape_last_call_hours == pytest.approx(3.0)
    assert second.start_hours == pytest.approx(coat_hours + 4.0)
    assert made.ready_hours[Stage.USE] == pytest.approx(second.end_hours + 48.0)
    assert list(made.ready_hours) == [
        Stage.TACK_FREE,
        Stage.HANDLE,
        Stage.SAND,
        Stage.USE,
        Stage.FULL_CURE,
    ]


def test_later_coats_see_the_forecast_from_their_own_start() -> None:
    # The second coat starts near 5.4 h; from 5 h on the surface is 10 °C: opens after 10 h.
    cool = [
        *STEADY,
        Conditions(4.9, 20.0, 50.0, 20.0),
        Conditions(5.0, 12.0, 50.0, 10.0),
    ]
    made = plan(GATE, JOB, cool)
    second = made.coats[1]
    assert second.recoat_opens_hours == pytest.approx(second.end_hours + 10.0)


def test_stock_is_what_is_left_in_the_tins() -> None:
    made = plan(
        GATE, replace(JOB, resin_stock_g=Fraction(5000), hardener_stock_g=Fraction(300)), STEADY
    )
    assert made.resin_left_g == 5000 - made.resin_g
    assert made.hardener_left_g == 300 - made.hardener_g
    assert Caution.STOCK_SHORT in made.cautions
    assert plan(GATE, JOB, STEADY).resin_left_g is None
    enough = replace(JOB, resin_stock_g=Fraction(5000), hardener_stock_g=Fraction(500))
    assert Caution.STOCK_SHORT not in plan(GATE, enough, STEADY).cautions


COVERED = [Conditions(0.0, 20.0, 50.0, 20.0), Conditions(40.0, 20.0, 50.0, 20.0)]
LONG = [Conditions(0.0, 20.0, 50.0, 20.0), Conditions(12.0, 20.0, 90.0, 19.0)]
COLD = [Conditions(0.0, 12.0, 50.0, 11.0), Conditions(2.0, 8.0, 50.0, 5.0)]


def test_good_conditions_leave_the_cautions_of_the_product() -> None:
    made = plan(GATE, JOB, COVERED)
    assert made.breaches == ()
    assert made.cautions == (Caution.CUP_MAY_SMOKE,)


@pytest.mark.parametrize(
    ("product", "job", "readings", "caution"),
    [
        pytest.param(
            GATE, JOB, [Conditions(0, 20, 85, 20)], Caution.CONDITIONS_NOW, id="humid-now"
        ),
        pytest.param(GATE, JOB, LONG, Caution.CONDITIONS_LATER, id="humid-later"),
        pytest.param(GATE, JOB, STEADY, Caution.FORECAST_ENDS_EARLY, id="one-reading"),
        pytest.param(
            GATE, replace(JOB, step_g=Fraction(1)), STEADY, Caution.SCALE_COARSE, id="scale"
        ),
        pytest.param(GATE, JOB, [Conditions(0, 20, 76, 22)], Caution.MAY_BLUSH, id="damp"),
        pytest.param(GATE, JOB, COLD, Caution.TOO_COLD_TO_CURE, id="cold"),
        pytest.param(replace(GATE, cure=None), JOB, STEADY, Caution.WINDOW_NOT_ON_CARD, id="rows"),
        pytest.param(
            replace(GATE, limits=None), JOB, STEADY, Caution.LIMITS_NOT_ON_CARD, id="limits"
        ),
        pytest.param(
            replace(GATE, pot_life=LabelPotLife(40, 100, 25, Method.UNKNOWN)),
            JOB,
            STEADY,
            Caution.POT_LIFE_DOUBTFUL,
            id="method",
        ),
        pytest.param(
            replace(
                GATE,
                cure=CureTable(
                    (20.0,), {Stage.RECOAT_OPENS: (4.0,), Stage.RECOAT_CLOSES: (4.5,)}, 10.0
                ),
            ),
            JOB,
            STEADY,
            Caution.SAND_BETWEEN_COATS,
            id="narrow-window",
        ),
    ],
)
def test_caution(
    product: ProductCard, job: Job, readings: list[Conditions], caution: Caution
) -> None:
    assert caution in plan(product, job, readings).cautions
    assert caution not in plan(GATE, JOB, COVERED).cautions


def test_plan_stops_where_the_next_coat_never_opens() -> None:
    made = plan(GATE, JOB, COLD)
    assert [coat.number for coat in made.coats] == [1]
    assert made.coats[0].recoat_opens_hours is None


def test_breaches_now_include_a_mix_colder_than_the_surface() -> None:
    made = plan(GATE, replace(JOB, mix_c=15.0), STEADY)
    assert [breach.fault for breach in made.breaches] == [Fault.MIX_COLDER_THAN_SURFACE]


def test_scale_too_coarse_for_cups_small_enough_is_refused() -> None:
    with pytest.raises(BatchTooSmall) as refusal:
        plan(GATE, replace(JOB, step_g=Fraction(5)), STEADY)
    assert refusal.value.least_resin_g == 700  # 7 x 5 / 0.05.


def test_pace_too_slow_for_the_pot_life_is_refused() -> None:
    with pytest.raises(TooManyCups):
        plan(GATE, replace(JOB, area_m2=1000.0, spread_m2_per_hour=0.1), STEADY)
    quick = replace(GATE, pot_life=LabelPotLife(5, 100, 25, Method.CUP_IN_AIR))
    with pytest.raises(TooManyCups) as refusal:
        plan(quick, JOB, STEADY)
    assert refusal.value.most_cups == 200


@pytest.mark.parametrize(
    ("product", "field"),
    [
        (replace(GATE, film=None), "film"),
        (replace(GATE, pot_life=None), "pot_life"),
        (
            replace(GATE, resin_g_per_ml=None),
            "mix.resin_g_per_ml and mix.hardener_g_per_ml",
        ),
    ],
)
def test_card_without_what_it_needs_is_refused(product: ProductCard, field: str) -> None:
    with pytest.raises(Missing) as refusal:
        plan(product, JOB, STEADY)
    assert refusal.value.field == field


def test_readings_start_now() -> None:
    with pytest.raises(Missing):
        plan(GATE, JOB, [])
    with pytest.raises(OutOfRange):
        plan(GATE, JOB, [Conditions(1.0, 20.0, 50.0, 20.0)])


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("coats", 0),
        ("coats", 11),
        ("spread_m2_per_hour", 0.0),
        ("spread_m2_per_hour", float("nan")),
        ("stuck_g", -1.0),
        ("step_g", Fraction(0)),
        ("step_g", Fraction(101)),
        ("cup_g", Fraction(0)),
        ("resin_stock_g", Fraction(-1)),
        ("hardener_stock_g", Fraction(1_000_001)),
    ],
)
def test_job_outside_its_ranges_is_refused(field: str, value: float) -> None:
    with pytest.raises(OutOfRange) as refusal:
        replace(JOB, **{field: value})  # type: ignore[arg-type]  # One field of several types.
    assert refusal.value.field == field


@pytest.mark.parametrize("dft_um", [149.9, 300.1])
def test_film_outside_the_card_is_refused(dft_um: float) -> None:
    with pytest.raises(OutOfRange) as refusal:
        plan(GATE, replace(JOB, dft_um=dft_um), STEADY)
    assert (refusal.value.low, refusal.value.high) == (150.0, 300.0)


@settings(max_examples=60)
@given(
    product=st.sampled_from([GATE, card("floor-seal"), card("cold-bond")]),
    area_m2=st.floats(1, 60),
    air_c=st.floats(12, 25),
    pace=st.floats(4, 60),
)
def test_cups_are_in_ratio_and_cover_the_area(
    product: ProductCard, area_m2: float, air_c: float, pace: float
) -> None:
    assert product.film is not None
    job = replace(
        JOB,
        area_m2=area_m2,
        spread_m2_per_hour=pace,
        dft_um=product.film.least_dft_um,
        mix_c=air_c,
        loss_percent=0.0,
    )
    made = plan(product, job, [Conditions(0.0, air_c, 50.0, air_c)])
    parts = product.ratio.resin_parts / product.ratio.hardener_parts
    if product.resin_g_per_ml and product.hardener_g_per_ml and product.name == "Floor Seal":
        parts = parts * product.resin_g_per_ml / product.hardener_g_per_ml
    error = hardener_error(
        resin_g=made.cups.resin_g, hardener_g=made.cups.hardener_g, weight_ratio=parts
    )
    assert abs(error) <= product.tolerance.tolerated
    assert made.resin_g == made.cups.count * job.coats * made.cups.resin_g
    assert made.cups.spread_minutes <= 0.5 * made.cups.life.minutes * (1 + 1e-9)
    for earlier, later in zip(made.coats, made.coats[1:], strict=False):
        assert earlier.end_hours < later.start_hours
