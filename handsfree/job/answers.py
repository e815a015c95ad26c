"""Answers to an open question: a part, yes, no, and taking back."""

from dataclasses import replace
from typing import assert_never

from handsfree.job import pour
from handsfree.job.dialogue import (
    Candidate,
    ChooseComponent,
    ChooseValue,
    ChooseZero,
    ConfirmReading,
    TellMixTemperature,
)
from handsfree.job.events import ReadingTakenBack
from handsfree.job.step import Decision, Outcome, Step, answer
from handsfree.job.weighing import accept, place_reading, weigh
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.parser import Misheard, Reason

AFTER_NO_LIMIT = 2  # Failures before another way of saying the number is asked for.


def name_component(step: Step, intent: said.NameComponent) -> Decision:
    if isinstance(step.talk.question, ChooseComponent):
        shown_g = step.talk.question.shown_g
        answered = replace(step, talk=replace(step.talk, question=None))
        return place_reading(answered, intent.component, shown_g)
    misheard = Misheard(
        Reason.NO_SENTENCE, (intent.component.value,), has_number=False, has_component=True
    )
    return answer(step, replies.NotUnderstood(misheard), Outcome.REJECTED)


def confirm(step: Step) -> Decision:
    if step.talk.question is not None and not step.is_sure:
        # A yes makes a number count: one that noise may have made is not enough.
        return answer(step, replies.AskYes(), Outcome.ASKED)
    match step.talk.question:
        case ConfirmReading(candidate):
            return accept(step, candidate)
        case ChooseZero(if_yes=candidate):
            return _after_zero(step, candidate)
        case ChooseComponent(shown_g):
            return answer(step, replies.AskComponent(shown_g), Outcome.ASKED)
        case ChooseValue(component, values):
            return answer(step, replies.AskWhichValue(component, values), Outcome.ASKED)
        case TellMixTemperature():
            return answer(step, replies.AskMixTemperature(), Outcome.ASKED)
        case None:
            return answer(step, replies.NoQuestion(), Outcome.REJECTED)
        case _:
            assert_never(step.talk.question)


def _after_zero(step: Step, reading: Candidate) -> Decision:
    answered = replace(step, talk=replace(step.talk, question=None))
    batch = step.open_batch()
    return weigh(answered, batch, pour.target_of(step.setup.recipe, batch), reading)


def deny(step: Step) -> Decision:
    match step.talk.question:
        case ChooseZero(if_no=candidate):
            return _after_zero(step, candidate)
        case None:
            return answer(step, replies.NoQuestion(), Outcome.REJECTED)
        case _:
            return _drop_question(step)


def _drop_question(step: Step) -> Decision:
    """The open question is gone and leaves nothing behind, but its value is remembered."""
    refused = step.talk.refused
    match step.talk.question:
        case ConfirmReading(candidate):
            refused = (*refused, candidate.shown_g)
        case ChooseComponent(shown_g):
            refused = (*refused, shown_g)
        case _:
            pass
    talk = replace(step.talk, question=None, refused=refused)
    failures = len(refused)
    reply = replies.AskDigits() if failures >= AFTER_NO_LIMIT else replies.SayItAgain()
    return answer(step, reply, Outcome.ACCEPTED, talk=talk)


def scratch(step: Step) -> Decision:
    if step.talk.question is not None:
        return _drop_question(step)
    batch = step.batch
    if batch is None or not batch.readings:
        return answer(step, replies.NothingToScratch(), Outcome.REJECTED)
    last = batch.readings[-1]
    event = ReadingTakenBack(step.now, batch.number, last.component, last.grams)
    reply = replies.Scratched(last.component, last.grams)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))
