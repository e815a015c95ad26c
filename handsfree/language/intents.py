"""Everything that can be asked or told: a closed set of frozen types."""

from dataclasses import dataclass
from datetime import timedelta
from enum import Enum
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.language.quantities import MassReading


@dataclass(frozen=True)
class TakeReading:
    """What the scale shows, of one part or of whatever is on it."""

    component: Component | None  # None: no part was named.
    masses: tuple[MassReading, ...]  # Every mass the words may mean, at least one.
    has_sound_alike: bool = False  # A teen or a tens was spoken ("fifteen", "fifty").
    is_correction: bool = False  # It replaces what was just said ("no, resin eight ...").


@dataclass(frozen=True)
class NameComponent:
    """The answer to "resin or hardener?"."""

    component: Component


class Place(Enum):
    """What was measured."""

    AIR = "air"
    SURFACE = "surface"
    CUP = "cup"


class Film(Enum):
    """How a coat feels to the glove."""

    WET = "wet"
    TACKY = "tacky"
    DRY = "dry"


class CupSign(Enum):
    """What a cup does that is running away."""

    WARM = "warm"
    THICK = "thick"
    SMOKING = "smoking"


@dataclass(frozen=True)
class TellTemperature:
    """How warm something is."""

    place: Place | None  # None: it was not named.
    celsius: tuple[Fraction, ...]  # Every temperature the words may mean, at least one.
    has_scale: bool = False  # Celsius or Fahrenheit was said.


@dataclass(frozen=True)
class TellHumidity:
    """The relative humidity of the air."""

    percents: tuple[Fraction, ...]  # Every value the words may mean, at least one.


@dataclass(frozen=True)
class AskConditions:
    """May the surface be coated in this air?"""


@dataclass(frozen=True)
class WantTotal:
    """A mix of this mass is wanted."""

    masses: tuple[MassReading, ...]


@dataclass(frozen=True)
class TellCupWeight:
    """What the empty cup weighs, where the scale was not zeroed with it."""

    masses: tuple[MassReading, ...]


@dataclass(frozen=True)
class EmptyCup:
    """A cup was poured out or used up."""

    batch: int | None


@dataclass(frozen=True)
class ReportCup:
    """A cup grows warm or thick, or it smokes."""

    sign: CupSign
    batch: int | None


@dataclass(frozen=True)
class AskFirstCup:
    """Which cup is to be used first."""


@dataclass(frozen=True)
class StartCoat:
    """The first stroke of a coat."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class FinishCoat:
    """The last stroke of a coat."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class SetTape:
    """Masking tape is on."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class PullTape:
    """Masking tape is off."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class FeelFilm:
    """How the last coat feels."""

    film: Film
    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class AskRecoat:
    """When the next coat may go on."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class AskTape:
    """When the tape comes off."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class AskReady:
    """When the coat can be handled, sanded and used."""

    area: str | None = None  # None: it was not named.


@dataclass(frozen=True)
class SetTimer:
    """A reminder after a length of time."""

    lengths: tuple[timedelta, ...]  # Every length the words may mean, at least one.
    name: str = ""  # What it is for.


@dataclass(frozen=True)
class CancelTimer:
    """A reminder of one's own is not wanted any more."""

    timer: int | None  # None: it was not named.


@dataclass(frozen=True)
class AskTimers:
    """How long the reminders of one's own have left."""


@dataclass(frozen=True)
class OpenJob:
    """A new job begins."""


@dataclass(frozen=True)
class ChooseProduct:
    """What is mixed from now on."""

    words: tuple[str, ...]  # The product's name as it was said.


@dataclass(frozen=True)
class AskProducts:
    """Which product is mixed, and which there are."""


@dataclass(frozen=True)
class TellScale:
    """The scale's smallest step."""

    masses: tuple[MassReading, ...]


@dataclass(frozen=True)
class PlanCoats:
    """How many coats there are to be."""

    coats: int
    area: str | None = None


@dataclass(frozen=True)
class TellLot:
    """The lot number on a can."""

    component: Component
    lot: str  # Digits.


@dataclass(frozen=True)
class TellLeft:
    """What is still in a mixed cup."""

    masses: tuple[MassReading, ...]
    batch: int | None


@dataclass(frozen=True)
class AskLeft:
    """How much is still in a mixed cup."""

    batch: int | None


@dataclass(frozen=True)
class TakeNote:
    """What is said next is to be kept as a note."""


@dataclass(frozen=True)
class ReadNotes:
    """The notes taken so far."""


@dataclass(frozen=True)
class Hush:
    """For a short while only what would spoil the work is called."""

    lengths: tuple[timedelta, ...]


@dataclass(frozen=True)
class PutOff:
    """The last announcement again, later."""

    lengths: tuple[timedelta, ...]


@dataclass(frozen=True)
class Acknowledge:
    """The last announcement was heard."""


@dataclass(frozen=True)
class AskMissed:
    """What was announced and not answered."""


class Manner(Enum):
    """How the voice is to change."""

    SLOWER = "slower"
    FASTER = "faster"
    LOUDER = "louder"
    QUIETER = "quieter"


@dataclass(frozen=True)
class ChangeVoice:
    """Speak in another manner."""

    manner: Manner


@dataclass(frozen=True)
class GoToSleep:
    """Listen only for the wake phrase and for danger."""


@dataclass(frozen=True)
class WakeUp:
    """Listen again."""


@dataclass(frozen=True)
class EndJob:
    """The work is over."""


@dataclass(frozen=True)
class Confirm:
    """Yes."""


@dataclass(frozen=True)
class Deny:
    """No."""


@dataclass(frozen=True)
class ScratchThat:
    """Take back the open question, or the last thing accepted."""


@dataclass(frozen=True)
class TareScale:
    """The scale was set to zero with the cup on it."""


@dataclass(frozen=True)
class OpenBatch:
    """A new cup is on the scale."""


@dataclass(frozen=True)
class StartClock:
    """The two parts have met: the pot life runs."""


@dataclass(frozen=True)
class AskTarget:
    """How much hardener is wanted in all."""


@dataclass(frozen=True)
class AskRemaining:
    """How much is still to be poured."""


@dataclass(frozen=True)
class AskTotal:
    """What the whole mix weighs."""


@dataclass(frozen=True)
class AskTimeLeft:
    """How long a mixed cup can still be used."""

    batch: int | None


@dataclass(frozen=True)
class AskStatus:
    """Where things stand."""


@dataclass(frozen=True)
class AskRepeat:
    """Say the last thing again."""


@dataclass(frozen=True)
class AskHelp:
    """What can be said."""


Intent = (
    TakeReading
    | NameComponent
    | TellTemperature
    | TellHumidity
    | AskConditions
    | WantTotal
    | TellCupWeight
    | EmptyCup
    | ReportCup
    | AskFirstCup
    | StartCoat
    | FinishCoat
    | SetTape
    | PullTape
    | FeelFilm
    | AskRecoat
    | AskTape
    | AskReady
    | SetTimer
    | CancelTimer
    | AskTimers
    | OpenJob
    | ChooseProduct
    | AskProducts
    | TellScale
    | PlanCoats
    | TellLot
    | TellLeft
    | AskLeft
    | TakeNote
    | ReadNotes
    | Hush
    | PutOff
    | Acknowledge
    | AskMissed
    | ChangeVoice
    | GoToSleep
    | WakeUp
    | EndJob
    | Confirm
    | Deny
    | ScratchThat
    | TareScale
    | OpenBatch
    | StartClock
    | AskTarget
    | AskRemaining
    | AskTotal
    | AskTimeLeft
    | AskStatus
    | AskRepeat
    | AskHelp
)
