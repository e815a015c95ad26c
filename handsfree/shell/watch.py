"""Looks after the clocks and the record between the things that are said."""

from datetime import datetime, timedelta
from typing import Protocol

from handsfree.job.boundary import Effect, Priority, Say
from handsfree.job.reminders import next_deadline, unanswered
from handsfree.job.state import State
from handsfree.language import replies
from handsfree.language.replies import Reply
from handsfree.language.times import whole_minutes
from handsfree.shell.clock import SPOKEN_STEP
from handsfree.shell.session import Session

# How much of the time before a power cut is known, where the clock is lost too. Judgement: a
# minute matters to a cup; a film that cures for days is called to the hour, and a record of
# thirty days shall stay small.
BEAT_EVERY, CALM_BEAT_EVERY = timedelta(minutes=1), timedelta(minutes=10)
CALM_FROM = timedelta(hours=2)


class Stepping(Protocol):
    """A clock that notices when the wall clock is set."""

    def wall_step(self) -> timedelta:
        """By how much it was set since this was last asked."""

    def has_new_zone(self) -> bool:
        """Whether the time zone was changed since this was last asked."""


class Awake(Protocol):
    """What keeps the machine awake."""

    def hold(self) -> bool:
        """From now on; False where that cannot be had."""

    def release(self) -> None:
        """Not any more."""


class Watch:
    """Looks at the clocks each time it is asked."""

    def __init__(self, session: Session, clock: Stepping, awake: Awake) -> None:
        """Begins to watch.

        Args:
            session: the job in hand.
            clock: of the job.
            awake: what keeps the machine awake.
        """
        self._session = session
        self._clock = clock
        self._awake = awake
        self._is_holding: bool | None = None  # None: not asked for.
        self._beat_at: datetime | None = None
        self._seen: State | None = None  # The state that the next two were worked out of.
        self._deadline: datetime | None = None
        self._runs = False

    def look(self, now: datetime) -> tuple[Effect, ...]:
        """What has to be said of the clocks and the machine's sleep; to be asked each second."""
        found: list[Reply] = []
        step = self._clock.wall_step()
        has_new_zone = self._clock.has_new_zone()
        if abs(step) >= SPOKEN_STEP:
            found.append(replies.WallClockSet(whole_minutes(abs(step)), step > timedelta()))
        if has_new_zone:
            found.append(replies.ZoneChanged())
        self._look_what_runs()
        if self._runs:
            found += self._kept_awake()
        elif self._is_holding is not None:
            self._awake.release()
            self._is_holding = None
        effects: tuple[Effect, ...] = tuple(Say(reply, Priority.CALL) for reply in found)
        if step or has_new_zone or self._must_beat(now):
            self._beat_at = now
            effects = (*self._session.mark(now), *effects)
        return effects

    def _kept_awake(self) -> list[Reply]:
        if self._is_holding is not None:
            return []
        self._is_holding = self._awake.hold()
        return [] if self._is_holding else [replies.MaySleep()]

    def _must_beat(self, now: datetime) -> bool:
        if not self._runs:
            return False
        if self._beat_at is None:
            return True
        is_near = self._deadline is not None and self._deadline - now < CALM_FROM
        return now - self._beat_at >= (BEAT_EVERY if is_near else CALM_BEAT_EVERY)

    def _look_what_runs(self) -> None:
        """Something runs while it is due later, or was called and got no answer."""
        shelf, state = self._session.setup.shelf, self._session.state
        if state is self._seen:
            return
        self._seen = state
        self._deadline = next_deadline(shelf, state)
        self._runs = self._deadline is not None or bool(unanswered(shelf, state))
