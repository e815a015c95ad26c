"""A press on the board: by the rules of the voice, and in the record as what it was."""

from handsfree.job.boundary import Pressed, TimePassed
from handsfree.job.events import AcknowledgedOnBoard, Event
from handsfree.job.state import replay
from handsfree.language import replies
from tests.shell.board_scenes import Job


def pressed(job: Job, key: str) -> tuple[Event, ...]:
    return job.session.step(Pressed(key), job.now).events


def with_two_timers() -> Job:
    job = Job("timer ten minutes", "timer eleven minutes")
    job.wait(12)
    return job


def test_a_press_answers_that_one_and_no_other() -> None:
    job = with_two_timers()
    assert pressed(job, "timer 1") == (AcknowledgedOnBoard(job.now, "timer 1"),)
    assert set(job.session.state.acknowledged) == {"timer 1"}
    job.say("got it")
    assert set(job.session.state.acknowledged) == {"timer 1", "timer 2"}


def test_what_was_answered_meanwhile_silences_nothing_else() -> None:
    job = with_two_timers()
    pressed(job, "timer 1")
    assert pressed(job, "timer 1") == ()
    assert job.session.talk.last == replies.NothingToAnswer()
    assert set(job.session.state.acknowledged) == {"timer 1"}


def test_a_press_of_what_was_never_called_does_nothing() -> None:
    job = Job("timer ten minutes")
    assert pressed(job, "timer 1") == ()
    assert pressed(job, "no such thing") == ()


def test_a_press_counts_asleep_too_and_leaves_it_asleep() -> None:
    job = Job("timer ten minutes", "go to sleep")
    job.wait(11)
    assert len(pressed(job, "timer 1")) == 1
    assert job.session.talk.is_asleep


def test_a_press_is_no_fact_that_scratch_would_take_back() -> None:
    job = with_two_timers()
    before = job.session.state.last_fact
    pressed(job, "timer 1")
    assert job.session.state.last_fact is before
    assert replay(job.session.state.log) == job.session.state


def test_a_press_leaves_an_open_question_open() -> None:
    job = with_two_timers()
    job.say("resin eight five six grams")
    pressed(job, "timer 1")
    assert job.view.asked is not None
    job.say("yes")
    assert job.session.state.batches[0].readings


def test_a_pressed_alarm_is_not_called_again() -> None:
    job = with_two_timers()
    pressed(job, "timer 1")
    pressed(job, "timer 2")
    decision = job.session.step(TimePassed(), job.now)
    assert decision.said == ()
