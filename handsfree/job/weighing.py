"""Readings of the scale: which part, what it counts, and what follows from it."""

from dataclasses import replace
from fractions import Fraction

from handsfree.core.mix import Band, Component, band_of, rounded_to_step
from handsfree.job import pour
from handsfree.job.dialogue import (
    Candidate,
    ChooseComponent,
    ChooseValue,
    ChooseZero,
    ConfirmReading,
    Talk,
)
from handsfree.job.events import BatchOpened, Event, ReadingTaken, TakenBack
from handsfree.job.state import Batch, evolve
from handsfree.job.step import Decision, Outcome, Step, answer, fresh_talk
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.numbers import Form
from handsfree.language.replies import Reply


def take_reading(step: Step, intent: said.TakeReading) -> Decision:
    last = step.state.last_fact
    if intent.is_correction and step.talk.question is None and isinstance(last, ReadingTaken):
        return _correct(step, intent)
    values = tuple(mass.grams for mass in intent.masses)
    if len(values) > 1:
        question = ChooseValue(intent.component, values)
        reply = replies.AskWhichValue(intent.component, values)
        return answer(step, reply, Outcome.ASKED, talk=replace(step.talk, question=question))
    shown_g = values[0]
    refusal = _refused_by_scale(step.setup.scale, shown_g)
    if refusal is not None:
        return answer(step, refusal, Outcome.REJECTED)
    if shown_g in step.talk.refused:
        # The same value again after a no: the ear may be stuck, so another way is asked for
        # once. Said yet again it is offered, for the no may have been the mistake.
        refused = tuple(value for value in step.talk.refused if value != shown_g)
        talk = replace(step.talk, refused=refused)
        return answer(step, replies.AskDigits(), Outcome.ASKED, talk=talk)
    component = intent.component or _component_of_question(step.talk)
    step = replace(step, is_sure=step.is_sure and _is_plain(intent))
    return place_reading(step, component, shown_g)


def _correct(step: Step, intent: said.TakeReading) -> Decision:
    """A reading in place of the last accepted one, which is taken back by a new event."""
    taken_back = TakenBack(step.now)
    before = replace(step, state=evolve(step.state, taken_back))
    decision = take_reading(before, replace(intent, is_correction=False))
    if decision.outcome is Outcome.REJECTED:
        return decision
    return replace(decision, events=(taken_back, *decision.events))


def _is_plain(intent: said.TakeReading) -> bool:
    """Whether the number was said in a form that is seldom mistaken.

    Teens and tens sound alike, pairs run together, and a single digit without its unit is
    what noise makes most easily.
    """
    mass = intent.masses[0]
    is_bare_digit = mass.grams < 10 and not mass.has_unit
    return not (intent.has_sound_alike or mass.form is Form.PAIR or is_bare_digit)


def _component_of_question(talk: Talk) -> Component | None:
    """The part that an open question is about: a bare number answers it."""
    match talk.question:
        case ConfirmReading(candidate):
            return candidate.component
        case ChooseZero(if_yes=candidate):
            return candidate.component
        case ChooseValue(component=component):
            return component
        case _:
            return None


def _refused_by_scale(scale: pour.Scale, shown_g: Fraction) -> Reply | None:
    if shown_g == 0:
        return replies.NothingOnScale()
    if not scale.can_show(shown_g):
        return replies.NotOnThisScale(shown_g, scale.step_g)
    if shown_g > scale.capacity_g:
        return replies.BeyondCapacity(shown_g, scale.capacity_g)
    return None


def place_reading(step: Step, component: Component | None, shown_g: Fraction) -> Decision:
    """Works out which part a number is of and what it counts, or asks."""
    batch = step.open_batch()
    target = pour.target_of(step.setup.recipe, batch)
    if component is None:
        if target is None:
            return _ask_component(step, shown_g)
        component = target.component
    if target is not None and component is target.component:
        small = too_small(step, batch, target)
        if small is not None:
            return answer(step, small, Outcome.REJECTED)
    zero_g = batch.zero_g
    if zero_g is None and batch.grams_of(pour.other(component)):
        return _find_zero(step, batch, target, component, shown_g)
    reading = pour.candidate(batch, component, shown_g, zero_g or Fraction(0))
    return weigh(step, batch, target, reading)


def _ask_component(step: Step, shown_g: Fraction) -> Decision:
    talk = replace(step.talk, question=ChooseComponent(shown_g))
    return answer(step, replies.AskComponent(shown_g), Outcome.ASKED, talk=talk)


def _find_zero(
    step: Step,
    batch: Batch,
    target: pour.Target | None,
    component: Component,
    shown_g: Fraction,
) -> Decision:
    """The first number of the second part: was the scale zeroed in between?"""
    running = pour.candidate(batch, component, shown_g, Fraction(0))
    tared = pour.candidate(batch, component, shown_g, batch.total_g)
    if not pour.is_credible(batch, target, running):
        return weigh(step, batch, target, tared)
    question = ChooseZero(if_yes=running, if_no=tared)
    reply = replies.AskRunningTotal(pour.other(component), shown_g)
    return answer(step, reply, Outcome.ASKED, talk=replace(step.talk, question=question))


def weigh(step: Step, batch: Batch, target: pour.Target | None, reading: Candidate) -> Decision:
    """Takes a reading whose part and zero are known: accepts progress, asks for the rest."""
    if reading.grams <= 0 or reading.grams < batch.grams_of(reading.component):
        before_g = max(batch.grams_of(reading.component), Fraction(0))
        expected_g = before_g + reading.shown_g - reading.grams
        reply: Reply = replies.LessThanBefore(reading.component, reading.shown_g, expected_g)
        if reading.grams <= 0:
            return answer(step, reply, Outcome.REJECTED)
        return _ask_reading(step, reading, reply)
    if target is None or reading.component is not target.component:
        return _ask_first(step, batch, reading)
    if not pour.is_credible(batch, target, reading):
        expected_g = rounded_to_step(target.grams, step.setup.scale.step_g)
        reply = replies.AskSure(reading.component, reading.grams, expected_g)
        return _ask_reading(step, reading, reply)
    return _progress(step, batch, target, reading)


def _ask_first(step: Step, batch: Batch, reading: Candidate) -> Decision:
    """A number that sets a target is always said back for a yes."""
    earlier = [done.grams_of(reading.component) for done in step.state.batches[:-1]]
    usual_g = next((grams for grams in reversed(earlier) if grams), None)
    reply: Reply = replies.ReadBack(reading.component, reading.grams)
    if usual_g is not None and not batch.readings and pour.off_by_ten(reading.grams, usual_g):
        reply = replies.AskSure(reading.component, reading.grams, usual_g)
    return _ask_reading(step, reading, reply)


def _progress(step: Step, batch: Batch, target: pour.Target, reading: Candidate) -> Decision:
    recipe, step_g = step.setup.recipe, step.setup.scale.step_g
    error = pour.error_with(recipe, batch, reading.component, reading.grams)
    band = band_of(error, recipe.tolerance)
    difference_g = reading.grams - rounded_to_step(target.grams, step_g)
    if band in (Band.ON_TARGET, Band.WITHIN_TOLERANCE):
        reply: Reply = replies.AskFinal(
            reading.component, reading.grams, band is Band.ON_TARGET, difference_g
        )
        return _ask_reading(step, reading, reply)
    if reading.grams > target.grams:
        if pour.is_first_part_open(batch):
            # More resin than the wanted total needs only makes a larger mix.
            return _ask_first(step, batch, reading)
        reply = replies.AskOverPour(reading.component, reading.grams, difference_g)
        return _ask_reading(step, reading, reply)
    if not step.is_sure or step.is_noisy:
        reply = replies.ReadBack(reading.component, reading.grams)
        return _ask_reading(step, reading, reply)
    event = _reading_taken(step, batch, reading, is_confirmed=False)
    reply = replies.StillToPour(reading.component, reading.grams, -difference_g)
    talk = replace(step.talk, question=None)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,), talk=talk)


def _ask_reading(step: Step, reading: Candidate, reply: Reply) -> Decision:
    talk = replace(step.talk, question=ConfirmReading(reading))
    return answer(step, reply, Outcome.ASKED, talk=talk)


def _reading_taken(
    step: Step, batch: Batch, reading: Candidate, *, is_confirmed: bool
) -> ReadingTaken:
    return ReadingTaken(
        step.now,
        batch.number,
        reading.component,
        reading.grams,
        reading.shown_g,
        reading.zero_g,
        is_confirmed,
    )


def accept(step: Step, reading: Candidate) -> Decision:
    """A yes was given: records the reading and says what follows."""
    events: list[Event] = []
    if step.batch is None:
        events.append(BatchOpened(step.now, 1))
    batch = step.open_batch()
    events.append(_reading_taken(step, batch, reading, is_confirmed=True))
    state = step.state
    for event in events:
        state = evolve(state, event)
    after = state.batch(batch.number)
    talk = fresh_talk(step)
    reply = what_follows(step, after)
    return answer(step, reply, Outcome.ACCEPTED, events=tuple(events), talk=talk)


def too_small(step: Step, batch: Batch, target: pour.Target) -> Reply | None:
    """Why the scale is too coarse for so little, with the least that works; None when not."""
    scale = step.setup.scale
    refusal = pour.too_small(step.setup.recipe, target, batch, scale)
    if refusal is None:
        return None
    # Rounded up: the exact least is no number this scale can show.
    least_g = -(-refusal.least_resin_g // scale.step_g) * scale.step_g
    return replies.BatchIsTooSmall(least_g, scale.step_g)


def what_follows(step: Step, batch: Batch) -> Reply:
    """What is said once a reading counts: the target, the correction, or that it is done."""
    recipe, scale = step.setup.recipe, step.setup.scale
    target = pour.target_of(recipe, batch)
    if target is None:
        return replies.MixComplete(batch.total_g, step.setup.card.pot_life is not None)
    small = too_small(step, batch, target)
    if small is not None:
        return small
    if not batch.grams_of(target.component) and not pour.is_first_part_open(batch):
        low_g, high_g = pour.good_range_g(recipe, target, scale.step_g)
        target_g = rounded_to_step(target.grams, scale.step_g)
        # A cup that was not zeroed stands on the scale as well.
        cup_g = max(-(batch.zero_g or Fraction(0)), Fraction(0))
        running_g = batch.total_g + target_g + cup_g
        return replies.PourTarget(target.component, target_g, low_g, high_g, running_g)
    last = batch.readings[-1]
    target_g = rounded_to_step(target.grams, scale.step_g)
    if target.component is last.component:
        return replies.StillToPour(last.component, last.grams, target_g - last.grams)
    error = pour.error_with(recipe, batch, last.component, last.grams)
    return replies.AddToBalance(
        target.component,
        target_g - batch.grams_of(target.component),
        pour.shown_at(batch, replace(target, grams=target_g), last.zero_g),
        must_stop=band_of(error, recipe.tolerance) is Band.STOP,
    )
