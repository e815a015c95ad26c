"""Everything that can be said: a closed set of frozen types. Their wording is in ``wording``."""

from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.language.intents import CupSign, Film, Manner
from handsfree.language.parser import Misheard


@dataclass(frozen=True)
class ReadBack:
    """A number that sets a target, said back for a yes."""

    component: Component
    grams: Fraction


@dataclass(frozen=True)
class AskComponent:
    """A number was heard, but not of which part."""

    grams: Fraction


@dataclass(frozen=True)
class AskWhichValue:
    """The words allow several numbers."""

    component: Component | None
    values: tuple[Fraction, ...]


@dataclass(frozen=True)
class AskRunningTotal:
    """A second number that may be of everything in the cup."""

    first: Component  # The part that was in the cup before.
    shown_g: Fraction


@dataclass(frozen=True)
class AskDigits:
    """A value that was already refused, or a second failure: another way is needed."""

    unit: str = "grams"


@dataclass(frozen=True)
class AskSure:
    """A number far from what was expected, said back for a yes."""

    component: Component
    grams: Fraction
    expected_g: Fraction


@dataclass(frozen=True)
class PourTarget:
    """What to pour of the second part, and what the scale will show."""

    component: Component
    target_g: Fraction
    low_g: Fraction  # The band that needs no correction, on the scale's steps.
    high_g: Fraction
    running_total_g: Fraction


@dataclass(frozen=True)
class StillToPour:
    """How far a pour has come."""

    component: Component
    poured_g: Fraction
    remaining_g: Fraction


@dataclass(frozen=True)
class AskFinal:
    """A reading inside the band, said back for a yes before it counts as the final one."""

    component: Component
    poured_g: Fraction
    is_on_target: bool
    difference_g: Fraction  # Above 0: over the target.


@dataclass(frozen=True)
class AskOverPour:
    """A reading above the band, said back for a yes before a correction is worked out."""

    component: Component
    poured_g: Fraction
    over_g: Fraction


@dataclass(frozen=True)
class MixComplete:
    """Both parts are in the cup."""

    total_g: Fraction
    has_clock: bool


@dataclass(frozen=True)
class AddToBalance:
    """An over-pour: what balances it."""

    component: Component
    add_g: Fraction
    shown_g: Fraction  # What the scale shows then, if it is not zeroed again.
    must_stop: bool  # The error is so large that the cup is not to be used as it is.


@dataclass(frozen=True)
class TotalWeight:
    """What the whole mix weighs, or will weigh once it is complete."""

    total_g: Fraction
    is_complete: bool


@dataclass(frozen=True)
class BatchIsTooSmall:
    """The scale is too coarse for so little."""

    least_resin_g: Fraction
    step_g: Fraction


@dataclass(frozen=True)
class NotOnThisScale:
    """A number that the scale cannot show."""

    grams: Fraction
    step_g: Fraction


@dataclass(frozen=True)
class BeyondCapacity:
    """A number above what the scale can carry."""

    grams: Fraction
    capacity_g: Fraction


@dataclass(frozen=True)
class NothingOnScale:
    """Zero is no pour."""


@dataclass(frozen=True)
class LessThanBefore:
    """A pour that went down."""

    component: Component
    shown_g: Fraction
    before_g: Fraction


@dataclass(frozen=True)
class Scratched:
    """Something was taken back."""

    component: Component | None
    grams: Fraction | None


@dataclass(frozen=True)
class NothingToScratch:
    """Nothing is there to take back."""


@dataclass(frozen=True)
class SayItAgain:
    """After a no."""


@dataclass(frozen=True)
class Tared:
    """The scale starts from zero."""


@dataclass(frozen=True)
class BatchOpened:
    """A new cup, waiting for its first reading."""

    number: int
    product: str


@dataclass(frozen=True)
class WaitingForReading:
    """Nothing is on the scale yet."""


@dataclass(frozen=True)
class NotMixedYet:
    """The clock needs both parts."""


@dataclass(frozen=True)
class ClockStarted:
    """A cup's pot life runs."""

    batch: int
    minutes: int


@dataclass(frozen=True)
class AskMixTemperature:
    """The pot life needs the temperature of the mix."""


@dataclass(frozen=True)
class ClockAssumed:
    """A pot life runs by an assumed temperature, since none was told."""

    batch: int
    minutes: int
    mix_c: Fraction


@dataclass(frozen=True)
class ClockRunsAlready:
    """This cup's clock was started before."""

    batch: int


@dataclass(frozen=True)
class ClockUnknown:
    """The card has no pot life, so no clock can be kept."""


@dataclass(frozen=True)
class TimeLeft:
    """What is left of a cup's pot life."""

    batch: int
    minutes: int


@dataclass(frozen=True)
class PotLifeOver:
    """A cup's pot life has ended."""

    batch: int
    minutes_late: int


@dataclass(frozen=True)
class Balance:
    """Where the open cup stands."""

    batch: int
    resin_g: Fraction | None
    hardener_g: Fraction | None
    is_complete: bool
    minutes_left: int | None  # None: its clock does not run.


@dataclass(frozen=True)
class AskYes:
    """A yes was heard, but not surely."""


@dataclass(frozen=True)
class NoQuestion:
    """A yes or no, but nothing was asked."""


@dataclass(frozen=True)
class NothingSaid:
    """There is nothing to repeat."""


@dataclass(frozen=True)
class WhatCanBeSaid:
    """The help: what fits now."""

    examples: tuple[str, ...]


@dataclass(frozen=True)
class NotUnderstood:
    """Words that make no sentence."""

    misheard: Misheard


@dataclass(frozen=True)
class TooLoud:
    """The sound was clipped."""


@dataclass(frozen=True)
class NoSpeech:
    """A recording without speech in it."""


@dataclass(frozen=True)
class HearingRestarted:
    """The recognizer failed and runs again; the last words are lost."""


@dataclass(frozen=True)
class MicrophoneGone:
    """Nothing can be heard: the device has gone."""


@dataclass(frozen=True)
class MicrophoneMuted:
    """Nothing can be heard: the device gives no sound at all."""


@dataclass(frozen=True)
class MicrophoneBack:
    """What is said can be heard again."""


@dataclass(frozen=True)
class RefusedByCard:
    """A calculation that the card does not allow, in the calculation's own words."""

    sentence: str


class Called(Enum):
    """What a reminder calls out."""

    POT_LIFE = "pot life"
    TAPE_ASK = "tape"
    TAPE_INSIST = "tape, insist"
    TAPE_LAST_CALL = "tape, last call"
    TACKY_CHECK = "tacky check"
    RECOAT_OPENS = "recoat opens"
    RECOAT_CLOSES_SOON = "recoat closes soon"
    RECOAT_CLOSED = "recoat closed"
    HANDLE = "ready to handle"
    SAND = "ready to sand"
    USE = "ready to use"
    FULL_CURE = "full cure"
    TIMER = "timer"


@dataclass(frozen=True)
class Call:
    """A reminder that is due."""

    called: Called
    number: int  # Of the cup, the coat or the timer.
    percent: int  # Of the pot life.
    minutes_left: int | None  # Until the pot life or the window is over.
    minutes_late: int
    name: str = ""  # Of the area or the timer; empty: it has none.


@dataclass(frozen=True)
class Opening:
    """The start of a session, with the usual caution."""

    product: str
    is_invented: bool


@dataclass(frozen=True)
class AskTotalWanted:
    """A wanted total, said back for a yes."""

    total_g: Fraction


@dataclass(frozen=True)
class TotalPlan:
    """The two parts of a wanted total."""

    resin_g: Fraction
    hardener_g: Fraction


@dataclass(frozen=True)
class AskWhichTemperature:
    """A temperature was heard, but not of what."""


@dataclass(frozen=True)
class AskScale:
    """A temperature that is more likely in Fahrenheit: which scale is it?"""

    degrees: Fraction


@dataclass(frozen=True)
class ConditionNoted:
    """A reading of air or surface was taken down."""

    what: str  # "air", "surface" or "humidity".
    value: Fraction
    unit: str  # "degrees" or "percent".
    missing: tuple[str, ...]  # What is still needed to judge.


@dataclass(frozen=True)
class TooColdToCure:
    """A surface on which a coat stands still."""

    surface_c: Fraction


@dataclass(frozen=True)
class ConditionUnlikely:
    """A reading that no bench can have."""

    what: str
    value: Fraction


@dataclass(frozen=True)
class MayCoat:
    """Air and surface are inside the card's limits."""

    margin_k: Fraction  # Surface above the dew point, in tenths.
    is_thin: bool


@dataclass(frozen=True)
class MayNotCoat:
    """Air or surface are outside the card's limits."""

    faults: tuple[str, ...]
    margin_k: Fraction


@dataclass(frozen=True)
class ConditionsMissing:
    """What has to be measured first."""

    missing: tuple[str, ...]


@dataclass(frozen=True)
class TimesMoved:
    """A new surface temperature moves a coat's times."""

    surface_c: Fraction
    is_warmer: bool
    tape_at: datetime | None
    recoat_at: datetime | None
    now: datetime


@dataclass(frozen=True)
class CupAhead:
    """A measured cup temperature, and what is left by it."""

    batch: int
    minutes_left: int


@dataclass(frozen=True)
class CupWarning:
    """A cup that runs away."""

    sign: CupSign
    batch: int | None


@dataclass(frozen=True)
class AskCupWeight:
    """The empty cup's weight, said back for a yes: every reading counts from it."""

    cup_g: Fraction


@dataclass(frozen=True)
class CupWeightNoted:
    """The cup's own weight is taken off every reading."""

    cup_g: Fraction


@dataclass(frozen=True)
class AskEmptied:
    """Is the cup empty, so that its clock can stop?"""

    batch: int


@dataclass(frozen=True)
class CupDone:
    """A cup's clock has stopped."""

    batch: int


@dataclass(frozen=True)
class FirstCup:
    """Which cup to use first."""

    batch: int
    minutes_left: int


@dataclass(frozen=True)
class NoSuchCup:
    """A cup of that number does not run."""

    batch: int | None


@dataclass(frozen=True)
class CoatStartNoted:
    """A coat has begun."""

    coat: int
    warning: str  # Empty, or why it should not go on now.
    area: str = ""  # Empty: none was named.


@dataclass(frozen=True)
class CoatNoted:
    """A coat is on, and when its next step comes."""

    coat: int
    has_tape: bool
    tape_at: datetime | None
    recoat_at: datetime | None
    needs_surface: bool
    never_cures: bool
    now: datetime
    area: str = ""
    is_last: bool = False  # Of the coats that were planned.


@dataclass(frozen=True)
class TapeNoted:
    """Masking tape is on."""

    area: str = ""


@dataclass(frozen=True)
class AskTapeOff:
    """Is the tape off, so that its reminders can stop?"""

    area: str = ""


@dataclass(frozen=True)
class TapeOffNoted:
    """Masking tape is off."""


@dataclass(frozen=True)
class AskWhichArea:
    """Several areas may be meant."""

    areas: tuple[str, ...]  # One may be empty: it has no name.


@dataclass(frozen=True)
class NoTape:
    """No tape was told to be on."""


@dataclass(frozen=True)
class NoCoat:
    """No coat was told to be finished."""


@dataclass(frozen=True)
class FilmNoted:
    """How the coat feels was taken down."""

    film: Film
    next_check_at: datetime | None
    now: datetime
    area: str = ""


@dataclass(frozen=True)
class RecoatTooEarly:
    """The next coat has to wait."""

    opens_at: datetime | None
    now: datetime


@dataclass(frozen=True)
class RecoatOpen:
    """The next coat may go on."""

    closes_at: datetime | None
    may_blush: bool  # It cured cool or damp.
    now: datetime


@dataclass(frozen=True)
class RecoatClosed:
    """The next coat needs sanding first."""


@dataclass(frozen=True)
class TapeTime:
    """When the tape comes off."""

    ask_at: datetime
    last_at: datetime | None
    now: datetime


@dataclass(frozen=True)
class ReadyTimes:
    """When the coat can be handled, sanded and used."""

    handle_at: datetime | None
    sand_at: datetime | None
    use_at: datetime | None
    now: datetime


@dataclass(frozen=True)
class FilmUnknown:
    """A coat's times cannot be told."""

    missing: str  # "coat", "surface" or "card".


@dataclass(frozen=True)
class TimerNoted:
    """A reminder was set."""

    minutes: int
    due_at: datetime
    now: datetime
    name: str = ""


@dataclass(frozen=True)
class TimersLeft:
    """The reminders of one's own that run."""

    timers: tuple[tuple[int, str, int], ...]  # Number, name, minutes left; the next first.


@dataclass(frozen=True)
class AskTimerCanceled:
    """Is the reminder not wanted any more?"""

    timer: int
    name: str


@dataclass(frozen=True)
class AskWhichTimer:
    """Several reminders may be meant, or none is."""

    timers: tuple[int, ...]


@dataclass(frozen=True)
class TimerOff:
    """A reminder was called off."""

    timer: int


@dataclass(frozen=True)
class AskNewJob:
    """Is a new job to begin?"""


@dataclass(frozen=True)
class JobOpened:
    """A new job, with the usual caution."""

    job: int
    product: str


@dataclass(frozen=True)
class CupsStillRun:
    """No new job while a cup is mixed: its clock must not be lost."""

    batches: tuple[int, ...]


@dataclass(frozen=True)
class AskProduct:
    """The product's name, said back for a yes."""

    product: str


@dataclass(frozen=True)
class ProductChosen:
    """What is mixed from now on."""

    product: str
    is_invented: bool


@dataclass(frozen=True)
class ProductIs:
    """What is mixed, and what else there is a card of."""

    product: str
    others: tuple[str, ...]


@dataclass(frozen=True)
class NoSuchProduct:
    """A name that is on no card at hand."""

    names: tuple[str, ...]


@dataclass(frozen=True)
class CupNotDone:
    """Something is in the cup that belongs to the product before."""

    batch: int


@dataclass(frozen=True)
class AskScaleStep:
    """The scale's smallest step, said back for a yes."""

    step_g: Fraction


@dataclass(frozen=True)
class ScaleStepNoted:
    """Readings are checked against this step from now on."""

    step_g: Fraction


@dataclass(frozen=True)
class NoScaleStep:
    """No scale counts like this."""

    step_g: Fraction


@dataclass(frozen=True)
class AskCoatsPlanned:
    """How many coats there are to be, said back for a yes."""

    coats: int
    area: str


@dataclass(frozen=True)
class CoatsPlanned:
    """How many coats there are to be."""

    coats: int


@dataclass(frozen=True)
class AskLot:
    """A lot number, said back for a yes."""

    component: Component
    lot: str


@dataclass(frozen=True)
class LotNoted:
    """A lot number is in the record."""

    component: Component


@dataclass(frozen=True)
class CupLeft:
    """What is still in a mixed cup."""

    batch: int
    left_g: Fraction
    minutes_left: int
    is_told: bool  # It was told; else it is what was mixed.


@dataclass(frozen=True)
class MoreThanMixed:
    """More is said to be left in a cup than was mixed in it."""

    batch: int
    left_g: Fraction
    mixed_g: Fraction


@dataclass(frozen=True)
class AskNote:
    """What is the note?"""


@dataclass(frozen=True)
class NoteNoted:
    """A note is in the record."""

    words: tuple[str, ...]  # "[unk]" stands for what was not understood.
    has_sound: bool


@dataclass(frozen=True)
class Notes:
    """The notes taken so far."""

    notes: tuple[tuple[str, ...], ...]  # The newest first.


@dataclass(frozen=True)
class Hushed:
    """For so long only what would spoil the work is called."""

    seconds: int


@dataclass(frozen=True)
class HushTooLong:
    """Longer quiet than is safe beside running clocks."""

    seconds: int


@dataclass(frozen=True)
class AskLength:
    """The length of time allows several readings."""


@dataclass(frozen=True)
class PutOffNoted:
    """An announcement comes again later."""

    minutes: int


@dataclass(frozen=True)
class CannotPutOff:
    """Putting it off would be too late."""

    minutes_left: int


@dataclass(frozen=True)
class AcknowledgedReply:
    """An announcement was answered."""

    called: Called


@dataclass(frozen=True)
class NothingToAnswer:
    """No announcement waits for an answer."""


@dataclass(frozen=True)
class Missed:
    """Announcements and questions without an answer."""

    calls: tuple[Call, ...]
    questions: tuple["Reply", ...]


@dataclass(frozen=True)
class VoiceChanged:
    """The voice speaks in another manner."""

    manner: Manner


@dataclass(frozen=True)
class Asleep:
    """Only the wake phrase and danger are listened for."""

    wake_phrase: str


@dataclass(frozen=True)
class Awake:
    """Listening again."""


@dataclass(frozen=True)
class JobDone:
    """The work is over, with the cautions for clearing up."""

    running_cups: tuple[int, ...]


@dataclass(frozen=True)
class AskJobDone:
    """Is the job over?"""


@dataclass(frozen=True)
class ScratchedFact:
    """A fact that was told does not count any more."""

    what: str


@dataclass(frozen=True)
class CallTogether:
    """Several reminders in one announcement, or one that is said again."""

    calls: tuple[Call, ...]
    more: int  # Others that are due.
    is_missed: bool  # The time to act on those named is over.


@dataclass(frozen=True)
class Resumed:
    """After a restart: where things stand, and what fell due meanwhile."""

    cups: tuple[tuple[int, int], ...]  # Cups whose clock runs, and the minutes each has left.
    poured: Balance | None  # A cup that was being poured.
    coat: int | None  # The coat that cures.
    timers: int
    fell_due: tuple[Call, ...]  # The worst first.
    more: int  # Others that fell due.


@dataclass(frozen=True)
class TimeInDoubt:
    """Nobody knows how long the machine was off: what runs may be due already."""

    ahead: tuple[Call, ...]  # The worst first.
    more: int  # Others that run.


@dataclass(frozen=True)
class WallClockSet:
    """The machine's clock was set; what runs is not moved by that."""

    minutes: int
    is_forward: bool


@dataclass(frozen=True)
class WallClockWrong:
    """The machine's clock shows a date that cannot be."""


@dataclass(frozen=True)
class ZoneChanged:
    """Times of day are told in another time zone from now on."""


@dataclass(frozen=True)
class NotSaved:
    """What was told is not on the disk."""


@dataclass(frozen=True)
class SavedAgain:
    """The disk takes the record again, all of it."""


@dataclass(frozen=True)
class RecordIsNewer:
    """The record is of a newer program: it is read, and nothing is added."""


@dataclass(frozen=True)
class RecordCutOff:
    """The last entry was not complete; the last thing told may be missing."""


@dataclass(frozen=True)
class RecordDamaged:
    """Entries within the record cannot be read."""

    lost: int


@dataclass(frozen=True)
class MaySleep:
    """The machine could not be kept from going to sleep."""


RecordReply = (
    Resumed
    | TimeInDoubt
    | WallClockSet
    | WallClockWrong
    | ZoneChanged
    | NotSaved
    | SavedAgain
    | RecordIsNewer
    | RecordCutOff
    | RecordDamaged
    | MaySleep
)
"""What is said of the record, the clocks and a restart; its wording is in ``record_wording``."""

Reply = (
    ReadBack
    | Call
    | Opening
    | AskTotalWanted
    | TotalPlan
    | AskWhichTemperature
    | AskScale
    | ConditionNoted
    | TooColdToCure
    | ConditionUnlikely
    | MayCoat
    | MayNotCoat
    | ConditionsMissing
    | TimesMoved
    | CupAhead
    | CupWarning
    | AskCupWeight
    | CupWeightNoted
    | AskEmptied
    | CupDone
    | FirstCup
    | NoSuchCup
    | CoatStartNoted
    | CoatNoted
    | TapeNoted
    | AskTapeOff
    | TapeOffNoted
    | AskWhichArea
    | NoTape
    | NoCoat
    | FilmNoted
    | RecoatTooEarly
    | RecoatOpen
    | RecoatClosed
    | TapeTime
    | ReadyTimes
    | FilmUnknown
    | TimerNoted
    | TimersLeft
    | AskTimerCanceled
    | AskWhichTimer
    | TimerOff
    | AskNewJob
    | JobOpened
    | CupsStillRun
    | AskProduct
    | ProductChosen
    | ProductIs
    | NoSuchProduct
    | CupNotDone
    | AskScaleStep
    | ScaleStepNoted
    | NoScaleStep
    | AskCoatsPlanned
    | CoatsPlanned
    | AskLot
    | LotNoted
    | CupLeft
    | MoreThanMixed
    | AskNote
    | NoteNoted
    | Notes
    | Hushed
    | HushTooLong
    | AskLength
    | PutOffNoted
    | CannotPutOff
    | AcknowledgedReply
    | NothingToAnswer
    | Missed
    | VoiceChanged
    | Asleep
    | Awake
    | JobDone
    | AskJobDone
    | ScratchedFact
    | AskComponent
    | AskWhichValue
    | AskRunningTotal
    | AskDigits
    | AskSure
    | PourTarget
    | StillToPour
    | AskFinal
    | AskOverPour
    | MixComplete
    | AddToBalance
    | TotalWeight
    | BatchIsTooSmall
    | NotOnThisScale
    | BeyondCapacity
    | NothingOnScale
    | LessThanBefore
    | Scratched
    | NothingToScratch
    | SayItAgain
    | Tared
    | BatchOpened
    | WaitingForReading
    | NotMixedYet
    | ClockStarted
    | AskMixTemperature
    | ClockAssumed
    | ClockRunsAlready
    | ClockUnknown
    | TimeLeft
    | PotLifeOver
    | Balance
    | AskYes
    | NoQuestion
    | NothingSaid
    | WhatCanBeSaid
    | NotUnderstood
    | TooLoud
    | NoSpeech
    | HearingRestarted
    | MicrophoneGone
    | MicrophoneMuted
    | MicrophoneBack
    | RefusedByCard
    | CallTogether
    | RecordReply
)
