"""Cups and their clocks: wanted totals, pot life, warmth, and which to use first."""

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

from handsfree.core.errors import Refusal
from handsfree.core.mix import rounded_parts_g, rounded_to_step, split_total_g
from handsfree.core.potlife import pot_life, share_gone_at_rise
from handsfree.job import pour
from handsfree.job.boundary import Priority, Say
from handsfree.job.dialogue import ConfirmFact, TellMixTemperature
from handsfree.job.events import (
    Announced,
    BatchOpened,
    ClockStarted,
    CupEmptied,
    CupLeft,
    CupWarmed,
    Event,
    Measured,
    ScaleTared,
    TotalWanted,
)
from handsfree.job.facts import tell_condition
from handsfree.job.reminders import waiting
from handsfree.job.state import Batch, replay
from handsfree.job.step import Decision, Outcome, Step, answer, fresh_talk
from handsfree.job.weighing import too_small
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.replies import Called, Reply
from handsfree.language.times import whole_minutes

# A cup that feels warm has risen about 10 K: more than half of its life may be gone
# (core/potlife.py, GONE_AT_RISE); one that thickens is at its end.
# Without a scale Celsius is meant; above this it is more likely Fahrenheit, and below its
# Fahrenheit twin (2 °C) nobody coats, so the two cannot be mixed up unnoticed. Judgement.
WARMEST_BARE_C = 35
TENTH_C = Fraction(1, 10)  # What a shop's thermometer shows at best.
HOT_SHOP_C = 30.0  # Judgement: warmer than a shop in which anybody still coats.
SHARE_GONE = {said.CupSign.WARM: Fraction(77, 100), said.CupSign.THICK: Fraction(1)}


def tare(step: Step) -> Decision:
    """The scale counts from zero, with whatever is in the cup."""
    batch = step.batch
    if batch is None:
        return answer(step, replies.Tared(), Outcome.ACCEPTED)
    event = ScaleTared(step.now, batch.number, batch.total_g)
    return answer(step, replies.Tared(), Outcome.ACCEPTED, events=(event,))


def tell_cup_weight(step: Step, intent: said.TellCupWeight) -> Decision:
    """The empty cup's weight: as if the scale had been zeroed before the cup stood on it."""
    values = tuple(mass.grams for mass in intent.masses)
    if len(values) > 1:
        return answer(step, replies.AskWhichValue(None, values), Outcome.ASKED)
    cup_g, scale = values[0], step.setup.scale
    if cup_g <= 0 or not scale.can_show(cup_g):
        return answer(step, replies.NotOnThisScale(cup_g, scale.step_g), Outcome.REJECTED)
    if cup_g > scale.capacity_g:
        return answer(step, replies.BeyondCapacity(cup_g, scale.capacity_g), Outcome.REJECTED)
    batch = step.open_batch()
    talk = replace(step.talk, question=ConfirmFact(ScaleTared(step.now, batch.number, -cup_g)))
    return answer(step, replies.AskCupWeight(cup_g), Outcome.ASKED, talk=talk)


def open_batch(step: Step) -> Decision:
    """A new cup is on the scale."""
    number = len(step.state.batches) + 1
    reply = replies.BatchOpened(number, step.setup.card.name)
    events = (BatchOpened(step.now, number),)
    return answer(step, reply, Outcome.ACCEPTED, events=events, talk=fresh_talk(step))


def want_total(step: Step, intent: said.WantTotal) -> Decision:
    """A mix of this mass is wanted: read back, since it sets a target."""
    values = tuple(mass.grams for mass in intent.masses)
    if len(values) > 1:
        return answer(step, replies.AskWhichValue(None, values), Outcome.ASKED)
    total_g, scale = values[0], step.setup.scale
    if total_g <= 0:
        return answer(step, replies.NothingOnScale(), Outcome.REJECTED)
    if total_g > scale.capacity_g:
        return answer(step, replies.BeyondCapacity(total_g, scale.capacity_g), Outcome.REJECTED)
    batch = step.open_batch()
    number = batch.number + bool(batch.readings)
    wanted = TotalWanted(step.now, number, total_g)
    target = pour.target_of(step.setup.recipe, Batch(number, wanted_total_g=total_g))
    assert target is not None
    small = too_small(step, batch, target)
    if small is not None:
        return answer(step, small, Outcome.REJECTED)
    talk = replace(step.talk, question=ConfirmFact(wanted))
    return answer(step, replies.AskTotalWanted(total_g), Outcome.ASKED, talk=talk)


def total_plan(step: Step, total_g: Fraction) -> Reply:
    """The two parts of a wanted total, on the scale's steps, with their sum kept."""
    resin_g, hardener_g = split_total_g(
        total_g=total_g, weight_ratio=step.setup.recipe.resin_per_hardener
    )
    resin_g, hardener_g = rounded_parts_g((resin_g, hardener_g), step.setup.scale.step_g)
    return replies.TotalPlan(resin_g, hardener_g)


def start_clock(step: Step) -> Decision:
    """The two parts have met; the clock needs the temperature of the mix."""
    batch = step.batch
    if batch is None or not pour.is_complete(step.setup.recipe, batch):
        return answer(step, replies.NotMixedYet(), Outcome.REJECTED)
    if batch.clock is not None:
        return answer(step, replies.ClockRunsAlready(batch.number), Outcome.REJECTED)
    if step.setup.card.pot_life is None:
        return answer(step, replies.ClockUnknown(), Outcome.REJECTED)
    talk = replace(step.talk, question=TellMixTemperature(batch.number, step.now))
    return answer(step, replies.AskMixTemperature(), Outcome.ASKED, talk=talk)


def tell_temperature(step: Step, intent: said.TellTemperature) -> Decision:
    """A temperature: of air or surface, of the mix that was asked about, or of a running cup."""
    question = step.talk.question
    if not intent.has_scale and any(value > WARMEST_BARE_C for value in intent.celsius):
        return answer(step, replies.AskScale(intent.celsius[0]), Outcome.REJECTED)
    celsius_read = tuple(rounded_to_step(value, TENTH_C) for value in intent.celsius)
    match intent.place:
        case said.Place.AIR:
            return tell_condition(step, Measured.AIR_C, celsius_read)
        case said.Place.SURFACE:
            return tell_condition(step, Measured.SURFACE_C, celsius_read)
        case _:
            pass
    if len(celsius_read) > 1:
        return answer(step, replies.AskDigits("degrees"), Outcome.ASKED)
    celsius = celsius_read[0]
    if isinstance(question, TellMixTemperature):
        return _start_clock_at(step, question, celsius)
    if intent.place is said.Place.CUP:
        return _cup_temperature(step, celsius)
    return answer(step, replies.AskWhichTemperature(), Outcome.REJECTED)


def _start_clock_at(step: Step, question: TellMixTemperature, mix_c: Fraction) -> Decision:
    label = step.setup.card.pot_life
    assert label is not None, "without a label nothing asks for the temperature"
    batch = step.state.batch(question.batch)
    try:
        life = pot_life(label, batch_g=float(batch.total_g), mix_c=float(mix_c))
    except Refusal as refusal:
        return answer(step, replies.RefusedByCard(str(refusal)), Outcome.REJECTED)
    length = timedelta(minutes=life.minutes)
    event = ClockStarted(step.now, batch.number, question.met_at, mix_c, length)
    reply = replies.ClockStarted(batch.number, whole_minutes(length))
    talk = replace(step.talk, question=None)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,), talk=talk)


def assumed_clock(step: Step, question: TellMixTemperature) -> tuple[ClockStarted, Reply] | None:
    """A clock for a mixed cup whose temperature nobody told: a cup without one is worse.

    The warmest of the label's own test, the air that was told, and a hot shop is assumed, so
    that it errs short.
    """
    label = step.setup.card.pot_life
    if label is None:
        return None
    air = step.state.last_told(Measured.AIR_C)
    mix_c = max(label.test_c, float(air.value) if air else label.test_c, HOT_SHOP_C)
    batch = step.state.batch(question.batch)
    try:
        life = pot_life(label, batch_g=float(batch.total_g), mix_c=mix_c)
    except Refusal:
        return None
    length = timedelta(minutes=life.minutes)
    started = ClockStarted(
        step.now, batch.number, question.met_at, Fraction(mix_c).limit_denominator(10), length
    )
    left = whole_minutes(question.met_at + length - step.now)
    return started, replies.ClockAssumed(batch.number, left, started.mix_c)


def _cup_temperature(step: Step, cup_c: Fraction) -> Decision:
    """A measured cup is a second clock: it pulls the end forward, never back."""
    batch = _running(step, None)
    if batch is None or batch.clock is None:
        return answer(step, replies.NoSuchCup(None), Outcome.REJECTED)
    try:
        gone = share_gone_at_rise(mixed_c=float(batch.clock.mix_c), cup_c=float(cup_c))
    except Refusal as refusal:
        return answer(step, replies.RefusedByCard(str(refusal)), Outcome.REJECTED)
    event = CupWarmed(step.now, batch.number, cup_c, Fraction(gone).limit_denominator(1000))
    clock = replay((event,), step.state).batch(batch.number).clock
    assert clock is not None
    reply = replies.CupAhead(batch.number, whole_minutes(clock.ends_at - step.now))
    return answer(step, reply, Outcome.ACCEPTED, events=_with_calls_said(step, event))


def _with_calls_said(step: Step, warmed: CupWarmed) -> tuple[Event, ...]:
    """The event, and the calls it makes due: its own reply has just said more than they do."""
    after = replay((warmed,), step.state)
    said_by_it = [
        Announced(step.now, reminder.key)
        for reminder in waiting(step.setup.shelf, after)
        if reminder.called is Called.POT_LIFE
        and reminder.number == warmed.batch
        and reminder.due_at <= step.now
    ]
    return (warmed, *said_by_it)


def report_cup(step: Step, intent: said.ReportCup) -> Decision:
    """Danger first: the warning is said whether or not a clock runs."""
    batch = _running(step, intent.batch)
    number = batch.number if batch is not None else intent.batch
    events: tuple[Event, ...] = ()
    share_gone = SHARE_GONE.get(intent.sign, Fraction(1))
    if batch is not None:
        events = _with_calls_said(step, CupWarmed(step.now, batch.number, None, share_gone))
    decision = answer(
        step, replies.CupWarning(intent.sign, number), Outcome.ACCEPTED, events=events
    )
    effects = tuple(
        replace(effect, priority=Priority.ALARM) if isinstance(effect, Say) else effect
        for effect in decision.effects
    )
    return replace(decision, effects=effects)


def empty_cup(step: Step, intent: said.EmptyCup) -> Decision:
    """A cup is empty, which ends its clock: asked first."""
    batch = _running(step, intent.batch)
    if batch is None:
        return answer(step, replies.NoSuchCup(intent.batch), Outcome.REJECTED)
    talk = replace(step.talk, question=ConfirmFact(CupEmptied(step.now, batch.number)))
    return answer(step, replies.AskEmptied(batch.number), Outcome.ASKED, talk=talk)


def tell_left(step: Step, intent: said.TellLeft) -> Decision:
    """What is still in a cup: taken down, and its clock stays.

    Less mix warms itself less, but how much longer it lives nobody has measured for a cup that
    has already been warm: the clock of the whole cup errs short.
    """
    values = tuple(mass.grams for mass in intent.masses)
    if len(values) > 1:
        return answer(step, replies.AskWhichValue(None, values), Outcome.ASKED)
    batch = _running(step, intent.batch)
    if batch is None:
        return answer(step, replies.NoSuchCup(intent.batch), Outcome.REJECTED)
    left_g = values[0]
    if left_g > batch.total_g:
        more = replies.MoreThanMixed(batch.number, left_g, batch.total_g)
        return answer(step, more, Outcome.REJECTED)
    if left_g <= 0:
        return empty_cup(step, said.EmptyCup(batch.number))
    event = CupLeft(step.now, batch.number, left_g)
    after = replay((event,), step.state).batch(batch.number)
    return answer(step, _left_in(step, after), Outcome.ACCEPTED, events=(event,))


def ask_left(step: Step, intent: said.AskLeft) -> Decision:
    """How much is still in a cup, as it was told last."""
    batch = _running(step, intent.batch)
    if batch is None:
        return answer(step, replies.NoSuchCup(intent.batch), Outcome.REJECTED)
    return answer(step, _left_in(step, batch), Outcome.ACCEPTED)


def _left_in(step: Step, batch: Batch) -> Reply:
    assert batch.clock is not None
    left = batch.clock.ends_at - step.now
    if left <= timedelta():
        return _left(step, batch)
    grams = batch.left.left_g if batch.left is not None else batch.total_g
    is_told = batch.left is not None
    return replies.CupLeft(batch.number, grams, whole_minutes(left), is_told)


def _running(step: Step, number: int | None) -> Batch | None:
    """The cup of that number if its clock runs; without a number the one that ends first."""
    running = [batch for batch in step.state.batches if batch.running_clock is not None]
    if number is not None:
        return next((batch for batch in running if batch.number == number), None)
    ends = [(batch.clock.ends_at, batch) for batch in running if batch.clock is not None]
    return min(ends, key=lambda pair: pair[0])[1] if ends else None


def tell_time_left(step: Step, intent: said.AskTimeLeft) -> Decision:
    """How long a cup can still be used."""
    batch = _running(step, intent.batch)
    if batch is None or batch.clock is None:
        reply: Reply = replies.NoSuchCup(intent.batch)
        if intent.batch is None:
            reply = replies.NotMixedYet()
        return answer(step, reply, Outcome.REJECTED)
    return answer(step, _left(step, batch), Outcome.ACCEPTED)


def _left(step: Step, batch: Batch) -> Reply:
    assert batch.clock is not None
    left = batch.clock.ends_at - step.now
    if left <= timedelta():
        return replies.PotLifeOver(batch.number, whole_minutes(-left))
    return replies.TimeLeft(batch.number, whole_minutes(left))


def tell_first_cup(step: Step) -> Decision:
    """Which cup to use first: the one that ends first and has not ended."""
    running = [
        (batch.clock.ends_at, batch)
        for batch in step.state.batches
        if batch.running_clock is not None and batch.clock is not None
    ]
    usable = [(ends_at, batch) for ends_at, batch in running if ends_at > step.now]
    if not usable:
        if running:
            return answer(step, _left(step, running[-1][1]), Outcome.ACCEPTED)
        return answer(step, replies.NoSuchCup(None), Outcome.REJECTED)
    ends_at, batch = min(usable, key=lambda pair: pair[0])
    reply = replies.FirstCup(batch.number, whole_minutes(ends_at - step.now))
    return answer(step, reply, Outcome.ACCEPTED)
