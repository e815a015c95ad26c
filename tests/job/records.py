"""Jobs made in code, for the tests of the record and the review."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

from handsfree.core.card import ProductCard
from handsfree.core.mix import Component
from handsfree.job.batch_record import BatchRecord, Entered, Pause, ShelfSince, batch_records
from handsfree.job.events import (
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    Event,
    Measured,
    ReadingTaken,
)
from handsfree.job.shelf import Shelf
from handsfree.shell.cards import load_card

CARD = load_card("gate-coat")
ZONE = timezone(timedelta(hours=1))
EIGHT = datetime(2026, 3, 2, 7, tzinfo=UTC)  # Eight o'clock in ZONE.


def at(minutes: float) -> datetime:
    """So many minutes after eight."""
    return EIGHT + timedelta(minutes=minutes)


def reading(minutes: float, cup: int, part: Component, grams: float) -> ReadingTaken:
    """A confirmed reading, zeroed before."""
    value = Fraction(grams)
    return ReadingTaken(at(minutes), cup, part, value, value, Fraction(0), True)


def cup(
    number: int = 1,
    *,
    start: float = 0,
    resin_g: float = 700,
    hardener_g: float = 100,
    mix_c: float = 20,
    pot_life_min: float = 25,
    emptied: float | None = 15,
) -> list[Event]:
    """A cup that is weighed, mixed and emptied; times in minutes after eight."""
    found: list[Event] = [
        BatchOpened(at(start), number),
        reading(start, number, Component.RESIN, resin_g),
        reading(start, number, Component.HARDENER, hardener_g),
        ClockStarted(
            at(start), number, at(start), Fraction(mix_c), timedelta(minutes=pot_life_min)
        ),
    ]
    if emptied is not None:
        found.append(CupEmptied(at(start + emptied), number))
    return found


def air(minutes: float, air_c: float, humidity: float, surface_c: float) -> list[Event]:
    """One look at the instruments."""
    return [
        ConditionTold(at(minutes), Measured.AIR_C, Fraction(air_c)),
        ConditionTold(at(minutes), Measured.HUMIDITY_PERCENT, Fraction(humidity)),
        ConditionTold(at(minutes), Measured.SURFACE_C, Fraction(surface_c)),
    ]


def coat(number: int, start: float, minutes: float = 20) -> list[Event]:
    """A coat from its first to its last stroke."""
    return [CoatStarted(at(start), number), CoatFinished(at(start + minutes), number)]


def entered(events: Sequence[Event]) -> tuple[Entered, ...]:
    """The events as they stand in a journal, without a gap."""
    return tuple(Entered(event, ZONE) for event in events)


def record(
    events: Sequence[Event], card: ProductCard = CARD, pauses: Sequence[Pause] = ()
) -> BatchRecord:
    """The record of the only job there is."""
    (job,) = batch_records(entered(events), [ShelfSince(EIGHT, Shelf(card))], pauses)
    return job
