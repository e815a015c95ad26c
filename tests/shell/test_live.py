"""The live loop: announcements with their tones, again until they are answered."""

from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import cast

import pytest

from handsfree.job.alarms import QuietHours
from handsfree.job.board_view import AlarmPanel, BoardView
from handsfree.job.boundary import (
    Heard,
    HearingLost,
    MicrophoneChanged,
    MicrophoneState,
    Priority,
    Say,
    TimePassed,
)
from handsfree.job.events import AcknowledgedOnBoard
from handsfree.job.reminders import Urgency
from handsfree.language import replies
from handsfree.language.intents import Manner
from handsfree.shell import live
from handsfree.shell.cards import load_card
from handsfree.shell.clock import Clock
from handsfree.shell.ear import Attention, Utterance
from handsfree.shell.hearing import Hearing
from handsfree.shell.job_folder import Reopened, reopen
from handsfree.shell.journal import Journal
from handsfree.shell.live import Caller, Listener
from handsfree.shell.microphone import Microphone
from handsfree.shell.session import Session, setup_of
from handsfree.shell.tones import tone
from handsfree.shell.voice import Speech
from tests.shell.fake_time import START, FakeTime
from tests.shell.journal_faults import UnsyncedFiles

SETUP = setup_of(load_card("gate-coat"))
MINUTE = timedelta(minutes=1)


def with_timer() -> Session:
    """A session with a timer of ten minutes that is due."""
    session = Session(SETUP)
    session.step(Heard(("timer", "ten", "minutes")), START)
    session.step(TimePassed(), START + 10 * MINUTE)
    return session


def test_a_due_timer_is_called_until_it_is_answered() -> None:
    session = with_timer()
    caller = Caller(session, None)
    due_at = START + 10 * MINUTE
    call = replies.Call(replies.Called.TIMER, 1, 0, None, 0)
    assert caller.due(due_at) == (call, Urgency.MEDIUM)
    assert caller.due(due_at + timedelta(seconds=29)) is None
    assert caller.due(due_at + timedelta(seconds=30)) == (call, Urgency.MEDIUM)
    session.step(Heard(("got", "it")), due_at + timedelta(seconds=31))
    assert caller.due(due_at + timedelta(hours=1)) is None


def test_an_answer_is_of_what_was_said_last() -> None:
    session = Session(SETUP)
    for words in ("timer ten minutes", "timer eleven minutes"):
        session.step(Heard(tuple(words.split())), START)
    caller = Caller(session, None)
    for minutes in (10, 11):
        session.step(TimePassed(), START + minutes * MINUTE)
        assert caller.due(START + minutes * MINUTE) is not None
    again_at = START + 11 * MINUTE + timedelta(seconds=30)
    said = caller.due(again_at)
    assert said is not None
    assert isinstance(said[0], replies.CallTogether)
    session.step(Heard(("got", "it")), again_at)
    answered = set(session.state.acknowledged)
    assert answered == {f"timer {said[0].calls[0].number}"}


def test_a_call_can_be_repeated_when_it_is_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    session = with_timer()
    now = START + 11 * MINUTE
    effects = live._step(session, live.Come(Heard(("say", "again"))), now)
    for effect in effects:
        live._carry_out(effect, session, now, None)
    assert "Timer one. The time is up." in capsys.readouterr().out


def test_quiet_hours_are_those_of_the_listener() -> None:
    due_at = START + 10 * MINUTE  # Ten past twelve in UTC, the zone of this session.
    assert Caller(with_timer(), QuietHours(time(12), time(13))).due(due_at) is None
    assert Caller(with_timer(), QuietHours(time(13), time(14))).due(due_at) is not None


def test_what_was_told_after_a_restart_is_called_again_only_later() -> None:
    due_at = START + 10 * MINUTE
    caller = Caller(with_timer(), None, told_at=due_at)
    assert caller.due(due_at + timedelta(seconds=29)) is None
    assert caller.due(due_at + timedelta(seconds=30)) is not None


class EndingTime(FakeTime):
    """Time that passes by five seconds at each look, and ends the program after a while."""

    def __init__(self, length: timedelta) -> None:
        super().__init__()
        self._end_at = self.true_at + length

    def since_boot(self) -> timedelta:
        self.advance(timedelta(seconds=5))
        if self.true_at > self._end_at:
            raise KeyboardInterrupt
        return super().since_boot()


class Silence:
    """A microphone that hears nothing, and what recognizes nothing in it."""

    overruns = 0

    name = "a test"

    def __enter__(self) -> "Silence":
        return self

    def __exit__(self, *_exception: object) -> None:
        """Nothing is open."""

    def read(self, _timeout_s: float) -> bytes | None:
        return None

    def hear(self, _block: bytes, _attention: Attention) -> Iterator[object]:
        return iter(())


class Ear:
    """Notes what the speaker is given."""

    is_silent = True

    def __init__(self) -> None:
        self.said: list[str] = []
        self.called: list[tuple[str, Priority, Speech, bool]] = []

    def say(self, text: str, _priority: Priority) -> None:
        self.said.append(text)

    def call(self, text: str, priority: Priority, sound: Speech, spare: Speech | None) -> None:
        self.called.append((text, priority, sound, spare is not None))

    def adjust(self, manner: Manner) -> None:
        raise AssertionError(manner)

    def follow_noise(self, _ambient_db: float) -> None:
        """Any loudness will do."""


def test_the_loop_says_what_fell_due_and_calls_what_falls_due(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(live, "POLL_S", 0.001)
    monkeypatch.setattr("handsfree.shell.sleep_inhibitor.PROGRAM", "no-such-program")
    source = EndingTime(timedelta(hours=1))

    def opened() -> tuple[Journal, Reopened[Clock]]:
        journal = Journal(tmp_path, UnsyncedFiles())
        return journal, reopen(journal, SETUP, lambda last: Clock(source, last))

    journal, job = opened()
    for words in ("timer one minute", "timer twenty minutes"):
        job.session.step(Heard(tuple(words.split())), job.clock.now())
    journal.close()
    source.advance(3 * MINUTE)
    journal, job = opened()
    ear, silence = Ear(), Silence()
    code = live.run(job, silence, silence, ear, None)  # type: ignore[arg-type]
    journal.close()
    assert code == 0
    assert ear.said[0].startswith("I am back, one timer runs. Meanwhile timer one was up")
    assert any(text.startswith("Gate Coat, an invented product") for text in ear.said)
    texts = [text for text, *_ in ear.called]
    assert sum("Timer two. The time is up." in text for text in texts) > 3
    assert all(call[1:] == (Priority.CALL, tone(Urgency.MEDIUM), False) for call in ear.called)
    # What is called is on the screen too.
    shown = capsys.readouterr().out
    assert all(text in shown for text in texts)


def test_an_alarm_has_the_high_tone_and_a_recording_to_fall_back_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "POLL_S", 0.001)
    journal = Journal(tmp_path / "new", UnsyncedFiles())
    source = EndingTime(MINUTE)
    job = reopen(journal, SETUP, lambda last: Clock(source, last))
    effects = (Say(replies.NotSaved(), Priority.ALARM),)
    ear, silence = Ear(), Silence()
    live.run(Reopened(job.session, job.clock, effects), silence, silence, ear, None)  # type: ignore[arg-type]
    journal.close()
    (call,) = ear.called
    assert call[0].startswith("Not saved.")
    assert call[1:] == (Priority.ALARM, tone(Urgency.HIGH), True)


class Board:
    """Shows nothing, and presses the button of each announcement it is shown."""

    def __init__(self) -> None:
        self.views: list[BoardView] = []
        self._take: Callable[[str], None] = lambda _key: None

    def on_press(self, take: Callable[[str], None]) -> None:
        self._take = take

    def show(self, view: BoardView, _now: datetime) -> None:
        self.views.append(view)
        if isinstance(view.main, AlarmPanel):
            self._take(view.main.key)


def test_the_board_is_shown_each_look_and_its_button_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "POLL_S", 0.001)
    monkeypatch.setattr("handsfree.shell.sleep_inhibitor.PROGRAM", "no-such-program")
    journal = Journal(tmp_path, UnsyncedFiles())
    source = EndingTime(timedelta(minutes=30))
    job = reopen(journal, SETUP, lambda last: Clock(source, last))
    job.session.step(Heard(("timer", "ten", "minutes")), job.clock.now())
    board, ear, silence = Board(), Ear(), Silence()
    job.session.displays = (board,)
    live.run(job, silence, silence, ear, None, board=board)  # type: ignore[arg-type]
    journal.close()
    # Half an hour at not more than five looks of five seconds each time round.
    assert len(board.views) > 30 * 60 / 25
    assert set(job.session.state.acknowledged) == {"timer 1"}
    assert any(isinstance(event, AcknowledgedOnBoard) for event in job.session.state.log)
    assert len([text for text, *_ in ear.called if "Timer one" in text]) == 1
    assert "The timer, understood." in ear.said


class Stuttering:
    """A microphone that loses sound once, in the middle of a sentence."""

    def __init__(self) -> None:
        self.overruns = 0
        self.reads = 0

    def read(self, _timeout_s: float) -> bytes | None:
        self.reads += 1
        if self.reads == 2:
            self.overruns = 1
        return b"\x01\x00" * 320

    def drop_waiting(self) -> None:
        """Nothing waits."""


class MidSentence:
    """A recognizer with a sentence open, which hears its end only if it is given the gap."""

    def __init__(self) -> None:
        self.is_open = True

    def hear(self, _block: bytes, _attention: Attention) -> list[Utterance]:
        return []

    def finish(self) -> list[Utterance]:
        was_open, self.is_open = self.is_open, False
        return [Utterance(0.0, 1.0, ("resin", "five"), (1.0, 1.0), None, 30.0)] if was_open else []


def test_a_sentence_with_a_hole_in_it_is_not_understood_but_asked_again() -> None:
    microphone = cast(Microphone, Stuttering())
    listener = Listener(microphone, cast(Hearing, MidSentence()), None)
    try:
        assert listener.inputs.get(timeout=5).incoming == HearingLost()
    finally:
        listener.stop()
    assert listener.inputs.empty()


def test_what_stays_wrong_is_said_again_until_it_is_answered() -> None:
    session = Session(SETUP)
    caller = Caller(session, None)
    gone = MicrophoneChanged(MicrophoneState.GONE)
    session.step(gone, START)
    assert caller.due(START) is None  # It was said by the step.
    assert caller.due(START + timedelta(seconds=59)) is None
    said = caller.due(START + MINUTE)
    assert said == (replies.MicrophoneGone(), Urgency.HIGH)
    session.step(Heard(("got", "it")), START + MINUTE)
    assert caller.due(START + 60 * MINUTE) is None


def test_what_was_put_right_is_not_said_again() -> None:
    session = Session(SETUP)
    caller = Caller(session, None)
    session.step(MicrophoneChanged(MicrophoneState.MUTED), START)
    caller.due(START)
    session.step(MicrophoneChanged(MicrophoneState.BACK), START + timedelta(seconds=5))
    assert caller.due(START + 5 * MINUTE) is None
    assert session.talk.troubles == ()


def test_an_answer_to_a_trouble_silences_no_alarm() -> None:
    session = with_timer()
    now = START + 10 * MINUTE
    caller = Caller(session, None)
    caller.due(now)
    session.step(MicrophoneChanged(MicrophoneState.GONE), now)
    session.step(Heard(("got", "it")), now)
    assert session.talk.troubles == ()
    assert not session.state.acknowledged
    session.step(Heard(("got", "it")), now)
    assert session.state.acknowledged


def test_a_lost_microphone_is_an_alarm_beside_a_pot_life_and_a_call_without() -> None:
    session = Session(SETUP)
    gone = MicrophoneChanged(MicrophoneState.GONE)
    assert [one.priority for one in session.step(gone, START).said] == [Priority.CALL]
    poured = ("resin eight seven five grams", "yes", "hardener one two five grams", "yes")
    for sentence in (*poured, "mixed", "two zero degrees"):
        session.step(Heard(tuple(sentence.split())), START)
    assert [one.priority for one in session.step(gone, START).said] == [Priority.ALARM]


def test_many_timers_at_once_are_warned_of() -> None:
    session = Session(SETUP)
    crowded = [
        session.step(Heard(("timer", "ten", "minutes")), START).said[0].reply for _ in range(12)
    ]
    told = [isinstance(r, replies.TimerNoted) and r.is_crowded for r in crowded]
    assert told == [False] * 10 + [True] * 2


class Talking:
    """A speaker that says one sentence, and notes whether it was cut."""

    def __init__(self, saying: str) -> None:
        self.saying = saying
        self.was_cut = False
        self.looks = 0

    @property
    def is_silent(self) -> bool:
        self.looks += 1
        return self.was_cut or self.looks > 5

    def cut(self) -> None:
        self.was_cut = True

    def follow_noise(self, _ambient_db: float) -> None:
        """Any loudness will do."""


class Phrase:
    """A recognizer that finds the wake phrase in whatever sounds while the program speaks."""

    def hear(self, _block: bytes, attention: Attention) -> list[Utterance]:
        words = ("hello", "bench")
        if attention is not Attention.CUT:
            return []
        return [Utterance(0.0, 1.0, words, (1.0, 1.0), None, 30.0)]

    def finish(self) -> list[Utterance]:
        return []


@pytest.mark.parametrize(
    ("saying", "is_cut"),
    [("Nine seven eight.", True), ("I listen only for Hello bench, and for danger.", False)],
)
def test_the_wake_phrase_cuts_its_speech_unless_it_says_the_phrase_itself(
    monkeypatch: pytest.MonkeyPatch, saying: str, is_cut: bool
) -> None:
    monkeypatch.setattr(live, "TAIL_S", 0.0)
    speaker = Talking(saying)
    microphone = cast(Microphone, Stuttering())
    listener = Listener(microphone, cast(Hearing, Phrase()), speaker)  # type: ignore[arg-type]
    heard = []
    try:
        if is_cut:
            heard.append(listener.inputs.get(timeout=5).incoming)
    finally:
        listener.stop()
    assert speaker.was_cut is is_cut
    assert [one for one in heard if isinstance(one, Heard)] == (
        [Heard(("hello", "bench"))] if is_cut else []
    )
