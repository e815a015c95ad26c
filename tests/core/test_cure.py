"""Cure stages: points of the table, both sides of it, temperature histories, and laws."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from handsfree.core.cure import (
    CureTable,
    Recoat,
    Side,
    Stage,
    SurfaceReading,
    progress,
    recoat,
    slow_share_seen,
    stage_hours,
    stage_time,
    tape_times,
)
from handsfree.core.errors import Missing, OutOfRange

TABLE = CureTable(
    surface_c=(10.0, 20.0, 30.0),
    hours={
        Stage.TACK_FREE: (12.0, 6.0, 3.0),
        Stage.RECOAT_OPENS: (8.0, 4.0, 2.0),
        Stage.RECOAT_CLOSES: (96.0, 48.0, 24.0),
        Stage.USE: (96.0, 48.0, 24.0),
    },
    least_c=5.0,
)

sides = st.sampled_from(Side)
stages = st.sampled_from(list(TABLE.hours))
surfaces = st.floats(-30, 60)
histories = st.lists(st.tuples(st.floats(0.1, 50), surfaces), min_size=1, max_size=8).map(
    lambda steps: [
        SurfaceReading(sum(hours for hours, _ in steps[:i]), surface_c)
        for i, (_, surface_c) in enumerate(steps)
    ]
)


def steady(surface_c: float) -> list[SurfaceReading]:
    return [SurfaceReading(0.0, surface_c)]


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("stage", TABLE.hours)
def test_both_sides_are_the_table_at_its_points(stage: Stage, side: Side) -> None:
    for surface_c, hours in zip(TABLE.surface_c, TABLE.hours[stage], strict=True):
        assert stage_hours(TABLE, stage, surface_c=surface_c, side=side) == pytest.approx(hours)


# Hand arithmetic on 12, 6, 3 h at 10, 20, 30 °C; the card counts from 5 °C.
READINGS = [
    pytest.param(15, Side.LATE, 9.0, id="late-between"),
    pytest.param(15, Side.EARLY, 8.0, id="early-between"),
    pytest.param(12.5, Side.LATE, 10.5, id="late-quarter"),
    pytest.param(12.5, Side.EARLY, 9.6, id="early-quarter"),
    pytest.param(25, Side.LATE, 4.5, id="late-second-span"),
    pytest.param(25, Side.EARLY, 4.0, id="early-second-span"),
    pytest.param(5, Side.LATE, 12 * 2.3**0.5, id="late-colder"),
    pytest.param(4.9, Side.LATE, math.inf, id="late-too-cold-to-count"),
    pytest.param(5, Side.EARLY, 12 * 1.4**0.5, id="early-colder"),
    pytest.param(-30, Side.EARLY, 12 * 1.4**0.5, id="early-no-more-credit"),
    pytest.param(35, Side.LATE, 3 / 1.4**0.5, id="late-hotter"),
    pytest.param(40, Side.LATE, 3 / 1.4, id="late-last-credit"),
    pytest.param(60, Side.LATE, 3 / 1.4, id="late-no-more-credit"),
    pytest.param(40, Side.EARLY, 0.75, id="early-hotter"),
    pytest.param(60, Side.EARLY, 3 / 64, id="early-much-hotter"),
]


@pytest.mark.parametrize(("surface_c", "side", "expected"), READINGS)
def test_between_and_beyond_the_table(surface_c: float, side: Side, expected: float) -> None:
    hours = stage_hours(TABLE, Stage.TACK_FREE, surface_c=surface_c, side=side)
    assert hours == pytest.approx(expected)


def test_credit_in_the_cold_ends_ten_degrees_below_the_table() -> None:
    cold = CureTable((20.0,), {Stage.USE: (10.0,)}, least_c=0.0)
    at = stage_hours(cold, Stage.USE, surface_c=5.0, side=Side.EARLY)
    assert at == pytest.approx(14.0)
    # Where counting stops above the table's coldest point there is no credit at all.
    warm = CureTable((20.0, 30.0), {Stage.USE: (10.0, 5.0)}, least_c=25.0)
    assert stage_hours(warm, Stage.USE, surface_c=15.0, side=Side.EARLY) == 10.0
    assert stage_hours(warm, Stage.USE, surface_c=24.0, side=Side.LATE) == math.inf


def test_one_row_table_has_its_point() -> None:
    single = CureTable((20.0,), {Stage.USE: (10.0,)}, least_c=0.0)
    for side in Side:
        assert stage_hours(single, Stage.USE, surface_c=20.0, side=side) == 10.0


@given(stage=stages, one=surfaces, other=surfaces, side=sides)
def test_warmer_never_takes_longer(stage: Stage, one: float, other: float, side: Side) -> None:
    cold, warm = sorted((one, other))
    slower = stage_hours(TABLE, stage, surface_c=cold, side=side)
    faster = stage_hours(TABLE, stage, surface_c=warm, side=side)
    assert 0.0 < faster <= slower * (1 + 1e-12)


@given(stage=stages, surface_c=surfaces)
def test_early_never_comes_after_late(stage: Stage, surface_c: float) -> None:
    early = stage_hours(TABLE, stage, surface_c=surface_c, side=Side.EARLY)
    assert early <= stage_hours(TABLE, stage, surface_c=surface_c, side=Side.LATE) * (1 + 1e-12)


@given(
    energy=st.floats(40_000, 70_000),
    surface_c=st.floats(5, 40),
)
def test_truth_of_any_activation_energy_lies_between_the_two_sides(
    energy: float, surface_c: float
) -> None:
    def hours_at(at_c: float) -> float:
        return 24.0 * math.exp(energy / 8.314462618 * (1 / (273.15 + at_c) - 1 / 293.15))

    points = (5.0, 15.0, 25.0, 40.0)
    table = CureTable(points, {Stage.USE: tuple(hours_at(c) for c in points)}, least_c=0.0)
    early = stage_hours(table, Stage.USE, surface_c=surface_c, side=Side.EARLY)
    late = stage_hours(table, Stage.USE, surface_c=surface_c, side=Side.LATE)
    assert early <= hours_at(surface_c) * (1 + 1e-12)
    assert hours_at(surface_c) <= late * (1 + 1e-12)


def test_intervals_count_at_their_worse_end() -> None:
    history = [SurfaceReading(0, 20), SurfaceReading(2, 10), SurfaceReading(5, 30)]
    # Late: 2 h and 3 h at 10 °C are 5/12, then 1 h at 30 °C is 1/3.
    late = progress(TABLE, Stage.TACK_FREE, history=history, now_hours=6, side=Side.LATE)
    assert late == pytest.approx(5 / 12 + 1 / 3)
    # Early: 2 h at 20 °C are 1/3, 3 h and 1 h at 30 °C are 4/3.
    early = progress(TABLE, Stage.TACK_FREE, history=history, now_hours=6, side=Side.EARLY)
    assert early == pytest.approx(1 / 3 + 4 / 3)
    half_way = progress(TABLE, Stage.TACK_FREE, history=history, now_hours=1, side=Side.LATE)
    assert half_way == pytest.approx(1 / 12)


@given(history=histories, stage=stages)
def test_dense_readings_bring_the_two_sides_together(
    history: list[SurfaceReading], stage: Stage
) -> None:
    # Where no temperature lies outside the table the sides differ by their reading alone:
    # at most (1.5 / 1.333) = 12.5 % for a row that halves in 10 °C.
    inside = [SurfaceReading(r.hours, min(max(r.surface_c, 10.0), 30.0)) for r in history]
    end = inside[-1].hours + 5.0
    times = np.linspace(0.0, end, 4000)
    values = np.interp(times, [r.hours for r in inside], [r.surface_c for r in inside])
    dense = [SurfaceReading(float(t), float(c)) for t, c in zip(times, values, strict=True)]
    late = progress(TABLE, stage, history=dense, now_hours=end, side=Side.LATE)
    early = progress(TABLE, stage, history=dense, now_hours=end, side=Side.EARLY)
    assert late <= early * (1 + 1e-9)
    assert early <= late * 1.14
    coarse = progress(TABLE, stage, history=inside, now_hours=end, side=Side.LATE)
    assert coarse <= late * (1 + 1e-9) + 1e-12


@given(history=histories, stage=stages, side=sides, share=st.floats(0.01, 3))
def test_stage_time_is_when_progress_is_the_share(
    history: list[SurfaceReading], stage: Stage, side: Side, share: float
) -> None:
    found = stage_time(TABLE, stage, history=history, side=side, share=share)
    if found.hours is None:
        return
    assume(found.hours <= 10_000)
    done = progress(TABLE, stage, history=history, now_hours=found.hours, side=side)
    assert done == pytest.approx(share, rel=1e-9)
    assert found.is_forecast == (found.hours > history[-1].hours)


@given(history=histories, stage=stages, side=sides, now=st.floats(0, 5000), more=st.floats(0, 5000))
def test_progress_never_goes_back(
    history: list[SurfaceReading], stage: Stage, side: Side, now: float, more: float
) -> None:
    earlier = progress(TABLE, stage, history=history, now_hours=now, side=side)
    later = progress(TABLE, stage, history=history, now_hours=now + more, side=side)
    assert 0.0 <= earlier <= later * (1 + 1e-12)


def test_time_below_the_least_temperature_does_not_count() -> None:
    night = [SurfaceReading(0, 20), SurfaceReading(3, 20), SurfaceReading(3.5, 2)]
    assert stage_time(TABLE, Stage.TACK_FREE, history=night, side=Side.LATE).hours is None
    warm_again = [*night, SurfaceReading(12, 20)]
    found = stage_time(TABLE, Stage.TACK_FREE, history=warm_again, side=Side.LATE)
    assert found.hours == pytest.approx(15.0)
    # The window's end runs on all the same.
    closes = stage_time(TABLE, Stage.RECOAT_CLOSES, history=night, side=Side.EARLY)
    assert closes.hours is not None


def test_stage_reached_at_the_last_reading_is_no_forecast() -> None:
    until_four = [*steady(20.0), SurfaceReading(4.0, 20.0)]
    opens = stage_time(TABLE, Stage.RECOAT_OPENS, history=until_four, side=Side.LATE)
    assert (opens.hours, opens.is_forecast) == (4.0, False)
    longest = CureTable((20.0,), {Stage.USE: (10_000.0,)}, least_c=0.0)
    assert stage_time(longest, Stage.USE, history=steady(20.0), side=Side.LATE).hours == 10_000.0


def test_stage_beyond_the_longest_time_is_never() -> None:
    slow = CureTable((20.0,), {Stage.USE: (9000.0,)}, least_c=0.0)
    found = stage_time(slow, Stage.USE, history=steady(5.0), side=Side.LATE)
    assert (found.hours, found.is_forecast) == (None, True)
    assert stage_time(slow, Stage.USE, history=steady(20.0), side=Side.LATE).hours == 9000.0


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        (0.0, Recoat.TOO_EARLY),
        (3.99, Recoat.TOO_EARLY),
        (4.0, Recoat.OPEN),
        (47.9, Recoat.OPEN),
        (48.0, Recoat.CLOSED),
        (200.0, Recoat.CLOSED),
    ],
)
def test_recoat_window(now: float, expected: Recoat) -> None:
    assert recoat(TABLE, history=steady(20.0), now_hours=now) is expected


def test_overlapping_sides_of_the_window_mean_sanding() -> None:
    narrow = CureTable(
        (10.0, 30.0), {Stage.RECOAT_OPENS: (9.0, 1.0), Stage.RECOAT_CLOSES: (9.5, 1.5)}, 5.0
    )
    # At 20 °C it opens at (9 + 1) / 2 = 5 h on the late side and closes at
    # 2 / (1/9.5 + 1/1.5) = 2.59 h on the early side.
    assert recoat(narrow, history=steady(20.0), now_hours=2.5) is Recoat.TOO_EARLY
    assert recoat(narrow, history=steady(20.0), now_hours=2.6) is Recoat.CLOSED
    assert recoat(narrow, history=steady(20.0), now_hours=6.0) is Recoat.CLOSED


def test_tape_is_asked_insisted_and_called_last_before_it_gels() -> None:
    # At 20 °C tack-free comes at 6 h, so gel at about 4 h: a quarter, half, three quarters of it.
    times = tape_times(TABLE, history=steady(20.0))
    assert [times.ask.hours, times.insist.hours, times.last_call.hours] == pytest.approx([1, 2, 3])


def test_tape_is_not_asked_in_the_first_half_hour() -> None:
    # At 40 °C: 0.75 h to tack-free on the early side; the last call is at 0.375 h.
    hot = tape_times(TABLE, history=steady(40.0))
    assert [hot.ask.hours, hot.insist.hours, hot.last_call.hours] == pytest.approx([0.375] * 3)
    # At 33 °C: 3 / 4^0.3 = 1.979 h; 0.330, 0.660 and 0.990 h.
    assert hot.ask.is_forecast
    seen = tape_times(TABLE, history=[*steady(40.0), SurfaceReading(0.375, 40.0)])
    assert (seen.ask.hours, seen.ask.is_forecast) == (0.375, False)
    warm = tape_times(TABLE, history=steady(33.0))
    assert [warm.ask.hours, warm.insist.hours] == pytest.approx([0.5, 0.6598], abs=0.0001)


def test_tacky_when_it_should_be_dry_makes_every_later_stage_late() -> None:
    # Seen tacky at 9 h at 20 °C, where 6 h should do: 9 / 6 * 1.1 = 1.65.
    slow = slow_share_seen(TABLE, Stage.TACK_FREE, history=steady(20.0), not_yet_hours=9.0)
    assert slow == pytest.approx(1.65)
    use = stage_time(TABLE, Stage.USE, history=steady(20.0), side=Side.LATE, share=slow)
    assert use.hours == pytest.approx(48 * 1.65)
    assert recoat(TABLE, history=steady(20.0), now_hours=6.5, slow_share=slow) is Recoat.TOO_EARLY
    assert recoat(TABLE, history=steady(20.0), now_hours=6.7, slow_share=slow) is Recoat.OPEN
    assert recoat(TABLE, history=steady(20.0), now_hours=48, slow_share=slow) is Recoat.CLOSED


def test_tacky_in_time_changes_nothing() -> None:
    seen = slow_share_seen(TABLE, Stage.TACK_FREE, history=steady(20.0), not_yet_hours=3.0)
    assert seen == 1.0
    late = slow_share_seen(TABLE, Stage.RECOAT_OPENS, history=steady(20.0), not_yet_hours=9999.0)
    assert late == 100.0


def test_missing_row_is_named() -> None:
    with pytest.raises(Missing) as refusal:
        stage_hours(TABLE, Stage.SAND, surface_c=20.0, side=Side.LATE)
    assert refusal.value.field == "cure.sand_h"
    with pytest.raises(Missing) as refusal:
        stage_hours(TABLE, Stage.FULL_CURE, surface_c=20.0, side=Side.LATE)
    assert refusal.value.needed_for == "the time to full cure"


NAN = float("nan")


@pytest.mark.parametrize(
    ("history", "now", "field"),
    [
        pytest.param([], 1, "history_readings", id="none"),
        pytest.param([SurfaceReading(1, 20)], 1, "first_reading_hours", id="late-start"),
        pytest.param([SurfaceReading(0, 61)], 1, "surface_c", id="hot"),
        pytest.param([SurfaceReading(0, -31)], 1, "surface_c", id="cold"),
        pytest.param([SurfaceReading(0, NAN)], 1, "surface_c", id="nan"),
        pytest.param(steady(20), -0.1, "now_hours", id="before"),
        pytest.param(steady(20), 10_001, "now_hours", id="after"),
        pytest.param(steady(20), NAN, "now_hours", id="nan-now"),
        pytest.param([*steady(20), SurfaceReading(0, 20)], 1, "reading_hours", id="same"),
        pytest.param([*steady(20), SurfaceReading(10_001, 20)], 1, "reading_hours", id="long"),
    ],
)
def test_bad_history_is_refused(history: list[SurfaceReading], now: float, field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        progress(TABLE, Stage.USE, history=history, now_hours=now, side=Side.LATE)
    assert refusal.value.field == field


@pytest.mark.parametrize("share", [0.0, -1.0, 101.0, NAN])
def test_bad_share_is_refused(share: float) -> None:
    with pytest.raises(OutOfRange) as refusal:
        stage_time(TABLE, Stage.USE, history=steady(20), side=Side.LATE, share=share)
    assert refusal.value.field == "share"


@pytest.mark.parametrize("surface_c", [-30.1, 60.1, NAN])
def test_bad_surface_is_refused(surface_c: float) -> None:
    with pytest.raises(OutOfRange):
        stage_hours(TABLE, Stage.USE, surface_c=surface_c, side=Side.LATE)


def test_longest_history_is_taken() -> None:
    history = [SurfaceReading(i / 100, 20) for i in range(100_001)]
    with pytest.raises(OutOfRange):
        progress(TABLE, Stage.USE, history=history, now_hours=1, side=Side.LATE)
    done = progress(TABLE, Stage.USE, history=history[:-1], now_hours=48, side=Side.LATE)
    assert done == pytest.approx(1.0)
