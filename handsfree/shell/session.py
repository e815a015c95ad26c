"""One job in hand: the state, the conversation, and the step that moves both."""

from datetime import UTC, datetime, tzinfo
from fractions import Fraction

from handsfree.core.card import ProductCard
from handsfree.job import pour
from handsfree.job.boundary import Input
from handsfree.job.decide import decide, next_deadline
from handsfree.job.dialogue import Talk
from handsfree.job.state import State, replay
from handsfree.job.step import Decision, Setup
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.language.replies import Reply
from handsfree.language.wording import Level, wording

# A common bench scale; both can be set on the command line.
DEFAULT_STEP_G = Fraction(1)
DEFAULT_CAPACITY_G = Fraction(5000)


class Session:
    """Holds what is known and applies one input at a time."""

    def __init__(self, setup: Setup, level: Level = Level.NORMAL) -> None:
        """Starts with nothing on the scale.

        Args:
            setup: product and scale.
            level: how much is said.
        """
        self.setup = setup
        self.level = level
        self.state = State()
        self.talk = Talk()
        self.last_at: datetime | None = None  # The moment of the last input.

    def step(self, incoming: Input, now: datetime) -> Decision:
        """What follows from the input; the state has already taken it in.

        Args:
            incoming: what happened.
            now: the moment of it, UTC.
        """
        decision = decide(self.setup, self.state, self.talk, incoming, now)
        self.state = replay(decision.events, self.state)
        self.talk = decision.talk
        self.last_at = now
        return decision

    def words_of(self, reply: Reply) -> str:
        """The reply's wording at this session's level."""
        return wording(reply, self.level)

    def next_deadline(self) -> datetime | None:
        """The moment at which something has to be announced."""
        return next_deadline(self.setup, self.state, self.talk)


def setup_of(
    card: ProductCard,
    *,
    step_g: Fraction = DEFAULT_STEP_G,
    capacity_g: Fraction = DEFAULT_CAPACITY_G,
    wake_phrases: tuple[str, ...] = WAKE_PHRASES,
    zone: tzinfo = UTC,
) -> Setup:
    """What is given from outside, checked.

    Raises:
        Refusal: the card cannot be weighed (a ratio by volume without both densities).
    """
    phrases = tuple(tuple(phrase.split()) for phrase in wake_phrases)
    scale = pour.Scale(step_g, capacity_g)
    return Setup(card, pour.recipe_of(card), scale, phrases, zone)
