"""What is said of the record, the clocks and a restart."""

from fractions import Fraction
from typing import assert_never

from handsfree.language.numbers import say_cardinal, say_digits
from handsfree.language.replies import (
    Balance,
    Call,
    Called,
    MaySleep,
    NotSaved,
    RecordCutOff,
    RecordDamaged,
    RecordIsNewer,
    RecordReply,
    Resumed,
    SavedAgain,
    TimeInDoubt,
    WallClockSet,
    WallClockWrong,
    ZoneChanged,
)
from handsfree.language.times import say_minutes

OF_A_COAT = {
    Called.TAPE_ASK: "the tape of coat {} was to come off",
    Called.TAPE_INSIST: "the tape of coat {} had to come off",
    Called.TAPE_LAST_CALL: "the last call for the tape of coat {} was",
    Called.TACKY_CHECK: "the tacky check of coat {} was due",
    Called.RECOAT_OPENS: "the window after coat {} opened",
    Called.RECOAT_CLOSES_SOON: "the window after coat {} began to close",
    Called.RECOAT_CLOSED: "the window after coat {} closed, so sand it",
    Called.HANDLE: "coat {} was ready to handle",
    Called.SAND: "coat {} was ready to sand",
    Called.USE: "coat {} was ready for use",
    Called.FULL_CURE: "coat {} was fully cured",
}


def say_record(reply: RecordReply) -> str:
    """What is said, ready for the voice: no digits, no symbols, no abbreviations."""
    match reply:
        case Resumed():
            return _resumed(reply)
        case TimeInDoubt(ahead, more):
            start = "I cannot know how long I was off, because the clock was lost."
            if not ahead:
                return start
            things = ", ".join(_thing(call) for call in ahead)
            others = f", and {say_cardinal(more)} more" if more else ""
            return f"{start} It may be time already, check {things}{others}."
        case WallClockSet(minutes, is_forward):
            way = "forward" if is_forward else "back"
            return (
                f"The clock of this machine was set {way} by {say_minutes(minutes)}. "
                "What runs is not moved by that."
            )
        case WallClockWrong():
            return (
                "The date of this machine is wrong, so times of day are too. "
                "Lengths of time are right."
            )
        case ZoneChanged():
            return "The time zone has changed. What runs is not moved by that."
        case NotSaved():
            return "Not saved. The disk does not take the record; I keep the clocks going."
        case SavedAgain():
            return "Saved. The disk takes the record again."
        case RecordIsNewer():
            return "A newer program wrote this record. I can read it, but nothing new is saved."
        case RecordCutOff():
            return "The record was cut off. Check the last thing you told me."
        case RecordDamaged(lost):
            entries = "entries are" if lost != 1 else "entry is"
            return (
                f"The record is damaged, {say_cardinal(lost)} {entries} lost. "
                "Check the cups before you go by me."
            )
        case MaySleep():
            return "I cannot keep this machine awake. Switch its sleep off."
        case _:
            assert_never(reply)


def _resumed(resumed: Resumed) -> str:
    parts = [f"cup {_number(cup)} has {say_minutes(minutes)} left" for cup, minutes in resumed.cups]
    if resumed.poured is not None:
        parts.append(_poured(resumed.poured))
    if resumed.coat is not None:
        parts.append(f"coat {_number(resumed.coat)} is curing")
    if resumed.timers:
        timers = "timers run" if resumed.timers > 1 else "timer runs"
        parts.append(f"{say_cardinal(resumed.timers)} {timers}")
    standing = f"I am back, {', '.join(parts)}." if parts else "I am back."
    if not resumed.fell_due:
        return f"{standing} You missed nothing."
    due = "; ".join(_fell_due(call) for call in resumed.fell_due)
    more = f"; and {say_cardinal(resumed.more)} more" if resumed.more else ""
    return f"{standing} Meanwhile {due}{more}."


def _poured(balance: Balance) -> str:
    parts = [
        f"{say_digits(grams)} of {name}"
        for name, grams in (("resin", balance.resin_g), ("hardener", balance.hardener_g))
        if grams is not None
    ]
    return f"cup {_number(balance.batch)} holds {' and '.join(parts) or 'nothing'}"


def _fell_due(call: Call) -> str:
    late = f", {say_minutes(call.minutes_late)} ago" if call.minutes_late else ", just now"
    if call.called is Called.POT_LIFE:
        if call.percent >= 100:
            return f"the pot life of cup {_number(call.number)} ended{late}"
        return f"cup {_number(call.number)} passed {say_cardinal(call.percent)} percent{late}"
    if call.called is Called.TIMER:
        return f"timer {_number(call.number)} was up{late}"
    return OF_A_COAT[call.called].format(_number(call.number)) + late


def _thing(call: Call) -> str:
    if call.called is Called.POT_LIFE:
        return f"the pot life of cup {_number(call.number)}"
    if call.called is Called.TIMER:
        return f"timer {_number(call.number)}"
    return f"{call.called.value} of coat {_number(call.number)}"


def _number(number: int) -> str:
    return say_digits(Fraction(number))
