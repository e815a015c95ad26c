"""One decision: what it starts from and what it gives."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from enum import Enum

from handsfree.core.card import ProductCard
from handsfree.job import pour
from handsfree.job.boundary import Effect, Say
from handsfree.job.dialogue import Talk
from handsfree.job.events import Event
from handsfree.job.shelf import Shelf
from handsfree.job.state import Batch, State
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.language.intents import Intent
from handsfree.language.replies import Reply


@dataclass(frozen=True)
class Setup:
    """What is given from outside: the product and the scale."""

    card: ProductCard
    recipe: pour.Recipe
    scale: pour.Scale
    wake_phrases: tuple[tuple[str, ...], ...] = tuple(
        tuple(phrase.split()) for phrase in WAKE_PHRASES
    )
    zone: tzinfo = UTC  # Of the listener: for times of day that are said.
    known: Shelf | None = None  # All products at hand; None: only the one.
    attention: timedelta | None = None  # Awake so long after an exchange; None: always.
    keeps_note_sound: bool = False  # The user asked for it: else no sound is ever stored.

    @property
    def shelf(self) -> Shelf:
        """All products at hand, the one the program was started with first."""
        return self.known or Shelf(self.card)

    def at(self, state: State) -> "Setup":
        """With the product and the scale's step that were told since the start."""
        card = self.shelf.card(state.product)
        step_g = state.scale_step_g or self.scale.step_g
        if card is self.card and step_g == self.scale.step_g:
            return self
        scale = replace(self.scale, step_g=step_g)
        return replace(self, card=card, recipe=pour.recipe_of(card), scale=scale, known=self.shelf)


class Outcome(Enum):
    """What became of an utterance."""

    ACCEPTED = "accepted"  # It was understood and acted on.
    ASKED = "asked"  # A question is open because of it.
    REJECTED = "rejected"  # It was not understood, or refused.
    IGNORED = "ignored"  # There was nothing in it.


@dataclass(frozen=True)
class Decision:
    """What follows from one input. Nothing has happened yet."""

    talk: Talk
    outcome: Outcome
    events: tuple[Event, ...] = ()
    effects: tuple[Effect, ...] = ()
    intent: Intent | None = None

    @property
    def said(self) -> tuple[Say, ...]:
        """The effects that are heard."""
        return tuple(effect for effect in self.effects if isinstance(effect, Say))


@dataclass(frozen=True)
class Step:
    """The arguments of one decision."""

    setup: Setup
    state: State
    talk: Talk
    now: datetime
    is_sure: bool = True  # Every word was recognized surely.
    is_noisy: bool = False

    @property
    def batch(self) -> Batch | None:
        """The cup on the scale."""
        return self.state.open_batch

    def local(self, moment: datetime) -> datetime:
        """A moment in the zone of the listener."""
        return moment.astimezone(self.setup.zone)

    def open_batch(self) -> Batch:
        """The cup on the scale; a first reading opens one."""
        return self.batch or Batch(1)


def answer(
    step: Step,
    reply: Reply,
    outcome: Outcome,
    *,
    events: tuple[Event, ...] = (),
    talk: Talk | None = None,
) -> Decision:
    """The decision to say one thing; the conversation stays as it is unless one is given."""
    return Decision(talk or step.talk, outcome, events, (Say(reply),))


def fresh_talk(step: Step) -> Talk:
    """The conversation with nothing open; what can be repeated or answered late stays."""
    return Talk(
        parked=step.talk.parked,
        last=step.talk.last,
        last_called=step.talk.last_called,
        is_asleep=step.talk.is_asleep,
        quiet_until=step.talk.quiet_until,
        attended_at=step.talk.attended_at,
    )
