"""What is dominant on the board, and what stands beside it."""

from dataclasses import fields
from datetime import timedelta

import pytest

from handsfree.job.board_view import (
    MOST_REST,
    AlarmPanel,
    ClockPanel,
    Noted,
    NotePanel,
    PourPanel,
    QuestionPanel,
    board_view,
)
from handsfree.job.boundary import Heard, HearingLost
from handsfree.job.reminders import Urgency
from tests.shell.board_scenes import COATED, MIXED, POURED, Job, Scene, scenes
from tests.shell.fake_time import START


@pytest.mark.parametrize("scene", scenes(), ids=lambda scene: scene.name)
def test_each_moment_has_its_dominant_thing(scene: Scene) -> None:
    main = scene.job.view.main
    texts = [str(getattr(main, field.name)) for field in fields(main)]
    if isinstance(main, ClockPanel):
        left = main.ends_at - scene.job.now
        assert int(left / timedelta(minutes=1)) == int(scene.dominant)
    else:
        assert any(scene.dominant in text for text in texts)


def test_a_question_is_dominant_until_it_is_answered() -> None:
    job = Job("resin eight five six grams")
    assert job.view.main == QuestionPanel("Resin 856 g?", ("yes", "no"))
    assert job.view.asked is None
    job.say("yes")
    assert isinstance(job.view.main, PourPanel)


def test_a_pour_fills_and_keeps_its_question_beside_it() -> None:
    job = Job(*POURED, "hardener one one five")
    expected = PourPanel("Cup 1", "hardener", "122", "120", "124", "115", "", "7", "")
    # 856 g at 7:1 is 122.29 g; 2 % either way is good, so 119.84 to 124.73: by hand.
    assert job.view.main == expected
    job.say("hardener one two two")
    main = job.view.main
    assert isinstance(main, PourPanel)
    assert (main.poured_g, main.asked_g) == ("115", "122")
    assert job.view.asked == QuestionPanel("Hardener 122 g, on target?", ("yes", "no"))


def test_an_alarm_goes_before_a_pour_and_the_pour_stays_in_sight() -> None:
    job = Job(*MIXED, "new cup", *POURED, "hardener five zero")
    assert isinstance(job.view.main, PourPanel)
    job.wait(12)
    main = job.view.main
    assert isinstance(main, AlarmPanel)
    assert (main.name, main.urgency) == ("Cup 1", Urgency.HIGH)
    assert isinstance(job.view.rest[0], PourPanel)
    assert not any(isinstance(p, ClockPanel) and p.name == "Cup 1" for p in job.view.rest)


def test_an_answered_alarm_gives_way_to_its_clock() -> None:
    job = Job(*MIXED)
    job.wait(12)
    job.say("got it")
    main = job.view.main
    assert isinstance(main, ClockPanel)
    assert (main.name, main.what, main.is_cup) == ("Cup 1", "pot life", True)


def test_the_worst_alarm_is_dominant() -> None:
    job = Job(*MIXED, "timer twenty minutes")
    job.wait(30)
    main, other = job.view.main, job.view.rest[0]
    assert isinstance(main, AlarmPanel)
    assert isinstance(other, AlarmPanel)
    assert (main.name, other.name) == ("Cup 1", "Timer 1")


def test_a_pour_that_was_left_gives_way_to_the_clocks() -> None:
    job = Job("timer two hours", *POURED, "hardener five zero")
    assert isinstance(job.view.main, PourPanel)
    job.wait(16)
    assert isinstance(job.view.main, ClockPanel)
    assert any(isinstance(panel, PourPanel) for panel in job.view.rest)


def test_the_cup_that_ends_first_is_the_most_urgent_clock() -> None:
    job = Job(*MIXED, "new cup", *MIXED, "timer one minute")
    main = job.view.main
    assert isinstance(main, ClockPanel)
    assert main.name == "Cup 1"
    assert [panel.name for panel in job.view.rest if isinstance(panel, ClockPanel)] == [
        "Cup 2",
        "Timer 1",
    ]


def test_the_share_that_is_gone_is_that_of_the_calls() -> None:
    job = Job(*MIXED, "it is getting warm", "got it")
    clock = job.session.state.batch(1).clock
    panel = next(p for p in (job.view.main, *job.view.rest) if isinstance(p, ClockPanel))
    assert clock is not None
    assert panel.starts_at is not None
    half_at = panel.starts_at + (panel.ends_at - panel.starts_at) / 2
    assert abs(half_at - clock.due_at(50)) < timedelta(milliseconds=1)


def test_a_cup_that_smokes_is_shown_for_a_while_whatever_else_is_said() -> None:
    job = Job("the cup is smoking", "status")
    main = job.view.main
    assert isinstance(main, AlarmPanel)
    assert main.text.startswith("Do not breathe it")
    assert main.key == ""
    job.wait(3)
    assert not isinstance(job.view.main, AlarmPanel)


def test_what_was_heard_and_said_is_shown_and_whether_it_was_understood() -> None:
    job = Job("resin eight five six grams")
    assert job.view.heard == "resin eight five six grams"
    assert job.view.said == "Resin eight five six grams. Is that right?"
    assert job.view.was_understood
    job.say("the moon is blue")
    assert job.view.heard == "the moon is blue"
    assert not job.view.was_understood


def test_what_is_not_meant_for_it_is_not_shown() -> None:
    job = Job("timer ten minutes", "go to sleep", "this is the news at noon")
    assert job.view.heard == "go to sleep"
    assert job.view.wake_phrase == "hello bench"
    job.say("hello bench")
    assert job.view.wake_phrase == ""


def test_a_restarted_recognizer_is_said_and_nothing_was_heard() -> None:
    job = Job()
    job.give(HearingLost())
    assert job.view.said.startswith("I could not hear")
    assert job.view.heard == ""


def test_an_unsure_yes_shows_the_question_it_was_for() -> None:
    job = Job("resin eight five six grams")
    job.session.step(Heard(("yes",), confidence=0.5), job.now)
    assert job.view.main == QuestionPanel("Resin 856 g?", ("yes", "no"))


def test_the_board_names_the_step_that_is_missing() -> None:
    job = Job(*POURED, "hardener one two two", "yes")
    assert job.view.main == NotePanel("Cup 1: 978 g, complete", "Say mixed when the two parts meet")
    job.say("new cup")
    assert job.view.main == NotePanel("Cup 2", "What does the scale read?")


def test_more_than_fit_are_counted() -> None:
    job = Job(*(f"timer {n} minutes" for n in ("ten", "twenty", "thirty", "forty") * 3))
    assert len(job.view.rest) == MOST_REST
    assert job.view.more == 12 - 1 - MOST_REST


def test_news_without_a_hurry_go_behind_a_running_clock() -> None:
    job = Job(*COATED, "tape is off", "yes")
    job.wait(60 * 17)
    job.say("what did i miss")
    job.wait(60)
    assert isinstance(job.view.main, ClockPanel)
    calm = [panel for panel in job.view.rest if isinstance(panel, AlarmPanel)]
    assert [(panel.text, panel.urgency) for panel in calm] == [
        ("Can be handled with care", Urgency.LOW)
    ]


def test_a_disk_that_takes_nothing_is_shown() -> None:
    session = Job().session
    noted = Noted()
    view = board_view(session.setup, session.state, session.talk, noted, START, is_saved=False)
    assert not view.is_saved


def test_where_nothing_is_recorded_nothing_can_fail_to_be_saved() -> None:
    assert Job().view.is_saved


def test_a_coat_is_called_by_its_area() -> None:
    job = Job("surface is one nine degrees", "coat finished on the frame", "timer two hours")
    names = [panel.name for panel in (job.view.main, *job.view.rest) if hasattr(panel, "name")]
    assert any(name.endswith(", coat 1") for name in names)
