"""Everything that can be asked or told: a closed set of frozen types."""

from dataclasses import dataclass
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


@dataclass(frozen=True)
class TellTemperature:
    """How warm the mix is."""

    celsius: tuple[Fraction, ...]  # Every temperature the words may mean, at least one.


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
    """How long the mixed cup can still be used."""


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
