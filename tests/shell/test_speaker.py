"""The speaker's order: an alarm cuts an answer, and nothing is lost."""

import threading
from collections.abc import Callable

import pytest

from handsfree.job.boundary import Priority
from handsfree.language.intents import Manner
from handsfree.shell.speaker import Speaker
from handsfree.shell.voice import Speech, Voice, VoiceLost


class NamedVoice(Voice):
    """Renders a sentence to its own text, so that the output can tell what it plays."""

    def render(self, text: str) -> Speech:
        if text == "broken":
            raise VoiceLost("the speech engine gave no sound")
        return Speech(text.encode(), 22_050)


class Room:
    """An output that plays until it is let go on, or cut."""

    def __init__(self) -> None:
        self.log: list[str] = []
        self.started = threading.Semaphore(0)
        self.go_on = threading.Event()

    def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:
        text = speech.samples.decode()
        self.log.append(f"start {text}")
        self.started.release()
        while not self.go_on.wait(0.001):
            if is_cut():
                self.log.append(f"cut {text}")
                return False
        self.log.append(f"end {text}")
        return True

    def close(self) -> None:
        self.log.append("closed")


@pytest.fixture
def room() -> Room:
    return Room()


def test_an_alarm_cuts_an_answer_which_is_then_said_again(room: Room) -> None:
    speaker = Speaker(NamedVoice(), room, lambda _message: None)
    speaker.say("answer", Priority.ANSWER)
    room.started.acquire()
    speaker.say("alarm", Priority.ALARM)
    room.started.acquire()
    room.go_on.set()
    speaker.drain()
    speaker.close()
    assert room.log == [
        "start answer",
        "cut answer",
        "start alarm",
        "end alarm",
        "start answer",
        "end answer",
        "closed",
    ]


def test_an_answer_does_not_cut_an_alarm_nor_another_answer(room: Room) -> None:
    speaker = Speaker(NamedVoice(), room, lambda _message: None)
    speaker.say("alarm", Priority.ALARM)
    room.started.acquire()
    speaker.say("answer", Priority.ANSWER)
    speaker.say("second answer", Priority.ANSWER)
    room.go_on.set()
    speaker.drain()
    speaker.close()
    ends = [line for line in room.log if line.startswith("end")]
    assert ends == ["end alarm", "end answer", "end second answer"]


def test_a_failing_voice_is_told_once_and_speech_goes_on(room: Room) -> None:
    troubles: list[str] = []
    room.go_on.set()
    speaker = Speaker(NamedVoice(), room, troubles.append)
    for text in ("broken", "broken", "answer"):
        speaker.say(text, Priority.ANSWER)
    speaker.drain()
    speaker.close()
    assert troubles == [
        "The voice failed, so this was only printed: the speech engine gave no sound."
    ]
    assert "end answer" in room.log


def sound(name: str) -> Speech:
    """A sound that the room can name."""
    return Speech(name.encode(), 22_050)


def test_an_alarm_is_a_tone_and_its_words_twice(room: Room) -> None:
    room.go_on.set()
    speaker = Speaker(NamedVoice(), room, lambda _message: None)
    speaker.call("pull the tape", Priority.ALARM, sound("tone"), sound("spare"))
    speaker.call("it can be sanded", Priority.CALL, sound("low tone"), None)
    speaker.call("word " * 17, Priority.ALARM, sound("tone"), None)
    speaker.drain()
    speaker.close()
    ends = [line for line in room.log if line.startswith("end")]
    assert ends == [
        "end tone",
        "end pull the tape",
        "end pull the tape",
        "end tone",
        f"end {'word ' * 17}",
        "end low tone",
        "end it can be sanded",
    ]


def test_a_dead_voice_still_calls_an_alarm(room: Room) -> None:
    room.go_on.set()
    troubles: list[str] = []
    speaker = Speaker(NamedVoice(), room, troubles.append)
    speaker.call("broken", Priority.ALARM, sound("tone"), sound("spare"))
    speaker.call("broken", Priority.CALL, sound("low tone"), None)
    speaker.drain()
    speaker.close()
    ends = [line for line in room.log if line.startswith("end")]
    assert ends == ["end tone", "end spare", "end spare", "end low tone"]
    assert troubles == [
        "The voice failed, so this was played from a recording: the speech engine gave no sound."
    ]


def test_an_alarm_cuts_an_announcement_which_starts_again_with_its_tone(room: Room) -> None:
    speaker = Speaker(NamedVoice(), room, lambda _message: None)
    speaker.call("it can be sanded", Priority.CALL, sound("low tone"), None)
    room.started.acquire()
    speaker.call("pull the tape", Priority.ALARM, sound("tone"), None)
    room.started.acquire()
    room.go_on.set()
    speaker.drain()
    speaker.close()
    assert room.log[:3] == ["start low tone", "cut low tone", "start tone"]
    assert room.log[-5:-1] == [
        "start low tone",
        "end low tone",
        "start it can be sanded",
        "end it can be sanded",
    ]


def test_an_alarm_does_not_become_softer_with_the_voice() -> None:
    loud = Speech(b"\x00\x40", 22_050)
    heard: list[bytes] = []

    class Scale(Room):
        """An output that keeps how loud it was."""

        def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:  # noqa: ARG002
            heard.append(speech.samples)
            return True

    class SameVoice(Voice):
        """Renders every sentence to the same sound."""

        def render(self, text: str) -> Speech:  # noqa: ARG002
            return loud

    speaker = Speaker(SameVoice(), Scale(), lambda _message: None)
    speaker.adjust(Manner.QUIETER)
    speaker.call("pull the tape", Priority.ALARM, loud, None)
    speaker.say("answer", Priority.ANSWER)
    speaker.drain()
    speaker.close()
    assert heard[:3] == [loud.samples] * 3
    assert heard[3] < loud.samples


class HangingVoice(NamedVoice):
    """An engine that hangs in "chat" until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.let_go = threading.Event(), threading.Event()

    def render(self, text: str) -> Speech:
        if text == "chat":
            self.begun.set()
            assert self.let_go.wait(10)
        return super().render(text)


def test_an_alarm_does_not_wait_for_an_engine_that_hangs(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.shell.speaker.SPARE_AFTER_S", 0.05)
    voice = HangingVoice()
    speaker = Speaker(voice, room, lambda _message: None)
    room.go_on.set()
    speaker.say("chat", Priority.ANSWER)
    assert voice.begun.wait(5)
    speaker.call("tape", Priority.ALARM, Speech(b"tone", 22_050), Speech(b"spare", 22_050))
    assert room.started.acquire(timeout=5)
    assert room.started.acquire(timeout=5)
    assert room.log[:4] == ["start tone", "end tone", "start spare", "end spare"]
    voice.let_go.set()
    speaker.drain()
    speaker.close()
    assert room.log[-2:] == ["end chat", "closed"]


def test_what_is_cut_for_the_wake_phrase_is_not_said_again(room: Room) -> None:
    speaker = Speaker(NamedVoice(), room, lambda _message: None)
    for text in ("answer", "second answer"):
        speaker.say(text, Priority.ANSWER)
    room.started.acquire()
    speaker.cut()
    speaker.drain()
    room.go_on.set()
    speaker.say("third answer", Priority.ANSWER)
    speaker.drain()
    speaker.close()
    assert room.log == ["start answer", "cut answer", "start third answer", "end third answer",
                        "closed"]  # fmt: skip
