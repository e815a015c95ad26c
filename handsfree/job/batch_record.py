"""What a job came to: from its events to a record that can be handed over.

The items follow what a coating inspector writes down (from memory: ISO 12944-8 for the record of
a coating job, ISO 8502-4 for the dew point and the 3 °C the surface is kept above it, the SSPC
guides for inspectors for mixing, pot life and recoat times): product and batch, air, humidity,
surface and dew point at each coat, mixing ratio, when and what was applied, the interval to the
next coat, and every deviation. Film thickness and adhesion are not in it: nothing measures them
here.

Nothing is computed anew that the dialogue computed: pot lives are the recorded ones, windows come
from the same functions. What is not read off an instrument is an estimate, and is named one.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta, tzinfo
from enum import Enum
from fractions import Fraction
from itertools import pairwise
from typing import Any

from handsfree.core.card import ProductCard
from handsfree.core.conditions import Conditions, Fault, breaches
from handsfree.core.cure import Recoat, Stage
from handsfree.core.dewpoint import dew_point_c
from handsfree.core.errors import Refusal
from handsfree.core.mix import Band, Component, band_of, hardener_error
from handsfree.job.calls import ASK_AGAIN_AFTER
from handsfree.job.cups import HOT_SHOP_C
from handsfree.job.events import (
    Acknowledged,
    AcknowledgedOnBoard,
    Announced,
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    CupLeft,
    CupWarmed,
    Event,
    FilmFelt,
    JobEnded,
    JobOpened,
    Measured,
    PutOff,
    ReadingTaken,
    TakenBack,
    TapePulled,
    TapeSet,
    TimerCanceled,
    TimerSet,
    Told,
)
from handsfree.job.film import FilmClock, film_clock, recoat_now
from handsfree.job.pour import recipe_of
from handsfree.job.reminders import Subject, subject_of
from handsfree.job.restart import with_cup
from handsfree.job.shelf import Shelf
from handsfree.job.state import Batch, Clock, Coat, State, evolve
from handsfree.language.replies import Called

# Readings told this close together are one look at the instruments. Judgement.
ONE_LOOK = timedelta(minutes=10)
# Air and surface are measured again about every four hours (UFC 3-190-06, 9.6.6).
STALE_AFTER = timedelta(hours=4)


# --- the log ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Entered:
    """An event as it stands in the journal."""

    event: Event
    zone: tzinfo  # The listener's, when it was recorded: a fixed offset.
    part: int = 0  # Counted up at every gap in the journal.


@dataclass(frozen=True)
class Logged:
    """An event in the listener's time, and whether it still counts."""

    event: Event
    taken_back_at: datetime | None = None


@dataclass(frozen=True)
class Correction:
    """A fact that was taken back."""

    at: datetime
    fact: Told
    replaced_by: Told | None  # Told in the same breath.


@dataclass(frozen=True)
class ShelfSince:
    """The products at hand, and since when."""

    since: datetime
    shelf: Shelf


@dataclass(frozen=True)
class Pause:
    """A stretch over which it is not surely known how much time passed."""

    start: datetime
    end: datetime


def settled(entered: Sequence[Entered]) -> tuple[tuple[Logged, ...], tuple[Correction, ...]]:
    """All events in the listener's time, with those that were taken back marked.

    The same rule as ``replay_parts``: after a gap a taking back that has nothing left to take
    back is without effect. Each takes back one fact, so the work grows with the events only.
    """
    log: list[Logged] = []
    corrections: list[Correction] = []
    counting: list[int] = []  # Places of the facts that still count.
    facts_in_part = part = 0
    for place, one in enumerate(entered):
        event = _in_zone(one.event, one.zone)
        log.append(Logged(event))
        if one.part != part:
            part, facts_in_part = one.part, 0
        if isinstance(event, TakenBack):
            if not counting or (part > 0 and not facts_in_part):
                continue
            facts_in_part -= 1
            taken = counting.pop()
            fact = log[taken].event
            log[taken] = Logged(fact, event.at)
            assert isinstance(fact, Told)
            corrections.append(Correction(event.at, fact, _after(entered, place, event.at)))
        elif isinstance(event, Told):
            facts_in_part += 1
            counting.append(place)
    return tuple(log), tuple(corrections)


def _after(entered: Sequence[Entered], place: int, at: datetime) -> Told | None:
    """The fact that was told in the same breath as a taking back."""
    if place + 1 >= len(entered):
        return None
    event = entered[place + 1].event
    return event if event.at == at and isinstance(event, Told) else None


def _in_zone(event: Event, zone: tzinfo) -> Event:
    """The event with every moment in it told in that zone; what follows from them stays in it."""
    moments: dict[str, Any] = {
        field.name: value.astimezone(zone)
        for field in fields(event)
        if isinstance(value := getattr(event, field.name), datetime)
    }
    return replace(event, **moments)


def split_jobs(log: Sequence[Logged]) -> tuple[range, ...]:
    """The places of the jobs in a log, one range each; a job begins where it was opened."""
    starts = [
        place
        for place, one in enumerate(log)
        if isinstance(one.event, JobOpened) and one.taken_back_at is None and place > 0
    ]
    return tuple(range(start, end) for start, end in pairwise([0, *starts, len(log)]))


# --- the record ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Look:
    """The newest readings of air and surface at a moment; None where one was never told."""

    at: datetime  # Of the newest reading.
    air_c: Fraction | None
    humidity_percent: Fraction | None
    surface_c: Fraction | None
    dew_point_c: float | None  # Calculated.
    margin_k: float | None  # Surface above dew point, calculated.
    faults: tuple[Fault, ...]  # Limits of the card that are not kept; 3 °C where it is silent.
    oldest_at: datetime  # Of the oldest of the three.

    @property
    def is_complete(self) -> bool:
        """Whether all three readings are there, so that a verdict can be given."""
        return self.margin_k is not None


@dataclass(frozen=True)
class CupRecord:
    """One cup."""

    number: int
    card: ProductCard
    resin_lot: str  # Empty: it was not told.
    hardener_lot: str
    opened_at: datetime | None  # None: that part of the journal is lost.
    wanted_total_g: Fraction | None
    resin_g: Fraction
    hardener_g: Fraction
    readings: tuple[ReadingTaken, ...]
    target_ratio: Fraction  # Grams of resin to one of hardener.
    ratio: Fraction | None  # Reached; None while one part is missing.
    error: Fraction | None  # Of the hardener: above 0 is too much.
    band: Band | None
    mixed_at: datetime | None
    mix_c: Fraction | None
    is_mix_c_assumed: bool  # The question got no answer: a warm one was assumed.
    pot_life: timedelta | None  # Estimate, as it was counted then.
    ends_at: datetime | None  # Estimate; earlier where the cup showed to be ahead.
    left: CupLeft | None  # What was told last of the rest in it.
    emptied_at: datetime | None
    used_share: Fraction | None  # Of the pot life, when it was told empty; estimate.
    warmed: tuple[CupWarmed, ...]
    is_time_in_doubt: bool

    @property
    def product(self) -> str:
        """The name on its card."""
        return self.card.name

    @property
    def read_back(self) -> int:
        """How many readings were asked about, and got a yes."""
        return sum(reading.is_confirmed for reading in self.readings)


class WindowVerdict(Enum):
    """Whether a coat went on in the window of the one before it."""

    FIRST = "first coat"
    KEPT = "in the window"
    TOO_EARLY = "too early"
    CLOSED = "after it closed"
    UNKNOWN = "not known"


class TapeVerdict(Enum):
    """Whether masking tape came off in time."""

    NONE = "no tape"
    KEPT = "in time"
    LATE = "late"
    NOT_PULLED = "not told off"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class CoatRecord:
    """One coat."""

    number: int  # Of its area.
    area: str  # Empty: no area was named.
    card: ProductCard
    started_at: datetime | None
    finished_at: datetime | None
    look: Look | None  # The readings that stood when it began.
    is_look_stale: bool
    window: WindowVerdict
    window_opens_at: datetime | None  # Of the coat before; estimate.
    window_closes_at: datetime | None
    tape: TapeVerdict
    tape_ask_at: datetime | None  # Estimates, from the surface temperatures.
    tape_last_call_at: datetime | None
    tape_off_at: datetime | None
    felt: tuple[FilmFelt, ...]
    clock: FilmClock | None  # Estimate, from the card and the surface temperatures.
    surface_told: tuple[ConditionTold, ...]  # What the clock was read over.
    is_time_in_doubt: bool

    @property
    def began_at(self) -> datetime | None:
        """The first stroke, or where only the last was told, that."""
        return self.started_at or self.finished_at


class AlarmOutcome(Enum):
    """What became of an announcement."""

    ANSWERED = "answered"
    PRESSED = "answered on the board"
    OVERTAKEN = "another of its kind followed"
    ENDED = "what it was about was over"
    UNANSWERED = "no answer"


@dataclass(frozen=True)
class AlarmRecord:
    """One announcement."""

    subject: Subject
    announced_at: datetime
    due_at: datetime | None  # Where it is known: of cups, and of what was put off.
    outcome: AlarmOutcome
    over_at: datetime | None  # When it was answered, overtaken, or ended.
    put_off_until: datetime | None

    @property
    def delay(self) -> timedelta | None:
        """From the announcement to the answer."""
        is_answered = self.outcome in (AlarmOutcome.ANSWERED, AlarmOutcome.PRESSED)
        return self.over_at - self.announced_at if is_answered and self.over_at else None


@dataclass(frozen=True)
class BatchRecord:
    """One job."""

    number: int  # Of the journal's jobs, from 1.
    card: ProductCard  # Of the first product in it; each cup and coat has its own.
    started_at: datetime
    last_at: datetime
    ended_at: datetime | None  # None: "the job is done" was not said.
    cups: tuple[CupRecord, ...]
    looks: tuple[Look, ...]
    coats: tuple[CoatRecord, ...]
    alarms: tuple[AlarmRecord, ...]
    corrections: tuple[Correction, ...]
    log: tuple[Logged, ...]
    pauses: tuple[Pause, ...]

    @property
    def cards(self) -> tuple[ProductCard, ...]:
        """Of all its products, the first one first."""
        found = {cup.card.name: cup.card for cup in self.cups}
        found |= {coat.card.name: coat.card for coat in self.coats}
        return tuple({self.card.name: self.card, **found}.values())

    @property
    def products(self) -> str:
        """The names of all its products."""
        return " and ".join(card.name for card in self.cards)


def batch_records(
    entered: Sequence[Entered], shelves: Sequence[ShelfSince], pauses: Sequence[Pause] = ()
) -> tuple[BatchRecord, ...]:
    """The record of every job in a journal, the oldest first.

    Args:
        entered: its events, in their order.
        shelves: the products' cards, at least one shelf, the oldest first: a job is held to the
            cards that were worked with last in it, not to those that were mended since.
        pauses: where the time that passed is in doubt.

    Returns:
        None of an empty journal.

    Raises:
        BasisNeedsDensities: a card cannot be weighed.
    """
    if not entered:
        return ()
    log, corrections = settled(entered)
    state = State()
    made = []
    for places in split_jobs(log):
        part = tuple(log[place] for place in places)
        mine: list[Event] = []
        lots: dict[int, Mapping[Component, str]] = {}
        products: dict[int, str] = {}
        for one in part:
            event = one.event
            if one.taken_back_at is not None or isinstance(event, TakenBack):
                continue
            mine.append(event)
            state = evolve(with_cup(state, event), event)
            if isinstance(event, BatchOpened | ReadingTaken):
                # What stood when it was poured: another product or can may come later.
                lots[event.batch] = state.lots
                products[event.batch] = state.product
            elif isinstance(event, ClockStarted):
                lots.setdefault(event.batch, state.lots)
                products.setdefault(event.batch, state.product)
        start, last_at = part[0].event.at, part[-1].event.at
        shelf = _shelf_at(shelves, last_at)
        names = dict.fromkeys([*products.values(), *(c.product for c in state.coats)])
        card = shelf.card(next(iter(names), state.product))
        # Readings just before the work began are what it began with.
        since = start - STALE_AFTER
        conditions = [told for told in state.conditions if since <= told.at <= last_at]
        ends = [event.at for event in mine if isinstance(event, JobEnded)]
        made.append(
            BatchRecord(
                number=state.job,
                card=card,
                started_at=start,
                last_at=last_at,
                ended_at=ends[-1] if ends else None,
                cups=tuple(_cups(_Poured(shelf, products, lots), state, mine, pauses)),
                looks=tuple(_looks(card, conditions)),
                coats=tuple(_coats(shelf, state, mine, pauses, last_at)),
                alarms=tuple(_alarms(mine)),
                corrections=tuple(c for c in corrections if start <= c.at <= last_at),
                log=part,
                pauses=tuple(p for p in pauses if p.end >= start and p.start <= last_at),
            )
        )
    return tuple(made)


def _shelf_at(shelves: Sequence[ShelfSince], moment: datetime) -> Shelf:
    until_then = [one.shelf for one in shelves if one.since <= moment]
    return until_then[-1] if until_then else shelves[0].shelf


def _is_in_doubt(pauses: Sequence[Pause], start: datetime | None, end: datetime | None) -> bool:
    if start is None or end is None:
        return False
    return any(pause.start < end and pause.end > start for pause in pauses)


# --- cups ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Poured:
    """What each cup was poured from."""

    shelf: Shelf
    products: Mapping[int, str]
    lots: Mapping[int, Mapping[Component, str]]


def _cups(
    poured: _Poured, state: State, mine: Sequence[Event], pauses: Sequence[Pause]
) -> Iterator[CupRecord]:
    opened = {event.batch: event.at for event in mine if isinstance(event, BatchOpened)}
    warmed: dict[int, list[CupWarmed]] = {}
    assumed: set[int] = set()
    air_c: Fraction | None = None
    for event in mine:
        if isinstance(event, ConditionTold) and event.measured is Measured.AIR_C:
            air_c = event.value
        elif isinstance(event, CupWarmed):
            warmed.setdefault(event.batch, []).append(event)
        elif isinstance(event, ClockStarted):
            card = poured.shelf.card(poured.products[event.batch])
            if _is_assumed(card, event, air_c):
                assumed.add(event.batch)
    for number, product in poured.products.items():
        yield _cup(
            poured.shelf.card(product),
            poured.lots[number],
            state.batch(number),
            opened.get(number),
            tuple(warmed.get(number, ())),
            is_assumed=number in assumed,
            pauses=pauses,
        )


def _is_assumed(card: ProductCard, event: ClockStarted, air_c: Fraction | None) -> bool:
    """Whether nobody told how warm the mix was: it was asked twice, and this is the assumption."""
    if card.pot_life is None or event.at - event.met_at < 2 * ASK_AGAIN_AFTER:
        return False
    test_c = card.pot_life.test_c
    warmest_c = max(test_c, HOT_SHOP_C, test_c if air_c is None else float(air_c))
    return event.mix_c == Fraction(warmest_c).limit_denominator(10)


def _cup(
    card: ProductCard,
    lots: Mapping[Component, str],
    batch: Batch,
    opened_at: datetime | None,
    warmed: tuple[CupWarmed, ...],
    *,
    is_assumed: bool,
    pauses: Sequence[Pause],
) -> CupRecord:
    resin_g, hardener_g = batch.grams_of(Component.RESIN), batch.grams_of(Component.HARDENER)
    target_ratio = recipe_of(card).resin_per_hardener
    ratio = error = band = None
    if resin_g > 0 and hardener_g > 0:
        ratio = resin_g / hardener_g
        error = hardener_error(resin_g=resin_g, hardener_g=hardener_g, weight_ratio=target_ratio)
        band = band_of(error, card.tolerance)
    clock = batch.clock
    return CupRecord(
        number=batch.number,
        card=card,
        resin_lot=lots.get(Component.RESIN, ""),
        hardener_lot=lots.get(Component.HARDENER, ""),
        opened_at=opened_at,
        wanted_total_g=batch.wanted_total_g,
        resin_g=resin_g,
        hardener_g=hardener_g,
        readings=batch.readings,
        target_ratio=target_ratio,
        ratio=ratio,
        error=error,
        band=band,
        mixed_at=clock.met_at if clock else None,
        mix_c=clock.mix_c if clock else None,
        is_mix_c_assumed=is_assumed,
        pot_life=clock.pot_life if clock else None,
        ends_at=clock.ends_at if clock else None,
        left=batch.left,
        emptied_at=batch.emptied_at,
        used_share=_used_share(clock, batch.emptied_at),
        warmed=warmed,
        is_time_in_doubt=clock is not None
        and _is_in_doubt(pauses, clock.met_at, batch.emptied_at or clock.ends_at),
    )


def _used_share(clock: Clock | None, emptied_at: datetime | None) -> Fraction | None:
    """The share of the pot life that was gone at a moment: 1 at its end, wherever that moved."""
    if clock is None or emptied_at is None:
        return None
    left = Fraction((clock.ends_at - emptied_at) // _MICROSECOND)
    return 1 - left / (clock.pot_life // _MICROSECOND)


_MICROSECOND = timedelta(microseconds=1)


# --- air and surface ----------------------------------------------------------------------


def _looks(card: ProductCard, conditions: Sequence[ConditionTold]) -> Iterator[Look]:
    """One look for readings told together; what was not told then stands from before."""
    newest: dict[Measured, ConditionTold] = {}
    since: datetime | None = None
    told_now: set[Measured] = set()
    for told in conditions:
        is_new = since is None or told.at - since > ONE_LOOK or told.measured in told_now
        if is_new and told_now:
            yield _look(card, newest)
            told_now = set()
        if is_new:
            since = told.at
        newest[told.measured] = told
        told_now.add(told.measured)
    if told_now:
        yield _look(card, newest)


def _look(card: ProductCard, newest: dict[Measured, ConditionTold]) -> Look:
    air, humidity, surface = (
        newest.get(measured)
        for measured in (Measured.AIR_C, Measured.HUMIDITY_PERCENT, Measured.SURFACE_C)
    )
    dew_c = margin_k = None
    faults: tuple[Fault, ...] = ()
    if air is not None and humidity is not None:
        # The dialogue takes no reading beyond these ranges; another version may have.
        with suppress(Refusal):
            dew_c = dew_point_c(air_c=float(air.value), humidity_percent=float(humidity.value))
            if surface is not None:
                seen = Conditions(
                    0.0, float(air.value), float(humidity.value), float(surface.value)
                )
                margin_k = seen.margin_k
                faults = tuple(breach.fault for breach in breaches(card.limits, seen))
    return Look(
        at=max(told.at for told in newest.values()),
        air_c=air.value if air else None,
        humidity_percent=humidity.value if humidity else None,
        surface_c=surface.value if surface else None,
        dew_point_c=dew_c,
        margin_k=margin_k,
        faults=faults,
        oldest_at=min(told.at for told in newest.values()),
    )


# --- coats --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Told:
    """Readings in the order of their moments, to be looked up by moment."""

    all_told: tuple[ConditionTold, ...]

    def newest_at(self, moment: datetime) -> dict[Measured, ConditionTold]:
        """The newest reading of each kind at a moment."""
        found: dict[Measured, ConditionTold] = {}
        for told in reversed(self.all_told[: self._places(moment)]):
            found.setdefault(told.measured, told)
            if len(found) == len(Measured):
                break
        return found

    def surface_over(self, start: datetime, end: datetime) -> tuple[ConditionTold, ...]:
        """The surface readings of a stretch, with the last one before it."""
        first, last = self._places(start), self._places(end)
        inside = [t for t in self.all_told[first:last] if t.measured is Measured.SURFACE_C]
        before = (t for t in reversed(self.all_told[:first]) if t.measured is Measured.SURFACE_C)
        return (*([one] if (one := next(before, None)) else []), *inside)

    def _places(self, moment: datetime) -> int:
        return bisect_right(self.all_told, moment, key=lambda told: told.at)


def _coats(
    shelf: Shelf,
    state: State,
    mine: Sequence[Event],
    pauses: Sequence[Pause],
    last_at: datetime,
) -> Iterator[CoatRecord]:
    coats = [coat for coat in state.coats if coat.job == state.job]
    coats.sort(key=lambda coat: _began_at(coat) or last_at)
    told = _Told(tuple(sorted(state.conditions, key=lambda one: one.at)))
    all_tape = [event for event in mine if isinstance(event, TapeSet | TapePulled)]
    previous_of: dict[tuple[str, int], Coat] = {}
    following_of: dict[tuple[str, int], Coat] = {}
    newest_of: dict[str, Coat] = {}
    for coat in coats:
        if coat.area in newest_of:
            before = newest_of[coat.area]
            previous_of[coat.area, coat.number] = before
            following_of[coat.area, before.number] = coat
        newest_of[coat.area] = coat
    for coat in coats:
        card = shelf.card(coat.product)
        following = following_of.get((coat.area, coat.number))
        previous = previous_of.get((coat.area, coat.number))
        # Tape without an area is on all of them.
        tape = [event for event in all_tape if event.area in (coat.area, "")]
        until = (_began_at(following) if following else None) or last_at
        began_at = _began_at(coat) or last_at
        newest = told.newest_at(began_at)
        surface = told.surface_over(began_at, until)
        clock = _clock(card, coat, surface)
        window, opens_at, closes_at = _window(shelf, told, previous, coat)
        verdict, tape_off_at = _tape(tape, began_at, following, clock)
        yield CoatRecord(
            number=coat.number,
            area=coat.area,
            card=card,
            started_at=coat.started_at,
            finished_at=coat.finished_at,
            look=_look(card, newest) if newest else None,
            is_look_stale=any(began_at - one.at > STALE_AFTER for one in newest.values()),
            window=window,
            window_opens_at=opens_at,
            window_closes_at=closes_at,
            tape=verdict,
            tape_ask_at=clock.tape_ask_at if clock else None,
            tape_last_call_at=clock.tape_last_call_at if clock else None,
            tape_off_at=tape_off_at,
            felt=coat.felt,
            clock=clock,
            surface_told=surface,
            is_time_in_doubt=_is_in_doubt(pauses, began_at, until)
            or (previous is not None and _is_in_doubt(pauses, _began_at(previous), began_at)),
        )


def _began_at(coat: Coat) -> datetime | None:
    return coat.started_at or coat.finished_at


def _clock(card: ProductCard, coat: Coat, surface: tuple[ConditionTold, ...]) -> FilmClock | None:
    if card.cure is None:
        return None
    try:
        return film_clock(card.cure, State(conditions=surface), coat)
    except Refusal:
        # A surface beyond what a cure table can be read at, or readings over more than a year.
        return None


def _window(
    shelf: Shelf, told: _Told, previous: Coat | None, coat: Coat
) -> tuple[WindowVerdict, datetime | None, datetime | None]:
    """As the dialogue judged it: from what had been told when the coat began."""
    began_at = _began_at(coat)
    if previous is None:
        return WindowVerdict.FIRST, None, None
    previous_at = _began_at(previous)
    card = shelf.card(previous.product)
    if card.cure is None or began_at is None or previous_at is None:
        return WindowVerdict.UNKNOWN, None, None
    surface = told.surface_over(previous_at, began_at)
    clock = _clock(card, previous, surface)
    if clock is None:
        return WindowVerdict.UNKNOWN, None, None
    try:
        found = recoat_now(card.cure, State(conditions=surface), previous, began_at)
    except Refusal:
        found = None
    verdict = _WINDOWS[found] if found is not None else WindowVerdict.UNKNOWN
    return verdict, clock.at(Stage.RECOAT_OPENS), clock.at(Stage.RECOAT_CLOSES)


_WINDOWS = {
    Recoat.OPEN: WindowVerdict.KEPT,
    Recoat.TOO_EARLY: WindowVerdict.TOO_EARLY,
    Recoat.CLOSED: WindowVerdict.CLOSED,
}


def _tape(
    tape: Sequence[TapeSet | TapePulled],
    began_at: datetime,
    following: Coat | None,
    clock: FilmClock | None,
) -> tuple[TapeVerdict, datetime | None]:
    """Whether the tape that was on under a coat came off in time, and when it did."""
    until = _began_at(following) if following is not None else None
    is_on = False
    for event in tape:
        if until is not None and event.at >= until:
            break
        if isinstance(event, TapeSet):
            is_on = True
        elif event.at < began_at:
            is_on = False
        else:
            last_at = clock.tape_last_call_at if clock is not None else None
            if last_at is None:
                return TapeVerdict.UNKNOWN, event.at
            return (TapeVerdict.KEPT if event.at <= last_at else TapeVerdict.LATE), event.at
    return (TapeVerdict.NOT_PULLED if is_on else TapeVerdict.NONE), None


# --- alarms -------------------------------------------------------------------------------


def _alarms(mine: Sequence[Event]) -> Iterator[AlarmRecord]:
    """Every announcement, with what ended it: the answer, the next of its kind, or the work."""
    waiting: dict[str, AlarmRecord] = {}  # By key.
    made: list[AlarmRecord] = []
    clocks: dict[int, Clock] = {}
    put_off: dict[str, datetime] = {}
    timers: dict[int, str] = {}

    def end(key: str, outcome: AlarmOutcome, at: datetime) -> None:
        made.append(replace(waiting.pop(key), outcome=outcome, over_at=at))

    for event in mine:
        over: Sequence[str] = ()
        match event:
            case ClockStarted(batch=number, met_at=met_at, mix_c=mix_c, pot_life=pot_life):
                clocks[number] = Clock(met_at, mix_c, pot_life, met_at + pot_life)
            case CupWarmed(at, batch=number, share_gone=share_gone) if number in clocks:
                clock = clocks[number]
                ends_at = min(clock.ends_at, at + clock.pot_life * float(1 - share_gone))
                clocks[number] = replace(clock, ends_at=ends_at)
            case Announced(at, key):
                subject = subject_of(key)
                if subject.called is Called.TIMER:
                    subject = replace(subject, name=timers.get(subject.number, ""))
                for other, record in list(waiting.items()):
                    if record.subject.series == subject.series:
                        end(other, AlarmOutcome.OVERTAKEN, at)
                due_at = put_off.pop(key, None) or _due_at(clocks, subject)
                waiting[key] = AlarmRecord(subject, at, due_at, AlarmOutcome.UNANSWERED, None, None)
            case Acknowledged(at, key) if key in waiting:
                end(key, AlarmOutcome.ANSWERED, at)
            case AcknowledgedOnBoard(at, key) if key in waiting:
                end(key, AlarmOutcome.PRESSED, at)
            case PutOff(_, key, until):
                put_off[key] = until
                for place in range(len(made) - 1, -1, -1):
                    if made[place].subject.key == key:
                        made[place] = replace(made[place], put_off_until=until)
                        break
            case CupEmptied(batch=number):
                over = [k for k, a in waiting.items() if a.subject.is_of_cup(number)]
            case TapePulled(area=area):
                over = [
                    key
                    for key, alarm in waiting.items()
                    if alarm.subject.is_of_tape and area in (alarm.subject.name, "")
                ]
            case CoatStarted(area=area) | CoatFinished(area=area):
                over = [
                    key
                    for key, alarm in waiting.items()
                    if alarm.subject.is_of_coat and alarm.subject.name == area
                ]
            case TimerSet(timer=number, name=name):
                timers[number] = name
            case TimerCanceled(timer=number):
                over = [k for k, a in waiting.items() if a.subject.is_of_timer(number)]
        for key in over:
            end(key, AlarmOutcome.ENDED, event.at)
    return iter(sorted((*made, *waiting.values()), key=lambda alarm: alarm.announced_at))


def _due_at(clocks: dict[int, Clock], subject: Subject) -> datetime | None:
    clock = clocks.get(subject.number)
    if clock is None or not subject.is_of_cup(subject.number) or subject.percent is None:
        return None
    return clock.due_at(subject.percent)
