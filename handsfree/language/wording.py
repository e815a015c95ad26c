"""The wording of everything that can be said.

Written for the ear: the number first, digit by digit, at most two sentences, kind without
chatter, and the same fact always in the same words.
"""

from collections.abc import Mapping
from enum import Enum
from fractions import Fraction
from typing import assert_never

from handsfree.core.mix import Component
from handsfree.language.grammar import UNKNOWN_WORD
from handsfree.language.intents import CupSign
from handsfree.language.numbers import DIGIT_WORDS, say_cardinal, say_digits
from handsfree.language.parser import Misheard, Reason
from handsfree.language.record_wording import say_record
from handsfree.language.replies import (
    AcknowledgedReply,
    AddToBalance,
    AskCoatsPlanned,
    AskComponent,
    AskCupWeight,
    AskDigits,
    AskEmptied,
    AskFinal,
    AskJobDone,
    AskLength,
    AskLot,
    AskMixTemperature,
    AskNewJob,
    AskNote,
    AskOverPour,
    AskProduct,
    AskRunningTotal,
    AskScale,
    AskScaleStep,
    AskSure,
    AskTapeOff,
    AskTimerCanceled,
    AskTotalWanted,
    AskWhichArea,
    AskWhichTemperature,
    AskWhichTimer,
    AskWhichValue,
    AskYes,
    Asleep,
    Awake,
    Balance,
    BatchIsTooSmall,
    BatchOpened,
    BeyondCapacity,
    Call,
    Called,
    CallTogether,
    CannotPutOff,
    ClockAssumed,
    ClockRunsAlready,
    ClockStarted,
    ClockUnknown,
    CoatNoted,
    CoatsPlanned,
    CoatStartNoted,
    ConditionNoted,
    ConditionsMissing,
    ConditionUnlikely,
    CupAhead,
    CupDone,
    CupLeft,
    CupNotDone,
    CupsStillRun,
    CupWarning,
    CupWeightNoted,
    FilmNoted,
    FilmUnknown,
    FirstCup,
    HearingRestarted,
    Hushed,
    HushTooLong,
    JobDone,
    JobOpened,
    LessThanBefore,
    LotNoted,
    MayCoat,
    MayNotCoat,
    MicrophoneBack,
    MicrophoneGone,
    MicrophoneMuted,
    Missed,
    MixComplete,
    MoreThanMixed,
    NoCoat,
    NoQuestion,
    NoScaleStep,
    NoSpeech,
    NoSuchCup,
    NoSuchProduct,
    NoTape,
    NoteNoted,
    Notes,
    NothingOnScale,
    NothingSaid,
    NothingToAnswer,
    NothingToScratch,
    NotMixedYet,
    NotOnThisScale,
    NotUnderstood,
    Opening,
    PotLifeOver,
    PourTarget,
    ProductChosen,
    ProductIs,
    PutOffNoted,
    ReadBack,
    ReadyTimes,
    RecoatClosed,
    RecoatOpen,
    RecoatTooEarly,
    RecordReply,
    RefusedByCard,
    Reply,
    SayItAgain,
    ScaleStepNoted,
    Scratched,
    ScratchedFact,
    StillToPour,
    TapeNoted,
    TapeOffNoted,
    TapeTime,
    Tared,
    TimeLeft,
    TimerNoted,
    TimerOff,
    TimersLeft,
    TimesMoved,
    TooColdToCure,
    TooLoud,
    TotalPlan,
    TotalWeight,
    VoiceChanged,
    WaitingForReading,
    WhatCanBeSaid,
)
from handsfree.language.times import say_minutes, say_time

MOST_MISSED = 3  # More than three are not kept in the ear.
SECONDS_PER_MINUTE = 60
CAUTION = (
    "Gloves, eyes and fresh air first: epoxy can make you allergic for life, "
    "and its label and safety data sheet decide."
)


class Level(Enum):
    """How much is said."""

    BRIEF = "brief"
    NORMAL = "normal"
    NEW = "new"  # For somebody who does it for the first time.


# What an old hand need not hear again: only the first sentence is said.
SHORTENED = (PourTarget, TotalPlan, MixComplete, ClockStarted, BatchOpened, MayCoat)
HINTS: Mapping[type[Reply], str] = {
    ReadBack: "Say yes or no.",
    AskFinal: "Say yes or no.",
    AskSure: "Say yes or no.",
    AskOverPour: "Say yes or no.",
    AskTotalWanted: "Say yes or no.",
    AskRunningTotal: "Say yes or no.",
    AskEmptied: "Say yes or no.",
    AskTapeOff: "Say yes or no.",
    StillToPour: "Tell me the next number when you have poured on.",
    WaitingForReading: "For example, resin eight five six grams.",
    Scratched: "Nothing of it is kept.",
    ClockStarted: "Say how long is left, whenever you want to know.",
}


def wording(reply: Reply, level: Level = Level.NORMAL) -> str:
    """What is said, ready for the voice: no digits, no symbols, no abbreviations.

    Args:
        reply: what is to be said.
        level: an old hand hears less, a new one a hint more; numbers and cautions are in all.
    """
    text = _wording(reply)
    if level is Level.BRIEF and isinstance(reply, SHORTENED):
        return f"{text.partition('. ')[0].removesuffix('.')}."
    if level is Level.NEW and type(reply) in HINTS:
        return f"{text} {HINTS[type(reply)]}"
    return text


def _wording(reply: Reply) -> str:
    if isinstance(reply, RecordReply):
        return say_record(reply)
    match reply:
        case ReadBack(component, g):
            return f"{_part(component)} {_grams(g)}. Is that right?"
        case Call():
            return _call(reply)
        case Opening(product, is_invented):
            return f"{_product(product, is_invented)}. {CAUTION}"
        case AskNewJob():
            return "A new job. Is that right?"
        case JobOpened(job, product):
            return f"Job {say_cardinal(job)}, {product}. {CAUTION}"
        case CupsStillRun(batches):
            cups = _listed(tuple(say_digits(Fraction(number)) for number in batches))
            return f"Cup {cups} still runs. Tell me when it is empty, then the new job."
        case AskProduct(product):
            return f"The product is {product}. Is that right?"
        case ProductChosen(product, is_invented):
            return f"{_product(product, is_invented)}. {CAUTION}"
        case ProductIs(product, others):
            end = f" I also know {_listed(others)}." if others else ""
            return f"The product is {product}.{end}"
        case NoSuchProduct(names):
            return f"I have no card of that name. I know {_listed(names)}."
        case CupNotDone(batch):
            return (
                f"Cup {say_digits(Fraction(batch))} is not complete yet. "
                "Complete it or scratch it before the product changes."
            )
        case AskScaleStep(step_g):
            return f"The scale has steps of {_grams(step_g)}. Is that right?"
        case ScaleStepNoted(step_g):
            return f"Steps of {_grams(step_g)}."
        case NoScaleStep(step_g):
            return f"I heard steps of {_grams(step_g)}, which no scale has. Please say it again."
        case AskCoatsPlanned(coats, area):
            where = f" on the {area}" if area else ""
            return f"{_capital(_coats(coats))}{where}. Is that right?"
        case CoatsPlanned(coats):
            return f"{_capital(_coats(coats))} planned."
        case AskLot(component, lot):
            return f"{_part(component)} lot {_digit_words(lot)}. Is that right?"
        case LotNoted(component):
            return f"The {component.value} lot is noted."
        case CupLeft(batch, left_g, minutes_left, is_told):
            cup = f"cup {say_digits(Fraction(batch))}"
            start = f"{_capital(_grams(left_g))} left in {cup}"
            if not is_told:
                mixed = f"{_capital(_grams(left_g))} were mixed in {cup}"
                start = f"{mixed}; you have not told me what is left"
            return f"{start}. Its clock goes on as before, about {say_minutes(minutes_left)}."
        case MoreThanMixed(batch, left_g, mixed_g):
            return (
                f"I heard {say_digits(left_g)}, but only {_grams(mixed_g)} were mixed in cup "
                f"{say_digits(Fraction(batch))}. Please say it again."
            )
        case AskNote():
            return "What is the note?"
        case NoteNoted(words, has_sound):
            return _note_noted(words, has_sound)
        case Notes(notes):
            return _notes(notes)
        case Hushed(seconds):
            return f"Quiet for {_seconds(seconds)}, but for what would spoil the work."
        case HushTooLong(seconds):
            return (
                f"That is too long beside running clocks. I can be quiet for {_seconds(seconds)}."
            )
        case AskTotalWanted(total_g):
            return f"{_capital(_grams(total_g))} in all. Is that right?"
        case TotalPlan(resin_g, hardener_g):
            return (
                f"{_capital(_grams(resin_g))} of resin, then {say_digits(hardener_g)} of hardener. "
                "Pour the resin first and tell me what you have."
            )
        case AskWhichTemperature():
            return "Please say it again with air, surface, or cup."
        case AskScale(degrees):
            return (
                f"{_capital(say_digits(degrees))} degrees celsius or fahrenheit? "
                "Please say it again with its scale."
            )
        case ConditionNoted(what, value, unit, missing):
            end = f" I still need {_listed(missing)}." if missing else ""
            return f"{_capital(what)} {say_digits(value)} {unit}.{end}"
        case TooColdToCure(surface_c):
            return (
                f"Surface {say_digits(surface_c)} degrees. That is too cold to cure; "
                "the coat stands still until it is warmer."
            )
        case ConditionUnlikely(what, value):
            return f"I heard {say_digits(value)} for {what}. Please say it again."
        case MayCoat(margin_k, is_thin):
            start = "That is a thin margin" if is_thin else "The air and the surface allow it"
            return f"{start}. The surface is {say_digits(margin_k)} degrees above the dew point."
        case MayNotCoat(faults, margin_k):
            return (
                f"Do not coat now: {_listed(faults)}. "
                f"The surface is {say_digits(margin_k)} degrees above the dew point."
            )
        case ConditionsMissing(missing):
            return f"I need {_listed(missing)} first."
        case TimesMoved():
            return _times_moved(reply)
        case CupAhead(batch, minutes_left):
            return (
                f"By its warmth cup {say_digits(Fraction(batch))} has "
                f"{say_minutes(minutes_left)} left, or less. Spread it now."
            )
        case CupWarning(sign, batch):
            return _cup_warning(sign, batch)
        case AskCupWeight(cup_g):
            return f"The empty cup weighs {_grams(cup_g)}. Is that right?"
        case CupWeightNoted(cup_g):
            return f"I take {_grams(cup_g)} of cup off what the scale shows."
        case AskEmptied(batch):
            return f"Cup {say_digits(Fraction(batch))} is empty. Is that right?"
        case CupDone(batch):
            return f"Cup {say_digits(Fraction(batch))} is done, its clock has stopped."
        case FirstCup(batch, minutes_left):
            return f"Cup {say_digits(Fraction(batch))} first, {say_minutes(minutes_left)} left."
        case NoSuchCup(batch):
            if batch is None:
                return "No cup runs."
            return f"Cup {say_digits(Fraction(batch))} does not run."
        case CoatStartNoted(coat, warning, area):
            end = f" {_capital(warning)}." if warning else ""
            return f"{_coat(coat, area)} has started.{end}"
        case CoatNoted():
            return _coat_noted(reply)
        case TapeNoted(area):
            return f"Tape{_on(area)} is on. I call when it must come off."
        case AskTapeOff(area):
            return f"The tape{_on(area)} is off. Is that right?"
        case AskWhichArea(areas):
            names = tuple(f"the {area}" if area else "the one without a name" for area in areas)
            return f"{_capital(' or '.join(names))}? Please say it again with the area."
        case TapeOffNoted():
            return "Tape is off."
        case NoTape():
            return "You have not told me of any tape."
        case NoCoat():
            return "You have not told me of a finished coat."
        case FilmNoted(film, next_check_at, now, area):
            end = f" Feel it again at {say_time(next_check_at, now)}." if next_check_at else ""
            return f"The coat{_on(area)} is {film.value}.{end}"
        case RecoatTooEarly(opens_at, now):
            if opens_at is None:
                return "Not yet, and at this temperature it never will be. It is too cold to cure."
            return f"Not yet. The next coat can go on at {say_time(opens_at, now)}."
        case RecoatOpen(closes_at, may_blush, now):
            end = f" The window closes at {say_time(closes_at, now)}." if closes_at else ""
            wash = " It cured cool or damp, so wash it with water first." if may_blush else ""
            return f"The next coat can go on now.{wash}{end}"
        case RecoatClosed():
            return (
                "The window has closed, so the next coat needs sanding first. "
                "Wear a mask for the dust, and wipe it clean."
            )
        case TapeTime(ask_at, last_at, now):
            end = f", and before {say_time(last_at, now)}" if last_at else ""
            return f"The tape comes off from {say_time(ask_at, now)} on{end}."
        case ReadyTimes():
            return _ready_times(reply)
        case FilmUnknown(missing):
            return {
                "coat": "Tell me first when the coat is finished.",
                "surface": "Tell me the surface temperature, then I can tell the times.",
                "card": "The card gives no times for the coat. Go by the data sheet.",
            }[missing]
        case TimerNoted(minutes, due_at, now, name):
            start = f"{name}, in {say_minutes(minutes)}" if name else say_minutes(minutes)
            return f"{_capital(start)}, at {say_time(due_at, now)}."
        case TimersLeft(timers):
            return _timers_left(timers)
        case AskTimerCanceled(timer, name):
            what = f", {name}," if name else ""
            return f"Timer {say_cardinal(timer)}{what} is off. Is that right?"
        case AskWhichTimer(timers):
            if not timers:
                return "No timer runs."
            numbers = _listed(tuple(say_cardinal(number) for number in timers))
            return f"Timer {numbers} run. Please say it again with the number."
        case TimerOff(timer):
            return f"Timer {say_cardinal(timer)} is off."
        case AskLength():
            return "I am not sure how long. Please say it again."
        case PutOffNoted(minutes):
            return f"Again in {say_minutes(minutes)}."
        case CannotPutOff(minutes_left):
            return f"That would be too late, {say_minutes(minutes_left)} are left."
        case AcknowledgedReply(called):
            return f"{_capital(_NAMES[called])}, understood."
        case NothingToAnswer():
            return "Nothing waits for an answer."
        case Missed(calls, questions):
            return _missed(calls, questions)
        case VoiceChanged(manner):
            return f"{_capital(manner.value)}."
        case Asleep(wake_phrase):
            return f"I listen only for {wake_phrase}, and for danger."
        case Awake():
            return "I am listening."
        case AskJobDone():
            return "The job is done. Is that right?"
        case JobDone(running_cups):
            return _job_done(running_cups)
        case ScratchedFact(what):
            return f"Scratched, {what}."
        case AskComponent(g):
            return f"{_capital(_grams(g))}. Resin or hardener?"
        case AskWhichValue(component, values):
            of = f" of {component.value}" if component else ""
            options = ", or ".join(say_digits(value) for value in values)
            return f"I heard {options}{of}. Please say it digit by digit."
        case AskRunningTotal(first, g):
            return f"{_capital(_grams(g))}. Is that together with the {first.value}?"
        case AskDigits(unit):
            return f"I am not sure of the number. Please say it one digit at a time, with {unit}."
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
                f"About {say_minutes(minutes)} for cup {say_digits(Fraction(batch))}. "
                "The clock runs; the label decides."
            )
        case AskMixTemperature():
            return "The clock runs from now. How warm is the mix, in degrees?"
        case ClockAssumed(batch, minutes, mix_c):
            return (
                f"I take {say_digits(mix_c)} degrees for cup {say_digits(Fraction(batch))}: "
                f"{say_minutes(minutes)} left."
            )
        case ClockRunsAlready(batch):
            return f"The clock of cup {say_digits(Fraction(batch))} runs already."
        case ClockUnknown():
            return "The card gives no pot life, so I keep no clock. Go by the label."
        case TimeLeft(batch, minutes):
            return f"About {say_minutes(minutes)} left for cup {say_digits(Fraction(batch))}."
        case PotLifeOver(batch, minutes_late):
            late = f", {say_minutes(minutes_late)} ago" if minutes_late else ""
            return (
                f"Cup {say_digits(Fraction(batch))}. The pot life is over{late}; "
                "do not use the rest."
            )
        case Balance():
            return _balance(reply)
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
        case MicrophoneGone():
            return "The microphone has gone. Plug it in again; the clocks and alarms go on."
        case MicrophoneMuted():
            return "The microphone gives no sound at all. Is it muted?"
        case MicrophoneBack():
            return "I can hear you again."
        case RefusedByCard(sentence):
            return sentence
        case CallTogether(calls, more, is_missed_now):
            start = "Missed. " if is_missed_now else ""
            end = f" And {say_cardinal(more)} more." if more else ""
            return start + " ".join(_call(call) for call in calls) + end
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


def _balance(balance: Balance) -> str:
    cup = f"Cup {say_digits(Fraction(balance.batch))}"
    parts = [
        f"{name} {_grams(g)}"
        for name, g in (("resin", balance.resin_g), ("hardener", balance.hardener_g))
        if g is not None
    ]
    if not parts:
        return f"{cup}. Nothing is in it yet."
    end = "It is complete." if balance.is_complete else "It is not complete yet."
    if balance.minutes_left is not None:
        end = f"{_capital(say_minutes(balance.minutes_left))} left."
    return f"{cup}. {_capital(', '.join(parts))}. {end}"


_NAMES = {
    Called.POT_LIFE: "the pot life",
    Called.TAPE_ASK: "the tape",
    Called.TAPE_INSIST: "the tape",
    Called.TAPE_LAST_CALL: "the tape",
    Called.TACKY_CHECK: "the tacky check",
    Called.RECOAT_OPENS: "the next coat",
    Called.RECOAT_CLOSES_SOON: "the next coat",
    Called.RECOAT_CLOSED: "the recoat window",
    Called.HANDLE: "the coat",
    Called.SAND: "sanding",
    Called.USE: "the coat",
    Called.FULL_CURE: "full cure",
    Called.TIMER: "the timer",
}


def _call(call: Call) -> str:
    """An announcement: the thing, what to do, and how long there is for it."""
    number = say_digits(Fraction(call.number))
    coat = _coat(call.number, call.name)
    late = f" That was {say_minutes(call.minutes_late)} ago." if call.minutes_late else ""
    left = f", {say_minutes(call.minutes_left)} left" if call.minutes_left is not None else ""
    match call.called:
        case Called.POT_LIFE if call.percent >= 100:
            return f"Cup {number}. The pot life is over; do not use the rest.{late}"
        case Called.POT_LIFE:
            share = {50: "Half", 75: "Three quarters", 90: "Nine tenths"}[call.percent]
            return f"Cup {number}. {share} of the pot life is gone{left}."
        case Called.TAPE_ASK:
            return f"{coat}. Pull the tape now{left}."
        case Called.TAPE_INSIST:
            return f"{coat}. The tape must come off now{left}."
        case Called.TAPE_LAST_CALL:
            return f"{coat}. Last call for the tape, pull it now.{late}"
        case Called.TACKY_CHECK:
            return f"{coat}. Feel at the edge whether it is still tacky.{late}"
        case Called.RECOAT_OPENS:
            return f"{coat}. The next coat can go on.{late}"
        case Called.RECOAT_CLOSES_SOON:
            return f"{coat}. The window for the next coat closes soon{left}."
        case Called.RECOAT_CLOSED:
            return f"{coat}. The window has closed; sand before the next coat.{late}"
        case Called.HANDLE:
            return f"{coat}. It can be handled with care.{late}"
        case Called.SAND:
            return f"{coat}. It can be sanded; wear a mask for the dust.{late}"
        case Called.USE:
            return f"{coat}. It is ready for light use.{late}"
        case Called.FULL_CURE:
            return f"{coat}. It has reached full cure.{late}"
        case Called.TIMER:
            name = f" {_capital(call.name)}." if call.name else ""
            return f"Timer {number}.{name} The time is up.{late}"
        case _:
            assert_never(call.called)


def _cup_warning(sign: CupSign, batch: int | None) -> str:
    cup = "The cup" if batch is None else f"Cup {say_digits(Fraction(batch))}"
    match sign:
        case CupSign.WARM:
            return (
                f"{cup} is running away. Spread it now, or stop using it and set it down outside "
                "on concrete."
            )
        case CupSign.THICK:
            return f"{cup} has started to gel. Stop using it; set it outside, open, on concrete."
        case CupSign.SMOKING:
            return (
                "Do not breathe it and do not carry it far. If you can, set it down outside on "
                "concrete, open, away from what burns; else get out and call for help."
            )
        case _:
            assert_never(sign)


def _coat_noted(noted: CoatNoted) -> str:
    start = f"{_coat(noted.coat, noted.area)} is on."
    if noted.never_cures:
        return f"{start} It is too cold: at this temperature it never cures. Warm it up."
    if noted.needs_surface:
        return f"{start} How warm is the surface?"
    parts = []
    if noted.has_tape and noted.tape_at is not None:
        parts.append(f"tape off at {say_time(noted.tape_at, noted.now)}")
    if noted.recoat_at is not None:
        parts.append(f"next coat from {say_time(noted.recoat_at, noted.now)}")
    end = f" {_capital(', '.join(parts))}." if parts else ""
    return f"{start}{end}{' It is the last one planned.' if noted.is_last else ''}"


def _note_noted(words: tuple[str, ...], has_sound: bool) -> str:
    known = " ".join(word for word in words if word != UNKNOWN_WORD)
    kept = " The sound is kept." if has_sound else ""
    if not known:
        missed = "I noted the time" if not has_sound else "Noted"
        return f"{missed}, but understood no word of it.{kept}"
    gap = ", and more that I did not understand" if UNKNOWN_WORD in words else ""
    return f"Noted, {known}{gap}.{kept}"


def _notes(notes: tuple[tuple[str, ...], ...]) -> str:
    if not notes:
        return "There are no notes yet."
    said = [" ".join(word for word in words if word != UNKNOWN_WORD) for words in notes]
    texts = "; ".join(text or "one without words" for text in said[:MOST_MISSED])
    more = len(notes) - MOST_MISSED
    return f"{_capital(texts)}.{f' And {say_cardinal(more)} more.' if more > 0 else ''}"


def _timers_left(timers: tuple[tuple[int, str, int], ...]) -> str:
    if not timers:
        return "No timer runs."
    said = [
        f"{name or f'timer {say_cardinal(number)}'} in {say_minutes(minutes)}"
        for number, name, minutes in timers[:MOST_MISSED]
    ]
    more = len(timers) - MOST_MISSED
    return f"{_capital(', '.join(said))}.{f' And {say_cardinal(more)} more.' if more > 0 else ''}"


def _coat(coat: int, area: str) -> str:
    """The coat by its area and number, at the start of a sentence."""
    number = say_digits(Fraction(coat))
    return f"{_capital(area)}, coat {number}" if area else f"Coat {number}"


def _on(area: str) -> str:
    return f" on the {area}" if area else ""


def _coats(coats: int) -> str:
    return f"{say_cardinal(coats)} {'coat' if coats == 1 else 'coats'}"


def _digit_words(digits: str) -> str:
    return " ".join(DIGIT_WORDS[int(digit)] for digit in digits)


def _seconds(seconds: int) -> str:
    if seconds % SECONDS_PER_MINUTE == 0:
        return say_minutes(seconds // SECONDS_PER_MINUTE)
    return f"{say_cardinal(seconds)} seconds"


def _product(product: str, is_invented: bool) -> str:
    return f"{product}, an invented product" if is_invented else product


def _times_moved(moved: TimesMoved) -> str:
    start = "Warmer now" if moved.is_warmer else "Colder now"
    parts = []
    if moved.tape_at is not None:
        parts.append(f"tape comes off at {say_time(moved.tape_at, moved.now)}")
    if moved.recoat_at is not None:
        parts.append(f"next coat from {say_time(moved.recoat_at, moved.now)}")
    return f"Surface {say_digits(moved.surface_c)} degrees. {start}, {', '.join(parts)}."


def _ready_times(ready: ReadyTimes) -> str:
    parts = [
        f"{name} at {say_time(at, ready.now)}"
        for name, at in (
            ("handle", ready.handle_at),
            ("sand", ready.sand_at),
            ("use", ready.use_at),
        )
        if at is not None
    ]
    if not parts:
        return "At this temperature it never will be. It is too cold to cure."
    return f"{_capital(', '.join(parts))}. The data sheet decides."


def _missed(calls: tuple[Call, ...], questions: tuple[Reply, ...]) -> str:
    said = [_call(call) for call in calls[:MOST_MISSED]]
    said += [wording(question) for question in questions[: MOST_MISSED - len(said)]]
    if not said:
        return "You missed nothing."
    more = len(calls) + len(questions) - len(said)
    end = f" And {say_cardinal(more)} more." if more else ""
    return " ".join(said) + end


def _job_done(running_cups: tuple[int, ...]) -> str:
    start = "The job is done."
    if running_cups:
        numbers = _listed(tuple(say_digits(Fraction(number)) for number in running_cups))
        start = f"The job is done; cup {numbers} still runs, so watch it until it is cold."
    return (
        f"{start} Rags flat outside or in a lidded can, skin with soap and water and never with "
        "solvent."
    )


def _listed(names: tuple[str, ...]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _part(component: Component) -> str:
    return component.value.capitalize()


def _grams(g: Fraction) -> str:
    return f"{say_digits(g)} {'gram' if g == 1 else 'grams'}"


def _off_by(difference_g: Fraction) -> str:
    side = "over" if difference_g > 0 else "under"
    return f"{say_digits(abs(difference_g))} {side}, inside the tolerance"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
