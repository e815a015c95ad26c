"""A record as tables: the one place that says which columns it has, for every form it is kept in.

A new column is one line here: page, print, CSV and JSON follow from it, and where it carries a
mark, the list of deviations too. An event that is added later shows under "also told" until it has
a line of its own.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from fractions import Fraction
from typing import Any, TypeAlias

from handsfree.core.card import ProductCard
from handsfree.core.conditions import Fault
from handsfree.core.cure import Stage
from handsfree.core.dewpoint import DEW_MARGIN_K, THIN_MARGIN_K
from handsfree.core.mix import Band, rounded_to_step
from handsfree.job.batch_record import (
    AlarmOutcome,
    AlarmRecord,
    BatchRecord,
    CoatRecord,
    CupRecord,
    Look,
    TapeVerdict,
    WindowVerdict,
)
from handsfree.job.event_format import KIND_FIELD, encoded
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
    TotalWanted,
)
from handsfree.shell.record_source import ClockEvent, ClockNote, Source

Value: TypeAlias = str | int | float | Fraction | datetime | timedelta | None

HOUR, MINUTE, SECOND = timedelta(hours=1), timedelta(minutes=1), timedelta(seconds=1)
MOST_LISTED = 8  # Deviations of one column that are told one by one.
EXACT_PLACES = 6  # Of a number in CSV and JSON.
NO_VALUE = "—"


class Mark(Enum):
    """What a value means; never shown by color alone."""

    GOOD = "kept"
    LOOK = "look at it"
    BAD = "not kept"
    OPEN = "not known"


@dataclass(frozen=True)
class Column:
    """One column: where its value comes from, and how it is told."""

    key: str  # In CSV and JSON; a number's unit is in it.
    label: str
    value: Callable[[Any], Value]
    places: int = 0  # Decimals for people; a length of time is shown in the unit of the key.
    is_estimate: bool = False
    mark: Callable[[Any], Mark | None] | None = None


@dataclass(frozen=True)
class Table:
    """Rows of one kind."""

    key: str
    title: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Any, ...]
    row_name: Callable[[Any], str] = lambda _: ""  # For the list of deviations.
    is_long: bool = False  # Folded away on the page, and left out of the print.


@dataclass(frozen=True)
class Deviation:
    """Something that was not as it should be, or is not known."""

    mark: Mark
    sentence: str
    count: int = 1


# --- values -------------------------------------------------------------------------------


def plain(value: Value, column: Column) -> Value:
    """The value as CSV and JSON keep it: a number, a text, or None; moments in ISO 8601."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, timedelta):
        value = _in_unit(value, column)
    if isinstance(value, Fraction | float):
        rounded = rounded_to_step(Fraction(value), Fraction(1, 10**EXACT_PLACES))
        return int(rounded) if rounded.denominator == 1 else float(rounded)
    return value


def shown(value: Value, column: Column) -> str:
    """The value as a person reads it."""
    if value is None or value == "":
        return NO_VALUE
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, timedelta):
        value = _in_unit(value, column)
    if isinstance(value, Fraction | float):
        step = Fraction(1, 10**column.places)
        text = f"{float(rounded_to_step(Fraction(value), step)):.{column.places}f}"
        if column.key.startswith("error"):
            text = f"{'+' if Fraction(text) > 0 else ''}{text}"
        return text.replace("-", "−")
    return str(value)


def moment(value: datetime) -> str:
    """A moment with its date and the zone's offset: 2026-01-05 07:31:06 +01:00."""
    return value.isoformat(" ", "seconds").replace("+", " +").replace("Z", " +00:00")


def _in_unit(value: timedelta, column: Column) -> Fraction:
    """A length of time in the unit that the column's key ends with: s, min or h."""
    unit = {"s": SECOND, "min": MINUTE, "h": HOUR}[column.key.rpartition("_")[2]]
    return Fraction(value // timedelta(microseconds=1), unit // timedelta(microseconds=1))


def deviations(tables: Iterable[Table], more: Iterable[str] = ()) -> tuple[Deviation, ...]:
    """Everything in the tables that is marked as other than good, the worst first.

    Args:
        tables: of a record.
        more: sentences about what concerns the whole record.
    """
    found = [Deviation(Mark.LOOK, sentence) for sentence in more]
    for table in tables:
        for column in table.columns:
            if column.mark is None:
                continue
            for mark in (Mark.BAD, Mark.LOOK):
                rows = [row for row in table.rows if column.mark(row) is mark]
                for row in rows[:MOST_LISTED]:
                    sentence = _sentence(table.row_name(row), column, column.value(row))
                    found.append(Deviation(mark, sentence))
                if rows[MOST_LISTED:]:
                    left = len(rows) - MOST_LISTED
                    sentence = f"And {left} more of these: see “{table.title}”."
                    found.append(Deviation(mark, sentence, left))
    order = list(Mark)
    return tuple(sorted(found, key=lambda one: -order.index(one.mark)))


def _sentence(name: str, column: Column, value: Value) -> str:
    told = shown(value, column)
    if isinstance(value, str) or value is None:
        return f"{name}, {column.label}: {told}."
    label, _, unit = column.label.rpartition(", ")
    return f"{name}: {label} {told} {unit}." if label else f"{name}: {unit} {told}."


# --- cups ---------------------------------------------------------------------------------

_BANDS = {
    Band.ON_TARGET: Mark.GOOD,
    Band.WITHIN_TOLERANCE: Mark.GOOD,
    Band.CORRECT: Mark.BAD,
    Band.STOP: Mark.BAD,
}
_BAND_WORDS = {
    Band.ON_TARGET: "on target",
    Band.WITHIN_TOLERANCE: "within tolerance",
    Band.CORRECT: "outside tolerance",
    Band.STOP: "far outside tolerance",
}


def _percent(share: Fraction | None) -> Fraction | None:
    return None if share is None else share * 100


def _error_mark(cup: CupRecord) -> Mark | None:
    if cup.band is None:
        return Mark.OPEN if cup.readings else None
    if _BANDS[cup.band] is Mark.BAD and cup.mixed_at is None:
        return Mark.LOOK  # It was never mixed, as far as was told.
    return _BANDS[cup.band]


def _used_mark(cup: CupRecord) -> Mark | None:
    if cup.used_share is not None:
        return Mark.GOOD if cup.used_share <= 1 else Mark.BAD
    return Mark.OPEN if cup.mixed_at is not None else None


def _signs(cup: CupRecord) -> str:
    words = []
    for sign in cup.warmed:
        after = "" if cup.mixed_at is None else f" after {_minutes(sign.at - cup.mixed_at)} min"
        if sign.cup_c is not None:
            words.append(f"{_number(sign.cup_c, 1)} °C{after}")
        else:
            words.append(f"{'thick or hot' if sign.share_gone >= 1 else 'warm'}{after}")
    return ", ".join(words)


def _minutes(length: timedelta) -> str:
    return _number(Fraction(length // SECOND, 60), 1)


def _number(value: Fraction, places: int) -> str:
    return f"{float(rounded_to_step(value, Fraction(1, 10**places))):.{places}f}"


def _doubt(is_time_in_doubt: bool) -> str:
    return "in doubt" if is_time_in_doubt else ""


def _doubt_mark(row: CupRecord | CoatRecord) -> Mark | None:
    return Mark.LOOK if row.is_time_in_doubt else None


CUP_COLUMNS = (
    Column("cup", "cup", lambda c: c.number),
    Column("product", "product", lambda c: c.product),
    Column("resin_lot", "resin lot", lambda c: c.resin_lot),
    Column("hardener_lot", "hardener lot", lambda c: c.hardener_lot),
    Column("opened", "opened", lambda c: c.opened_at),
    Column("wanted_g", "wanted, g", lambda c: c.wanted_total_g, 1),
    Column("resin_g", "resin, g", lambda c: c.resin_g, 1),
    Column("hardener_g", "hardener, g", lambda c: c.hardener_g, 1),
    Column("total_g", "in all, g", lambda c: c.resin_g + c.hardener_g, 1),
    Column("ratio_wanted", "ratio wanted, to 1", lambda c: c.target_ratio, 3),
    Column("ratio_reached", "ratio reached, to 1", lambda c: c.ratio, 3),
    Column(
        "error_percent",
        "hardener off by, %",
        lambda c: _percent(c.error),
        2,
        mark=_error_mark,
    ),
    Column("verdict", "verdict", lambda c: None if c.band is None else _BAND_WORDS[c.band]),
    Column("readings", "readings", lambda c: len(c.readings)),
    Column("read_back", "read back", lambda c: c.read_back),
)

POT_LIFE_COLUMNS = (
    Column("cup", "cup", lambda c: c.number),
    Column("mixed", "parts met", lambda c: c.mixed_at),
    Column("mix_c", "mix, °C", lambda c: c.mix_c, 1),
    Column(
        "mix_c_origin",
        "temperature",
        lambda c: None if c.mix_c is None else ("assumed" if c.is_mix_c_assumed else "told"),
        mark=lambda c: Mark.LOOK if c.is_mix_c_assumed else None,
    ),
    Column("pot_life_min", "pot life, min", lambda c: c.pot_life, 1, is_estimate=True),
    Column("ends", "pot life ends", lambda c: c.ends_at, is_estimate=True),
    Column("left_g", "left in it, g", lambda c: None if c.left is None else c.left.left_g, 1),
    Column("left_at", "as told", lambda c: None if c.left is None else c.left.at),
    Column("empty", "told empty", lambda c: c.emptied_at),
    Column(
        "used_percent",
        "pot life used, %",
        lambda c: _percent(c.used_share),
        0,
        is_estimate=True,
        mark=_used_mark,
    ),
    Column("signs", "warmth", _signs),
    Column("time", "time", lambda c: _doubt(c.is_time_in_doubt), mark=_doubt_mark),
)

# --- air and surface ----------------------------------------------------------------------

_FAULT_WORDS = {
    Fault.AIR_TOO_COLD: "air too cold",
    Fault.AIR_TOO_HOT: "air too hot",
    Fault.SURFACE_TOO_COLD: "surface too cold",
    Fault.SURFACE_TOO_HOT: "surface too hot",
    Fault.TOO_HUMID: "air too humid",
    Fault.TOO_CLOSE_TO_DEW: "surface too close to the dew point",
    Fault.MIX_COLDER_THAN_SURFACE: "mix colder than the surface",
}


def _verdict(look: Look | None) -> str:
    if look is None:
        return "nothing was told"
    if not look.is_complete:
        return "not all was told"
    return ", ".join(_FAULT_WORDS[fault] for fault in look.faults) or "within the limits"


def _look_mark(look: Look | None) -> Mark:
    if look is None or not look.is_complete:
        return Mark.OPEN
    return Mark.BAD if look.faults else Mark.GOOD


def _fault_mark(look: Look) -> Mark | None:
    """A look by itself breaks nothing; a coat that went on in it does."""
    return Mark.LOOK if look.faults else None


def _margin_mark(coat: CoatRecord) -> Mark | None:
    """Against the card's margin or, where it is silent, ISO 8502-4's 3 °C."""
    if coat.look is None or coat.look.margin_k is None:
        return None
    # A margin that just holds is less than what the instruments may be off.
    is_thin = coat.look.margin_k < _needed_k(coat.card) + THIN_MARGIN_K
    return Mark.LOOK if is_thin else Mark.GOOD


def _needed_k(card: ProductCard) -> float:
    return DEW_MARGIN_K if card.limits is None else card.limits.dew_margin_k


def _of_look(get: Callable[[Look], Value]) -> Callable[[CoatRecord], Value]:
    return lambda coat: None if coat.look is None else get(coat.look)


AIR_COLUMNS = (
    Column("told", "told", lambda k: k.at),
    Column("air_c", "air, °C", lambda k: k.air_c, 1),
    Column("humidity_percent", "humidity, %", lambda k: k.humidity_percent, 0),
    Column("surface_c", "surface, °C", lambda k: k.surface_c, 1),
    Column("dew_point_c", "dew point, °C", lambda k: k.dew_point_c, 1),
    Column("margin_k", "surface above it, °C", lambda k: k.margin_k, 1),
    Column("oldest", "oldest of them", lambda k: k.oldest_at),
    Column("verdict", "verdict", _verdict, mark=_fault_mark),
)

# --- coats --------------------------------------------------------------------------------

_WINDOW_MARKS = {
    WindowVerdict.FIRST: None,
    WindowVerdict.KEPT: Mark.GOOD,
    WindowVerdict.TOO_EARLY: Mark.BAD,
    WindowVerdict.CLOSED: Mark.BAD,
    WindowVerdict.UNKNOWN: Mark.OPEN,
}
_TAPE_MARKS = {
    TapeVerdict.NONE: None,
    TapeVerdict.KEPT: Mark.GOOD,
    TapeVerdict.LATE: Mark.BAD,
    TapeVerdict.NOT_PULLED: Mark.LOOK,
    TapeVerdict.UNKNOWN: Mark.OPEN,
}


def _coat_name(coat: CoatRecord) -> str:
    return f"Coat {coat.number}{_on(coat.area)}"


def _on(area: str) -> str:
    return f" on the {area}" if area else ""


COAT_COLUMNS = (
    Column("coat", "coat", lambda c: c.number),
    Column("area", "area", lambda c: c.area),
    Column("product", "product", lambda c: c.card.name),
    Column("started", "first stroke", lambda c: c.started_at),
    Column("finished", "last stroke", lambda c: c.finished_at),
    Column("air_c", "air, °C", _of_look(lambda k: k.air_c), 1),
    Column("humidity_percent", "humidity, %", _of_look(lambda k: k.humidity_percent), 0),
    Column("surface_c", "surface, °C", _of_look(lambda k: k.surface_c), 1),
    Column("dew_point_c", "dew point, °C", _of_look(lambda k: k.dew_point_c), 1),
    Column(
        "margin_k",
        "surface above dew point, °C",
        _of_look(lambda k: k.margin_k),
        1,
        mark=_margin_mark,
    ),
    Column(
        "conditions",
        "air and surface",
        lambda c: _verdict(c.look),
        mark=lambda c: _look_mark(c.look),
    ),
    Column(
        "readings_age",
        "readings",
        lambda c: None if c.look is None else ("over 4 h old" if c.is_look_stale else "fresh"),
        mark=lambda c: Mark.LOOK if c.look is not None and c.is_look_stale else None,
    ),
)


def _felt(coat: CoatRecord) -> str:
    words = []
    for felt in coat.felt:
        start = coat.finished_at or coat.started_at
        after = (
            "" if start is None else f" after {_number(Fraction((felt.at - start) / HOUR), 1)} h"
        )
        words.append(f"{felt.film.value}{after}")
    return ", ".join(words)


def _tape_mark(coat: CoatRecord) -> Mark | None:
    return _TAPE_MARKS[coat.tape]


def _of_tape(get: Callable[[CoatRecord], Value]) -> Callable[[CoatRecord], Value]:
    return lambda coat: None if coat.tape is TapeVerdict.NONE else get(coat)


WINDOW_COLUMNS = (
    Column("coat", "coat", lambda c: c.number),
    Column("area", "area", lambda c: c.area),
    Column(
        "window",
        "on the coat before",
        lambda c: c.window.value,
        mark=lambda c: _WINDOW_MARKS[c.window],
    ),
    Column("window_opens", "its window opens", lambda c: c.window_opens_at, is_estimate=True),
    Column("window_closes", "and closes", lambda c: c.window_closes_at, is_estimate=True),
    Column("tape", "tape", lambda c: c.tape.value, mark=_tape_mark),
    Column("tape_ask", "tape: first call", _of_tape(lambda c: c.tape_ask_at), is_estimate=True),
    Column(
        "tape_last_call",
        "tape: last call",
        _of_tape(lambda c: c.tape_last_call_at),
        is_estimate=True,
    ),
    Column("tape_off", "tape told off", lambda c: c.tape_off_at),
    Column("felt", "felt", _felt),
    Column("time", "time", lambda c: _doubt(c.is_time_in_doubt), mark=_doubt_mark),
)


def _stage(stage: Stage) -> Callable[[CoatRecord], Value]:
    return lambda coat: None if coat.clock is None else coat.clock.at(stage)


READY_COLUMNS = (
    Column("coat", "coat", lambda c: c.number),
    Column("area", "area", lambda c: c.area),
    *(
        Column(stage.value, words, _stage(stage), is_estimate=True)
        for stage, words in (
            (Stage.TACK_FREE, "tack-free"),
            (Stage.RECOAT_OPENS, "next coat from"),
            (Stage.RECOAT_CLOSES, "next coat until"),
            (Stage.HANDLE, "to handle"),
            (Stage.SAND, "to sand"),
            (Stage.USE, "to use"),
            (Stage.FULL_CURE, "full cure"),
        )
    ),
)

# --- alarms, corrections, and the rest ----------------------------------------------------


def alarm_words(alarm: AlarmRecord) -> str:
    """What an announcement was about."""
    subject = alarm.subject
    if subject.called is None:
        return subject.key
    if subject.percent is not None:
        return f"cup {subject.number}: {subject.percent} % of the pot life gone"
    if subject.is_of_coat:
        return f"coat {subject.number}{_on(subject.name)}: {subject.called.value}"
    name = f", {subject.name}" if subject.name else ""
    return f"{subject.called.value} {subject.number}{name}"


ALARM_COLUMNS = (
    Column("announced", "announced", lambda a: a.announced_at),
    Column("what", "what", alarm_words),
    Column(
        "late_s",
        "later than due, s",
        lambda a: None if a.due_at is None else max(a.announced_at - a.due_at, timedelta()),
        0,
    ),
    Column(
        "outcome",
        "outcome",
        lambda a: a.outcome.value,
        mark=lambda a: Mark.LOOK if a.outcome is AlarmOutcome.UNANSWERED else None,
    ),
    Column("over", "when", lambda a: a.over_at),
    Column("delay_s", "answered after, s", lambda a: a.delay, 0),
    Column("put_off_until", "put off until", lambda a: a.put_off_until),
)

CORRECTION_COLUMNS = (
    Column("at", "taken back", lambda c: c.at),
    Column("told", "told", lambda c: c.fact.at),
    Column("what", "what", lambda c: event_words(c.fact)),
    Column(
        "instead",
        "told instead, in the same breath",
        lambda c: None if c.replaced_by is None else event_words(c.replaced_by),
    ),
)

CLOCK_COLUMNS = (
    Column("at", "at", lambda e: e.at),
    Column(
        "what",
        "what",
        lambda e: e.note.value,
        mark=lambda e: (
            Mark.LOOK if e.note in (ClockNote.IN_DOUBT, ClockNote.WALL_NOT_SET) else None
        ),
    ),
    Column("counted_min", "counted, min", lambda e: e.passed, 1),
    Column("wall_min", "by the wall clock, min", lambda e: e.wall_passed, 1),
)

USED_COLUMNS = (
    Column("since", "since", lambda u: u.since),
    Column("program", "handsfree", lambda u: u.program),
    Column(
        "model",
        "speech model",
        lambda u: None if u.equipment is None else (u.equipment.model or "none: typed"),
    ),
    Column(
        "model_sha256",
        "its SHA-256",
        lambda u: None if u.equipment is None else u.equipment.model_sha256,
    ),
    Column(
        "scale_step_g",
        "scale step, g",
        lambda u: None if u.equipment is None else u.equipment.scale_step_g,
        2,
    ),
)

CARD_COLUMNS = (
    Column("since", "since", lambda c: c.since),
    Column("product", "product", lambda c: c.product),
    Column("sha256", "card, SHA-256", lambda c: c.sha256),
)

LOG_COLUMNS = (
    Column("at", "at", lambda one: one.event.at),
    Column("what", "what", lambda one: event_words(one.event)),
    Column("asked", "asked first", lambda one: _asked(one.event)),
    Column("taken_back", "taken back", lambda one: one.taken_back_at),
)

TOLD_COLUMNS = (
    Column("at", "told", lambda one: one.event.at),
    Column("what", "what", lambda one: event_words(one.event)),
)

# What counts only after a question and a yes; progress of a pour is echoed instead.
_ASKED = (
    CoatsPlanned,
    CupEmptied,
    JobEnded,
    JobOpened,
    LotTold,
    ProductChosen,
    ScaleTold,
    TapePulled,
    TotalWanted,
)


def _asked(event: Event) -> str:
    if isinstance(event, ReadingTaken):
        return "read back, yes" if event.is_confirmed else "no, echoed"
    if isinstance(event, _ASKED) or (isinstance(event, ScaleTared) and event.zero_g < 0):
        return "read back, yes"
    return ""


# Everything that the tables above show; anything else is told under "also told".
_SHOWN = (
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
    FilmFelt,
    JobEnded,
    PutOff,
    ReadingTaken,
    ScaleTared,
    TakenBack,
    TapePulled,
    TapeSet,
    TotalWanted,
)
_UNITS = {"g": " g", "c": " °C", "percent": " %"}
_CONDITIONS = {
    Measured.AIR_C: ("air", "°C"),
    Measured.SURFACE_C: ("surface", "°C"),
    Measured.HUMIDITY_PERCENT: ("humidity", "%"),
}


def event_words(event: Event) -> str:
    """An event in a few words; one that has no line of its own by its fields."""
    match event:
        case BatchOpened(batch=number):
            return f"cup {number} opened"
        case TotalWanted(batch=number, total_g=total_g):
            return f"cup {number}: {_plain(total_g)} g wanted"
        case ReadingTaken(batch=number, component=part, grams=grams, shown_g=shown_g):
            seen = "" if shown_g == grams else f", the scale showed {_plain(shown_g)} g"
            return f"cup {number}: {part.value} {_plain(grams)} g{seen}"
        case ScaleTared(batch=number, zero_g=zero_g) if zero_g < 0:
            return f"cup {number} weighs {_plain(-zero_g)} g empty"
        case ScaleTared(batch=number, zero_g=zero_g):
            return f"cup {number}: scale on zero with {_plain(zero_g)} g in it"
        case ClockStarted(batch=number, mix_c=mix_c, pot_life=pot_life):
            return f"cup {number}: mixed at {_plain(mix_c)} °C, pot life {_minutes(pot_life)} min"
        case CupWarmed(batch=number, cup_c=cup_c, share_gone=share_gone):
            felt = "thick or hot" if share_gone >= 1 else "warm"
            return f"cup {number}: {felt if cup_c is None else f'{_plain(cup_c)} °C'}"
        case CupEmptied(batch=number):
            return f"cup {number} empty"
        case ConditionTold(measured=measured, value=value):
            name, unit = _CONDITIONS[measured]
            return f"{name} {_plain(value)} {unit}"
        case CoatStarted(coat=number, area=area):
            return f"coat {number}{_on(area)}: first stroke"
        case CoatFinished(coat=number, area=area):
            return f"coat {number}{_on(area)}: last stroke"
        case FilmFelt(coat=number, film=film, area=area):
            return f"coat {number}{_on(area)} felt {film.value}"
        case TapeSet(area=area):
            return f"tape on{_on(area).removeprefix(' on')}"
        case TapePulled(area=area):
            return f"tape off{_on(area).removeprefix(' on')}"
        case TimerSet(timer=number, due_at=due_at, name=name):
            return f"timer {number}{f', {name},' if name else ''} for {moment(due_at)}"
        case TimerCanceled(timer=number):
            return f"timer {number} canceled"
        case JobOpened(job=number):
            return f"job {number} opened"
        case ProductChosen(product=product):
            return f"product {product}"
        case ScaleTold(step_g=step_g):
            return f"scale in steps of {_plain(step_g)} g"
        case CoatsPlanned(coats=coats, area=area):
            return f"coats planned{_on(area)}: {coats}"
        case LotTold(component=part, lot=lot):
            return f"{part.value} lot {lot}"
        case CupLeft(batch=number, left_g=left_g):
            return f"cup {number}: {_plain(left_g)} g left"
        case NoteTaken(note=number, words=words, sound=sound):
            kept = f" (sound kept: {sound})" if sound else ""
            return f"note {number}: {' '.join(words)}{kept}"
        case Announced(key=key):
            return f"announced: {key}"
        case Acknowledged(key=key):
            return f"answered: {key}"
        case AcknowledgedOnBoard(key=key):
            return f"answered on the board: {key}"
        case PutOff(key=key, until=until):
            return f"put off until {moment(until)}: {key}"
        case TakenBack():
            return "the last fact taken back"
        case JobEnded():
            return "the job is done"
        case _:
            return _fields_words(event)


def _fields_words(event: Any) -> str:
    """The kind of an event and its fields, with the units their names end in."""
    found = encoded(event)
    kind = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", str(found.pop(KIND_FIELD))).lower()
    found.pop("at", None)
    told = []
    for name, value in found.items():
        if value is None or value == []:
            continue
        words, _, unit = name.rpartition("_")
        if words and unit in _UNITS:
            told.append(f"{words.replace('_', ' ')} {value}{_UNITS[unit]}")
        else:
            told.append(f"{name.replace('_', ' ')} {value}")
    return f"{kind}: {', '.join(told)}" if told else kind


def _plain(value: Fraction) -> str:
    return f"{float(value):g}"


# --- all of them --------------------------------------------------------------------------


def tables_of(source: Source, job: BatchRecord) -> tuple[Table, ...]:
    """All tables of a job, in the order they are read."""
    tolerance, margin_k = job.card.tolerance, _needed_k(job.card)
    clock = tuple(e for e in source.clock if e.at <= job.last_at and _is_of(job, e))
    told = tuple(
        one for one in job.log if one.taken_back_at is None and not isinstance(one.event, _SHOWN)
    )
    return (
        Table(
            "cups",
            "Mixing",
            "Grams in the cup as read off the scale. Off by: the hardener against the resin's "
            f"exact share, above 0 is too much; up to {_of_share(tolerance.good)} % is on target, "
            f"up to {_of_share(tolerance.tolerated)} % within tolerance.",
            CUP_COLUMNS,
            job.cups,
            lambda c: f"Cup {c.number}",
        ),
        Table(
            "pot_life",
            "Pot life",
            "The pot life is an estimate from the label, the cup's mass and its temperature. Used: "
            "from the two parts' first touch until the cup was told empty.",
            POT_LIFE_COLUMNS,
            tuple(cup for cup in job.cups if cup.mixed_at is not None),
            lambda c: f"Cup {c.number}",
        ),
        Table(
            "coats",
            "Coats: air and surface",
            "The readings that stood at the first stroke. The dew point is calculated; the surface "
            f"is to be at least {margin_k:g} °C above it (ISO 8502-4 practice, and the card's); "
            f"less than {THIN_MARGIN_K:g} °C more is thin, as the instruments err that much.",
            COAT_COLUMNS,
            job.coats,
            _coat_name,
        ),
        Table(
            "windows",
            "Coats: windows and tape",
            "Whether a coat went on in the window of the one before it, and whether the tape came "
            "off before its last call, by what was known then.",
            WINDOW_COLUMNS,
            job.coats,
            _coat_name,
        ),
        Table(
            "ready",
            "Coats: readiness",
            "Estimates from the card's table over the surface temperatures that were told, the "
            "last one held. A coat's own look and feel, and the data sheet, decide.",
            READY_COLUMNS,
            job.coats,
            _coat_name,
        ),
        Table(
            "air",
            "Air and surface",
            "Every look at the instruments. What was not told in one look stands from the one "
            "before it. The dew point is calculated from air and humidity.",
            AIR_COLUMNS,
            job.looks,
            lambda k: f"Air and surface at {moment(k.at)}",
        ),
        Table(
            "alarms",
            "Announcements",
            "What was called out, and how long it took until it was answered.",
            ALARM_COLUMNS,
            job.alarms,
            lambda a: f"Announced {moment(a.announced_at)}, {alarm_words(a)}",
        ),
        Table(
            "corrections",
            "Corrections",
            "What was told and then taken back; it counts nowhere above.",
            CORRECTION_COLUMNS,
            job.corrections,
        ),
        Table("told", "Also told", "What has no place above.", TOLD_COLUMNS, told),
        Table(
            "clock",
            "Clock",
            "Moments at which the time was not simply counted on.",
            CLOCK_COLUMNS,
            clock,
            lambda e: f"Clock at {moment(e.at)}",
        ),
        Table(
            "used",
            "Made with",
            "What heard and reckoned, with the checksums that tell one version from another.",
            USED_COLUMNS,
            source.during(job),
        ),
        Table(
            "cards",
            "Product cards",
            "The cards the figures follow, as they were then.",
            CARD_COLUMNS,
            source.cards_of(job),
        ),
        Table(
            "events",
            "Everything, in order",
            "Every fact and announcement as the journal holds it. “Asked first” says what counted "
            "only after it was read back and got a yes; questions that led to nothing are not "
            "kept.",
            LOG_COLUMNS,
            job.log,
            is_long=True,
        ),
    )


def _is_of(job: BatchRecord, event: ClockEvent) -> bool:
    return event.at >= job.started_at or event.note is ClockNote.SIMULATED


def _of_share(share: Fraction) -> str:
    return f"{float(share * 100):g}"


def about(source: Source, job: BatchRecord) -> tuple[str, ...]:
    """What concerns the whole record and lessens its worth, one sentence each."""
    found = list(source.findings)
    if not source.is_card_recorded:
        found.append(
            "The journal holds no product card: the figures follow the card as it is now, which "
            "may not be the one that was used."
        )
    if len(source.cards_of(job)) > len(job.cards):
        found.append("A product card changed during the job; the figures follow the last one.")
    if job.ended_at is None:
        found.append("“The job is done” was not said: the job may go on.")
    found += [
        f"{card.name} is invented and does not exist: this is a demonstration."
        for card in job.cards
        if card.invented
    ]
    return tuple(found)
