"""The facts that are recorded. State is built from these alone, and none is ever edited."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.language.intents import Film


class Measured(Enum):
    """What of air and surface was read off an instrument."""

    AIR_C = "air_c"
    SURFACE_C = "surface_c"
    HUMIDITY_PERCENT = "humidity_percent"


@dataclass(frozen=True)
class BatchOpened:
    """A new cup was put on the scale."""

    at: datetime
    batch: int  # Counted from 1.


@dataclass(frozen=True)
class TotalWanted:
    """A mix of this mass is to be made in a cup."""

    at: datetime
    batch: int
    total_g: Fraction


@dataclass(frozen=True)
class ReadingTaken:
    """A reading that counts: confirmed, or accepted as the progress of a pour."""

    at: datetime
    batch: int
    component: Component
    grams: Fraction  # Of this part, as it now is in the cup.
    shown_g: Fraction  # What the scale showed.
    zero_g: Fraction  # What was in the cup when the scale showed zero.
    is_confirmed: bool  # A yes was given; without it the reading is only progress.


@dataclass(frozen=True)
class ScaleTared:
    """The scale was set to zero with the cup on it."""

    at: datetime
    batch: int
    zero_g: Fraction  # What was in the cup then; below 0: the cup's own weight is shown too.


@dataclass(frozen=True)
class ClockStarted:
    """The two parts have met."""

    at: datetime
    batch: int
    met_at: datetime
    mix_c: Fraction
    pot_life: timedelta


@dataclass(frozen=True)
class CupWarmed:
    """A cup has grown warm or thick; the share of its pot life that may be gone by that."""

    at: datetime
    batch: int
    cup_c: Fraction | None  # None: it was felt, not measured.
    share_gone: Fraction


@dataclass(frozen=True)
class CupEmptied:
    """A cup was poured out or put away; its clock has ended."""

    at: datetime
    batch: int


@dataclass(frozen=True)
class ConditionTold:
    """A reading of air or surface."""

    at: datetime
    measured: Measured
    value: Fraction


@dataclass(frozen=True)
class CoatStarted:
    """The first stroke of a coat."""

    at: datetime
    coat: int  # Counted from 1, for each area of a job.
    area: str = ""  # Empty: no area was named.


@dataclass(frozen=True)
class CoatFinished:
    """The last stroke of a coat."""

    at: datetime
    coat: int
    area: str = ""


@dataclass(frozen=True)
class FilmFelt:
    """How a coat felt to the glove."""

    at: datetime
    coat: int
    film: Film
    area: str = ""


@dataclass(frozen=True)
class TapeSet:
    """Masking tape is on."""

    at: datetime
    area: str = ""


@dataclass(frozen=True)
class TapePulled:
    """Masking tape is off."""

    at: datetime
    area: str = ""


@dataclass(frozen=True)
class TimerSet:
    """A person's own reminder."""

    at: datetime
    timer: int  # Counted from 1.
    due_at: datetime
    name: str = ""  # What it is for, as it was said.


@dataclass(frozen=True)
class TimerCanceled:
    """A person's own reminder is not wanted any more."""

    at: datetime
    timer: int


@dataclass(frozen=True)
class JobOpened:
    """A new job begins: cups and coats are counted from one again."""

    at: datetime
    job: int  # Counted from 1; what is told before the first opening belongs to job 1.


@dataclass(frozen=True)
class ProductChosen:
    """What is mixed from now on, by the name on its card."""

    at: datetime
    product: str


@dataclass(frozen=True)
class ScaleTold:
    """The scale's smallest step."""

    at: datetime
    step_g: Fraction


@dataclass(frozen=True)
class CoatsPlanned:
    """How many coats there are to be."""

    at: datetime
    coats: int
    area: str = ""


@dataclass(frozen=True)
class LotTold:
    """The lot number on a can, for the record."""

    at: datetime
    component: Component
    lot: str  # Digits as they were said.


@dataclass(frozen=True)
class CupLeft:
    """What is still in a mixed cup; the rest is on the work."""

    at: datetime
    batch: int
    left_g: Fraction


@dataclass(frozen=True)
class NoteTaken:
    """Something a person wants to be found again."""

    at: datetime
    note: int  # Counted from 1.
    words: tuple[str, ...]  # As they were understood; "[unk]" stands for what was not.
    sound: str = ""  # The file of its sound in the data folder; empty: it was not kept.


@dataclass(frozen=True)
class Announced:
    """A reminder was announced."""

    at: datetime
    key: str


@dataclass(frozen=True)
class Acknowledged:
    """A person answered an announcement."""

    at: datetime
    key: str


@dataclass(frozen=True)
class AcknowledgedOnBoard:
    """A person answered an announcement by a press on the board."""

    at: datetime
    key: str


@dataclass(frozen=True)
class PutOff:
    """An announcement is to come again later."""

    at: datetime
    key: str
    until: datetime


@dataclass(frozen=True)
class TakenBack:
    """The last fact a person told does not count any more."""

    at: datetime


@dataclass(frozen=True)
class JobEnded:
    """The work is over; clocks of coats run on."""

    at: datetime


Told = (
    BatchOpened
    | TotalWanted
    | ReadingTaken
    | ScaleTared
    | ClockStarted
    | CupWarmed
    | CupEmptied
    | ConditionTold
    | CoatStarted
    | CoatFinished
    | FilmFelt
    | TapeSet
    | TapePulled
    | TimerSet
    | TimerCanceled
    | PutOff
    | JobOpened
    | ProductChosen
    | ScaleTold
    | CoatsPlanned
    | LotTold
    | CupLeft
    | NoteTaken
    | JobEnded
)
"""What a person told, and may take back."""

Event = Told | Announced | Acknowledged | AcknowledgedOnBoard | TakenBack
