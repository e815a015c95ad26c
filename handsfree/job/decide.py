"""``decide``: from the state and an input, the events and effects that follow."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import assert_never

from handsfree.core.errors import Refusal
from handsfree.core.mix import Component, rounded_to_step
from handsfree.core.potlife import pot_life
from handsfree.job import pour
from handsfree.job.answers import confirm, deny, name_component, scratch
from handsfree.job.boundary import Effect, Heard, HearingLost, Input, Priority, Say, TimePassed
from handsfree.job.dialogue import Talk, TellMixTemperature
from handsfree.job.events import BatchOpened, ClockStarted, Event, ScaleTared, WarningGiven
from handsfree.job.state import WARNING_PERCENTS, State
from handsfree.job.step import Decision, Outcome, Setup, Step, answer
from handsfree.job.weighing import take_reading, what_follows
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.grammar import ROWS, Topic
from handsfree.language.intents import Intent
from handsfree.language.parser import Misheard, Reason, parse
from handsfree.language.replies import Reply

# Of wrong numbers in noise and from strange voices, seven in ten lie below this, and of right
# ones one in five; confidence never accepts anything, it only makes us ask.
SURE_CONFIDENCE = 0.9


def decide(setup: Setup, state: State, talk: Talk, incoming: Input, now: datetime) -> Decision:
    """The events to record and the effects to carry out.

    Args:
        setup: product and scale.
        state: from the recorded events.
        talk: the conversation so far.
        incoming: what happened outside.
        now: the moment of it, UTC.
    """
    match incoming:
        case Heard():
            is_sure = incoming.confidence >= SURE_CONFIDENCE
            decision = _decide_words(Step(setup, state, talk, now, is_sure), incoming)
        case TimePassed():
            decision = _decide_time(Step(setup, state, talk, now))
        case HearingLost():
            decision = answer(
                Step(setup, state, talk, now), replies.HearingRestarted(), Outcome.REJECTED
            )
        case _:
            assert_never(incoming)
    said_replies = [effect.reply for effect in decision.effects]
    if said_replies and not isinstance(decision.intent, said.AskRepeat):
        decision = replace(decision, talk=replace(decision.talk, last=said_replies[-1]))
    return decision


def _decide_words(step: Step, heard: Heard) -> Decision:
    words = heard.words
    meaning: Intent | Misheard = parse(words)
    if heard.is_too_long:
        # Even if the words parse: a radio was on, or the sentence was cut.
        meaning = Misheard(Reason.TOO_LONG, words, has_number=False, has_component=False)
    if isinstance(meaning, Misheard):
        if meaning.reason is Reason.SILENCE:
            return Decision(step.talk, Outcome.IGNORED)
        reply = replies.TooLoud() if heard.is_clipped else replies.NotUnderstood(meaning)
        return answer(step, reply, Outcome.REJECTED)
    return replace(_decide_intent(step, meaning), intent=meaning)


def _decide_intent(step: Step, intent: Intent) -> Decision:
    match intent:
        case said.TakeReading():
            return take_reading(step, intent)
        case said.NameComponent():
            return name_component(step, intent)
        case said.TellTemperature():
            return _tell_temperature(step, intent)
        case said.Confirm():
            return confirm(step)
        case said.Deny():
            return deny(step)
        case said.ScratchThat():
            return scratch(step)
        case said.TareScale():
            return _tare(step)
        case said.OpenBatch():
            return _open_batch(step)
        case said.StartClock():
            return _start_clock(step)
        case said.AskTarget():
            return _tell_target(step)
        case said.AskRemaining():
            return _tell_target(step)
        case said.AskTotal():
            return _tell_total(step)
        case said.AskTimeLeft():
            return _tell_time_left(step)
        case said.AskStatus():
            return _tell_status(step)
        case said.AskRepeat():
            return _repeat(step)
        case said.AskHelp():
            return _help(step)
        case _:
            assert_never(intent)


def _decide_time(step: Step) -> Decision:
    events: list[Event] = []
    effects: list[Effect] = []
    for batch in step.state.batches:
        clock = batch.clock
        if clock is None:
            continue
        due = [
            percent
            for percent in WARNING_PERCENTS
            if percent not in clock.warned and clock.due_at(percent) <= step.now
        ]
        if not due:
            continue
        # Only the latest is said: the earlier ones would tell of time that is over.
        percent = due[-1]
        events.append(WarningGiven(step.now, batch.number, percent))
        left = clock.met_at + clock.pot_life - step.now
        reply: Reply
        if percent == 100:
            reply = replies.PotLifeOver(batch.number, _whole_minutes(-left))
        else:
            reply = replies.PotLifeWarning(batch.number, percent, _whole_minutes(left))
        effects.append(Say(reply, Priority.ALARM))
    return Decision(step.talk, Outcome.ACCEPTED, tuple(events), tuple(effects))


def _whole_minutes(length: timedelta) -> int:
    """Rounded down: what is left is never said longer than it is."""
    return max(0, int(length / timedelta(minutes=1)))


# --- cups and clocks ----------------------------------------------------------------------


def _tare(step: Step) -> Decision:
    batch = step.batch
    if batch is None:
        return answer(step, replies.Tared(), Outcome.ACCEPTED)
    event = ScaleTared(step.now, batch.number, batch.total_g)
    return answer(step, replies.Tared(), Outcome.ACCEPTED, events=(event,))


def _open_batch(step: Step) -> Decision:
    number = len(step.state.batches) + 1
    reply = replies.BatchOpened(number, step.setup.card.name)
    events = (BatchOpened(step.now, number),)
    return answer(step, reply, Outcome.ACCEPTED, events=events, talk=Talk(last=step.talk.last))


def _start_clock(step: Step) -> Decision:
    batch = step.batch
    if batch is None or not pour.is_complete(step.setup.recipe, batch):
        return answer(step, replies.NotMixedYet(), Outcome.REJECTED)
    if batch.clock is not None:
        return answer(step, replies.ClockRunsAlready(batch.number), Outcome.REJECTED)
    if step.setup.card.pot_life is None:
        return answer(step, replies.ClockUnknown(), Outcome.REJECTED)
    talk = replace(step.talk, question=TellMixTemperature(batch.number, step.now))
    return answer(step, replies.AskMixTemperature(), Outcome.ASKED, talk=talk)


def _tell_temperature(step: Step, intent: said.TellTemperature) -> Decision:
    question = step.talk.question
    label = step.setup.card.pot_life
    if not isinstance(question, TellMixTemperature) or label is None:
        return answer(step, replies.NoQuestion(), Outcome.REJECTED)
    if len(intent.celsius) > 1:
        return answer(step, replies.AskDigits(), Outcome.ASKED)
    mix_c = intent.celsius[0]
    batch = step.state.batch(question.batch)
    try:
        life = pot_life(label, batch_g=float(batch.total_g), mix_c=float(mix_c))
    except Refusal as refusal:
        return answer(step, replies.RefusedByCard(str(refusal)), Outcome.REJECTED)
    length = timedelta(minutes=life.minutes)
    event = ClockStarted(step.now, batch.number, question.met_at, mix_c, length)
    reply = replies.ClockStarted(batch.number, _whole_minutes(length))
    talk = replace(step.talk, question=None)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,), talk=talk)


# --- questions asked of us ----------------------------------------------------------------


def _tell_target(step: Step) -> Decision:
    batch = step.batch
    if batch is None or not batch.readings:
        return answer(step, replies.WaitingForReading(), Outcome.REJECTED)
    return answer(step, what_follows(step, batch), Outcome.ACCEPTED)


def _tell_total(step: Step) -> Decision:
    batch = step.batch
    if batch is None or not batch.readings:
        return answer(step, replies.WaitingForReading(), Outcome.REJECTED)
    target = pour.target_of(step.setup.recipe, batch)
    total_g = batch.total_g
    if target is not None:
        total_g = batch.grams_of(pour.other(target.component)) + target.grams
    rounded = rounded_to_step(total_g, step.setup.scale.step_g)
    return answer(step, replies.TotalWeight(rounded, is_complete=target is None), Outcome.ACCEPTED)


def _tell_time_left(step: Step) -> Decision:
    running = [batch for batch in step.state.batches if batch.clock is not None]
    if not running:
        return answer(step, replies.NotMixedYet(), Outcome.REJECTED)
    batch = running[-1]
    assert batch.clock is not None
    left = batch.clock.met_at + batch.clock.pot_life - step.now
    reply: Reply = replies.TimeLeft(batch.number, _whole_minutes(left))
    if left <= timedelta():
        reply = replies.PotLifeOver(batch.number, _whole_minutes(-left))
    return answer(step, reply, Outcome.ACCEPTED)


def _tell_status(step: Step) -> Decision:
    batch = step.batch
    if batch is None:
        return answer(step, replies.WaitingForReading(), Outcome.ACCEPTED)
    reply = replies.Balance(
        batch.number,
        batch.grams_of(Component.RESIN) or None,
        batch.grams_of(Component.HARDENER) or None,
        pour.is_complete(step.setup.recipe, batch),
    )
    return answer(step, reply, Outcome.ACCEPTED)


def _repeat(step: Step) -> Decision:
    reply = step.talk.last or replies.NothingSaid()
    return answer(step, reply, Outcome.ACCEPTED)


HELP_TOPICS = (Topic.READINGS, Topic.AMOUNTS, Topic.CUPS, Topic.ANSWERS)


def _help(step: Step) -> Decision:
    """One example of each topic: a voice menu of everything would take a minute."""
    first = {topic: next(row for row in ROWS if row.topic is topic) for topic in HELP_TOPICS}
    examples = tuple(row.example for row in first.values())
    return answer(step, replies.WhatCanBeSaid(examples), Outcome.ACCEPTED)
