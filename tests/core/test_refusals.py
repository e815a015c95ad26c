"""Every domain at its edges: what is taken, what is refused, and with which fields and words."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

import pytest

from handsfree.core import errors
from handsfree.core.conditions import Conditions, breaches, outlook
from handsfree.core.coverage import (
    coats_needed,
    comb_wft_um,
    dry_film_um,
    liters_needed,
    spreading_rate_m2_per_l,
    wet_film_um,
)
from handsfree.core.cure import (
    CureTable,
    Side,
    Stage,
    SurfaceReading,
    progress,
    slow_share_seen,
    stage_hours,
    stage_time,
)
from handsfree.core.dewpoint import dew_margin_k, dew_point_c, dew_verdict
from handsfree.core.errors import OutOfRange, Refusal
from handsfree.core.exotherm import exotherm
from handsfree.core.mix import (
    Basis,
    MixRatio,
    Tolerance,
    addition_g,
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
from handsfree.core.plan import Job
from handsfree.core.potlife import (
    LabelPotLife,
    Method,
    MixReading,
    pot_life,
    share_gone_at_rise,
    share_used,
)


@dataclass(frozen=True)
class Domain:
    """One argument: a call that takes it, its field's name, its limits and unit."""

    call: Callable[[float], object]
    field: str
    low: float
    high: float
    unit: str
    low_excluded: bool = False


LABEL = LabelPotLife(25.0, 100.0, 25.0, Method.CUP_IN_AIR)
TABLE = CureTable((20.0,), {Stage.USE: (10.0,)}, least_c=0.0)
FINE = Conditions(0.0, 20.0, 50.0, 20.0)
JOB = Job(
    area_m2=4.0,
    coats=2,
    dft_um=200.0,
    mix_c=20.0,
    step_g=Fraction(1),
    spread_m2_per_hour=6.0,
    loss_percent=10.0,
)
ONE, SEVEN = Fraction(1), Fraction(7)
TONNE = 1_000_000.0
RATIO_UNIT = "resin to 1 hardener"


def exact(x: float) -> Fraction:
    return Fraction(str(x))


def steady(surface_c: float = 20.0) -> list[SurfaceReading]:
    return [SurfaceReading(0.0, surface_c)]


# The limits are those the docstrings state.
EXACT = [
    Domain(
        lambda x: hardener_for_resin_g(resin_g=exact(x), weight_ratio=SEVEN),
        "resin_g",
        0,
        TONNE,
        "g",
        True,
    ),
    Domain(
        lambda x: resin_for_hardener_g(hardener_g=exact(x), weight_ratio=SEVEN),
        "hardener_g",
        0,
        TONNE,
        "g",
        True,
    ),
    Domain(
        lambda x: split_total_g(total_g=exact(x), weight_ratio=SEVEN),
        "total_g",
        0,
        TONNE,
        "g",
        True,
    ),
    Domain(
        lambda x: hardener_error(resin_g=ONE, hardener_g=exact(x), weight_ratio=ONE),
        "hardener_g",
        0,
        TONNE,
        "g",
    ),
    Domain(
        lambda x: running_total_g(resin_g=ONE, weight_ratio=ONE, cup_g=exact(x)),
        "cup_g",
        0,
        TONNE,
        "g",
    ),
    Domain(
        lambda x: addition_g(mixed_g=exact(x), addition_percent=ONE), "mixed_g", 0, TONNE, "g", True
    ),
    Domain(
        lambda x: addition_g(mixed_g=ONE, addition_percent=exact(x)),
        "addition_percent",
        0,
        100,
        "%",
    ),
    Domain(lambda x: rounded_to_step(ONE, exact(x)), "step", 0, TONNE, "g", True),
    Domain(lambda x: rounded_parts_g([ONE, exact(x)], ONE), "part_g", 0, TONNE, "g"),
    Domain(
        lambda x: MixRatio(exact(x), exact(x), Basis.WEIGHT), "resin_parts", 0, TONNE, "parts", True
    ),
    Domain(
        lambda x: MixRatio(exact(min(max(x, 1.0), TONNE)), exact(x), Basis.WEIGHT),
        "hardener_parts",
        0,
        TONNE,
        "parts",
        True,
    ),
    Domain(lambda x: MixRatio(exact(x), ONE, Basis.WEIGHT), "ratio", 0.05, 20, RATIO_UNIT),
    Domain(
        lambda x: hardener_for_resin_g(resin_g=ONE, weight_ratio=exact(x)),
        "weight_ratio",
        0.05,
        20,
        RATIO_UNIT,
    ),
    Domain(
        lambda x: resin_for_hardener_g(hardener_g=ONE, weight_ratio=exact(x)),
        "weight_ratio",
        0.05,
        20,
        RATIO_UNIT,
    ),
    Domain(
        lambda x: split_total_g(total_g=ONE, weight_ratio=exact(x)),
        "weight_ratio",
        0.05,
        20,
        RATIO_UNIT,
    ),
    Domain(
        lambda x: least_resin_g(weight_ratio=exact(x), step_g=ONE, tolerance=ONE),
        "weight_ratio",
        0.05,
        20,
        RATIO_UNIT,
    ),
    Domain(
        lambda x: least_resin_g(weight_ratio=ONE, step_g=exact(x), tolerance=ONE),
        "step_g",
        0,
        TONNE,
        "g",
        True,
    ),
    Domain(
        lambda x: least_resin_g(weight_ratio=ONE, step_g=ONE, tolerance=exact(x)),
        "tolerance",
        0,
        1,
        "",
        True,
    ),
    Domain(
        lambda x: mixed_density_g_per_ml(
            weight_ratio=exact(x), resin_g_per_ml=ONE, hardener_g_per_ml=ONE
        ),
        "weight_ratio",
        0.05,
        20,
        RATIO_UNIT,
    ),
    Domain(
        lambda x: mixed_density_g_per_ml(
            weight_ratio=ONE, resin_g_per_ml=exact(x), hardener_g_per_ml=ONE
        ),
        "resin_g_per_ml",
        0.5,
        4,
        "g/ml",
    ),
    Domain(
        lambda x: mixed_density_g_per_ml(
            weight_ratio=ONE, resin_g_per_ml=ONE, hardener_g_per_ml=exact(x)
        ),
        "hardener_g_per_ml",
        0.5,
        4,
        "g/ml",
    ),
    Domain(
        lambda x: weight_ratio(MixRatio(ONE, ONE, Basis.VOLUME), exact(x), ONE),
        "resin_g_per_ml",
        0.5,
        4,
        "g/ml",
    ),
    Domain(
        lambda x: weight_ratio(MixRatio(ONE, ONE, Basis.VOLUME), ONE, exact(x)),
        "hardener_g_per_ml",
        0.5,
        4,
        "g/ml",
    ),
    Domain(lambda x: Tolerance(good=exact(x), tolerated=ONE, limit=ONE), "good", 0, 1, "", True),
    Domain(
        lambda x: Tolerance(good=ONE / 50, tolerated=exact(x), limit=ONE), "tolerated", 0.02, 1, ""
    ),
    Domain(
        lambda x: Tolerance(good=ONE / 50, tolerated=ONE / 20, limit=exact(x)), "limit", 0.05, 1, ""
    ),
    Domain(
        lambda x: correction(
            resin_g=ONE, hardener_g=ONE, weight_ratio=ONE, stood_minutes=0.0, pot_life_minutes=x
        ),
        "pot_life_minutes",
        0,
        100_000,
        "min",
        True,
    ),
    Domain(lambda x: Job(**(vars(JOB) | {"step_g": exact(x)})), "step_g", 0, 100, "g", True),
    Domain(lambda x: Job(**(vars(JOB) | {"cup_g": exact(x)})), "cup_g", 0, TONNE, "g", True),
    Domain(
        lambda x: Job(**(vars(JOB) | {"resin_stock_g": exact(x)})), "resin_stock_g", 0, TONNE, "g"
    ),
    Domain(
        lambda x: Job(**(vars(JOB) | {"hardener_stock_g": exact(x)})),
        "hardener_stock_g",
        0,
        TONNE,
        "g",
    ),
]
FLOATS = [
    Domain(
        lambda x: pot_life(replace(LABEL, minutes=x), batch_g=50, mix_c=25),
        "label_minutes",
        2,
        240,
        "min",
    ),
    Domain(
        lambda x: pot_life(replace(LABEL, test_g=x), batch_g=5, mix_c=25),
        "label_test_g",
        10,
        5000,
        "g",
    ),
    Domain(
        lambda x: pot_life(replace(LABEL, test_c=x), batch_g=50, mix_c=25),
        "label_test_c",
        10,
        40,
        "°C",
    ),
    Domain(lambda x: pot_life(LABEL, batch_g=x, mix_c=25), "batch_g", 0.1, 5000, "g"),
    Domain(lambda x: pot_life(LABEL, batch_g=50, mix_c=x), "mix_c", 0, 40, "°C"),
    Domain(
        lambda x: pot_life(LABEL, batch_g=50, mix_c=25, fill_depth_mm=x),
        "fill_depth_mm",
        0.1,
        500,
        "mm",
    ),
    Domain(
        lambda x: share_used(LABEL, batch_g=50, history=[MixReading(0, 20)], now_minutes=x),
        "now_minutes",
        0,
        1440,
        "min",
    ),
    Domain(
        lambda x: share_used(LABEL, batch_g=50, history=[MixReading(0, x)], now_minutes=1),
        "mix_c",
        0,
        40,
        "°C",
    ),
    Domain(
        lambda x: share_used(LABEL, batch_g=50, history=[MixReading(x, 20)], now_minutes=1),
        "first_reading_minutes",
        0,
        0,
        "min",
    ),
    Domain(
        lambda x: share_used(
            LABEL, batch_g=50, history=[MixReading(0, 20), MixReading(x, 20)], now_minutes=1
        ),
        "reading_minutes",
        0,
        1440,
        "min",
        True,
    ),
    Domain(lambda x: share_gone_at_rise(mixed_c=x, cup_c=20), "mixed_c", 0, 40, "°C"),
    Domain(lambda x: share_gone_at_rise(mixed_c=20, cup_c=x), "cup_c", 0, 300, "°C"),
    Domain(lambda x: exotherm(LABEL, batch_g=x, mix_c=20, air_c=20), "batch_g", 0.1, 5000, "g"),
    Domain(lambda x: exotherm(LABEL, batch_g=50, mix_c=x, air_c=20), "mix_c", 0, 40, "°C"),
    Domain(lambda x: exotherm(LABEL, batch_g=50, mix_c=20, air_c=x), "air_c", 0, 40, "°C"),
    Domain(
        lambda x: stage_hours(TABLE, Stage.USE, surface_c=x, side=Side.LATE),
        "surface_c",
        -30,
        60,
        "°C",
    ),
    Domain(
        lambda x: progress(TABLE, Stage.USE, history=steady(), now_hours=x, side=Side.LATE),
        "now_hours",
        0,
        10_000,
        "h",
    ),
    Domain(
        lambda x: progress(TABLE, Stage.USE, history=steady(x), now_hours=1, side=Side.LATE),
        "surface_c",
        -30,
        60,
        "°C",
    ),
    Domain(
        lambda x: progress(
            TABLE, Stage.USE, history=[SurfaceReading(x, 20)], now_hours=1, side=Side.LATE
        ),
        "first_reading_hours",
        0,
        0,
        "h",
    ),
    Domain(
        lambda x: progress(
            TABLE,
            Stage.USE,
            history=[*steady(), SurfaceReading(x, 20)],
            now_hours=1,
            side=Side.LATE,
        ),
        "reading_hours",
        0,
        10_000,
        "h",
        True,
    ),
    Domain(
        lambda x: stage_time(TABLE, Stage.USE, history=steady(), side=Side.LATE, share=x),
        "share",
        0,
        100,
        "",
        True,
    ),
    Domain(
        lambda x: slow_share_seen(TABLE, Stage.USE, history=steady(), not_yet_hours=x),
        "now_hours",
        0,
        10_000,
        "h",
    ),
    Domain(lambda x: dew_point_c(air_c=x, humidity_percent=50), "air_c", -40, 50, "°C"),
    Domain(lambda x: dew_point_c(air_c=20, humidity_percent=x), "humidity_percent", 1, 100, "%"),
    Domain(
        lambda x: dew_margin_k(air_c=20, humidity_percent=50, surface_c=x),
        "surface_c",
        -40,
        80,
        "°C",
    ),
    Domain(lambda x: dew_verdict(x), "margin_k", -200, 200, "K"),
    Domain(lambda x: dew_verdict(5.0, needed_k=x), "needed_k", 1, 20, "K"),
    Domain(lambda x: breaches(None, FINE, mix_c=x), "mix_c", 0, 40, "°C"),
    Domain(lambda x: outlook(None, [replace(FINE, hours=x)]), "reading_hours", 0, 400, "h"),
    Domain(
        lambda x: outlook(None, [FINE, replace(FINE, hours=x)]), "reading_hours", 0, 400, "h", True
    ),
    Domain(
        lambda x: liters_needed(area_m2=x, dft_um=100, volume_solids_percent=50),
        "area_m2",
        0,
        10_000,
        "m²",
        True,
    ),
    Domain(
        lambda x: liters_needed(area_m2=1, dft_um=x, volume_solids_percent=50),
        "dft_um",
        1,
        10_000,
        "µm",
    ),
    Domain(
        lambda x: spreading_rate_m2_per_l(dft_um=x, volume_solids_percent=50),
        "dft_um",
        1,
        10_000,
        "µm",
    ),
    Domain(
        lambda x: spreading_rate_m2_per_l(dft_um=100, volume_solids_percent=x),
        "volume_solids_percent",
        1,
        100,
        "%",
    ),
    Domain(
        lambda x: spreading_rate_m2_per_l(dft_um=100, volume_solids_percent=50, loss_percent=x),
        "loss_percent",
        0,
        90,
        "%",
    ),
    Domain(lambda x: wet_film_um(dft_um=x, volume_solids_percent=50), "dft_um", 1, 10_000, "µm"),
    Domain(
        lambda x: wet_film_um(dft_um=100, volume_solids_percent=x),
        "volume_solids_percent",
        1,
        100,
        "%",
    ),
    Domain(
        lambda x: wet_film_um(dft_um=100, volume_solids_percent=50, thinner_percent=x),
        "thinner_percent",
        0,
        100,
        "%",
    ),
    Domain(lambda x: dry_film_um(wft_um=x, volume_solids_percent=50), "wft_um", 1, 10_000, "µm"),
    Domain(
        lambda x: comb_wft_um(wetted_um=100, next_dry_um=x), "next_dry_um", 100, 10_000, "µm", True
    ),
    Domain(
        lambda x: coats_needed(total_dft_um=x, largest_dft_um=100), "total_dft_um", 1, 10_000, "µm"
    ),
    Domain(
        lambda x: coats_needed(total_dft_um=100, largest_dft_um=x),
        "largest_dft_um",
        1,
        10_000,
        "µm",
    ),
    Domain(lambda x: replace(JOB, spread_m2_per_hour=x), "spread_m2_per_hour", 0.1, 1000, "m²/h"),
    Domain(lambda x: replace(JOB, stuck_g=x), "stuck_g", 0, 5000, "g"),
]


def named(domain: Domain) -> str:
    return domain.field


def refusal_of(domain: Domain, value: float) -> OutOfRange:
    with pytest.raises(OutOfRange) as refusal:
        domain.call(value)
    return refusal.value


@pytest.mark.parametrize("domain", [*EXACT, *FLOATS], ids=named)
def test_limits_are_taken_and_what_lies_beyond_is_refused(domain: Domain) -> None:
    if domain.low_excluded:
        below = domain.low
    else:
        domain.call(domain.low)
        below = domain.low - 1e-6
    domain.call(domain.high)
    for beyond in (below, domain.high + 1e-6 * max(1.0, domain.high)):
        refusal = refusal_of(domain, beyond)
        assert refusal.field == domain.field
        assert float(refusal.value) == pytest.approx(beyond, abs=1e-9)
        assert float(refusal.low) == domain.low
        assert float(refusal.high) == domain.high
        assert refusal.unit == domain.unit
        assert refusal.low_excluded == domain.low_excluded


@pytest.mark.parametrize("domain", FLOATS, ids=named)
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(domain: Domain, value: float) -> None:
    refusal = refusal_of(domain, value)
    assert refusal.field == domain.field
    assert repr(float(refusal.value)) == repr(value)


def test_field_is_named_where_two_limits_meet() -> None:
    with pytest.raises(OutOfRange) as refusal:
        comb_wft_um(wetted_um=0.5, next_dry_um=50)
    assert (refusal.value.field, refusal.value.low) == ("wetted_um", 1.0)
    with pytest.raises(OutOfRange) as refusal:
        weight_ratio(MixRatio(20 * ONE, ONE, Basis.VOLUME), 2 * ONE, ONE)
    assert (refusal.value.field, refusal.value.value) == ("weight_ratio", 40)
    with pytest.raises(OutOfRange) as refusal:
        check_batch_size(resin_g=Fraction(0), weight_ratio=ONE, step_g=ONE, tolerance=ONE)
    assert refusal.value.field == "resin_g"


@pytest.mark.parametrize("stood_minutes", [-1e-6, 100_000.1, math.nan])
def test_standing_time_has_limits(stood_minutes: float) -> None:
    with pytest.raises(OutOfRange) as refusal:
        correction(
            resin_g=ONE,
            hardener_g=ONE,
            weight_ratio=ONE,
            stood_minutes=stood_minutes,
            pot_life_minutes=100.0,
        )
    assert (refusal.value.field, refusal.value.unit) == ("stood_minutes", "min")
    assert (refusal.value.low, refusal.value.high) == (0, 100_000)


COUNTS: list[tuple[Callable[[int], object], str, int]] = [
    (
        lambda n: progress(TABLE, Stage.USE, history=steady() * n, now_hours=1, side=Side.LATE),
        "history_readings",
        100_000,
    ),
    (
        lambda n: share_used(LABEL, batch_g=50, history=[MixReading(0, 20)] * n, now_minutes=1),
        "history_readings",
        100_000,
    ),
    (lambda n: outlook(None, [FINE] * n), "readings", 2000),
]


@pytest.mark.parametrize(("call", "field", "high"), COUNTS)
def test_number_of_readings_has_limits(
    call: Callable[[int], object], field: str, high: int
) -> None:
    for count in (0, high + 1):
        with pytest.raises(OutOfRange) as refusal:
            call(count)
        assert (refusal.value.field, refusal.value.value) == (field, count)
        assert (refusal.value.low, refusal.value.high) == (1, high)


@pytest.mark.parametrize(
    ("text", "basis", "allowed"),
    [
        (
            "seven",
            Basis.WEIGHT,
            "resin:hardener such as 7:1 or 100:44, 14.3 phr, or 12.5 % of total",
        ),
        ("7:1 by volume", Basis.WEIGHT, "a ratio by weight"),
        ("7:1 by weight", Basis.VOLUME, "a ratio by volume"),
        ("44 phr", Basis.VOLUME, "parts such as 2:1, since phr is by weight"),
    ],
)
def test_ratio_that_is_not_allowed(text: str, basis: Basis, allowed: str) -> None:
    with pytest.raises(errors.NotAllowed) as refusal:
        parse_ratio(text, basis)
    assert (refusal.value.field, refusal.value.value) == ("ratio", text)
    assert refusal.value.allowed == allowed


# How each refusal reads when nothing words it better.
SENTENCES = [
    pytest.param(
        lambda: OutOfRange("resin_g", Fraction(0), 0, TONNE, "g", low_excluded=True),
        "resin_g is 0; allowed is above 0 and up to 1e+06 g.",
        id="above",
    ),
    pytest.param(
        lambda: OutOfRange("good", 1.5, 0, 1), "good is 1.5; allowed is 0 to 1.", id="no-unit"
    ),
    pytest.param(
        lambda: OutOfRange("mix_c", math.nan, 0, 40, "°C"),
        "mix_c is nan; allowed is 0 to 40 °C.",
        id="nan",
    ),
    pytest.param(
        lambda: OutOfRange("number", Fraction(10) ** 400, 0, 1),
        "number is too large a number; allowed is 0 to 1.",
        id="huge",
    ),
    pytest.param(
        lambda: errors.Missing("by", "the ratio"),
        "by is missing; it is needed for the ratio.",
        id="missing",
    ),
    pytest.param(
        lambda: errors.NotAllowed("unit", "x" * 99, "g or kg"),
        f"unit is '{'x' * 60}'; allowed is g or kg.",
        id="not-allowed",
    ),
    pytest.param(
        lambda: errors.BasisNeedsDensities(["resin_g_per_ml"]),
        "The ratio is by volume and the scale shows weight; without resin_g_per_ml the hardener "
        "could be off by a fifth.",
        id="densities",
    ),
    pytest.param(
        lambda: errors.BasisNeedsDensities(["resin_g_per_ml", "hardener_g_per_ml"]),
        "The ratio is by volume and the scale shows weight; without resin_g_per_ml and "
        "hardener_g_per_ml the hardener could be off by a fifth.",
        id="both-densities",
    ),
    pytest.param(
        lambda: errors.TooManyCups(200),
        "Even 200 cups a coat could not be spread in time; spread faster, work cooler, or use a "
        "slower hardener.",
        id="cups",
    ),
    pytest.param(
        lambda: OutOfRange("number", Decimal("sNaN"), 0, 1),
        "number is nan; allowed is 0 to 1.",
        id="signaling-nan",
    ),
    pytest.param(
        lambda: errors.BatchTooSmall(Fraction(100), Fraction(140), ONE, ONE / 20),
        "100 g of resin is too little for a scale that reads 1 g: 5 % needs at least 140 g of "
        "resin.",
        id="small",
    ),
    pytest.param(
        lambda: errors.CupTooSmall(Fraction(1184), Fraction(1000)),
        "1184 g does not fit a cup for 1000 g.",
        id="cup",
    ),
    pytest.param(
        lambda: errors.StoodTooLong(8.0, 6.25),
        "The cup has stood 8 minutes; nothing is added after 6.25 minutes.",
        id="stood",
    ),
    pytest.param(
        lambda: errors.CardInvalid("mix.by", "'eye'", 7, '"weight"'),
        "Line 7: mix.by is 'eye'; allowed is \"weight\".",
        id="card",
    ),
    pytest.param(
        lambda: errors.CardInvalid("", "60 keys", None, "up to 50 keys"),
        "Card: 60 keys; allowed is up to 50 keys.",
        id="whole-card",
    ),
]


@pytest.mark.parametrize(("refusal", "sentence"), SENTENCES)
def test_refusal_reads_as_a_sentence(refusal: Callable[[], Refusal], sentence: str) -> None:
    assert str(refusal()) == sentence
