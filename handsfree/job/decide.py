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
    KeyPressed,
    MicrophoneChanged,
    MicrophoneState,
    Opened,
    Pressed,
    Priority,
    Say,
    TimePassed,
)
from handsfree.job.calls import (
    acknowledge,
    acknowledge_pressed,
    announce,
    cancel_timer,
    hush,
    next_call_at,
    put_off,
    question_deadline,
    set_timer,
    tell_missed,
    tell_timers,
)
from handsfree.job.cups import (
    ask_left,
    empty_cup,
    open_batch,
    report_cup,
    start_clock,
    tare,
    tell_cup_weight,
    tell_first_cup,
    tell_left,
    tell_temperature,
    tell_time_left,
    total_plan,
    want_total,
)
from handsfree.job.dialogue import Talk, TellNote
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
from handsfree.job.notes import ask_note, read_notes, take_note
from handsfree.job.opening import (
    choose_product,
    open_job,
    plan_coats,
    tell_lot,
    tell_product,
    tell_scale,
)
from handsfree.job.reminders import Urgency, waiting
from handsfree.job.state import State
from handsfree.job.step import Decision, Outcome, Setup, Step, answer
from handsfree.job.weighing import take_reading, what_follows
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.grammar import ROWS, UNKNOWN_WORD, Topic
from handsfree.language.intents import Intent
from handsfree.language.parser import Misheard, Reason, parse
from handsfree.language.replies import Reply
from handsfree.language.times import whole_minutes

NOTE_WORD = "note"
# What is never taken for a note that was asked for: danger, a number of the scale, a no.
DROPS_NOTE = (said.ReportCup, said.TakeReading, said.TakeNote)
NO_NOTE = (*DROPS_NOTE, said.Deny, said.ScratchThat)
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
    step = Step(setup.at(state), state, talk, now)
    match incoming:
        case Heard():
            is_sure = incoming.confidence >= SURE_CONFIDENCE
            step = replace(step, is_sure=is_sure, is_noisy=incoming.is_noisy)
            decision = _decide_words(step, incoming)
        case TimePassed():
            decision = announce(step)
        case HearingLost():
            decision = answer(step, replies.HearingRestarted(), Outcome.REJECTED)
        case MicrophoneChanged(change):
            decision = _microphone_changed(step, change)
        case KeyPressed():
            decision = _wake(step)
        case Opened():
            card = step.setup.card
            opening = replies.Opening(card.name, card.invented)
            decision = answer(step, opening, Outcome.ACCEPTED)
        case Pressed(key):
            decision = acknowledge_pressed(step, key)
        case _:
            assert_never(incoming)
    return replace(decision, talk=_remembered(decision, now))


def is_awake(setup: Setup, state: State, talk: Talk, now: datetime) -> bool:
    """Whether every sentence is listened to, and not only the wake phrase and danger.

    A question that is open and a cup that is being poured keep it awake: who holds a can over
    a scale shall not have to say a phrase first.
    """
    if talk.is_asleep:
        return False
    if setup.attention is None or talk.question is not None or talk.attended_at is None:
        return True
    return is_pouring(setup, state) or now - talk.attended_at < setup.attention


def is_pouring(setup: Setup, state: State) -> bool:
    """Whether a cup on the scale is not complete yet."""
    batch = state.open_batch
    if batch is None or batch.emptied_at is not None or not batch.readings:
        return False
    return not pour.is_complete(setup.at(state).recipe, batch)


def _wake(step: Step) -> Decision:
    talk = replace(step.talk, is_asleep=False)
    return answer(step, replies.Awake(), Outcome.ACCEPTED, talk=talk)


def _microphone_changed(step: Step, change: MicrophoneState) -> Decision:
    said_of: dict[MicrophoneState, Reply] = {
        MicrophoneState.GONE: replies.MicrophoneGone(),
        MicrophoneState.MUTED: replies.MicrophoneMuted(),
        MicrophoneState.BACK: replies.MicrophoneBack(),
    }
    # Deaf beside a running pot life is an alarm: the person must know that no answer is heard.
    has_high = any(r.urgency is Urgency.HIGH for r in waiting(step.setup.shelf, step.state))
    is_alarm = has_high and change is not MicrophoneState.BACK
    said_now = Say(said_of[change], Priority.ALARM if is_alarm else Priority.CALL)
    return Decision(step.talk, Outcome.ACCEPTED, effects=(said_now,))


def next_deadline(setup: Setup, state: State, talk: Talk) -> datetime | None:
    """The moment at which something has to be said; None when nothing runs."""
    deadlines = (next_call_at(setup.shelf, state, talk), question_deadline(talk))
    return min((at for at in deadlines if at is not None), default=None)


def _remembered(decision: Decision, now: datetime) -> Talk:
    """What was said last, and since when a question waits."""
    talk = decision.talk
    if decision.said and decision.outcome is not Outcome.REJECTED:
        # Talk that is not understood, such as a radio's, does not keep it awake.
        talk = replace(talk, attended_at=now)
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
    called = next((p for p in step.setup.wake_phrases if words[: len(p)] == p), ())
    if called and words != called:
        # "hello bench, how long is left": the phrase wakes, the rest is the sentence.
        step = replace(step, talk=replace(step.talk, is_asleep=False, attended_at=step.now))
        words = words[len(called) :]
        meaning = parse(words)
    elif called:
        meaning = said.WakeUp()
    elif isinstance(meaning, said.WakeUp):
        # The phrase the program comes with, where the user has chosen others.
        meaning = Misheard(Reason.NO_SENTENCE, words, has_number=False, has_component=False)
    if heard.is_too_long:
        # Even if the words parse: a radio was on, or the sentence was cut.
        meaning = Misheard(Reason.TOO_LONG, words, has_number=False, has_component=False)
    if not is_awake(step.setup, step.state, step.talk, step.now) and not _wakes(meaning):
        return Decision(step.talk, Outcome.IGNORED)
    note = _note_in(step, words, meaning)
    if note:
        return take_note(step, note)
    if isinstance(step.talk.question, TellNote) and isinstance(meaning, DROPS_NOTE):
        step = replace(step, talk=replace(step.talk, question=None))
    if isinstance(meaning, Misheard):
        if meaning.reason is Reason.SILENCE:
            return Decision(step.talk, Outcome.IGNORED)
        reply = replies.TooLoud() if heard.is_clipped else replies.NotUnderstood(meaning)
        return answer(step, reply, Outcome.REJECTED)
    return replace(_decide_intent(step, meaning), intent=meaning)


def _note_in(step: Step, words: tuple[str, ...], meaning: Intent | Misheard) -> tuple[str, ...]:
    """The words of a note; empty when it is none."""
    if words[:1] == (NOTE_WORD,) and isinstance(meaning, Misheard):
        # Unasked, a note must be heard surely: a radio says the word too.
        return words[1:] if step.is_sure and UNKNOWN_WORD not in words else ()
    is_other = isinstance(meaning, NO_NOTE)
    return words if isinstance(step.talk.question, TellNote) and not is_other else ()


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
            return start_coat(step, intent)
        case said.FinishCoat():
            return finish_coat(step, intent)
        case said.SetTape():
            return set_tape(step, intent)
        case said.PullTape():
            return pull_tape(step, intent)
        case said.FeelFilm():
            return feel_film(step, intent)
        case said.AskRecoat():
            return tell_recoat(step, intent.area)
        case said.AskTape():
            return tell_tape(step, intent)
        case said.AskReady():
            return tell_ready(step, intent)
        case said.SetTimer():
            return set_timer(step, intent)
        case said.CancelTimer():
            return cancel_timer(step, intent)
        case said.AskTimers():
            return tell_timers(step)
        case said.Hush():
            return hush(step, intent)
        case said.OpenJob():
            return open_job(step)
        case said.ChooseProduct():
            return choose_product(step, intent)
        case said.AskProducts():
            return tell_product(step)
        case said.TellScale():
            return tell_scale(step, intent)
        case said.PlanCoats():
            return plan_coats(step, intent)
        case said.TellLot():
            return tell_lot(step, intent)
        case said.TellLeft():
            return tell_left(step, intent)
        case said.AskLeft():
            return ask_left(step, intent)
        case said.TakeNote():
            return ask_note(step)
        case said.ReadNotes():
            return read_notes(step)
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
            return _wake(step)
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
    has_no_cup = batch is None or batch.emptied_at is not None
    if coat is not None and coat.finished_at is not None and has_no_cup:
        if step.state.is_last_planned(coat):
            return tell_ready(step, said.AskReady(coat.area))
        return tell_recoat(step, coat.area)
    if batch is None:
        return answer(step, replies.WaitingForReading(), Outcome.ACCEPTED)
    clock = batch.running_clock
    if clock is not None and clock.ends_at <= step.now:
        return tell_time_left(step, said.AskTimeLeft(batch.number))
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
