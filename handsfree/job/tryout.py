"""The guide of the try-out: it watches the real dialogue, and says what comes next."""

from dataclasses import dataclass
from fractions import Fraction

from handsfree.core.mix import Component, rounded_to_step
from handsfree.job import pour
from handsfree.job.boundary import Heard, Input
from handsfree.job.dialogue import ConfirmReading, TellMixTemperature
from handsfree.job.state import State
from handsfree.job.step import Decision, Outcome, Setup
from handsfree.language import intents as said
from handsfree.language.numbers import say_digits
from handsfree.language.replies import Call
from handsfree.language.tryout_wording import (
    Finished,
    Hint,
    Instruct,
    Lesson,
    OfferSkip,
    Remark,
)

LESSONS = tuple(Lesson)
# Words that do not fit happen to everybody; a second time a hint helps, later a way out.
HINT_AFTER, SKIP_AFTER = 2, 4
# Of resin, for a practice and for the cup; no round numbers, so that digits have to be said.
_PRACTICE_G, _CUP_G = Fraction(111), Fraction(203)
_EXAMPLES = {
    Lesson.NO: "no",
    Lesson.YES: "yes",
    Lesson.TARE: "tare",
    Lesson.SCRATCH: "scratch that",
    Lesson.MIXED: "mixed",
    Lesson.WARMTH: "two two degrees",
    Lesson.LEFT: "how long is left",
    Lesson.TIMER: "remind me in twenty seconds",
    Lesson.GOT_IT: "understood",  # Of the two it is heard better.
}


@dataclass(frozen=True)
class Guide:
    """How far the person is."""

    lesson: Lesson | None = Lesson.WAKE  # None: all is done.
    misses: int = 0  # Words in this lesson that did not fit.


def instruction(guide: Guide, setup: Setup, state: State, *, is_first: bool = False) -> Remark:
    """What to say in the lesson at hand."""
    if guide.lesson is None:
        return Finished()
    return Instruct(guide.lesson, example(guide.lesson, setup, state), not is_first)


def example(lesson: Lesson, setup: Setup, state: State) -> str:
    """What may be said in a lesson; empty where the call is waited for."""
    match lesson:
        case Lesson.WAKE:
            return " ".join(setup.wake_phrases[0])
        case Lesson.PRACTICE:
            return _reading(Component.RESIN, _PRACTICE_G, setup)
        case Lesson.RESIN:
            return _reading(Component.RESIN, _CUP_G, setup)
        case Lesson.HALF | Lesson.POUR:
            return _pour_example(setup, state, is_half=lesson is Lesson.HALF)
        case _:
            return _EXAMPLES.get(lesson, "")


def _pour_example(setup: Setup, state: State, *, is_half: bool) -> str:
    batch = state.open_batch
    target = None if batch is None else pour.target_of(setup.recipe, batch)
    if target is None:
        return _reading(Component.HARDENER, _CUP_G / 2, setup)
    return _reading(target.component, target.grams / 2 if is_half else target.grams, setup)


def _reading(component: Component, grams: Fraction, setup: Setup) -> str:
    """A reading as the scale can show it."""
    shown_g = rounded_to_step(grams, setup.scale.step_g)
    return f"{component.value} {say_digits(shown_g)} grams"


def follow(
    guide: Guide, incoming: Input, decision: Decision, setup: Setup, state: State
) -> tuple[Guide, tuple[Remark, ...]]:
    """Where the guide stands after a decision of the dialogue, and what it says.

    Args:
        guide: before.
        incoming: what happened.
        decision: what the dialogue made of it.
        setup: product and scale.
        state: with the decision's events.
    """
    start = guide.lesson
    lesson = start
    while lesson is not None and _is_done(lesson, decision, setup, state):
        lesson = _next(lesson)
    if lesson is Lesson.YES and decision.talk.question is None:
        lesson = Lesson.RESIN  # It was a no: the reading is said again.
    if lesson is not start:
        moved = Guide(lesson)
        is_back = lesson is Lesson.RESIN and start in (Lesson.YES, Lesson.RESIN)
        return moved, (instruction(moved, setup, state, is_first=is_back),)
    if not isinstance(incoming, Heard) or decision.outcome in (Outcome.ACCEPTED, Outcome.ASKED):
        return guide, ()
    guide = Guide(lesson, guide.misses + 1)
    words = "" if lesson is None else example(lesson, setup, state)
    if guide.misses % SKIP_AFTER == 0:
        return guide, (OfferSkip(words),) if words else ()
    # Asleep the dialogue itself says nothing to what does not wake it.
    is_silent = guide.misses == 1 and not decision.said
    if is_silent or guide.misses % HINT_AFTER == 0:
        return guide, (Hint(words),)
    return guide, ()


def _is_done(lesson: Lesson, decision: Decision, setup: Setup, state: State) -> bool:
    """Whether a lesson was learned, or what it leads to is there by another way."""
    batch, question = state.open_batch, decision.talk.question
    has_first = batch is not None and bool(batch.readings)
    has_both = batch is not None and all(batch.grams_of(part) for part in Component)
    is_complete = batch is not None and pour.is_complete(setup.recipe, batch)
    match lesson:
        case Lesson.WAKE:
            return not decision.talk.is_asleep
        case Lesson.PRACTICE | Lesson.RESIN:
            return isinstance(question, ConfirmReading) or has_first
        case Lesson.NO:
            return isinstance(decision.intent, said.Deny | said.ScratchThat) or has_first
        case Lesson.YES:
            return has_first
        case Lesson.TARE:
            return isinstance(decision.intent, said.TareScale) or has_both
        case Lesson.HALF:
            return has_both
        case Lesson.SCRATCH:
            return isinstance(decision.intent, said.ScratchThat) or is_complete
        case Lesson.POUR:
            return is_complete
        case Lesson.MIXED:
            return isinstance(question, TellMixTemperature) or _has_clock(state)
        case Lesson.WARMTH:
            return not isinstance(question, TellMixTemperature) and _has_clock(state)
        case Lesson.LEFT:
            return isinstance(decision.intent, said.AskTimeLeft)
        case Lesson.TIMER:
            return bool(state.timers)
        case Lesson.CALL:
            return any(isinstance(say.reply, Call) for say in decision.said)
        case Lesson.GOT_IT:
            return isinstance(decision.intent, said.Acknowledge)


def _has_clock(state: State) -> bool:
    return any(batch.running_clock is not None for batch in state.batches)


def _next(lesson: Lesson) -> Lesson | None:
    after = LESSONS.index(lesson) + 1
    return LESSONS[after] if after < len(LESSONS) else None


def sentences_for(lesson: Lesson, setup: Setup, state: State) -> tuple[str, ...]:
    """What is said in the person's place when a lesson is skipped, one after another."""
    words = example(lesson, setup, state)
    if lesson is Lesson.POUR:
        return (words, "yes")
    return (words,) if words else ()


def skipped(guide: Guide, setup: Setup, state: State) -> tuple[Guide, Remark]:
    """The guide after a lesson that was skipped, its sentences said."""
    assert guide.lesson is not None
    moved = Guide(_next(guide.lesson))
    return moved, instruction(moved, setup, state, is_first=True)
