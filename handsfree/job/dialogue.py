"""The open question: what was asked, and what may answer it."""

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.job.events import Told
from handsfree.language.replies import Reply


@dataclass(frozen=True)
class Candidate:
    """A reading that waits for a yes."""

    component: Component
    grams: Fraction  # Of this part, in the cup.
    shown_g: Fraction
    zero_g: Fraction


@dataclass(frozen=True)
class ConfirmReading:
    """Is this reading right?"""

    candidate: Candidate


@dataclass(frozen=True)
class ChooseComponent:
    """Resin or hardener?"""

    shown_g: Fraction


@dataclass(frozen=True)
class ChooseZero:
    """Is the first part in this number?"""

    if_yes: Candidate
    if_no: Candidate


@dataclass(frozen=True)
class ChooseValue:
    """Which of these numbers? Only saying it again answers."""

    component: Component | None
    values: tuple[Fraction, ...]


@dataclass(frozen=True)
class TellMixTemperature:
    """How warm is the mix that met at this moment?"""

    batch: int
    met_at: datetime


@dataclass(frozen=True)
class ConfirmFact:
    """Is this so? For what sets a target or ends a clock."""

    fact: Told


@dataclass(frozen=True)
class TellNote:
    """What is the note? Whatever is said answers it."""


Question = (
    ConfirmReading
    | ChooseComponent
    | ChooseZero
    | ChooseValue
    | TellMixTemperature
    | ConfirmFact
    | TellNote
)


@dataclass(frozen=True)
class Talk:
    """The conversation as far as it is not recorded: forgotten when the power fails."""

    question: Question | None = None
    asked: Reply | None = None  # The question as it was said.
    asked_at: datetime | None = None
    is_asked_twice: bool = False
    parked: tuple[Reply, ...] = ()  # Questions that got no answer, as they were said.
    refused: tuple[Fraction, ...] = ()  # Values that got a no since the last yes.
    last: Reply | None = None
    last_called: str | None = None  # Key of the reminder announced last.
    is_asleep: bool = False
    attended_at: datetime | None = None  # When something was understood, or called, last.
    quiet_until: datetime | None = None  # Until then only what would spoil the work is called.

    def is_quiet(self, now: datetime) -> bool:
        """Whether quiet was asked for, and not long ago."""
        return self.quiet_until is not None and now < self.quiet_until
