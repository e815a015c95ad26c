"""Everything that can be said: a closed set of frozen types, and their wording.

Written for the ear: the number first, digit by digit, at most two sentences, and the same
fact always in the same words.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import assert_never

from handsfree.core.mix import Component
from handsfree.language.numbers import say_cardinal, say_digits
from handsfree.language.parser import Misheard, Reason


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
class PotLifeWarning:
    """Part of a cup's pot life is over."""

    batch: int
    percent: int
    minutes_left: int


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
class RefusedByCard:
    """A calculation that the card does not allow, in the calculation's own words."""

    sentence: str


Reply = (
    ReadBack
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
    | ClockRunsAlready
    | ClockUnknown
    | TimeLeft
    | PotLifeWarning
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
    | RefusedByCard
)


def wording(reply: Reply) -> str:
    """What is said, ready for the voice: no digits, no symbols, no abbreviations."""
    match reply:
        case ReadBack(component, g):
            return f"{_part(component)} {_grams(g)}. Is that right?"
        case AskComponent(g):
            return f"{_capital(_grams(g))}. Resin or hardener?"
        case AskWhichValue(component, values):
            of = f" of {component.value}" if component else ""
            options = ", or ".join(say_digits(value) for value in values)
            return f"I heard {options}{of}. Please say it digit by digit."
        case AskRunningTotal(first, g):
            return f"{_capital(_grams(g))}. Is that together with the {first.value}?"
        case AskDigits():
            return "I am not sure of the number. Please say it one digit at a time, with grams."
        case AskSure(component, g, expected_g):
            return (
                f"{_part(component)} {_grams(g)}? "
                f"I expected about {say_digits(expected_g)}. Is that right?"
            )
        case PourTarget(component, target_g, low_g, high_g, total_g):
            return (
                f"{_capital(_grams(target_g))} of {component.value}, "
                f"{say_digits(low_g)} to {say_digits(high_g)} is good. "
                f"Without a tare the scale will show {say_digits(total_g)}."
            )
        case StillToPour(_, poured_g, remaining_g):
            return f"{_capital(say_digits(poured_g))}. {_capital(say_digits(remaining_g))} more."
        case AskFinal(component, poured_g, is_on_target, difference_g):
            where = "on target" if is_on_target else _off_by(difference_g)
            return f"{_part(component)} {_grams(poured_g)}, {where}. Is that right?"
        case AskOverPour(component, poured_g, over_g):
            return (
                f"{_part(component)} {_grams(poured_g)}, {say_digits(over_g)} too much. "
                "Is that right?"
            )
        case MixComplete(total_g, has_clock):
            end = " Say mixed when the two parts meet." if has_clock else ""
            return f"{_capital(_grams(total_g))} in all, the mix is complete.{end}"
        case AddToBalance(component, add_g, shown_g, must_stop):
            start = "Do not use it like this. " if must_stop else ""
            return (
                f"{start}Add {_grams(add_g)} of {component.value} to balance it, "
                f"until the scale shows {say_digits(shown_g)}."
            )
        case TotalWeight(total_g, is_complete):
            end = "" if is_complete else " when the mix is complete"
            return f"{_capital(_grams(total_g))} in all{end}."
        case BatchIsTooSmall(least_g, step_g):
            return (
                f"Too little for a scale with steps of {_grams(step_g)}. "
                f"The least that works is {_grams(least_g)} of resin."
            )
        case NotOnThisScale(g, step_g):
            return (
                f"I heard {say_digits(g)}, but the scale has steps of {_grams(step_g)}. "
                "Please say it again."
            )
        case BeyondCapacity(g, capacity_g):
            return (
                f"I heard {say_digits(g)}, but the scale carries only {_grams(capacity_g)}. "
                "Please say it again."
            )
        case NothingOnScale():
            return "I heard zero grams. Please say what the scale shows once something is in."
        case LessThanBefore(component, shown_g, before_g):
            return (
                f"{_part(component)} {say_digits(shown_g)}? "
                f"It was {say_digits(before_g)} before. Is that right?"
            )
        case Scratched(component, g):
            if component is None or g is None:
                return "Scratched."
            return f"Scratched, {component.value} {_grams(g)}."
        case NothingToScratch():
            return "There is nothing to take back."
        case SayItAgain():
            return "Scratched. Please say it digit by digit, with grams."
        case Tared():
            return "The scale counts from zero."
        case BatchOpened(number, product):
            return f"Cup {say_digits(Fraction(number))}, {product}. What does the scale read?"
        case WaitingForReading():
            return "Nothing is on the scale yet. Tell me the resin first."
        case NotMixedYet():
            return "The cup is not complete yet. I start the clock when both parts are in."
        case ClockStarted(batch, minutes):
            return (
                f"About {_minutes(minutes)} for cup {say_digits(Fraction(batch))}. "
                "The clock runs; the label decides."
            )
        case AskMixTemperature():
            return "The clock runs from now. How warm is the mix, in degrees?"
        case ClockRunsAlready(batch):
            return f"The clock of cup {say_digits(Fraction(batch))} runs already."
        case ClockUnknown():
            return "The card gives no pot life, so I keep no clock. Go by the label."
        case TimeLeft(batch, minutes):
            return f"About {_minutes(minutes)} left for cup {say_digits(Fraction(batch))}."
        case PotLifeWarning(batch, percent, minutes_left):
            share = {50: "Half", 75: "Three quarters", 90: "Nine tenths"}[percent]
            return (
                f"Cup {say_digits(Fraction(batch))}. {share} of the pot life is gone, "
                f"about {_minutes(minutes_left)} left."
            )
        case PotLifeOver(batch, minutes_late):
            late = f", {_minutes(minutes_late)} ago" if minutes_late else ""
            return (
                f"Cup {say_digits(Fraction(batch))}. The pot life is over{late}; "
                "do not use the rest."
            )
        case Balance(batch, resin_g, hardener_g, is_complete):
            return _balance(batch, resin_g, hardener_g, is_complete)
        case AskYes():
            return "I am not sure I heard a yes. Please say yes or no again."
        case NoQuestion():
            return "I had no question open."
        case NothingSaid():
            return "I have not said anything yet."
        case WhatCanBeSaid(examples):
            return "You can say, " + "; or ".join(examples) + "."
        case NotUnderstood(misheard):
            return _not_understood(misheard)
        case TooLoud():
            return "That was too loud for the microphone. Please say it again, a little softer."
        case NoSpeech():
            return "I heard no speech."
        case HearingRestarted():
            return "I could not hear for a moment. Please say the last thing again."
        case RefusedByCard(sentence):
            return sentence
        case _:
            assert_never(reply)


def _not_understood(misheard: Misheard) -> str:
    match misheard.reason:
        case Reason.SILENCE:
            return "I heard a voice, but no words."
        case Reason.TOO_LONG:
            return "That was too long for me. Please say one thing at a time."
        case Reason.NUMBER_CUT_OFF:
            return "The number was cut off. Please say all of it, with grams."
        case Reason.NOT_A_NUMBER:
            return "I heard number words, but no number. Please say it digit by digit."
        case Reason.TWO_MEANINGS:
            return "I heard two things at once. Please say one of them."
        case Reason.UNKNOWN_WORDS | Reason.NO_SENTENCE:
            return _what_stood_out(misheard)
        case _:
            assert_never(misheard.reason)


def _what_stood_out(misheard: Misheard) -> str:
    if misheard.has_number and misheard.has_component:
        return "I heard a part and a number, but not all of it. Please say it again."
    if misheard.has_number:
        return "I heard a number, but not all of it. Please say the part, the number, and grams."
    if misheard.has_component:
        return "I heard which part, but no number. Please say it again."
    return "I did not understand that. Say help to hear what you can say."


def _balance(
    batch: int, resin_g: Fraction | None, hardener_g: Fraction | None, is_complete: bool
) -> str:
    cup = f"Cup {say_digits(Fraction(batch))}"
    if resin_g is None and hardener_g is None:
        return f"{cup}. Nothing is in it yet."
    parts = [
        f"{name} {_grams(g)}"
        for name, g in (("resin", resin_g), ("hardener", hardener_g))
        if g is not None
    ]
    end = "It is complete." if is_complete else "It is not complete yet."
    return f"{cup}. {_capital(', '.join(parts))}. {end}"


def _part(component: Component) -> str:
    return component.value.capitalize()


def _grams(g: Fraction) -> str:
    return f"{say_digits(g)} {'gram' if g == 1 else 'grams'}"


def _off_by(difference_g: Fraction) -> str:
    side = "over" if difference_g > 0 else "under"
    return f"{say_digits(abs(difference_g))} {side}, inside the tolerance"


def _minutes(minutes: int) -> str:
    if minutes < 1:
        return "less than a minute"
    return f"{say_cardinal(minutes)} {'minute' if minutes == 1 else 'minutes'}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
