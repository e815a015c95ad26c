"""Answers to an open question: a part, yes, no, and taking back."""

from dataclasses import replace
from typing import assert_never

from handsfree.job import pour
from handsfree.job.cups import total_plan
from handsfree.job.dialogue import (
    Candidate,
    ChooseComponent,
    ChooseValue,
    ChooseZero,
    ConfirmFact,
    ConfirmReading,
    TellMixTemperature,
    TellNote,
)
from handsfree.job.events import (
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatsPlanned,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    CupLeft,
    CupWarmed,
    Event,
    FilmFelt,
    JobEnded,
    JobOpened,
    LotTold,
    NoteTaken,
    ProductChosen,
    PutOff,
    ReadingTaken,
    ScaleTared,
    ScaleTold,
    TakenBack,
    TapePulled,
    TapeSet,
    TimerCanceled,
    TimerSet,
    Told,
    TotalWanted,
)
from handsfree.job.opening import product_facts
from handsfree.job.step import Decision, Outcome, Step, answer, fresh_talk
from handsfree.job.weighing import accept, place_reading, weigh
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.numbers import say_cardinal
from handsfree.language.parser import Misheard, Reason
from handsfree.language.replies import Reply

AFTER_NO_LIMIT = 2  # Failures before another way of saying the number is asked for.


def name_component(step: Step, intent: said.NameComponent) -> Decision:
    """The answer to "resin or hardener?"."""
    if isinstance(step.talk.question, ChooseComponent):
        shown_g = step.talk.question.shown_g
        answered = replace(step, talk=replace(step.talk, question=None))
        return place_reading(answered, intent.component, shown_g)
    misheard = Misheard(
        Reason.NO_SENTENCE, (intent.component.value,), has_number=False, has_component=True
    )
    return answer(step, replies.NotUnderstood(misheard), Outcome.REJECTED)


def confirm(step: Step) -> Decision:
    """A yes, to whatever is open."""
    question = step.talk.question
    if question is not None and not step.is_sure:
        # A yes makes a number count: one that noise may have made is not enough.
        return answer(step, replies.AskYes(), Outcome.ASKED)
    match question:
        case ConfirmReading(candidate):
            return accept(step, candidate)
        case ChooseZero(if_yes=candidate):
            return _after_zero(step, candidate)
        case ConfirmFact(fact):
            return _accept_fact(step, fact)
        case ChooseComponent() | ChooseValue() | TellMixTemperature() | TellNote():
            # No yes answers these: the question is said again.
            return answer(step, step.talk.asked or replies.NothingSaid(), Outcome.ASKED)
        case None:
            return answer(step, replies.NoQuestion(), Outcome.REJECTED)
        case _:
            assert_never(question)


def _after_zero(step: Step, reading: Candidate) -> Decision:
    answered = replace(step, talk=replace(step.talk, question=None))
    batch = step.open_batch()
    return weigh(answered, batch, pour.target_of(step.setup.recipe, batch), reading)


def _accept_fact(step: Step, fact: Told) -> Decision:
    events: tuple[Event, ...] = (fact,)
    reply: Reply
    match fact:
        case TotalWanted(batch=number, total_g=total_g):
            if number > len(step.state.batches):
                events = (BatchOpened(step.now, number), fact)
            reply = total_plan(step, total_g)
        case ScaleTared(batch=number, zero_g=zero_g):
            if number > len(step.state.batches):
                events = (BatchOpened(step.now, number), fact)
            reply = replies.CupWeightNoted(-zero_g)
        case CupEmptied(batch=number):
            reply = replies.CupDone(number)
        case TapePulled():
            reply = replies.TapeOffNoted()
        case TimerCanceled(timer=timer):
            reply = replies.TimerOff(timer)
        case JobOpened(job=job):
            reply = replies.JobOpened(job, step.setup.card.name)
        case ProductChosen(product=product):
            events = product_facts(step, fact)
            card = step.setup.shelf.card(product)
            reply = replies.ProductChosen(card.name, card.invented)
        case ScaleTold(step_g=step_g):
            reply = replies.ScaleStepNoted(step_g)
        case CoatsPlanned(coats=coats):
            reply = replies.CoatsPlanned(coats)
        case LotTold(component=component):
            reply = replies.LotNoted(component)
        case JobEnded():
            running = [b.number for b in step.state.batches if b.running_clock is not None]
            reply = replies.JobDone(tuple(running))
        case _:
            raise AssertionError(f"nothing asks whether {fact} is so")
    return answer(step, reply, Outcome.ACCEPTED, events=events, talk=fresh_talk(step))


def deny(step: Step) -> Decision:
    """A no, to whatever is open."""
    match step.talk.question:
        case ChooseZero(if_no=candidate):
            return _after_zero(step, candidate)
        case None:
            return answer(step, replies.NoQuestion(), Outcome.REJECTED)
        case _:
            return _drop_question(step)


def _drop_question(step: Step) -> Decision:
    """The open question is gone and leaves nothing behind, but its value is remembered."""
    refused, question = step.talk.refused, step.talk.question
    talk = replace(step.talk, question=None)
    match question:
        case ConfirmReading(candidate):
            refused = (*refused, candidate.shown_g)
        case ChooseComponent(shown_g):
            refused = (*refused, shown_g)
        case ConfirmFact(fact) if not isinstance(fact, TotalWanted | ScaleTold | LotTold):
            return answer(step, replies.Scratched(None, None), Outcome.ACCEPTED, talk=talk)
        case TellNote():
            return answer(step, replies.Scratched(None, None), Outcome.ACCEPTED, talk=talk)
        case _:
            pass
    reply = replies.AskDigits() if len(refused) >= AFTER_NO_LIMIT else replies.SayItAgain()
    return answer(step, reply, Outcome.ACCEPTED, talk=replace(talk, refused=refused))


def scratch(step: Step) -> Decision:
    """Takes back the open question, or the last fact that was told."""
    if step.talk.question is not None:
        return _drop_question(step)
    last = step.state.last_fact
    if last is None:
        return answer(step, replies.NothingToScratch(), Outcome.REJECTED)
    event = TakenBack(step.now)
    return answer(step, _scratched(last), Outcome.ACCEPTED, events=(event,))


def _scratched(fact: Told) -> Reply:
    match fact:
        case ReadingTaken(component=component, grams=grams):
            return replies.Scratched(component, grams)
        case BatchOpened(batch=number):
            return replies.ScratchedFact(f"cup {say_cardinal(number)}")
        case TotalWanted():
            return replies.ScratchedFact("the wanted total")
        case ScaleTared():
            return replies.ScratchedFact("the tare")
        case ClockStarted(batch=number):
            return replies.ScratchedFact(f"the clock of cup {say_cardinal(number)}")
        case CupWarmed(batch=number):
            return replies.ScratchedFact(f"the warmth of cup {say_cardinal(number)}")
        case CupEmptied(batch=number):
            return replies.ScratchedFact(f"cup {say_cardinal(number)} runs again")
        case ConditionTold(measured=measured):
            return replies.ScratchedFact(f"the {measured.value.partition('_')[0]}")
        case CoatStarted() | CoatFinished():
            return replies.ScratchedFact("the coat")
        case FilmFelt():
            return replies.ScratchedFact("how the coat felt")
        case TapeSet() | TapePulled():
            return replies.ScratchedFact("the tape")
        case TimerSet() | TimerCanceled() | PutOff():
            return replies.ScratchedFact("the reminder")
        case JobOpened():
            return replies.ScratchedFact("the new job")
        case ProductChosen():
            return replies.ScratchedFact("the product")
        case ScaleTold():
            return replies.ScratchedFact("the steps of the scale")
        case CoatsPlanned():
            return replies.ScratchedFact("the coats planned")
        case LotTold(component=component):
            return replies.ScratchedFact(f"the {component.value} lot")
        case CupLeft(batch=number):
            return replies.ScratchedFact(f"what is left in cup {say_cardinal(number)}")
        case NoteTaken():
            return replies.ScratchedFact("the note")
        case JobEnded():
            return replies.ScratchedFact("the end of the job")
        case _:
            assert_never(fact)
