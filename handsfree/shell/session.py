"""One job in hand: the state, the conversation, and the step that moves both."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Protocol

from handsfree.core.card import ProductCard
from handsfree.job import pour
from handsfree.job.board_view import BoardView, Noted, board_view, noted_after
from handsfree.job.boundary import Effect, Input, Priority, Say
from handsfree.job.decide import decide, is_awake, next_deadline
from handsfree.job.dialogue import Talk
from handsfree.job.events import Event
from handsfree.job.shelf import Shelf
from handsfree.job.state import State, replay
from handsfree.job.step import Decision, Setup
from handsfree.job.troubles import TROUBLE_KEY, standing_after
from handsfree.language import replies
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.language.replies import Reply
from handsfree.language.wording import Level, wording
from handsfree.shell.clock import Stamp
from handsfree.shell.journal_entries import NotSaved

# A common bench scale; both can be set on the command line.
DEFAULT_STEP_G = Fraction(1)
DEFAULT_CAPACITY_G = Fraction(5000)


class Display(Protocol):
    """Something that shows where the job stands."""

    def show(self, view: BoardView, now: datetime) -> None:
        """Takes the view, and the moment of it, UTC; returns at once and never fails."""


class Record(Protocol):
    """Where events are kept."""

    trouble: str | None  # Why nothing is saved; None: all is well.

    def append(self, events: Sequence[Event], stamp: Stamp) -> None:
        """Records them; they are on the disk when this returns. Raises NotSaved."""


@dataclass(frozen=True)
class Keeping:
    """A record, and the clocks its entries are stamped with."""

    record: Record
    stamp: Callable[[datetime], Stamp]


class Session:
    """Holds what is known and applies one input at a time."""

    def __init__(
        self,
        setup: Setup,
        level: Level = Level.NORMAL,
        *,
        state: State | None = None,
        keeping: Keeping | None = None,
    ) -> None:
        """Starts with nothing on the scale, or goes on from a recorded state.

        Args:
            setup: product and scale.
            level: how much is said.
            state: from the record; None: nothing was recorded yet.
            keeping: where events are recorded; None: nowhere.
        """
        self.setup = setup
        self.level = level
        self.state = state or State()
        self.talk = Talk()
        self.last_at: datetime | None = None  # The moment of the last input.
        self.displays: tuple[Display, ...] = ()
        self._keeping = keeping
        self._noted = Noted()
        # Of which state and talk the next deadline was worked out last.
        self._deadline: tuple[State | None, Talk | None, datetime | None] = (None, None, None)

    def step(self, incoming: Input, now: datetime) -> Decision:
        """What follows from the input; the state has already taken it in.

        Args:
            incoming: what happened.
            now: the moment of it, UTC.
        """
        decision = self.take(decide(self.setup, self.state, self.talk, incoming, now), now)
        self._noted = noted_after(self._noted, incoming, decision, now)
        self.show(now)
        return decision

    def take(self, decision: Decision, now: datetime) -> Decision:
        """Records a decision, and only then lets it count.

        Returns:
            The same decision; where it could not be recorded, that is said first, and the job
            goes on from memory.
        """
        if decision.events:
            effects = (*self._kept(decision.events, now), *decision.effects)
            decision = replace(decision, effects=effects)
        self.state = replay(decision.events, self.state)
        self.talk = decision.talk
        self._note_troubles(decision.effects)
        self.last_at = now
        return decision

    def show(self, now: datetime) -> None:
        """Hands every display where things stand; to be asked at least once a second.

        Args:
            now: the moment, UTC.
        """
        if not self.displays:
            return
        view = board_view(
            self.setup,
            self.state,
            self.talk,
            self._noted,
            now,
            level=self.level,
            is_saved=self._keeping is None or self._keeping.record.trouble is None,
        )
        for display in self.displays:
            display.show(view, now)

    def mark(self, now: datetime) -> tuple[Effect, ...]:
        """Records that the program is alive, and what the clocks show; what to say of that."""
        effects = self._kept((), now)
        self._note_troubles(effects)
        return effects

    def _note_troubles(self, effects: Sequence[Effect]) -> None:
        said = [effect.reply for effect in effects if isinstance(effect, Say)]
        troubles = standing_after(self.talk.troubles, said)
        if troubles != self.talk.troubles:
            newest = TROUBLE_KEY if len(troubles) >= len(self.talk.troubles) else None
            called = newest or self.talk.last_called
            self.talk = replace(self.talk, troubles=troubles, last_called=called)

    def _kept(self, events: Sequence[Event], now: datetime) -> tuple[Effect, ...]:
        if self._keeping is None:
            return ()
        was_saved = self._keeping.record.trouble is None
        try:
            self._keeping.record.append(events, self._keeping.stamp(now))
        except NotSaved:
            return (Say(replies.NotSaved(), Priority.ALARM),)
        return () if was_saved else (Say(replies.SavedAgain(), Priority.CALL),)

    def is_awake(self, now: datetime) -> bool:
        """Whether every sentence is listened to, and not only the wake phrase and danger."""
        return is_awake(self.setup, self.state, self.talk, now)

    def note_called(self, key: str, now: datetime) -> None:
        """An announcement was said again: an answer is of that one now."""
        self.talk = replace(self.talk, last_called=key, attended_at=now)

    def words_of(self, reply: Reply) -> str:
        """The reply's wording at this session's level."""
        return wording(reply, self.level)

    def next_deadline(self) -> datetime | None:
        """The moment at which something has to be announced; None when nothing runs."""
        # Asked twice a second, and of a thousand timers it takes its time: worked out only
        # when something has changed.
        state, talk, deadline = self._deadline
        if state is not self.state or talk is not self.talk:
            deadline = next_deadline(self.setup, self.state, self.talk)
            self._deadline = (self.state, self.talk, deadline)
        return deadline


def setup_of(
    card: ProductCard,
    *,
    step_g: Fraction = DEFAULT_STEP_G,
    capacity_g: Fraction = DEFAULT_CAPACITY_G,
    wake_phrases: tuple[str, ...] = WAKE_PHRASES,
    zone: tzinfo = UTC,
    others: tuple[ProductCard, ...] = (),
    keeps_note_sound: bool = False,
    attention: timedelta | None = None,
) -> Setup:
    """What is given from outside, checked.

    Args:
        card: the product at the start.
        step_g, capacity_g: of the scale.
        wake_phrases: two or more words each.
        zone: of the listener.
        others: products that may be named in its place.
        attention: how long it listens to all after an exchange; None: always.
        keeps_note_sound: whether the sound of a note is stored beside its words.

    Raises:
        Refusal: a card cannot be weighed (a ratio by volume without both densities).
    """
    phrases = tuple(tuple(phrase.split()) for phrase in wake_phrases)
    scale = pour.Scale(step_g, capacity_g)
    for other in others:
        pour.recipe_of(other)
    return Setup(
        card,
        pour.recipe_of(card),
        scale,
        phrases,
        zone,
        Shelf(card, others),
        attention,
        keeps_note_sound,
    )
