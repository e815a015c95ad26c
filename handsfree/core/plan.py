"""A whole job, before it starts: cups that can be used up in time, amounts, times, stock."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from fractions import Fraction

from handsfree.core.card import ProductCard
from handsfree.core.conditions import (
    Breach,
    Conditions,
    Outlook,
    between,
    breaches,
    can_blush,
    outlook,
)
from handsfree.core.coverage import FilmSheet, Profile, liters_needed
from handsfree.core.cure import (
    CureTable,
    Side,
    Stage,
    SurfaceReading,
    stage_time,
    tape_times,
)
from handsfree.core.errors import Missing, TooManyCups, check_range
from handsfree.core.exotherm import Exotherm, Smoke, exotherm
from handsfree.core.mix import (
    LARGEST_MASS_G,
    check_batch_size,
    check_mass,
    hardener_for_resin_g,
    least_resin_g,
    mixed_density_g_per_ml,
    rounded_to_step,
    split_total_g,
    weight_ratio,
)
from handsfree.core.potlife import LabelPotLife, PotLife, largest_batch_g, pot_life

# Stirring two to three minutes, two more once it looks uniform (a light-aircraft mixing
# procedure), half a minute to pour and start. Judgement for the sum.
STIR_MINUTES = 5.0
# A batch is small enough to be spread in half its pot life, and standing, stirring and spreading
# together end before three quarters. Judgement.
SPREAD_SHARE, DONE_SHARE = 0.5, 0.75
MOST_CUPS = 200
# Ready from the last coat on.
READY_STAGES = (Stage.TACK_FREE, Stage.HANDLE, Stage.SAND, Stage.USE, Stage.FULL_CURE)


@dataclass(frozen=True)
class Job:
    """What is to be coated, and with what means.

    Raises:
        OutOfRange: a field lies outside the range given beside it.
    """

    area_m2: float  # Above 0, up to 10,000.
    coats: int  # 1 to 10.
    dft_um: float  # Of one coat, within the card's range.
    mix_c: float  # The parts' temperature, 0 to 40 °C.
    step_g: Fraction  # What the scale shows, above 0 and up to 100 g.
    spread_m2_per_hour: float  # The person's own pace, 0.1 to 1000.
    loss_percent: float  # In pot, tools and overspray, 0 to 90.
    stuck_g: float = 0.0  # Left in pot and roller for each coat, 0 to 5000 g.
    cup_g: Fraction | None = None  # The most a cup holds, above 0.
    profile: Profile = Profile.SMOOTH
    resin_stock_g: Fraction | None = None  # In the tins, 0 or more.
    hardener_stock_g: Fraction | None = None

    def __post_init__(self) -> None:
        for field, value, low, high, unit in (
            ("coats", self.coats, 1, 10, ""),
            ("spread_m2_per_hour", self.spread_m2_per_hour, 0.1, 1000, "m²/h"),
            ("stuck_g", self.stuck_g, 0, 5000, "g"),
        ):
            check_range(field, value, low, high, unit)
        check_range("step_g", self.step_g, 0, 100, "g", low_excluded=True)
        if self.cup_g is not None:
            check_mass("cup_g", self.cup_g)
        for field, stock_g in (
            ("resin_stock_g", self.resin_stock_g),
            ("hardener_stock_g", self.hardener_stock_g),
        ):
            if stock_g is not None:
                check_range(field, stock_g, 0, LARGEST_MASS_G, "g")


class Caution(Enum):
    """What the person should know before starting; in the order they are told."""

    CONDITIONS_NOW = "conditions now"
    CONDITIONS_LATER = "conditions later"
    FORECAST_ENDS_EARLY = "forecast ends early"
    STOCK_SHORT = "stock short"
    POT_LIFE_DOUBTFUL = "pot life doubtful"
    CUP_MAY_SMOKE = "cup may smoke"
    SCALE_COARSE = "scale coarse"
    SAND_BETWEEN_COATS = "sand between coats"
    MAY_BLUSH = "may blush"
    TOO_COLD_TO_CURE = "too cold to cure"
    WINDOW_NOT_ON_CARD = "window not on card"
    LIMITS_NOT_ON_CARD = "limits not on card"


@dataclass(frozen=True)
class CupPlan:
    """The cups of one coat; all alike."""

    count: int
    resin_g: Fraction  # As the scale shows it.
    hardener_g: Fraction
    spread_minutes: float  # For one cup.
    busy_minutes: float  # Standing, stirring and spreading one cup.
    life: PotLife
    heat: Exotherm


@dataclass(frozen=True)
class CoatTimes:
    """One coat's times, in hours since the start of the job; None when it is never or unknown."""

    number: int
    start_hours: float
    end_hours: float
    tape_ask_hours: float | None
    tape_insist_hours: float | None
    tape_last_call_hours: float | None
    recoat_opens_hours: float | None
    recoat_closes_hours: float | None


@dataclass(frozen=True)
class Plan:
    """A job's cups, amounts, times and cautions."""

    cups: CupPlan  # Of each coat.
    coats: tuple[CoatTimes, ...]
    ready_hours: Mapping[Stage, float | None]  # After the last coat; stages of the card only.
    resin_g: Fraction  # For all coats.
    hardener_g: Fraction
    resin_left_g: Fraction | None  # In the tins afterward; negative when it is short.
    hardener_left_g: Fraction | None
    breaches: tuple[Breach, ...]  # Now.
    outlook: Outlook
    cautions: tuple[Caution, ...]


def plan(card: ProductCard, job: Job, readings: Sequence[Conditions]) -> Plan:
    """The plan of a job.

    Args:
        card: needs the sections film and pot_life and both densities.
        job: what is to be done.
        readings: conditions now, at 0 hours, and as forecast after it; the last one is held.

    Returns:
        Equal cups, the fewest that can be spread in half their pot life in the warmest air of the
        readings. Each coat after the first starts when the window is surely open; its opening is
        counted from the end of the coat before, its close and the tape from that coat's start.

    Raises:
        Missing: the card lacks something this needs.
        OutOfRange: an argument lies outside its range, or the film outside the card's.
        BatchTooSmall: cups small enough to be spread in time are too small for the scale.
        TooManyCups: no cup can be spread in time at this pace.

    Source: the functions called; the shares of the pot life are Judgement, see above.

    Not covered: breaks, nights, and edges that must be kept wet across cups.
    """
    if card.film is None:
        raise Missing("film", "the amount from an area")
    if card.pot_life is None:
        raise Missing("pot_life", "the size of a cup")
    if not readings:
        raise Missing("readings", "the conditions")
    check_range("first_reading_hours", readings[0].hours, 0, 0, "h")
    ahead = outlook(card.limits, readings)
    ratio = weight_ratio(card.ratio, card.resin_g_per_ml, card.hardener_g_per_ml)
    coat_g = _coat_mass_g(card, card.film, job, ratio)
    warmest_air_c = max(reading.air_c for reading in readings)
    cups = _cup_plan(card, card.pot_life, job, warmest_air_c, coat_g, ratio)
    coat_hours = cups.count * cups.busy_minutes / 60.0
    times = _coat_times(card.cure, job.coats, coat_hours, readings)
    batches = cups.count * job.coats
    resin_g, hardener_g = batches * cups.resin_g, batches * cups.hardener_g
    result = Plan(
        cups=cups,
        coats=times,
        ready_hours=_ready_hours(card.cure, readings, times[-1].end_hours),
        resin_g=resin_g,
        hardener_g=hardener_g,
        resin_left_g=None if job.resin_stock_g is None else job.resin_stock_g - resin_g,
        hardener_left_g=None if job.hardener_stock_g is None else job.hardener_stock_g - hardener_g,
        breaches=breaches(card.limits, readings[0], mix_c=job.mix_c),
        outlook=ahead,
        cautions=(),
    )
    return replace(result, cautions=_cautions_of(card, job, result, ratio, readings))


def _coat_mass_g(card: ProductCard, film: FilmSheet, job: Job, ratio: Fraction) -> float:
    """Grams of mix for one coat, with what is lost."""
    check_range("dft_um", job.dft_um, film.least_dft_um, film.largest_dft_um, "µm")
    if card.resin_g_per_ml is None or card.hardener_g_per_ml is None:
        raise Missing("mix.resin_g_per_ml and mix.hardener_g_per_ml", "grams from an area")
    density_g_per_ml = mixed_density_g_per_ml(
        weight_ratio=ratio,
        resin_g_per_ml=card.resin_g_per_ml,
        hardener_g_per_ml=card.hardener_g_per_ml,
    )
    liters = liters_needed(
        area_m2=job.area_m2,
        dft_um=job.dft_um,
        volume_solids_percent=film.volume_solids_percent,
        loss_percent=job.loss_percent,
        profile=job.profile,
    )
    return liters * 1000.0 * float(density_g_per_ml) + job.stuck_g


def _cup_plan(
    card: ProductCard,
    label: LabelPotLife,
    job: Job,
    air_c: float,
    coat_g: float,
    ratio: Fraction,
) -> CupPlan:
    """The fewest equal cups of one coat that can be spread in time and fit the cup."""
    # The cup soon takes the room's temperature when that is higher.
    warmest_c = max(job.mix_c, air_c)
    coat_minutes = job.area_m2 / job.spread_m2_per_hour * 60.0
    fewest = max(1, math.ceil(coat_g / largest_batch_g(label)))
    for count in range(fewest, MOST_CUPS + 1):
        batch_g, spread_minutes = coat_g / count, coat_minutes / count
        if job.cup_g is not None and batch_g > job.cup_g:
            continue
        life = pot_life(label, batch_g=batch_g, mix_c=warmest_c)
        busy_minutes = label.induction_minutes + STIR_MINUTES + spread_minutes
        if spread_minutes > SPREAD_SHARE * life.minutes or busy_minutes > DONE_SHARE * life.minutes:
            continue
        exact_g, _ = split_total_g(total_g=Fraction(batch_g), weight_ratio=ratio)
        check_batch_size(
            resin_g=exact_g,
            weight_ratio=ratio,
            step_g=job.step_g,
            tolerance=card.tolerance.tolerated,
        )
        resin_g = rounded_to_step(exact_g, job.step_g)
        hardener_g = hardener_for_resin_g(resin_g=resin_g, weight_ratio=ratio)
        return CupPlan(
            count=count,
            resin_g=resin_g,
            hardener_g=rounded_to_step(hardener_g, job.step_g),
            spread_minutes=spread_minutes,
            busy_minutes=busy_minutes,
            life=life,
            heat=exotherm(label, batch_g=batch_g, mix_c=warmest_c, air_c=air_c),
        )
    raise TooManyCups(MOST_CUPS)


def _coat_times(
    table: CureTable | None, coats: int, coat_hours: float, readings: Sequence[Conditions]
) -> tuple[CoatTimes, ...]:
    """Each coat's times; coats whose start is not known are left out."""
    times: list[CoatTimes] = []
    start: float | None = 0.0
    for number in range(1, coats + 1):
        if start is None:
            break
        end = start + coat_hours
        opens = _reached_hours(table, Stage.RECOAT_OPENS, readings, end, Side.LATE)
        tape: list[float | None] = [None, None, None]
        if table is not None and Stage.TACK_FREE in table.hours:
            calls = tape_times(table, history=_surface_from(readings, start))
            last_call = _since(start, calls.last_call.hours)
            # Nobody pulls tape while still coating, but the last call is the first stroke's.
            tape = [
                _not_before(end, _since(start, call.hours), last_call)
                for call in (calls.ask, calls.insist)
            ]
            tape.append(last_call)
        times.append(
            CoatTimes(
                number=number,
                start_hours=start,
                end_hours=end,
                tape_ask_hours=tape[0],
                tape_insist_hours=tape[1],
                tape_last_call_hours=tape[2],
                recoat_opens_hours=opens,
                recoat_closes_hours=_reached_hours(
                    table, Stage.RECOAT_CLOSES, readings, start, Side.EARLY
                ),
            )
        )
        start = opens
    return tuple(times)


def _ready_hours(
    table: CureTable | None, readings: Sequence[Conditions], end_hours: float
) -> dict[Stage, float | None]:
    rows = {} if table is None else table.hours
    return {
        stage: _reached_hours(table, stage, readings, end_hours, Side.LATE)
        for stage in READY_STAGES
        if stage in rows
    }


def _reached_hours(
    table: CureTable | None,
    stage: Stage,
    readings: Sequence[Conditions],
    from_hours: float,
    side: Side,
) -> float | None:
    """When a stage is reached, in hours of the job, for a coat that began to cure at a time."""
    if table is None or stage not in table.hours:
        return None
    time = stage_time(table, stage, history=_surface_from(readings, from_hours), side=side)
    return _since(from_hours, time.hours)


def _since(start_hours: float, hours: float | None) -> float | None:
    return None if hours is None else start_hours + hours


def _not_before(end: float, hours: float | None, latest: float | None) -> float | None:
    if hours is None:
        return None
    return min(max(hours, end), math.inf if latest is None else latest)


def _surface_from(readings: Sequence[Conditions], from_hours: float) -> tuple[SurfaceReading, ...]:
    """The surface's readings seen from a moment of the job, which becomes 0 hours."""
    later = [reading for reading in readings if reading.hours > from_hours]
    earlier = [reading for reading in readings if reading.hours <= from_hours][-1]
    here_c = earlier.surface_c
    if later:
        share = (from_hours - earlier.hours) / (later[0].hours - earlier.hours)
        here_c = between(earlier, later[0], share).surface_c
    return (
        SurfaceReading(0.0, here_c),
        *(SurfaceReading(reading.hours - from_hours, reading.surface_c) for reading in later),
    )


def _cautions_of(
    card: ProductCard, job: Job, made: Plan, ratio: Fraction, readings: Sequence[Conditions]
) -> tuple[Caution, ...]:
    left = [grams for grams in (made.resin_left_g, made.hardener_left_g) if grams is not None]
    rows = {} if card.cure is None else card.cure.hours
    has_window = Stage.RECOAT_OPENS in rows and Stage.RECOAT_CLOSES in rows
    never_ready = any(hours is None for hours in made.ready_hours.values())
    good_resin_g = least_resin_g(
        weight_ratio=ratio, step_g=job.step_g, tolerance=card.tolerance.good
    )
    is_true = {
        Caution.CONDITIONS_NOW: bool(made.breaches),
        Caution.CONDITIONS_LATER: made.outlook.first_breach_hours not in (None, 0.0),
        Caution.FORECAST_ENDS_EARLY: readings[-1].hours < made.coats[-1].end_hours,
        Caution.STOCK_SHORT: any(grams < 0 for grams in left),
        Caution.POT_LIFE_DOUBTFUL: bool(made.cups.life.doubts),
        Caution.CUP_MAY_SMOKE: made.cups.heat.smoke is not Smoke.UNLIKELY,
        Caution.SCALE_COARSE: made.cups.resin_g < good_resin_g,
        Caution.SAND_BETWEEN_COATS: any(
            _closes_before_it_opens(coat) for coat in made.coats if coat.number < job.coats
        ),
        Caution.MAY_BLUSH: any(can_blush(reading) for reading in readings),
        Caution.TOO_COLD_TO_CURE: len(made.coats) < job.coats or never_ready,
        Caution.WINDOW_NOT_ON_CARD: not has_window,
        Caution.LIMITS_NOT_ON_CARD: card.limits is None,
    }
    return tuple(caution for caution in Caution if is_true[caution])


def _closes_before_it_opens(coat: CoatTimes) -> bool:
    if coat.recoat_opens_hours is None or coat.recoat_closes_hours is None:
        return False
    return coat.recoat_closes_hours <= coat.recoat_opens_hours
