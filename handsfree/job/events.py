"""The facts that are recorded. State is built from these alone, and none is ever edited."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from handsfree.core.mix import Component


@dataclass(frozen=True)
class BatchOpened:
    """A new cup was put on the scale."""

    at: datetime
    batch: int  # Counted from 1.


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
class ReadingTakenBack:
    """The last reading that counted does not count any more."""

    at: datetime
    batch: int
    component: Component
    grams: Fraction


@dataclass(frozen=True)
class ScaleTared:
    """The scale was set to zero with the cup on it."""

    at: datetime
    batch: int
    zero_g: Fraction  # What was in the cup then.


@dataclass(frozen=True)
class ClockStarted:
    """The two parts have met."""

    at: datetime
    batch: int
    met_at: datetime
    mix_c: Fraction
    pot_life: timedelta


@dataclass(frozen=True)
class WarningGiven:
    """A share of a cup's pot life was announced as gone."""

    at: datetime
    batch: int
    percent: int


Event = BatchOpened | ReadingTaken | ReadingTakenBack | ScaleTared | ClockStarted | WarningGiven
