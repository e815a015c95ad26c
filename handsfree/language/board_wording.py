"""What the board shows, for the eye: figures with units, a few words, and no sentences to hear."""

from datetime import datetime
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.language.replies import (
    AskComponent,
    AskCupWeight,
    AskDigits,
    AskEmptied,
    AskFinal,
    AskJobDone,
    AskMixTemperature,
    AskOverPour,
    AskRunningTotal,
    AskSure,
    AskTapeOff,
    AskTotalWanted,
    AskWhichValue,
    Called,
    LessThanBefore,
    ReadBack,
    Reply,
)
from handsfree.language.wording import wording

YES_OR_NO = ("yes", "no")
SHARES = {50: "Half", 75: "Three quarters", 90: "Nine tenths"}
CALLED = {
    Called.TAPE_ASK: "Pull the tape now",
    Called.TAPE_INSIST: "The tape must come off now",
    Called.TAPE_LAST_CALL: "Last call: pull the tape",
    Called.TACKY_CHECK: "Feel at the edge: still tacky?",
    Called.RECOAT_OPENS: "The next coat can go on",
    Called.RECOAT_CLOSES_SOON: "Next coat: the window closes soon",
    Called.RECOAT_CLOSED: "The window has closed: sand first",
    Called.HANDLE: "Can be handled with care",
    Called.SAND: "Can be sanded: wear a dust mask",
    Called.USE: "Ready for light use",
    Called.FULL_CURE: "Full cure reached",
    Called.TIMER: "The time is up",
}
AHEAD = {
    Called.TAPE_ASK: "tape off",
    Called.TAPE_INSIST: "tape off",
    Called.TAPE_LAST_CALL: "tape off, last call",
    Called.TACKY_CHECK: "feel whether it is tacky",
    Called.RECOAT_OPENS: "next coat from",
    Called.RECOAT_CLOSES_SOON: "recoat window closes soon",
    Called.RECOAT_CLOSED: "recoat window closes",
    Called.HANDLE: "handle with care",
    Called.SAND: "sand",
    Called.USE: "light use",
    Called.FULL_CURE: "full cure",
    Called.TIMER: "reminder",
}


def number_text(value: Fraction) -> str:
    """A number as a scale shows it, such as "856" or "12.5"."""
    return f"{float(value):.10g}"


def grams_text(grams: Fraction) -> str:
    """A mass with its unit."""
    return f"{number_text(grams)} g"


def time_text(moment: datetime, now: datetime) -> str:
    """A time of day, with the day where it is not today: "14:05", "tomorrow 09:30", "Fri 09:30".

    Args:
        moment, now: in the zone of the listener.
    """
    days = (moment.date() - now.date()).days
    time = f"{moment:%H:%M}"
    if days == 0:
        return time
    if days == 1:
        return f"tomorrow {time}"
    return f"{moment:%a} {time}" if 0 < days < 7 else f"{moment:%d %b} {time}"


def called_text(called: Called, percent: int) -> str:
    """What an announcement says to do or to know."""
    if called is not Called.POT_LIFE:
        return CALLED[called]
    if percent >= 100:
        return "Pot life over: do not use the rest"
    return f"{SHARES[percent]} of the pot life is gone"


def ahead_text(called: Called) -> str:
    """What a clock runs to."""
    return "pot life" if called is Called.POT_LIFE else AHEAD[called]


def name_text(called: Called, number: int, name: str = "") -> str:
    """What an announcement or a clock is of: a cup, the coat of an area, or a timer.

    Args:
        called: what it calls out.
        number: of the cup, the coat or the timer.
        name: of the area or the timer; empty: it has none.
    """
    if called is Called.POT_LIFE:
        return cup_text(number)
    named = name[:1].upper() + name[1:]
    if called is Called.TIMER:
        return named or f"Timer {number}"
    return f"{named}, coat {number}" if name else f"Coat {number}"


def cup_text(number: int) -> str:
    """A cup's name."""
    return f"Cup {number}"


def reading_text(component: Component, grams: Fraction) -> str:
    """A part and its mass."""
    return f"{component.value.capitalize()} {grams_text(grams)}"


def question_text(asked: Reply) -> tuple[str, tuple[str, ...]]:
    """A question and what may be said to it; in the words of the voice where none are here."""
    match asked:
        case ReadBack(component, grams):
            return f"{reading_text(component, grams)}?", YES_OR_NO
        case AskComponent(grams):
            return f"{grams_text(grams)} of what?", ("resin", "hardener")
        case AskWhichValue(component, values):
            of = f" of {component.value}" if component else ""
            options = " or ".join(number_text(value) for value in values)
            return f"{options} g{of}?", ("say it digit by digit",)
        case AskRunningTotal(first, shown_g):
            return f"{grams_text(shown_g)} together with the {first.value}?", YES_OR_NO
        case AskDigits(unit):
            return "Which number?", (f"say it digit by digit, with {unit}",)
        case AskSure(component, grams, expected_g):
            about = f"About {grams_text(expected_g)} was expected."
            return f"{reading_text(component, grams)}? {about}", YES_OR_NO
        case AskFinal(component, poured_g, is_on_target, difference_g):
            side = "over" if difference_g > 0 else "under"
            where = "on target"
            if not is_on_target:
                where = f"{grams_text(abs(difference_g))} {side}, inside the tolerance"
            return f"{reading_text(component, poured_g)}, {where}?", YES_OR_NO
        case AskOverPour(component, poured_g, over_g):
            what = f"{reading_text(component, poured_g)}, {grams_text(over_g)} too much?"
            return what, YES_OR_NO
        case LessThanBefore(component, shown_g, before_g):
            before = f"It was {grams_text(before_g)} before."
            return f"{reading_text(component, shown_g)}? {before}", YES_OR_NO
        case AskTotalWanted(total_g):
            return f"{grams_text(total_g)} in all?", YES_OR_NO
        case AskCupWeight(cup_g):
            return f"Empty cup {grams_text(cup_g)}?", YES_OR_NO
        case AskEmptied(batch):
            return f"{cup_text(batch)} is empty?", YES_OR_NO
        case AskTapeOff():
            return "The tape is off?", YES_OR_NO
        case AskJobDone():
            return "The job is done?", YES_OR_NO
        case AskMixTemperature():
            return "How warm is the mix?", ("say the degrees",)
        case _:
            return wording(asked), ()
