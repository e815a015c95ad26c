"""The try-out as a person meets it: typed, and by voice with made-up ears and mouths."""

import queue
from collections.abc import Iterable
from datetime import timedelta
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from handsfree.job.boundary import Heard, Priority
from handsfree.job.tryout import LESSONS
from handsfree.language.tryout_wording import SoundVerdict, Stopped, say_remark
from handsfree.shell import cards, tryout_live
from handsfree.shell.cards import CardUnusable, load_card, shipped_cards
from handsfree.shell.cli import main
from handsfree.shell.live import Come
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16
from handsfree.shell.speaker import Speaker
from handsfree.shell.tryout import Tryout, water_card
from handsfree.shell.tryout_live import Teacher, tune
from handsfree.shell.typed import FIRST_DAY
from handsfree.shell.voice import Speech

WAY = """\
hello bench
resin one one one grams
no
resin two one zero grams
yes
tare
hardener five zero
scratch that
hardener one zero five grams
yes
mixed
two two degrees
how long is left
remind me in twenty seconds
got it
"""


def script(tmp_path: Path, text: str) -> str:
    path = tmp_path / "tryout.txt"
    path.write_text(text)
    return str(path)


def test_the_whole_way_in_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tryout", "--script", script(tmp_path, WAY)]) == 0
    out = capsys.readouterr().out
    said = [line.partition(":")[2].strip() for line in out.splitlines()]
    assert said[0].startswith("This is a trial with water")
    assert "One zero five grams of hardener, one zero three to one zero seven is good." in out
    assert "Timer one. The time is up." in out
    assert said[-1].startswith("Well done, that was all")


def test_nothing_of_it_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "data"))
    assert main(["tryout", "--script", script(tmp_path, WAY)]) == 0
    assert list(home.rglob("*")) == []
    capsys.readouterr()


def test_its_own_scale_and_wake_phrase_are_those_of_the_settings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "config.toml"
    settings.write_text('wake = "good evening garage"\nscale_step = 0.1\n')
    way = script(tmp_path, "good evening garage\nskip this step\nskip this step\nskip this step\n")
    assert main(["tryout", "--script", way, "--config", str(settings)]) == 0
    out = capsys.readouterr().out
    assert "Say good evening garage." in out
    assert "I am listening." in out


@pytest.mark.parametrize("text", ["stop", "hello bench\nthat is enough", "hello bench"])
def test_it_can_be_left_at_any_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    assert main(["tryout", "--script", script(tmp_path, text)]) == 0
    assert capsys.readouterr().out.rstrip().endswith(say_remark(Stopped()))


def test_a_script_that_is_missing_or_odd_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tryout", "--script", str(tmp_path / "none.txt")]) == 2
    assert "cannot be read" in capsys.readouterr().err
    assert main(["tryout", "--script", script(tmp_path, "25:00 yes")]) == 2
    assert "Line 1" in capsys.readouterr().err


def test_the_water_is_no_product() -> None:
    card = water_card()
    assert card.invented
    assert card.name not in [load_card(name).name for name in shipped_cards()]
    for name in ("water", "tryout", card.name):
        with pytest.raises(CardUnusable):
            cards.load_card(name)
    # A real job has neither a film nor windows for it.
    assert (card.film, card.limits, card.cure) == (None, None, None)


class Mouth:
    """A speaker that keeps what it was to say."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.is_silent = True

    def say(self, text: str, priority: Priority) -> None:
        assert priority is Priority.ANSWER
        self.said.append(text)

    def call(self, text: str, priority: Priority, sound: Speech, spare: Speech | None) -> None:
        assert (priority, spare) == (Priority.CALL, None)
        assert sound.samples
        self.said.append(f"(tone) {text}")

    def drain(self) -> None:
        pass


class Ear:
    """A listener that hears sentences, each when the one before was dealt with."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.is_awake = False
        self.awake_at: list[tuple[str, bool]] = []
        self._left = list(sentences)
        self.inputs = SimpleNamespace(get=self._get)

    def _get(self, timeout: float) -> Come:
        self.clock.advance(timeout)
        if not self._left or self._left[0] == "":
            del self._left[:1]
            raise queue.Empty
        words = self._left.pop(0)
        self.awake_at.append((words, self.is_awake))
        return Come(Heard(tuple(words.split())))

    def after(self, clock: "SteppedClock") -> "Ear":
        self.clock = clock
        return self


class SteppedClock:
    """Goes on by what was waited."""

    def __init__(self) -> None:
        self.at = FIRST_DAY

    def now(self) -> Any:
        return self.at

    def advance(self, by_s: float) -> None:
        self.at += timedelta(seconds=by_s)


def test_by_voice_it_sleeps_wakes_calls_and_ends() -> None:
    clock, mouth = SteppedClock(), Mouth()
    sentences = [*WAY.splitlines()[:-1], *[""] * 120, "got it"]
    ear = Ear(sentences).after(clock)
    tryout = Tryout(Fraction(1), Fraction(5000))
    teacher = Teacher(None)
    teacher.speaker = cast(Speaker, mouth)
    tryout_live._lessons(tryout, cast(Any, ear), cast(Any, clock), teacher)
    assert tryout.is_over
    assert ear.awake_at[:2] == [("hello bench", False), ("resin one one one grams", True)]
    calls = [text for text in mouth.said if text.startswith("(tone)")]
    assert calls[0] == "(tone) Timer one. The time is up."
    # First the call, then what to answer.
    assert mouth.said[mouth.said.index(calls[0]) + 1].startswith("Good. A call comes again")
    assert mouth.said[-1].startswith("Well done")
    assert len([text for text in mouth.said if text.startswith("Good. ")]) == len(LESSONS) - 1


def sound(db: float) -> bytes:
    samples = np.random.default_rng(1).standard_normal(SAMPLE_RATE_HZ)
    return pcm16((samples * 10 ** (db / 20)).astype(np.float32))


def tuned(levels_db: list[float]) -> tuple[SoundVerdict, list[str]]:
    """What becomes of so many stretches of sound, silence and voice in turn."""
    mouth = Mouth()
    teacher = Teacher(None)
    teacher.speaker = cast(Speaker, mouth)
    stretches = iter(levels_db)
    verdict = tune(teacher, lambda _length_s: sound(next(stretches)))
    return verdict, mouth.said


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tryout_live, "TAIL_S", 0.0)


def test_levels_are_measured_until_they_are_right(capsys: pytest.CaptureFixture[str]) -> None:
    verdict, said = tuned([-70, -55, -60, -25])
    assert verdict is SoundVerdict.FINE
    assert said[2].startswith("I hardly hear you.")
    assert said[-1] == "I hear you well."
    assert "voice -25 dB, noise -60 dB of full scale" in capsys.readouterr().out


def test_levels_that_stay_wrong_keep_nobody_from_the_lessons() -> None:
    verdict, said = tuned([-30, -25] * 3)
    assert verdict is SoundVerdict.NOISY
    assert sum(text.startswith("The noise is nearly as loud") for text in said) == 3
