"""Facts a person tells: air and surface, coats, tape, and how the film feels."""

from dataclasses import replace
from datetime import datetime
from fractions import Fraction

from handsfree.core.conditions import Conditions, Fault, breaches, can_blush
from handsfree.core.cure import Recoat, Stage
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
    table, told = step.setup.card.cure, state.last_told(Measured.SURFACE_C)
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


def _clock_of(step: Step, state: State) -> FilmClock | None:
    table, coat = step.setup.card.cure, state.last_coat
    return None if table is None or coat is None else film_clock(table, state, coat)


def _times_moved(step: Step, after: State, surface_c: Fraction) -> Reply | None:
    """What to say when a new surface temperature moves a running coat; None when it does not."""
    before, now = _clock_of(step, step.state), _clock_of(step, after)
    if now is None:
        return None
    if before is None:
        coat = after.last_coat
        return None if coat is None else _coat_noted(step, after, coat)
    tape_at = now.tape_ask_at if after.tape_set_at is not None else None
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


def start_coat(step: Step) -> Decision:
    """The first stroke of the next coat."""
    number = len(step.state.coats) + 1
    open_coat = step.state.last_coat
    if open_coat is not None and open_coat.finished_at is None:
        number = open_coat.number
    event = CoatStarted(step.now, number)
    reply = replies.CoatStartNoted(number, _warning_before_coat(step))
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def _warning_before_coat(step: Step) -> str:
    """Why the coat should not go on now; empty when nothing speaks against it."""
    coat, table = step.state.last_coat, step.setup.card.cure
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


def finish_coat(step: Step) -> Decision:
    """The last stroke of a coat: its clock starts."""
    last = step.state.last_coat
    number = 1 if last is None else last.number + (last.finished_at is not None)
    event = CoatFinished(step.now, number)
    after = replay((event,), step.state)
    coat = after.last_coat
    assert coat is not None
    return answer(step, _coat_noted(step, after, coat), Outcome.ACCEPTED, events=(event,))


def _coat_noted(step: Step, state: State, coat: Coat) -> Reply:
    clock = _clock_of(step, state)
    has_table = step.setup.card.cure is not None
    return replies.CoatNoted(
        coat.number,
        has_tape=state.tape_set_at is not None,
        tape_at=step.local(clock.tape_ask_at) if clock and clock.tape_ask_at else None,
        recoat_at=_local_stage(step, clock, Stage.RECOAT_OPENS),
        needs_surface=clock is None and has_table,
        never_cures=_is_too_cold(step, state),
        now=step.local(step.now),
    )


def _local_stage(step: Step, clock: FilmClock | None, stage: Stage) -> datetime | None:
    at = clock.at(stage) if clock is not None else None
    return step.local(at) if at is not None else None


def set_tape(step: Step) -> Decision:
    """Masking tape is on."""
    event = TapeSet(step.now)
    return answer(step, replies.TapeNoted(), Outcome.ACCEPTED, events=(event,))


def pull_tape(step: Step) -> Decision:
    """Masking tape is off, which ends its reminders: asked first."""
    if step.state.tape_set_at is None:
        return answer(step, replies.NoTape(), Outcome.REJECTED)
    talk = replace(step.talk, question=ConfirmFact(TapePulled(step.now)))
    return answer(step, replies.AskTapeOff(), Outcome.ASKED, talk=talk)


def feel_film(step: Step, intent: said.FeelFilm) -> Decision:
    """How the last coat feels: a late answer moves its times."""
    coat = step.state.last_coat
    if coat is None or coat.finished_at is None:
        return answer(step, replies.NoCoat(), Outcome.REJECTED)
    event: Event = FilmFelt(step.now, coat.number, intent.film)
    after = replay((event,), step.state)
    check_at = None
    if intent.film is not said.Film.DRY:
        check_at = _local_stage(step, _clock_of(step, after), Stage.TACK_FREE)
        if check_at is not None and check_at <= step.local(step.now):
            check_at = None
    reply = replies.FilmNoted(intent.film, check_at, step.local(step.now))
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def end_job(step: Step) -> Decision:
    """The work is over: asked first, since it is said once a day."""
    talk = replace(step.talk, question=ConfirmFact(JobEnded(step.now)))
    return answer(step, replies.AskJobDone(), Outcome.ASKED, talk=talk)


# --- questions about the coat -------------------------------------------------------------


def _known_clock(step: Step) -> FilmClock | Reply:
    """The last coat's clock, or why there is none."""
    coat = step.state.last_coat
    if coat is None or coat.finished_at is None:
        return replies.FilmUnknown("coat")
    if step.setup.card.cure is None:
        return replies.FilmUnknown("card")
    return _clock_of(step, step.state) or replies.FilmUnknown("surface")


def _may_blush(state: State) -> bool:
    """Whether the newest readings are such that a coat may blush while it cures."""
    conditions = _conditions(state)
    return conditions is not None and can_blush(conditions)


def tell_recoat(step: Step) -> Decision:
    """When the next coat may go on."""
    clock = _known_clock(step)
    if not isinstance(clock, FilmClock):
        return answer(step, clock, Outcome.REJECTED)
    coat, table = step.state.last_coat, step.setup.card.cure
    assert coat is not None
    assert table is not None
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


def tell_tape(step: Step) -> Decision:
    """When the tape comes off."""
    clock = _known_clock(step)
    if not isinstance(clock, FilmClock):
        return answer(step, clock, Outcome.REJECTED)
    if clock.tape_ask_at is None:
        return answer(step, replies.FilmUnknown("card"), Outcome.REJECTED)
    last_at = clock.tape_last_call_at
    reply = replies.TapeTime(
        step.local(clock.tape_ask_at),
        step.local(last_at) if last_at is not None else None,
        step.local(step.now),
    )
    return answer(step, reply, Outcome.ACCEPTED)


def tell_ready(step: Step) -> Decision:
    """When the coat can be handled, sanded and used."""
    clock = _known_clock(step)
    if not isinstance(clock, FilmClock):
        return answer(step, clock, Outcome.REJECTED)
    reply = replies.ReadyTimes(
        _local_stage(step, clock, Stage.HANDLE),
        _local_stage(step, clock, Stage.SAND),
        _local_stage(step, clock, Stage.USE),
        step.local(step.now),
    )
    return answer(step, reply, Outcome.ACCEPTED)
