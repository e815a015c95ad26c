"""A coat's clock: the card's cure table read over the surface temperatures that were told."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from handsfree.core.cure import (
    CureTable,
    Recoat,
    Side,
    Stage,
    SurfaceReading,
    recoat,
    slow_share_seen,
    stage_time,
    tape_times,
)
from handsfree.job.events import Measured
from handsfree.job.state import Coat, State
from handsfree.language.intents import Film


@dataclass(frozen=True)
class FilmClock:
    """When a coat reaches each stage; None where it never does, or the card is silent."""

    tape_ask_at: datetime | None
    tape_insist_at: datetime | None
    tape_last_call_at: datetime | None
    stages: dict[Stage, datetime]

    def at(self, stage: Stage) -> datetime | None:
        """When a stage is reached."""
        return self.stages.get(stage)


def surface_history(state: State, since: datetime) -> tuple[SurfaceReading, ...]:
    """The surface temperatures from a moment on, in hours since it; empty when none is known.

    The last reading before the moment stands for its start.
    """
    told = [event for event in state.conditions if event.measured is Measured.SURFACE_C]
    before = [event for event in told if event.at <= since]
    after = [event for event in told if event.at > since]
    if before:
        first = SurfaceReading(0.0, float(before[-1].value))
    elif after:
        first = SurfaceReading(0.0, float(after[0].value))
    else:
        return ()
    return (
        first,
        *(SurfaceReading(_hours(event.at - since), float(event.value)) for event in after),
    )


def film_clock(table: CureTable, state: State, coat: Coat) -> FilmClock | None:
    """The coat's clock; None while it is not finished, or no surface temperature was told.

    What must not have happened yet (tape, the end of the recoat window) is counted from the
    first stroke, what must have happened from the last.
    """
    if coat.finished_at is None:
        return None
    first_stroke_at = coat.started_at or coat.finished_at
    early, late = (
        surface_history(state, first_stroke_at),
        surface_history(state, coat.finished_at),
    )
    if not early or not late:
        return None
    slow = slow_share(table, state, coat)
    stages = {}
    for stage in table.hours:
        is_limit = stage is Stage.RECOAT_CLOSES
        history, start = (early, first_stroke_at) if is_limit else (late, coat.finished_at)
        side, share = (Side.EARLY, 1.0) if is_limit else (Side.LATE, slow)
        hours = stage_time(table, stage, history=history, side=side, share=share).hours
        if hours is not None:
            stages[stage] = start + timedelta(hours=hours)
    tape = tape_times(table, history=early) if Stage.TACK_FREE in table.hours else None

    def tape_at(hours: float | None) -> datetime | None:
        return None if hours is None else first_stroke_at + timedelta(hours=hours)

    return FilmClock(
        tape_ask_at=tape_at(tape.ask.hours) if tape else None,
        tape_insist_at=tape_at(tape.insist.hours) if tape else None,
        tape_last_call_at=tape_at(tape.last_call.hours) if tape else None,
        stages=stages,
    )


def slow_share(table: CureTable, state: State, coat: Coat) -> float:
    """How much slower than its table a coat was seen to be: 1 when it was never seen to be."""
    if coat.finished_at is None or Stage.TACK_FREE not in table.hours:
        return 1.0
    history = surface_history(state, coat.finished_at)
    not_yet = [felt.at for felt in coat.felt if felt.film is not Film.DRY]
    if not history or not not_yet:
        return 1.0
    hours = _hours(max(not_yet) - coat.finished_at)
    if hours <= 0:
        return 1.0
    return slow_share_seen(table, Stage.TACK_FREE, history=history, not_yet_hours=hours)


def recoat_now(table: CureTable, state: State, coat: Coat, now: datetime) -> Recoat | None:
    """Whether the next coat may go on; None when that cannot be known."""
    if coat.finished_at is None:
        return None
    history = surface_history(state, coat.finished_at)
    if not history or now < coat.finished_at:
        return None
    return recoat(
        table,
        history=history,
        now_hours=_hours(now - coat.finished_at),
        slow_share=slow_share(table, state, coat),
    )


def _hours(length: timedelta) -> float:
    return length / timedelta(hours=1)
