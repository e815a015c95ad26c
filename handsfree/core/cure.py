"""What a coat has become since it was applied: from the card's table, over its temperatures.

Every stage is read twice from the same row. What must have happened (ready for the next coat, to
handle, to use) is read late; what must not have happened yet (the recoat window's end, tape that
must come off) is read early. The truth lies between.
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cache
from itertools import pairwise

from handsfree.core.errors import Missing, check_range, check_rising

# Beyond the table's ends each side takes the factor per 10 °C that is safe for it. Published cure
# times of an epoxy mortar (a highway special provision: 10, 6, 3 days and 20, 10, 7 days at 60,
# 85, 105 °F) give 1.4 to 1.9, pot lives up to 2.3; a guide specification's recoat window (UFGS
# 09 97 13) halves within 5.5 °C above 38 °C, which is 3.5.
LATE_COLDER, LATE_HOTTER = 2.3, 1.4
EARLY_COLDER, EARLY_HOTTER = 1.4, 4.0
# No further credit this far beyond the table. Judgement.
CREDIT_K = 10.0
# Tape comes off while the film is soft, before it gels. Gel comes at about two thirds of the time
# to tack-free, and tape is asked for at a quarter, half and three quarters of that. Judgement;
# the trade's texts disagree on the moment and agree that it is before the coat is hard.
TAPE_SHARES = (1 / 6, 1 / 3, 1 / 2)
TAPE_LEAST_HOURS = 0.5
# A coat that was still tacky when the table says otherwise is slow by at least that much; a tenth
# more before it is asked again. Judgement.
SLOWER_BY = 1.1
LEAST_SURFACE_C, LARGEST_SURFACE_C = -30.0, 60.0
LARGEST_HOURS = 10_000.0


class Stage(Enum):
    """The moments of a coat's life, in order; the value is the card's key without its unit."""

    TACK_FREE = "tack_free"
    RECOAT_OPENS = "recoat_opens"
    RECOAT_CLOSES = "recoat_closes"
    HANDLE = "handle"
    SAND = "sand"
    USE = "use"
    FULL_CURE = "full_cure"


class Side(Enum):
    """Which end of what is likely a row is read at."""

    LATE = "late"  # It must have happened.
    EARLY = "early"  # It must not have happened yet.


@dataclass(frozen=True)
class CureTable:
    """Hours from application to each stage, at each of the table's surface temperatures."""

    surface_c: tuple[float, ...]  # Rising.
    hours: Mapping[Stage, tuple[float, ...]]  # One number for each temperature; never rising.
    least_c: float  # Below it nothing counts toward a stage that must have happened.


@dataclass(frozen=True)
class SurfaceReading:
    """The coat's surface temperature at a time."""

    hours: float  # Since the coat was applied.
    surface_c: float


@dataclass(frozen=True)
class StageTime:
    """When a stage is reached.

    hours: since the coat was applied; None when it is never reached at the temperature held.
    is_forecast: it lies after the last reading, whose temperature was held.
    """

    hours: float | None
    is_forecast: bool


class Recoat(Enum):
    """Whether the next coat may go on."""

    TOO_EARLY = "too early"
    OPEN = "open"  # It bonds chemically.
    CLOSED = "closed"  # It bonds mechanically only: sand first.


@dataclass(frozen=True)
class TapeTimes:
    """When to ask for the tape, when to insist, and the last call."""

    ask: StageTime
    insist: StageTime
    last_call: StageTime


def stage_hours(table: CureTable, stage: Stage, *, surface_c: float, side: Side) -> float:
    """Hours to a stage at one steady temperature.

    Args:
        table: the card's.
        stage: which row.
        surface_c: -30 to 60 °C.
        side: late or early.

    Returns:
        The row's own hours at its points. Between them the late side runs straight in hours and
        the early side straight in speed; a curve of constant activation energy lies between the
        two. Beyond the ends: see the constants. Infinite on the late side below least_c.

    Raises:
        Missing: the card has no row for the stage.
        OutOfRange: the temperature lies outside its range.

    Source:
        Arithmetic, geometric and harmonic mean are in this order, and a speed that is exponential
        in temperature gives the geometric one. Factors beyond the table: see above.
    """
    check_range("surface_c", surface_c, LEAST_SURFACE_C, LARGEST_SURFACE_C, "°C")
    row = table.hours.get(stage)
    if row is None:
        raise Missing(f"cure.{stage.value}_h", f"the time to {stage.value.replace('_', ' ')}")
    if side is Side.LATE and surface_c < table.least_c:
        return math.inf
    coldest_c, hottest_c = table.surface_c[0], table.surface_c[-1]
    if surface_c < coldest_c:
        if side is Side.LATE:
            return row[0] * math.pow(LATE_COLDER, (coldest_c - surface_c) / 10.0)
        # The window runs on in the cold, so that the credit ends.
        credit_k = min(coldest_c - max(surface_c, table.least_c), CREDIT_K)
        return row[0] * math.pow(EARLY_COLDER, max(credit_k, 0.0) / 10.0)
    if surface_c > hottest_c:
        if side is Side.EARLY:
            return row[-1] * math.pow(EARLY_HOTTER, (hottest_c - surface_c) / 10.0)
        return row[-1] * math.pow(LATE_HOTTER, -min(surface_c - hottest_c, CREDIT_K) / 10.0)
    right = min(bisect_right(table.surface_c, surface_c), len(row) - 1)
    left = max(right - 1, 0)
    if left == right:
        return row[0]
    share = (surface_c - table.surface_c[left]) / (table.surface_c[right] - table.surface_c[left])
    if side is Side.LATE:
        return row[left] + share * (row[right] - row[left])
    return 1.0 / (1.0 / row[left] + share * (1.0 / row[right] - 1.0 / row[left]))


def progress(
    table: CureTable,
    stage: Stage,
    *,
    history: Sequence[SurfaceReading],
    now_hours: float,
    side: Side,
) -> float:
    """Share of the way to a stage, 0 at application and 1 when it is reached.

    Args:
        table, stage, side: as for stage_hours.
        history: readings with rising times, the first at 0 hours, up to 100,000.
        now_hours: since application, 0 to 10,000 h; after the last reading it is held.

    Returns:
        The sum of time over the hours the stage takes, each interval taken at its colder reading
        on the late side and at its hotter on the early side.

    Raises:
        Missing: the card has no row for the stage.
        OutOfRange: an argument lies outside its range, or the times do not rise from 0.

    Source: equivalent age as in ASTM C1074, with the card's own table for the rate.
    """
    _check_hours("now_hours", now_hours)
    _check_history(history)
    speed = _speed_of(table, stage, side)
    done = 0.0
    for start, end, surface_c in _intervals(history, side):
        if start >= now_hours:
            break
        done += (min(end, now_hours) - start) * speed(surface_c)
    return done


def stage_time(
    table: CureTable,
    stage: Stage,
    *,
    history: Sequence[SurfaceReading],
    side: Side,
    share: float = 1.0,
) -> StageTime:
    """When a stage, or a share of the way to it, is reached.

    Args:
        table, stage, history, side: as for progress.
        share: above 0, up to 100; more than 1 for a coat seen to be slow.

    Raises:
        Missing: the card has no row for the stage.
        OutOfRange: an argument lies outside its range, or the times do not rise from 0.

    Source: the time at which progress equals the share.
    """
    check_range("share", share, 0, 100, low_excluded=True)
    _check_history(history)
    speed = _speed_of(table, stage, side)
    done = 0.0
    for start, end, surface_c in _intervals(history, side):
        rate = speed(surface_c)
        missing_hours = (share - done) / rate if rate > 0.0 else math.inf
        if start + missing_hours <= end:
            reached = start + missing_hours
            if reached > LARGEST_HOURS:
                break
            return StageTime(reached, is_forecast=reached > history[-1].hours)
        done += (end - start) * rate
    return StageTime(None, is_forecast=True)


def recoat(
    table: CureTable,
    *,
    history: Sequence[SurfaceReading],
    now_hours: float,
    slow_share: float = 1.0,
) -> Recoat:
    """Whether the next coat may go on now.

    Args:
        table, history, now_hours: as for progress.
        slow_share: from slow_share_seen for a coat seen to be slow, else 1.

    Returns:
        CLOSED wins over TOO_EARLY: when the two sides of the reading overlap, the coat is sanded.

    Raises: as progress.

    Source: the card's window; its opening is read late and its end early.
    """
    opened = progress(
        table, Stage.RECOAT_OPENS, history=history, now_hours=now_hours, side=Side.LATE
    )
    closed = progress(
        table, Stage.RECOAT_CLOSES, history=history, now_hours=now_hours, side=Side.EARLY
    )
    if closed >= 1.0:
        return Recoat.CLOSED
    return Recoat.OPEN if opened >= slow_share else Recoat.TOO_EARLY


def tape_times(table: CureTable, *, history: Sequence[SurfaceReading]) -> TapeTimes:
    """When masking tape comes off: ask, insist, last call.

    Args:
        table, history: as for progress.

    Returns:
        Three times, none before half an hour unless the last call is sooner, none after it.

    Raises: as progress.

    Source: see TAPE_SHARES.
    """
    ask, insist, last_call = (
        stage_time(table, Stage.TACK_FREE, history=history, side=Side.EARLY, share=share)
        for share in TAPE_SHARES
    )
    latest = math.inf if last_call.hours is None else last_call.hours

    def not_too_soon(time: StageTime) -> StageTime:
        if time.hours is None or time.hours >= TAPE_LEAST_HOURS:
            return time
        hours = min(TAPE_LEAST_HOURS, latest)
        return StageTime(hours, is_forecast=hours > history[-1].hours)

    return TapeTimes(not_too_soon(ask), not_too_soon(insist), last_call)


def slow_share_seen(
    table: CureTable,
    stage: Stage,
    *,
    history: Sequence[SurfaceReading],
    not_yet_hours: float,
) -> float:
    """How much slower than its table a coat is, from one look: "it was still tacky at ...".

    Args:
        table, history: as for progress.
        stage: what had not been reached, such as tack-free.
        not_yet_hours: when it was looked at, 0 to 10,000 h since application.

    Returns:
        1 when the table allows for it, else more; the share of every later stage that must have
        happened is multiplied by it. The end of the recoat window is never moved.

    Raises: as progress.

    Source: Judgement, see SLOWER_BY; speed is taken to scale all stages alike.
    """
    reached = progress(table, stage, history=history, now_hours=not_yet_hours, side=Side.LATE)
    return min(max(1.0, SLOWER_BY * reached), 100.0)


def _check_hours(field: str, value: float) -> None:
    """Refuses a time outside 0 to 10,000 hours."""
    check_range(field, value, 0, LARGEST_HOURS, "h")


def _check_history(history: Sequence[SurfaceReading]) -> None:
    """Refuses readings that do not start at 0 and rise, or whose temperature is out of range."""
    check_rising("reading_hours", [reading.hours for reading in history], LARGEST_HOURS, "h")
    for reading in history:
        check_range("surface_c", reading.surface_c, LEAST_SURFACE_C, LARGEST_SURFACE_C, "°C")


def _intervals(
    history: Sequence[SurfaceReading], side: Side
) -> Iterator[tuple[float, float, float]]:
    """Start, end and temperature of each interval; the last one never ends."""
    worse = min if side is Side.LATE else max
    for earlier, later in pairwise(history):
        yield earlier.hours, later.hours, worse(earlier.surface_c, later.surface_c)
    yield history[-1].hours, math.inf, history[-1].surface_c


def _speed_of(table: CureTable, stage: Stage, side: Side) -> Callable[[float], float]:
    """One over the stage's hours, by temperature; a reading is often repeated, so it is kept."""

    @cache
    def speed(surface_c: float) -> float:
        return 1.0 / stage_hours(table, stage, surface_c=surface_c, side=side)

    return speed
