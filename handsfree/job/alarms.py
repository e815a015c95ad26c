"""Which announcements are said, and said again, at a moment: pure, from the state and a memory.

An alarm is an announcement without an answer. Delivery is the answer, not the sound: in a loud
shop nothing else shows that it was heard.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from types import MappingProxyType

from handsfree.job.calls import call_of
from handsfree.job.reminders import Reminder, Urgency, reminders
from handsfree.job.shelf import Shelf
from handsfree.job.state import State
from handsfree.language.replies import CallTogether, Reply

# Judgement, near the bursts of medical alarms (from memory: high 2.5 to 15 s, medium 2.5 to
# 30 s): often while somebody is likely to be on the way, then less often.
HIGH_EVERY, HIGH_LATER_EVERY = timedelta(seconds=12), timedelta(seconds=30)
MEDIUM_EVERY, MEDIUM_LATER_EVERY = timedelta(seconds=30), timedelta(minutes=2)
LATER_AFTER = timedelta(minutes=2)
LOW_AGAIN_AFTER = timedelta(seconds=60)
# Once the window has closed there is nothing left to save by hurry, only to know.
MISSED_EVERY, MISSED_LATER_EVERY = timedelta(minutes=1), timedelta(minutes=5)
MISSED_LATER_AFTER = timedelta(minutes=10)
# Judgement: an alarm whose end is the moment itself, as the end of a pot life, is fresh so long.
FRESH = timedelta(minutes=10)
# An unanswered MEDIUM becomes HIGH for the last fifth of its window; at least five minutes, so
# that there is time to act, and at most an hour, so that a day's window calls no night through.
ESCALATION_SHARE = 5
LEAST_ESCALATION, MOST_ESCALATION = timedelta(minutes=5), timedelta(hours=1)
# Several alarms within the length of one announcement are one announcement.
TOGETHER_WITHIN = timedelta(seconds=5)
MOST_NAMED = 3
# More than ten announcements in ten minutes is a flood in the guides for control rooms. HIGH is
# not counted and never waits; repeats, eight of which one alarm makes, leave room for new ones.
FLOOD_WITHIN = timedelta(minutes=10)
MOST_IN_FLOOD, MOST_REPEATS_IN_FLOOD = 10, 8


@dataclass(frozen=True)
class Alarm:
    """Something announced that is not over for the person."""

    reminder: Reminder
    announced_at: datetime
    half_at: datetime | None = None  # Answered: when it is said once more. None: unanswered.


@dataclass(frozen=True)
class CallTimes:
    """When an alarm was called in this run of the program."""

    first_at: datetime
    last_at: datetime


@dataclass(frozen=True)
class Memory:
    """What was called in this run: forgotten at a crash, after which all is called afresh."""

    times: Mapping[str, CallTimes] = field(default_factory=lambda: MappingProxyType({}))
    minor_at: tuple[datetime, ...] = ()  # Announcements below HIGH in the last ten minutes.
    last_at: datetime | None = None


@dataclass(frozen=True)
class Utterance:
    """One announcement: one tone, then the alarms by name."""

    urgency: Urgency  # Of its tone: that of the most urgent.
    named: tuple[Reminder, ...]  # Not more than MOST_NAMED, the most urgent first.
    more: int  # Others that are due.
    is_missed: bool  # The window of all that are named has closed.


@dataclass(frozen=True)
class QuietHours:
    """The part of the day in which only what would spoil the work is called."""

    start: time
    end: time

    def has(self, local: datetime) -> bool:
        """Whether a moment, in the listener's zone, lies in them."""
        at = local.time()
        if self.start <= self.end:
            return self.start <= at < self.end
        return at >= self.start or at < self.end


def alarms(shelf: Shelf, state: State) -> tuple[Alarm, ...]:
    """All that was announced and is either unanswered or to be said once more.

    Of a series only the latest announced counts: it says what the earlier ones said.
    """
    series: dict[str, list[Reminder]] = {}
    for reminder in reminders(shelf, state):
        series.setdefault(reminder.series, []).append(reminder)
    found = []
    for members in series.values():
        announced = [r for r in members if r.key in state.announced]
        if announced:
            latest = announced[-1]
            alarm = _alarm(state, latest, members[members.index(latest) + 1 :])
            found += [alarm] if alarm is not None else []
    return tuple(found)


def _alarm(state: State, reminder: Reminder, later: list[Reminder]) -> Alarm | None:
    announced_at = state.announced[reminder.key]
    answered_at = state.acknowledged.get(reminder.key)
    if answered_at is None or answered_at < announced_at:
        return Alarm(reminder, announced_at)
    if reminder.ends_at is None or reminder.ends_at <= answered_at:
        return None
    half_at = answered_at + (reminder.ends_at - answered_at) / 2
    # Another of the series comes before: that says it.
    if any(next_one.due_at <= half_at for next_one in later):
        return None
    return Alarm(reminder, announced_at, half_at)


def next_utterance(
    found: tuple[Alarm, ...],
    memory: Memory,
    now: datetime,
    *,
    is_quiet: bool = False,
    has_noise_fallen: bool = False,
    is_speaking: bool = False,
) -> tuple[Utterance | None, Memory]:
    """What is said now, and the memory of it; to be asked at least once a second.

    Args:
        found: from ``alarms``, at this moment.
        memory: of the utterances before.
        now: the moment, UTC.
        is_quiet: within the quiet hours.
        has_noise_fallen: it was loud and is not any more: what was not answered is said anew.
        is_speaking: something is being said: only a new HIGH alarm may come on top of it, else
            what is said again would pile up faster than it can be said.
    """
    memory = _pruned(memory, found, now)
    due = [alarm for alarm in found if _is_due(alarm, memory, now, has_noise_fallen)]
    if not due:
        return None, memory
    fresh = [alarm for alarm in due if _is_new(alarm, memory)]
    urgencies = {alarm.reminder.key: urgency(alarm, now) for alarm in due}
    if is_speaking and not any(urgencies[alarm.reminder.key] is Urgency.HIGH for alarm in fresh):
        return None, memory
    if Urgency.HIGH not in urgencies.values():
        most = MOST_IN_FLOOD if fresh else MOST_REPEATS_IN_FLOOD
        if is_quiet or len(memory.minor_at) >= most:
            return None, memory
    if not fresh and memory.last_at is not None and now - memory.last_at < TOGETHER_WITHIN:
        return None, memory
    soon = now + TOGETHER_WITHIN
    due += [
        alarm
        for alarm in found
        if alarm not in due
        and not _is_new(alarm, memory)
        and _is_due(alarm, memory, soon, has_noise_fallen)
    ]
    if is_quiet:
        due = [alarm for alarm in due if urgency(alarm, now) is Urgency.HIGH]
    due.sort(key=lambda alarm: _order(alarm, memory, now))
    named = due[:MOST_NAMED]
    said = Utterance(
        urgency(named[0], now),
        tuple(alarm.reminder for alarm in named),
        len(due) - len(named),
        all(is_missed(alarm, now) for alarm in named),
    )
    return said, called(memory, said, now)


def called(memory: Memory, said: Utterance, now: datetime) -> Memory:
    """The memory after an utterance that began now."""
    times = dict(memory.times)
    for reminder in said.named:
        before = times.get(reminder.key)
        times[reminder.key] = CallTimes(before.first_at if before else now, now)
    minor_at = memory.minor_at if said.urgency is Urgency.HIGH else (*memory.minor_at, now)
    return Memory(MappingProxyType(times), minor_at, now)


def urgency(alarm: Alarm, now: datetime) -> Urgency:
    """How urgent an alarm has become."""
    own = alarm.reminder.urgency
    escalates_at = _escalates_at(alarm)
    if own is Urgency.MEDIUM and escalates_at is not None and now >= escalates_at:
        return Urgency.HIGH
    return own


def is_missed(alarm: Alarm, now: datetime) -> bool:
    """Whether the time to act is over."""
    closes_at = _closes_at(alarm)
    return closes_at is not None and now >= closes_at


def _closes_at(alarm: Alarm) -> datetime | None:
    reminder = alarm.reminder
    if reminder.ends_at is not None and reminder.ends_at > reminder.due_at:
        return reminder.ends_at
    if reminder.urgency is Urgency.HIGH:
        return max(reminder.due_at, alarm.announced_at) + FRESH
    return None


def _escalates_at(alarm: Alarm) -> datetime | None:
    ends_at, due_at = alarm.reminder.ends_at, alarm.reminder.due_at
    if ends_at is None or ends_at <= due_at or alarm.half_at is not None:
        return None
    share = (ends_at - due_at) / ESCALATION_SHARE
    return ends_at - min(max(share, LEAST_ESCALATION), MOST_ESCALATION)


def _is_new(alarm: Alarm, memory: Memory) -> bool:
    return alarm.half_at is None and alarm.reminder.key not in memory.times


def _is_due(alarm: Alarm, memory: Memory, now: datetime, has_noise_fallen: bool) -> bool:
    times = memory.times.get(alarm.reminder.key)
    if alarm.half_at is not None:
        return now >= alarm.half_at and (times is None or times.last_at < alarm.half_at)
    if times is None:
        return True
    if has_noise_fallen and urgency(alarm, now) is not Urgency.LOW:
        return True
    every = _repeats_every(alarm, times, now)
    return every is not None and now - times.last_at >= every


def _repeats_every(alarm: Alarm, times: CallTimes, now: datetime) -> timedelta | None:
    """How long after the last call the next one comes; None: it does not."""
    match urgency(alarm, now):
        case Urgency.HIGH:
            closes_at = _closes_at(alarm)
            if closes_at is not None and now >= closes_at:
                age = times.last_at - max(closes_at, times.first_at)
                return MISSED_EVERY if age < MISSED_LATER_AFTER else MISSED_LATER_EVERY
            since = times.first_at
            escalates_at = _escalates_at(alarm)
            if alarm.reminder.urgency is Urgency.MEDIUM and escalates_at is not None:
                since = max(since, escalates_at)
            return HIGH_EVERY if times.last_at - since < LATER_AFTER else HIGH_LATER_EVERY
        case Urgency.MEDIUM:
            age = times.last_at - times.first_at
            return MEDIUM_EVERY if age < LATER_AFTER else MEDIUM_LATER_EVERY
        case Urgency.LOW:
            return LOW_AGAIN_AFTER if times.first_at == times.last_at else None


def _order(alarm: Alarm, memory: Memory, now: datetime) -> tuple[int, bool, datetime, datetime]:
    """The most urgent first; of those the new ones, then the one silent for longest."""
    times = memory.times.get(alarm.reminder.key)
    last_at = times.last_at if times is not None else alarm.reminder.due_at
    return urgency(alarm, now).value, times is not None, last_at, alarm.reminder.due_at


def _pruned(memory: Memory, found: tuple[Alarm, ...], now: datetime) -> Memory:
    """Without what is answered or over, so that the memory does not grow over a long job."""
    kept = {
        alarm.reminder.key: times
        for alarm in found
        if (times := memory.times.get(alarm.reminder.key)) is not None
        # Announced again since, after it was put off: it starts anew.
        and (alarm.half_at is not None or times.first_at >= alarm.announced_at)
    }
    minor_at = tuple(at for at in memory.minor_at if now - at < FLOOD_WITHIN)
    return replace(memory, times=MappingProxyType(kept), minor_at=minor_at)


def reply_of(said: Utterance, now: datetime) -> Reply:
    """What an utterance is in words."""
    calls = tuple(call_of(reminder, now) for reminder in said.named)
    if len(calls) == 1 and not said.more and not said.is_missed:
        return calls[0]
    return CallTogether(calls, said.more, said.is_missed)
