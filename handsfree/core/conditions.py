"""Whether air and surface allow coating, now and over the hours in which the coat cures."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from handsfree.core.dewpoint import DEW_MARGIN_K, dew_margin_k
from handsfree.core.errors import check_range

# Steps between two entered readings at which the dew margin is looked at, h.
FORECAST_STEP_HOURS = 0.25
LARGEST_FORECAST_HOURS = 400.0
# An amine blush forms on a coat that cures cool or damp (trade journals' articles on it name no
# figures). Judgement for these.
BLUSH_BELOW_C, BLUSH_BELOW_MARGIN_K, BLUSH_ABOVE_PERCENT = 15.0, 4.0, 75.0
LARGEST_FORECAST = 2000


@dataclass(frozen=True)
class Limits:
    """What a card allows of air and surface."""

    least_air_c: float
    largest_air_c: float
    least_surface_c: float
    largest_surface_c: float
    largest_humidity_percent: float
    dew_margin_k: float  # The surface is at least this much above the dew point.


@dataclass(frozen=True)
class Conditions:
    """One set of readings, taken close to the work."""

    hours: float  # Since the start of the job; a forecast lies after it.
    air_c: float
    humidity_percent: float
    surface_c: float

    @property
    def margin_k(self) -> float:
        """Surface above dew point, K."""
        return dew_margin_k(
            air_c=self.air_c, humidity_percent=self.humidity_percent, surface_c=self.surface_c
        )


class Fault(Enum):
    """What is wrong with the conditions."""

    AIR_TOO_COLD = "air too cold"
    AIR_TOO_HOT = "air too hot"
    SURFACE_TOO_COLD = "surface too cold"
    SURFACE_TOO_HOT = "surface too hot"
    TOO_HUMID = "too humid"
    TOO_CLOSE_TO_DEW = "surface too close to the dew point"
    MIX_COLDER_THAN_SURFACE = "mix colder than the surface"


@dataclass(frozen=True)
class Breach:
    """A limit that is not kept, with the reading and the limit in the same unit."""

    fault: Fault
    reading: float
    limit: float


@dataclass(frozen=True)
class Outlook:
    """The worst of a forecast.

    first_breach_hours, breaches: when a limit is first not kept, and which; None and empty if all
        are kept.
    least_margin_k, least_margin_hours: the smallest dew margin and when.
    is_margin_falling: the margin at the end is smaller than at the start.
    """

    first_breach_hours: float | None
    breaches: tuple[Breach, ...]
    least_margin_k: float
    least_margin_hours: float
    is_margin_falling: bool


def breaches(
    limits: Limits | None, conditions: Conditions, *, mix_c: float | None = None
) -> tuple[Breach, ...]:
    """The limits that are not kept, none when coating is allowed as far as they go.

    Args:
        limits: the card's; None when it is silent, which leaves the dew margin of 3 K alone.
        conditions: air -40 to 50 °C, humidity 1 to 100 %, surface -40 to 80 °C.
        mix_c: the mix's temperature, 0 to 40 °C, if it is known.

    Returns:
        Breaches in the order of Fault. A limit itself is kept.

    Raises:
        OutOfRange: a reading lies outside its range.

    Source: the card. Paint at least as warm as the surface: UFC 3-190-06, 7.4.1.
    """
    margin_k = conditions.margin_k
    needed_k = limits.dew_margin_k if limits is not None else DEW_MARGIN_K
    found: list[Breach] = []
    if limits is not None:
        for reading, least, too_cold, largest, too_hot in (
            (
                conditions.air_c,
                limits.least_air_c,
                Fault.AIR_TOO_COLD,
                limits.largest_air_c,
                Fault.AIR_TOO_HOT,
            ),
            (
                conditions.surface_c,
                limits.least_surface_c,
                Fault.SURFACE_TOO_COLD,
                limits.largest_surface_c,
                Fault.SURFACE_TOO_HOT,
            ),
        ):
            if reading < least:
                found.append(Breach(too_cold, reading, least))
            if reading > largest:
                found.append(Breach(too_hot, reading, largest))
        if conditions.humidity_percent > limits.largest_humidity_percent:
            found.append(
                Breach(
                    Fault.TOO_HUMID, conditions.humidity_percent, limits.largest_humidity_percent
                )
            )
    if margin_k < needed_k:
        found.append(Breach(Fault.TOO_CLOSE_TO_DEW, margin_k, needed_k))
    if mix_c is not None:
        check_range("mix_c", mix_c, 0, 40, "°C")
        if mix_c < conditions.surface_c:
            found.append(Breach(Fault.MIX_COLDER_THAN_SURFACE, mix_c, conditions.surface_c))
    return tuple(found)


def can_blush(conditions: Conditions) -> bool:
    """Whether a coat that cures in these conditions may blush, and is washed before the next.

    Args:
        conditions: air -40 to 50 °C, humidity 1 to 100 %, surface -40 to 80 °C.

    Raises:
        OutOfRange: a reading lies outside its range.

    Source: Judgement, see the constants above.
    """
    return (
        conditions.margin_k < BLUSH_BELOW_MARGIN_K
        or conditions.surface_c < BLUSH_BELOW_C
        or conditions.humidity_percent > BLUSH_ABOVE_PERCENT
    )


def outlook(limits: Limits | None, readings: Sequence[Conditions]) -> Outlook:
    """The worst of the conditions over the hours of the readings.

    Args:
        limits: the card's, or None.
        readings: entered or forecast, with rising hours, 1 to 2000 of them within 400 h.

    Returns:
        What is worst, looked at every quarter of an hour on straight lines between readings.

    Raises:
        OutOfRange: a reading lies outside its range, or the hours do not rise.

    Source: Judgement: straight lines, since nothing else is known between two readings.
    """
    check_range("readings", len(readings), 1, LARGEST_FORECAST)
    check_range("reading_hours", readings[0].hours, 0, LARGEST_FORECAST_HOURS, "h")
    looked_at = [readings[0]]
    for earlier, later in pairwise(readings):
        check_range(
            "reading_hours",
            later.hours,
            earlier.hours,
            LARGEST_FORECAST_HOURS,
            "h",
            low_excluded=True,
        )
        steps = max(1, round((later.hours - earlier.hours) / FORECAST_STEP_HOURS))
        looked_at += [between(earlier, later, step / steps) for step in range(1, steps)]
        looked_at.append(later)
    worst = min(looked_at, key=lambda conditions: conditions.margin_k)
    first = next((conditions for conditions in looked_at if breaches(limits, conditions)), None)
    return Outlook(
        first_breach_hours=None if first is None else first.hours,
        breaches=() if first is None else breaches(limits, first),
        least_margin_k=worst.margin_k,
        least_margin_hours=worst.hours,
        is_margin_falling=readings[-1].margin_k < readings[0].margin_k,
    )


def between(earlier: Conditions, later: Conditions, share: float) -> Conditions:
    """The conditions a share of the way from one reading to the next."""
    return Conditions(
        hours=earlier.hours + share * (later.hours - earlier.hours),
        air_c=earlier.air_c + share * (later.air_c - earlier.air_c),
        humidity_percent=earlier.humidity_percent
        + share * (later.humidity_percent - earlier.humidity_percent),
        surface_c=earlier.surface_c + share * (later.surface_c - earlier.surface_c),
    )
