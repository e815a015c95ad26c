"""Announcements that are due, and what a person answers to them."""

from dataclasses import replace
from datetime import datetime, timedelta

from handsfree.job.boundary import Effect, Priority, Say
from handsfree.job.cups import assumed_clock
from handsfree.job.dialogue import ConfirmFact, Talk, TellMixTemperature
from handsfree.job.events import (
    Acknowledged,
    AcknowledgedOnBoard,
    Announced,
    Event,
    PutOff,
    TimerCanceled,
    TimerSet,
)
from handsfree.job.reminders import (
    MOST_IN_FLOOD,
    Reminder,
    Urgency,
    most_together,
    next_timer,
    reminders,
    unanswered,
    waiting,
)
from handsfree.job.shelf import Shelf
from handsfree.job.state import State, replay
from handsfree.job.step import Decision, Outcome, Step, answer
from handsfree.job.troubles import TROUBLE_KEY
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.replies import Call, Reply
from handsfree.language.times import whole_minutes

# A question is said once more after this, and then put aside. Judgement: long enough to
# finish a pour, short enough that the answer still belongs to it.
ASK_AGAIN_AFTER = timedelta(seconds=20)
LONGEST_TIMER = timedelta(hours=72)
# Judgement: long enough for a telephone call to be ended, shorter than any step of a clock.
LONGEST_HUSH = timedelta(minutes=2)
LATE_AFTER = timedelta(minutes=1)


def announce(step: Step) -> Decision:
    """Everything that is due now, the most urgent first; of a series only the latest."""
    due = [
        r
        for r in waiting(step.setup.shelf, step.state)
        if r.due_at <= step.now and not _is_held_back(step, r)
    ]
    events: list[Event] = [Announced(step.now, reminder.key) for reminder in due]
    latest = {reminder.series: reminder for reminder in due}
    said_now = sorted(latest.values(), key=lambda r: (r.urgency.value, r.due_at))
    effects: list[Effect] = [Say(call_of(r, step.now), _priority(r)) for r in said_now]
    talk = step.talk
    if said_now:
        talk = replace(talk, last_called=said_now[0].key)
    question_at = question_deadline(talk)
    if question_at is not None and question_at <= step.now and talk.asked is not None:
        more_events, more_effects, talk = _no_answer(step, talk, talk.asked)
        events += more_events
        effects += more_effects
    return Decision(talk, Outcome.ACCEPTED, tuple(events), tuple(effects))


def _is_held_back(step: Step, reminder: Reminder) -> bool:
    return step.talk.is_quiet(step.now) and reminder.urgency is not Urgency.HIGH


def next_call_at(shelf: Shelf, state: State, talk: Talk) -> datetime | None:
    """The moment at which something has to be announced; None when nothing runs."""
    quiet_until = talk.quiet_until
    moments = (
        r.due_at if quiet_until is None or r.urgency is Urgency.HIGH else max(r.due_at, quiet_until)
        for r in waiting(shelf, state)
    )
    return min(moments, default=None)


def hush(step: Step, intent: said.Hush) -> Decision:
    """Quiet for a while, but for what would spoil the work."""
    if len(intent.lengths) > 1:
        return answer(step, replies.AskLength(), Outcome.ASKED)
    length = intent.lengths[0]
    if length > LONGEST_HUSH:
        too_long = replies.HushTooLong(int(LONGEST_HUSH.total_seconds()))
        return answer(step, too_long, Outcome.REJECTED)
    talk = replace(step.talk, quiet_until=step.now + length)
    return answer(step, replies.Hushed(int(length.total_seconds())), Outcome.ACCEPTED, talk=talk)


def _priority(reminder: Reminder) -> Priority:
    return Priority.ALARM if reminder.urgency is Urgency.HIGH else Priority.CALL


def call_of(reminder: Reminder, now: datetime) -> Call:
    """What is said of a reminder at a moment."""
    late = now - reminder.due_at
    left = None if reminder.ends_at is None else whole_minutes(reminder.ends_at - now)
    if reminder.percent >= 100 and reminder.ends_at is not None:
        late = now - reminder.ends_at
    minutes_late = whole_minutes(late) if late >= LATE_AFTER else 0
    return Call(
        reminder.called, reminder.number, reminder.percent, left, minutes_late, reminder.name
    )


def _no_answer(step: Step, talk: Talk, asked: Reply) -> tuple[list[Event], list[Effect], Talk]:
    """A question without an answer: said once more, then put aside."""
    if not talk.is_asked_twice:
        return [], [Say(asked)], replace(talk, is_asked_twice=True, asked_at=step.now)
    put_aside = replace(talk, question=None, asked=None, asked_at=None)
    if isinstance(talk.question, TellMixTemperature):
        assumed = assumed_clock(step, talk.question)
        if assumed is not None:
            started, reply = assumed
            return [started], [Say(reply, Priority.CALL)], put_aside
    return [], [], replace(put_aside, parked=(*talk.parked, asked))


def question_deadline(talk: Talk) -> datetime | None:
    """When an open question is said again or put aside."""
    if talk.question is None or talk.asked_at is None:
        return None
    return talk.asked_at + ASK_AGAIN_AFTER


def acknowledge(step: Step) -> Decision:
    """The last announcement was heard: that one is answered, the others are not."""
    open_now = unanswered(step.setup.shelf, step.state)
    troubles = step.talk.troubles
    if troubles and (step.talk.last_called == TROUBLE_KEY or not open_now):
        talk = replace(step.talk, troubles=troubles[:-1])
        return answer(step, replies.TroubleHeard(), Outcome.ACCEPTED, talk=talk)
    if not open_now:
        return answer(step, replies.NothingToAnswer(), Outcome.REJECTED)
    last = next((r for r in open_now if r.key == step.talk.last_called), open_now[0])
    event = Acknowledged(step.now, last.key)
    reply = replies.AcknowledgedReply(last.called)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def acknowledge_pressed(step: Step, key: str) -> Decision:
    """One announcement was answered on the board: that one, and by the rules of the voice."""
    pressed = next((r for r in unanswered(step.setup.shelf, step.state) if r.key == key), None)
    if pressed is None:
        # Answered or overtaken between the look and the press: nothing else may be silenced.
        return answer(step, replies.NothingToAnswer(), Outcome.REJECTED)
    event = AcknowledgedOnBoard(step.now, key)
    reply = replies.AcknowledgedReply(pressed.called)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def put_off(step: Step, intent: said.PutOff) -> Decision:
    """The last announcement again later, but not past the end of its window."""
    if len(intent.lengths) > 1:
        return answer(step, replies.AskLength(), Outcome.ASKED)
    called = [r for r in reminders(step.setup.shelf, step.state) if r.key == step.talk.last_called]
    if not called:
        return answer(step, replies.NothingToAnswer(), Outcome.REJECTED)
    last, length = called[0], intent.lengths[0]
    until = step.now + length
    if last.ends_at is not None and until >= last.ends_at:
        left = replies.CannotPutOff(whole_minutes(last.ends_at - step.now))
        return answer(step, left, Outcome.REJECTED)
    events = (Acknowledged(step.now, last.key), PutOff(step.now, last.key, until))
    reply = replies.PutOffNoted(whole_minutes(length))
    return answer(step, reply, Outcome.ACCEPTED, events=events)


def set_timer(step: Step, intent: said.SetTimer) -> Decision:
    """A person's own reminder."""
    if len(intent.lengths) > 1 or intent.lengths[0] > LONGEST_TIMER:
        return answer(step, replies.AskLength(), Outcome.ASKED)
    length = intent.lengths[0]
    due_at = step.now + length
    event = TimerSet(step.now, next_timer(step.state), due_at, intent.name)
    after = replay((event,), step.state)
    reply = replies.TimerNoted(
        whole_minutes(length),
        step.local(due_at),
        step.local(step.now),
        intent.name,
        is_crowded=most_together(step.setup.shelf, after) > MOST_IN_FLOOD,
    )
    return answer(step, reply, Outcome.ACCEPTED, events=(event,))


def tell_timers(step: Step) -> Decision:
    """How long the reminders of one's own have left."""
    running = sorted((t for t in step.state.timers if t.due_at > step.now), key=lambda t: t.due_at)
    left = tuple((t.number, t.name, whole_minutes(t.due_at - step.now)) for t in running)
    return answer(step, replies.TimersLeft(left), Outcome.ACCEPTED)


def cancel_timer(step: Step, intent: said.CancelTimer) -> Decision:
    """A reminder is not wanted any more: asked first, since it ends a clock."""
    running = [t for t in step.state.timers if t.due_at > step.now]
    meant = [t for t in running if intent.timer in (None, t.number)]
    if len(meant) != 1:
        numbers = tuple(t.number for t in running)
        return answer(step, replies.AskWhichTimer(numbers), Outcome.REJECTED)
    timer = meant[0]
    talk = replace(step.talk, question=ConfirmFact(TimerCanceled(step.now, timer.number)))
    question = replies.AskTimerCanceled(timer.number, timer.name)
    return answer(step, question, Outcome.ASKED, talk=talk)


def tell_missed(step: Step) -> Decision:
    """Announcements and questions without an answer."""
    open_now = unanswered(step.setup.shelf, step.state)
    calls = tuple(call_of(reminder, step.now) for reminder in open_now)
    events = tuple(Acknowledged(step.now, reminder.key) for reminder in open_now)
    talk = replace(step.talk, parked=())
    reply = replies.Missed(calls, step.talk.parked)
    return answer(step, reply, Outcome.ACCEPTED, events=events, talk=talk)
