"""What is known: the sum of the recorded events, and nothing else."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from fractions import Fraction
from typing import assert_never

from handsfree.core.mix import Component
from handsfree.job.events import (
    BatchOpened,
    ClockStarted,
    Event,
    ReadingTaken,
    ReadingTakenBack,
    ScaleTared,
    WarningGiven,
)

# Keep a margin in the warnings, not in the number. Judgement.
WARNING_PERCENTS = (50, 75, 90, 100)


@dataclass(frozen=True)
class Clock:
    """A cup's pot life."""

    met_at: datetime
    pot_life: timedelta
    warned: tuple[int, ...] = ()  # Percents announced.

    def due_at(self, percent: int) -> datetime:
        """When that share of the pot life is gone."""
        return self.met_at + self.pot_life * percent / 100

    @property
    def next_warning(self) -> int | None:
        """The next share to be announced, in percent; None when all were."""
        left = [percent for percent in WARNING_PERCENTS if percent not in self.warned]
        return left[0] if left else None


@dataclass(frozen=True)
class Batch:
    """One cup: its readings in the order they were accepted."""

    number: int
    readings: tuple[ReadingTaken, ...] = ()
    tare_g: Fraction | None = None  # What was in the cup at the last tare that was told.
    clock: Clock | None = None

    def last_of(self, component: Component) -> ReadingTaken | None:
        """The last reading of a part that counts."""
        for reading in reversed(self.readings):
            if reading.component is component:
                return reading
        return None

    def grams_of(self, component: Component) -> Fraction:
        """What is in the cup of a part; 0 g when nothing was accepted."""
        reading = self.last_of(component)
        return reading.grams if reading else Fraction(0)

    @property
    def total_g(self) -> Fraction:
        """What is in the cup of both parts."""
        return self.grams_of(Component.RESIN) + self.grams_of(Component.HARDENER)

    @property
    def zero_g(self) -> Fraction | None:
        """What was in the cup when the scale showed zero; None where that is not known.

        Unknown only between the two parts: some zero the scale there, some read on.
        """
        if self.tare_g is not None:
            return self.tare_g
        if not self.readings:
            return Fraction(0)
        last = self.readings[-1]
        return None if last.component is self.readings[0].component else last.zero_g

    @property
    def is_confirmed(self) -> bool:
        """Whether the last reading was confirmed with a yes."""
        return bool(self.readings) and self.readings[-1].is_confirmed


@dataclass(frozen=True)
class State:
    """Everything recorded so far; the last batch is the one on the scale."""

    batches: tuple[Batch, ...] = ()

    @property
    def open_batch(self) -> Batch | None:
        """The cup on the scale."""
        return self.batches[-1] if self.batches else None

    def batch(self, number: int) -> Batch:
        """The cup of that number; cups are counted from 1."""
        return self.batches[number - 1]


def evolve(state: State, event: Event) -> State:
    """The state after one more event. It has no rules: what is recorded has happened."""
    match event:
        case BatchOpened(batch=number):
            return replace(state, batches=(*state.batches, Batch(number)))
        case ReadingTaken(batch=number):
            batch = state.batch(number)
            return _with(state, replace(batch, readings=(*batch.readings, event)))
        case ReadingTakenBack(batch=number):
            batch = state.batch(number)
            return _with(state, replace(batch, readings=batch.readings[:-1]))
        case ScaleTared(batch=number, zero_g=zero_g):
            return _with(state, replace(state.batch(number), tare_g=zero_g))
        case ClockStarted(batch=number, met_at=met_at, pot_life=pot_life):
            return _with(state, replace(state.batch(number), clock=Clock(met_at, pot_life)))
        case WarningGiven(batch=number, percent=percent):
            batch = state.batch(number)
            assert batch.clock is not None, "a warning belongs to a running clock"
            warned = tuple(p for p in WARNING_PERCENTS if p <= percent)
            return _with(state, replace(batch, clock=replace(batch.clock, warned=warned)))
        case _:
            assert_never(event)


def _with(state: State, changed: Batch) -> State:
    batches = tuple(changed if b.number == changed.number else b for b in state.batches)
    return replace(state, batches=batches)


def replay(events: Iterable[Event], start: State | None = None) -> State:
    """The state after all events, in their order."""
    state = start or State()
    for event in events:
        state = evolve(state, event)
    return state


def next_deadline(state: State) -> datetime | None:
    """The moment at which something has to be announced; None when nothing runs."""
    due = [
        batch.clock.due_at(batch.clock.next_warning)
        for batch in state.batches
        if batch.clock is not None and batch.clock.next_warning is not None
    ]
    return min(due, default=None)
