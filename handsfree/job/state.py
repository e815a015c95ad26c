"""What is known: the sum of the recorded events, and nothing else."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from fractions import Fraction
from types import MappingProxyType
from typing import assert_never

from handsfree.core.mix import Component
from handsfree.job.events import (
    Acknowledged,
    AcknowledgedOnBoard,
    Announced,
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatsPlanned,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    CupLeft,
    CupWarmed,
    Event,
    FilmFelt,
    JobEnded,
    JobOpened,
    LotTold,
    Measured,
    NoteTaken,
    ProductChosen,
    PutOff,
    ReadingTaken,
    ScaleTared,
    ScaleTold,
    TakenBack,
    TapePulled,
    TapeSet,
    TimerCanceled,
    TimerSet,
    Told,
    TotalWanted,
)

NOTHING: Mapping[str, datetime] = MappingProxyType({})


@dataclass(frozen=True)
class Clock:
    """A cup's pot life."""

    met_at: datetime
    mix_c: Fraction
    pot_life: timedelta
    ends_at: datetime  # Earlier than met_at + pot_life where the cup has shown to be ahead.

    def due_at(self, percent: int) -> datetime:
        """When that share of the pot life is gone."""
        return self.ends_at - self.pot_life * (100 - percent) / 100


@dataclass(frozen=True)
class Batch:
    """One cup: its readings in the order they were accepted."""

    number: int
    readings: tuple[ReadingTaken, ...] = ()
    wanted_total_g: Fraction | None = None
    tare_g: Fraction | None = None  # What was in the cup at the last tare that was told.
    clock: Clock | None = None
    left: CupLeft | None = None  # What was told last of the rest in it.
    emptied_at: datetime | None = None

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

    @property
    def running_clock(self) -> Clock | None:
        """The clock of a cup that is still in use."""
        return self.clock if self.emptied_at is None else None


@dataclass(frozen=True)
class Coat:
    """One coat: when it went on, and how it felt since."""

    number: int  # Of its area and job.
    started_at: datetime | None = None
    finished_at: datetime | None = None
    felt: tuple[FilmFelt, ...] = ()
    area: str = ""  # Empty: no area was named.
    job: int = 1
    product: str = ""  # Empty: the one the program was started with.


@dataclass(frozen=True)
class Timer:
    """A person's own reminder."""

    number: int
    due_at: datetime
    name: str = ""


@dataclass(frozen=True)
class State:
    """Everything recorded so far; the last batch is the one on the scale."""

    job: int = 1
    product: str = ""  # Empty: the one the program was started with.
    scale_step_g: Fraction | None = None  # None: as the program was started.
    planned: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))  # By area.
    lots: Mapping[Component, str] = field(default_factory=lambda: MappingProxyType({}))
    notes: tuple[NoteTaken, ...] = ()
    batches: tuple[Batch, ...] = ()  # Of the job in hand.
    conditions: tuple[ConditionTold, ...] = ()
    coats: tuple[Coat, ...] = ()
    timers: tuple[Timer, ...] = ()
    tapes: Mapping[str, datetime] = field(default_factory=lambda: NOTHING)  # On since, by area.
    announced: Mapping[str, datetime] = field(default_factory=lambda: NOTHING)
    acknowledged: Mapping[str, datetime] = field(default_factory=lambda: NOTHING)
    put_off: Mapping[str, datetime] = field(default_factory=lambda: NOTHING)
    ended_at: datetime | None = None
    log: tuple[Event, ...] = ()  # What made it, so that the last fact can be taken back.

    @property
    def open_batch(self) -> Batch | None:
        """The cup on the scale."""
        return self.batches[-1] if self.batches else None

    def batch(self, number: int) -> Batch:
        """The cup of that number; cups are counted from 1."""
        return self.batches[number - 1]

    @property
    def last_coat(self) -> Coat | None:
        """The newest coat."""
        return self.coats[-1] if self.coats else None

    def newest_coat(self, area: str) -> Coat | None:
        """The newest coat of an area in the job in hand."""
        of_area = [c for c in self.coats if c.area == area and c.job == self.job]
        return of_area[-1] if of_area else None

    @property
    def top_coats(self) -> tuple[Coat, ...]:
        """The newest coat of each area of each job: the one that cures in the open."""
        newest = {(coat.job, coat.area): coat for coat in self.coats}
        return tuple(newest.values())

    def is_last_planned(self, coat: Coat) -> bool:
        """Whether no coat is planned after this one; none is when nothing was planned."""
        planned = self.planned.get(coat.area, self.planned.get("", math.inf))
        return coat.job == self.job and coat.number >= planned

    def tape_on(self, area: str) -> datetime | None:
        """Since when an area's tape is on; tape without an area is on all; None: none is."""
        return self.tapes.get(area, self.tapes.get(""))

    def last_told(self, measured: Measured) -> ConditionTold | None:
        """The newest reading of air or surface."""
        for told in reversed(self.conditions):
            if told.measured is measured:
                return told
        return None

    @property
    def last_fact(self) -> Told | None:
        """The last thing a person told that still counts."""
        for event in reversed(self.log):
            if isinstance(event, Told):
                return event
        return None


def evolve(state: State, event: Event) -> State:
    """The state after one more event. It has no rules: what is recorded has happened."""
    if isinstance(event, TakenBack):
        last = state.last_fact
        return replay(kept for kept in state.log if kept is not last)
    return replace(_with_event(state, event), log=(*state.log, event))


def _with_event(
    state: State, event: Told | Announced | Acknowledged | AcknowledgedOnBoard
) -> State:
    match event:
        case BatchOpened(batch=number):
            return replace(state, batches=(*state.batches, Batch(number)))
        case TotalWanted(batch=number, total_g=total_g):
            return _with_batch(state, replace(state.batch(number), wanted_total_g=total_g))
        case ReadingTaken(batch=number):
            batch = state.batch(number)
            return _with_batch(state, replace(batch, readings=(*batch.readings, event)))
        case ScaleTared(batch=number, zero_g=zero_g):
            return _with_batch(state, replace(state.batch(number), tare_g=zero_g))
        case ClockStarted(batch=number, met_at=met_at, mix_c=mix_c, pot_life=pot_life):
            clock = Clock(met_at, mix_c, pot_life, met_at + pot_life)
            return _with_batch(state, replace(state.batch(number), clock=clock))
        case CupWarmed(at, batch=number, share_gone=share_gone):
            return _pulled_forward(state, number, at, share_gone)
        case CupEmptied(at, batch=number):
            return _with_batch(state, replace(state.batch(number), emptied_at=at))
        case ConditionTold():
            return replace(state, conditions=(*state.conditions, event))
        case CupLeft(batch=number):
            return _with_batch(state, replace(state.batch(number), left=event))
        case CoatStarted(at, coat=number, area=area):
            return _with_coat(state, replace(_coat(state, number, area), started_at=at))
        case CoatFinished(at, coat=number, area=area):
            return _with_coat(state, replace(_coat(state, number, area), finished_at=at))
        case FilmFelt(coat=number, area=area):
            coat = _coat(state, number, area)
            return _with_coat(state, replace(coat, felt=(*coat.felt, event)))
        case TapeSet(at, area):
            return replace(state, tapes=_and(state.tapes, area, at))
        case TapePulled(area=area):
            rest = {name: at for name, at in state.tapes.items() if name != area}
            return replace(state, tapes=MappingProxyType(rest))
        case TimerSet(timer=number, due_at=due_at, name=name):
            return replace(state, timers=(*state.timers, Timer(number, due_at, name)))
        case TimerCanceled(timer=number):
            rest_of_timers = tuple(t for t in state.timers if t.number != number)
            return replace(state, timers=rest_of_timers)
        case JobOpened(job=job):
            empty = State()
            return replace(
                state,
                job=job,
                batches=empty.batches,
                planned=empty.planned,
                ended_at=empty.ended_at,
            )
        case ProductChosen(product=product):
            # Another product comes in other cans.
            return replace(state, product=product, lots=MappingProxyType({}))
        case ScaleTold(step_g=step_g):
            return replace(state, scale_step_g=step_g)
        case CoatsPlanned(coats=coats, area=area):
            return replace(state, planned=MappingProxyType({**state.planned, area: coats}))
        case LotTold(component=component, lot=lot):
            return replace(state, lots=MappingProxyType({**state.lots, component: lot}))
        case NoteTaken():
            return replace(state, notes=(*state.notes, event))
        case Announced(at, key):
            return replace(state, announced=_and(state.announced, key, at))
        case Acknowledged(at, key) | AcknowledgedOnBoard(at, key):
            return replace(state, acknowledged=_and(state.acknowledged, key, at))
        case PutOff(_, key, until):
            return replace(state, put_off=_and(state.put_off, key, until))
        case JobEnded(at):
            return replace(state, ended_at=at)
        case _:
            assert_never(event)


def _and(mapping: Mapping[str, datetime], key: str, at: datetime) -> Mapping[str, datetime]:
    return MappingProxyType({**mapping, key: at})


def _with_batch(state: State, changed: Batch) -> State:
    at = changed.number - 1  # By its place: going through all cups doubled a restart's time.
    return replace(state, batches=(*state.batches[:at], changed, *state.batches[at + 1 :]))


def _pulled_forward(state: State, number: int, at: datetime, share_gone: Fraction) -> State:
    """A cup that shows to be ahead of its clock: the end moves forward, never back."""
    batch = state.batch(number)
    if batch.clock is None:
        return state
    ends_at = min(batch.clock.ends_at, at + batch.clock.pot_life * float(1 - share_gone))
    return _with_batch(state, replace(batch, clock=replace(batch.clock, ends_at=ends_at)))


def _coat(state: State, number: int, area: str) -> Coat:
    new = Coat(number, area=area, job=state.job, product=state.product)
    return next((coat for coat in state.coats if _is_same_coat(coat, new)), new)


def _is_same_coat(one: Coat, other: Coat) -> bool:
    return (one.job, one.area, one.number) == (other.job, other.area, other.number)


def _with_coat(state: State, changed: Coat) -> State:
    others = tuple(coat for coat in state.coats if not _is_same_coat(coat, changed))
    return replace(state, coats=(*others, changed))


def replay(events: Iterable[Event], start: State | None = None) -> State:
    """The state after all events, in their order."""
    state = start or State()
    for event in events:
        state = evolve(state, event)
    return state
