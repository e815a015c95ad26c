"""Facts a person tells: air and surface, coats, tape, and how the film feels."""

from dataclasses import replace
from datetime import datetime
from fractions import Fraction

from handsfree.core.conditions import Conditions, Fault, breaches, can_blush
from handsfree.core.cure import CureTable, Recoat, Stage
from handsfree.core.dewpoint import THIN_MARGIN_K
from handsfree.core.mix import rounded_to_step
from handsfree.job.dialogue import ConfirmFact
from handsfree.job.events import (
    CoatFinished,
    CoatStarted,
    ConditionTold,
    Event,
    FilmFelt,
    JobEnded,
    Measured,
    TapePulled,
    TapeSet,
)
from handsfree.job.film import FilmClock, film_clock, recoat_now
from handsfree.job.state import Coat, State, replay
from handsfree.job.step import Decision, Outcome, Step, answer
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.replies import Reply

# What an instrument on a bench can show; anything else was misheard. Judgement.
CREDIBLE = {
    Measured.AIR_C: (Fraction(-20), Fraction(50)),
    Measured.SURFACE_C: (Fraction(-20), Fraction(70)),
    Measured.HUMIDITY_PERCENT: (Fraction(1), Fraction(100)),
}
SPOKEN = {
    Measured.AIR_C: ("air", "degrees celsius"),
    Measured.SURFACE_C: ("surface", "degrees celsius"),
    Measured.HUMIDITY_PERCENT: ("humidity", "percent"),
}
FAULTS = {
    Fault.AIR_TOO_COLD: "the air is too cold",
    Fault.AIR_TOO_HOT: "the air is too hot",
    Fault.SURFACE_TOO_COLD: "the surface is too cold",
    Fault.SURFACE_TOO_HOT: "the surface is too hot",
    Fault.TOO_HUMID: "the air is too humid",
    Fault.TOO_CLOSE_TO_DEW: "the surface is too close to the dew point",
    Fault.MIX_COLDER_THAN_SURFACE: "the mix is colder than the surface",
}
TENTH = Fraction(1, 10)
# A new temperature is worth a word when it moves a coat's time by more than this. Judgement.
WORTH_SAYING_S = 120.0


def tell_condition(step: Step, measured: Measured, values: tuple[Fraction, ...]) -> Decision:
    """Takes down a reading of air or surface, and says what follows from it."""
    what, unit = SPOKEN[measured]
    if len(values) > 1:
        return answer(step, replies.AskDigits(unit.split()[0]), Outcome.ASKED)
    value = values[0]
    low, high = CREDIBLE[measured]
    if not low <= value <= high:
        return answer(step, replies.ConditionUnlikely(what, value), Outcome.REJECTED)
    event = ConditionTold(step.now, measured, value)
    after = replay((event,), step.state)
    moved = _times_moved(step, after, value) if measured is Measured.SURFACE_C else None
    reply = moved or _after_condition(step, after, what, value, unit)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def _after_condition(step: Step, after: State, what: str, value: Fraction, unit: str) -> Reply:
    if after.last_coat is None and not _missing(after):
        return _verdict(step, after)
    if what == "surface" and after.last_coat is not None and _is_too_cold(step, after):
        return replies.TooColdToCure(value)
    missing = () if after.last_coat is not None else _missing(after)
    return replies.ConditionNoted(what, value, unit, missing)


def _is_too_cold(step: Step, state: State) -> bool:
    """Whether nothing counts toward a cure at the surface temperature told last."""
    table, told = _table(step, state.last_coat), state.last_told(Measured.SURFACE_C)
    return table is not None and told is not None and float(told.value) < table.least_c


def _missing(state: State) -> tuple[str, ...]:
    return tuple(
        f"the {what}" for measured, (what, _) in SPOKEN.items() if state.last_told(measured) is None
    )


def _conditions(state: State) -> Conditions | None:
    """The newest readings of air and surface together; None while one is missing."""
    air, surface, humidity = (
        state.last_told(Measured.AIR_C),
        state.last_told(Measured.SURFACE_C),
        state.last_told(Measured.HUMIDITY_PERCENT),
    )
    if air is None or surface is None or humidity is None:
        return None
    return Conditions(0.0, float(air.value), float(humidity.value), float(surface.value))


def _verdict(step: Step, state: State) -> Reply:
    """Whether the surface may be coated by the newest readings, all of which are there."""
    conditions = _conditions(state)
    assert conditions is not None
    margin_k = rounded_to_step(Fraction(conditions.margin_k), TENTH)
    limits = step.setup.card.limits
    found = breaches(limits, conditions)
    if found:
        return replies.MayNotCoat(tuple(FAULTS[breach.fault] for breach in found), margin_k)
    needed_k = limits.dew_margin_k if limits is not None else 0.0
    return replies.MayCoat(margin_k, is_thin=conditions.margin_k - needed_k < THIN_MARGIN_K)


def tell_verdict(step: Step) -> Decision:
    """May the surface be coated now?"""
    missing = _missing(step.state)
    if missing:
        return answer(step, replies.ConditionsMissing(missing), Outcome.REJECTED)
    return answer(step, _verdict(step, step.state), Outcome.ACCEPTED)


def _table(step: Step, coat: Coat | None) -> CureTable | None:
    """The cure table of the product that a coat is of; without a coat that in hand."""
    card = step.setup.card if coat is None else step.setup.shelf.card(coat.product)
    return card.cure


def _clock_of(step: Step, state: State, coat: Coat | None) -> FilmClock | None:
    table = _table(step, coat)
    return None if table is None or coat is None else film_clock(table, state, coat)


def _times_moved(step: Step, after: State, surface_c: Fraction) -> Reply | None:
    """What to say when a new surface temperature moves a running coat; None when it does not."""
    coat = after.last_coat
    before, now = _clock_of(step, step.state, coat), _clock_of(step, after, coat)
    if now is None or coat is None:
        return None
    if before is None:
        return _coat_noted(step, after, coat)
    tape_at = now.tape_ask_at if after.tape_on(coat.area) is not None else None
    recoat_at = now.at(Stage.RECOAT_OPENS)
    pairs = ((before.tape_ask_at, tape_at), (before.at(Stage.RECOAT_OPENS), recoat_at))
    shifts_s = [(new - old).total_seconds() for old, new in pairs if old and new and new > step.now]
    if not shifts_s or max(map(abs, shifts_s)) < WORTH_SAYING_S:
        return None
    return replies.TimesMoved(
        surface_c,
        shifts_s[0] < 0,
        step.local(tape_at) if tape_at and tape_at > step.now else None,
        step.local(recoat_at) if recoat_at and recoat_at > step.now else None,
        step.local(step.now),
    )


# --- coats --------------------------------------------------------------------------------


def _areas(step: Step) -> tuple[str, ...]:
    """The areas that have a coat in the job in hand, in their order."""
    of_job = (coat.area for coat in step.state.coats if coat.job == step.state.job)
    return tuple(sorted(set(of_job)))


def _area_meant(step: Step, named: str | None) -> str | Reply:
    """The area of the next stroke: the one that was named, or the only one there is."""
    areas = _areas(step)
    if named is not None:
        return named
    if len(areas) > 1:
        return replies.AskWhichArea(areas)
    return areas[0] if areas else ""


def start_coat(step: Step, intent: said.StartCoat) -> Decision:
    """The first stroke of the next coat."""
    area = _area_meant(step, intent.area)
    if not isinstance(area, str):
        return answer(step, area, Outcome.REJECTED)
    coat = step.state.newest_coat(area)
    number = 1 if coat is None else coat.number + (coat.finished_at is not None)
    event = CoatStarted(step.now, number, area)
    reply = replies.CoatStartNoted(number, _warning_before_coat(step, coat), area)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def _warning_before_coat(step: Step, coat: Coat | None) -> str:
    """Why the coat should not go on now; empty when nothing speaks against it."""
    table = _table(step, coat)
    if coat is not None and table is not None:
        match recoat_now(table, step.state, coat, step.now):
            case Recoat.TOO_EARLY:
                return "it is too early for it by the card"
            case Recoat.CLOSED:
                return "the window has closed, so sand and wipe it first"
            case _:
                pass
    if not _missing(step.state):
        verdict = _verdict(step, step.state)
        if isinstance(verdict, replies.MayNotCoat):
            return f"by your readings {verdict.faults[0]}"
    return ""


def finish_coat(step: Step, intent: said.FinishCoat) -> Decision:
    """The last stroke of a coat: its clock starts."""
    area: str | Reply = _area_meant(step, intent.area)
    if intent.area is None:
        started = [a for a in _areas(step) if _is_open(step.state.newest_coat(a))]
        if len(started) == 1:
            area = started[0]
        elif started:
            area = replies.AskWhichArea(tuple(started))
    if not isinstance(area, str):
        return answer(step, area, Outcome.REJECTED)
    last = step.state.newest_coat(area)
    number = 1 if last is None else last.number + (last.finished_at is not None)
    event = CoatFinished(step.now, number, area)
    after = replay((event,), step.state)
    coat = after.newest_coat(area)
    assert coat is not None
    return answer(step, _coat_noted(step, after, coat), Outcome.ACCEPTED, events=(event,))


def _is_open(coat: Coat | None) -> bool:
    return coat is not None and coat.finished_at is None


def _coat_noted(step: Step, state: State, coat: Coat) -> Reply:
    clock = _clock_of(step, state, coat)
    has_table = _table(step, coat) is not None
    is_last = state.is_last_planned(coat)
    return replies.CoatNoted(
        coat.number,
        has_tape=state.tape_on(coat.area) is not None,
        tape_at=step.local(clock.tape_ask_at) if clock and clock.tape_ask_at else None,
        recoat_at=None if is_last else _local_stage(step, clock, Stage.RECOAT_OPENS),
        needs_surface=clock is None and has_table,
        never_cures=_is_too_cold(step, state),
        now=step.local(step.now),
        area=coat.area,
        is_last=is_last,
    )


def _local_stage(step: Step, clock: FilmClock | None, stage: Stage) -> datetime | None:
    at = clock.at(stage) if clock is not None else None
    return step.local(at) if at is not None else None


def set_tape(step: Step, intent: said.SetTape) -> Decision:
    """Masking tape is on; without an area it is the tape of all of them."""
    area = intent.area or ""
    event = TapeSet(step.now, area)
    return answer(step, replies.TapeNoted(area), Outcome.ACCEPTED, events=(event,))


def pull_tape(step: Step, intent: said.PullTape) -> Decision:
    """Masking tape is off, which ends its reminders: asked first."""
    tapes = tuple(sorted(step.state.tapes))
    meant = tuple(area for area in tapes if intent.area in (None, area))
    if not meant and "" in tapes:
        meant = ("",)  # Tape that was set without an area is on this one too.
    if not meant:
        return answer(step, replies.NoTape(), Outcome.REJECTED)
    if len(meant) > 1:
        return answer(step, replies.AskWhichArea(meant), Outcome.REJECTED)
    talk = replace(step.talk, question=ConfirmFact(TapePulled(step.now, meant[0])))
    return answer(step, replies.AskTapeOff(meant[0]), Outcome.ASKED, talk=talk)


def _coat_meant(step: Step, area: str | None) -> Coat | Reply:
    """The finished coat that is spoken of: of the area named, else the only one there is.

    Coats of the job in hand go before those of earlier ones.
    """
    state = step.state
    cured = [coat for coat in state.top_coats if area in (None, coat.area)]
    of_job = [coat for coat in cured if coat.job == state.job]
    coats = [coat for coat in (of_job or cured) if coat.finished_at is not None]
    if not coats:
        return replies.FilmUnknown("coat")
    if len(coats) > 1:
        return replies.AskWhichArea(tuple(sorted(coat.area for coat in coats)))
    return coats[0]


def feel_film(step: Step, intent: said.FeelFilm) -> Decision:
    """How a coat feels: a late answer moves its times."""
    coat = _coat_meant(step, intent.area)
    if isinstance(coat, replies.FilmUnknown):
        return answer(step, replies.NoCoat(), Outcome.REJECTED)
    if not isinstance(coat, Coat):
        return answer(step, coat, Outcome.REJECTED)
    if coat.job != step.state.job:
        # An event names a coat of the job in hand: an older one is only asked about.
        return answer(step, replies.NoCoat(), Outcome.REJECTED)
    event: Event = FilmFelt(step.now, coat.number, intent.film, coat.area)
    after = replay((event,), step.state)
    check_at = None
    if intent.film is not said.Film.DRY:
        clock = _clock_of(step, after, after.newest_coat(coat.area))
        check_at = _local_stage(step, clock, Stage.TACK_FREE)
        if check_at is not None and check_at <= step.local(step.now):
            check_at = None
    reply = replies.FilmNoted(intent.film, check_at, step.local(step.now), coat.area)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def end_job(step: Step) -> Decision:
    """The work is over: asked first, since it is said once a day."""
    talk = replace(step.talk, question=ConfirmFact(JobEnded(step.now)))
    return answer(step, replies.AskJobDone(), Outcome.ASKED, talk=talk)


# --- questions about the coat -------------------------------------------------------------


def _known_clock(step: Step, area: str | None) -> tuple[Coat, CureTable, FilmClock] | Reply:
    """A coat with its table and clock, or why there is none."""
    coat = _coat_meant(step, area)
    if not isinstance(coat, Coat):
        return coat
    table = _table(step, coat)
    if table is None:
        return replies.FilmUnknown("card")
    clock = film_clock(table, step.state, coat)
    return replies.FilmUnknown("surface") if clock is None else (coat, table, clock)


def _may_blush(state: State) -> bool:
    """Whether the newest readings are such that a coat may blush while it cures."""
    conditions = _conditions(state)
    return conditions is not None and can_blush(conditions)


def tell_recoat(step: Step, area: str | None) -> Decision:
    """When the next coat may go on."""
    found = _known_clock(step, area)
    if not isinstance(found, tuple):
        return answer(step, found, Outcome.REJECTED)
    coat, table, clock = found
    now = step.local(step.now)
    reply: Reply
    match recoat_now(table, step.state, coat, step.now):
        case Recoat.OPEN:
            closes_at = _local_stage(step, clock, Stage.RECOAT_CLOSES)
            reply = replies.RecoatOpen(closes_at, _may_blush(step.state), now)
        case Recoat.CLOSED:
            reply = replies.RecoatClosed()
        case _:
            reply = replies.RecoatTooEarly(_local_stage(step, clock, Stage.RECOAT_OPENS), now)
    return answer(step, reply, Outcome.ACCEPTED)


def tell_tape(step: Step, intent: said.AskTape) -> Decision:
    """When the tape comes off."""
    found = _known_clock(step, intent.area)
    if not isinstance(found, tuple):
        return answer(step, found, Outcome.REJECTED)
    _, _, clock = found
    if clock.tape_ask_at is None:
        return answer(step, replies.FilmUnknown("card"), Outcome.REJECTED)
    last_at = clock.tape_last_call_at
    reply = replies.TapeTime(
        step.local(clock.tape_ask_at),
        step.local(last_at) if last_at is not None else None,
        step.local(step.now),
    )
    return answer(step, reply, Outcome.ACCEPTED)


def tell_ready(step: Step, intent: said.AskReady) -> Decision:
    """When the coat can be handled, sanded and used."""
    found = _known_clock(step, intent.area)
    if not isinstance(found, tuple):
        return answer(step, found, Outcome.REJECTED)
    _, _, clock = found
    reply = replies.ReadyTimes(
        _local_stage(step, clock, Stage.HANDLE),
        _local_stage(step, clock, Stage.SAND),
        _local_stage(step, clock, Stage.USE),
        step.local(step.now),
    )
    return answer(step, reply, Outcome.ACCEPTED)
