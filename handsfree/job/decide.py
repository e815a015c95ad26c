"""``decide``: from the state and an input, the events and effects that follow."""

from dataclasses import replace
from datetime import datetime
from typing import assert_never

from handsfree.core.mix import Component, rounded_to_step
from handsfree.job import pour
from handsfree.job.answers import confirm, deny, name_component, scratch
from handsfree.job.boundary import (
    AdjustVoice,
    Effect,
    Heard,
    HearingLost,
    Input,
    Opened,
    Pressed,
    TimePassed,
)
from handsfree.job.calls import (
    acknowledge,
    acknowledge_pressed,
    announce,
    put_off,
    question_deadline,
    set_timer,
    tell_missed,
)
from handsfree.job.cups import (
    empty_cup,
    open_batch,
    report_cup,
    start_clock,
    tare,
    tell_cup_weight,
    tell_first_cup,
    tell_temperature,
    tell_time_left,
    total_plan,
    want_total,
)
from handsfree.job.dialogue import Talk
from handsfree.job.events import Measured
from handsfree.job.facts import (
    end_job,
    feel_film,
    finish_coat,
    pull_tape,
    set_tape,
    start_coat,
    tell_condition,
    tell_ready,
    tell_recoat,
    tell_tape,
    tell_verdict,
)
from handsfree.job.reminders import next_deadline as next_reminder_at
from handsfree.job.state import State
from handsfree.job.step import Decision, Outcome, Setup, Step, answer
from handsfree.job.weighing import take_reading, what_follows
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.grammar import ROWS, Topic
from handsfree.language.intents import Intent
from handsfree.language.parser import Misheard, Reason, parse
from handsfree.language.times import whole_minutes

MOST_EXAMPLES = 3  # More are not kept in the ear.
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
    step = Step(setup, state, talk, now)
    match incoming:
        case Heard():
            is_sure = incoming.confidence >= SURE_CONFIDENCE
            step = replace(step, is_sure=is_sure, is_noisy=incoming.is_noisy)
            decision = _decide_words(step, incoming)
        case TimePassed():
            decision = announce(step)
        case HearingLost():
            decision = answer(step, replies.HearingRestarted(), Outcome.REJECTED)
        case Opened():
            opening = replies.Opening(setup.card.name, setup.card.invented)
            decision = answer(step, opening, Outcome.ACCEPTED)
        case Pressed(key):
            decision = acknowledge_pressed(step, key)
        case _:
            assert_never(incoming)
    return replace(decision, talk=_remembered(decision, now))


def next_deadline(setup: Setup, state: State, talk: Talk) -> datetime | None:
    """The moment at which something has to be said; None when nothing runs."""
    deadlines = (next_reminder_at(setup.card, state), question_deadline(talk))
    return min((at for at in deadlines if at is not None), default=None)


def _remembered(decision: Decision, now: datetime) -> Talk:
    """What was said last, and since when a question waits."""
    talk = decision.talk
    said_now = [effect.reply for effect in decision.said]
    if said_now and not isinstance(decision.intent, said.AskRepeat):
        talk = replace(talk, last=said_now[-1])
    if talk.question is None:
        return replace(talk, asked=None, asked_at=None, is_asked_twice=False)
    if decision.outcome is Outcome.ASKED and said_now:
        return replace(talk, asked=said_now[-1], asked_at=now, is_asked_twice=False)
    return talk


def _decide_words(step: Step, heard: Heard) -> Decision:
    words = heard.words
    meaning: Intent | Misheard = parse(words)
    if words in step.setup.wake_phrases:
        meaning = said.WakeUp()
    elif isinstance(meaning, said.WakeUp):
        # The phrase the program comes with, where the user has chosen others.
        meaning = Misheard(Reason.NO_SENTENCE, words, has_number=False, has_component=False)
    if heard.is_too_long:
        # Even if the words parse: a radio was on, or the sentence was cut.
        meaning = Misheard(Reason.TOO_LONG, words, has_number=False, has_component=False)
    if step.talk.is_asleep and not _wakes(meaning):
        return Decision(step.talk, Outcome.IGNORED)
    if isinstance(meaning, Misheard):
        if meaning.reason is Reason.SILENCE:
            return Decision(step.talk, Outcome.IGNORED)
        reply = replies.TooLoud() if heard.is_clipped else replies.NotUnderstood(meaning)
        return answer(step, reply, Outcome.REJECTED)
    return replace(_decide_intent(step, meaning), intent=meaning)


def _wakes(meaning: Intent | Misheard) -> bool:
    """What is listened to asleep: the wake phrase, and danger."""
    if isinstance(meaning, said.ReportCup):
        return meaning.sign is said.CupSign.SMOKING
    return isinstance(meaning, said.WakeUp)


def _decide_intent(step: Step, intent: Intent) -> Decision:
    match intent:
        case said.TakeReading():
            return take_reading(step, intent)
        case said.NameComponent():
            return name_component(step, intent)
        case said.TellTemperature():
            return tell_temperature(step, intent)
        case said.TellHumidity(percents):
            return tell_condition(step, Measured.HUMIDITY_PERCENT, percents)
        case said.AskConditions():
            return tell_verdict(step)
        case said.WantTotal():
            return want_total(step, intent)
        case said.TellCupWeight():
            return tell_cup_weight(step, intent)
        case said.EmptyCup():
            return empty_cup(step, intent)
        case said.ReportCup():
            return report_cup(step, intent)
        case said.AskFirstCup():
            return tell_first_cup(step)
        case said.StartCoat():
            return start_coat(step)
        case said.FinishCoat():
            return finish_coat(step)
        case said.SetTape():
            return set_tape(step)
        case said.PullTape():
            return pull_tape(step)
        case said.FeelFilm():
            return feel_film(step, intent)
        case said.AskRecoat():
            return tell_recoat(step)
        case said.AskTape():
            return tell_tape(step)
        case said.AskReady():
            return tell_ready(step)
        case said.SetTimer():
            return set_timer(step, intent)
        case said.PutOff():
            return put_off(step, intent)
        case said.Acknowledge():
            return acknowledge(step)
        case said.AskMissed():
            return tell_missed(step)
        case said.ChangeVoice(manner):
            decision = answer(step, replies.VoiceChanged(manner), Outcome.ACCEPTED)
            effects: tuple[Effect, ...] = (AdjustVoice(manner), *decision.effects)
            return replace(decision, effects=effects)
        case said.GoToSleep():
            talk = replace(step.talk, is_asleep=True)
            asleep = replies.Asleep(" ".join(step.setup.wake_phrases[0]))
            return answer(step, asleep, Outcome.ACCEPTED, talk=talk)
        case said.WakeUp():
            talk = replace(step.talk, is_asleep=False)
            return answer(step, replies.Awake(), Outcome.ACCEPTED, talk=talk)
        case said.EndJob():
            return end_job(step)
        case said.Confirm():
            return confirm(step)
        case said.Deny():
            return deny(step)
        case said.ScratchThat():
            return scratch(step)
        case said.TareScale():
            return tare(step)
        case said.OpenBatch():
            return open_batch(step)
        case said.StartClock():
            return start_clock(step)
        case said.AskTarget() | said.AskRemaining():
            return _tell_target(step)
        case said.AskTotal():
            return _tell_total(step)
        case said.AskTimeLeft():
            return tell_time_left(step, intent)
        case said.AskStatus():
            return _tell_status(step)
        case said.AskRepeat():
            return answer(step, step.talk.last or replies.NothingSaid(), Outcome.ACCEPTED)
        case said.AskHelp():
            return _help(step)
        case _:
            assert_never(intent)


def _tell_target(step: Step) -> Decision:
    batch = step.batch
    if batch is None or pour.is_first_part_open(batch):
        if batch is not None and batch.wanted_total_g is not None and not batch.readings:
            return answer(step, total_plan(step, batch.wanted_total_g), Outcome.ACCEPTED)
        if batch is None or batch.wanted_total_g is None:
            return answer(step, replies.WaitingForReading(), Outcome.REJECTED)
    return answer(step, what_follows(step, batch), Outcome.ACCEPTED)


def _tell_total(step: Step) -> Decision:
    batch = step.batch
    if batch is None or not batch.readings:
        return answer(step, replies.WaitingForReading(), Outcome.REJECTED)
    target = pour.target_of(step.setup.recipe, batch)
    total_g = batch.total_g
    if pour.is_first_part_open(batch):
        total_g = batch.wanted_total_g or total_g
    elif target is not None:
        total_g = batch.grams_of(pour.other(target.component)) + target.grams
    rounded = rounded_to_step(total_g, step.setup.scale.step_g)
    return answer(step, replies.TotalWeight(rounded, is_complete=target is None), Outcome.ACCEPTED)


def _tell_status(step: Step) -> Decision:
    """The cup in hand, or the coat when no cup is."""
    batch, coat = step.batch, step.state.last_coat
    is_coat_next = coat is not None and coat.finished_at is not None
    if is_coat_next and (batch is None or batch.emptied_at is not None):
        return tell_recoat(step)
    if batch is None:
        return answer(step, replies.WaitingForReading(), Outcome.ACCEPTED)
    clock = batch.running_clock
    reply = replies.Balance(
        batch.number,
        batch.grams_of(Component.RESIN) or None,
        batch.grams_of(Component.HARDENER) or None,
        pour.is_complete(step.setup.recipe, batch),
        None if clock is None else whole_minutes(clock.ends_at - step.now),
    )
    return answer(step, reply, Outcome.ACCEPTED)


def _help(step: Step) -> Decision:
    """A few examples that fit now: a voice menu of everything would take a minute."""
    topics: tuple[Topic, ...] = (Topic.READINGS, Topic.AMOUNTS, Topic.CUPS)
    if step.talk.question is not None:
        topics = (Topic.ANSWERS,)
    elif step.state.coats:
        topics = (Topic.COATS, Topic.AIR, Topic.REMINDERS)
    groups = [[row.example for row in ROWS if row.topic is topic] for topic in topics]
    each = MOST_EXAMPLES // len(groups)
    chosen = tuple(example for group in groups for example in group[:each])
    return answer(step, replies.WhatCanBeSaid(chosen), Outcome.ACCEPTED)
