"""The voice: rendered, checked, replaced when it fails, and understood when heard back."""

import os
import signal
import wave
from pathlib import Path

import numpy as np
import pytest
import soxr

from handsfree.job.boundary import Priority
from handsfree.shell.child import Child
from handsfree.shell.hearing import Hearing
from handsfree.shell.sound_format import SAMPLE_RATE_HZ
from handsfree.shell.speaker import Speaker, WaveFile
from handsfree.shell.voice import Speech, Voice, VoiceLost, check_length

pytestmark = pytest.mark.audio


def test_a_sentence_is_rendered_and_heard_back(hearing: Hearing) -> None:
    with Voice() as voice:
        speech = voice.render("resin eight five six grams")
    samples = np.frombuffer(speech.samples, dtype="<i2").astype(np.float32) / 32768
    at_16k = soxr.resample(samples, speech.rate_hz, SAMPLE_RATE_HZ)
    sound = (np.clip(at_16k, -1, 1) * 32767).astype("<i2").tobytes()
    pause = bytes(SAMPLE_RATE_HZ)
    blocks = [pause, *(sound[at : at + 3200] for at in range(0, len(sound), 3200)), pause]
    heard = [" ".join(u.words) for u in hearing.hear_all(iter(blocks))]
    assert heard == ["resin eight five six grams"]


def test_many_sentences_come_out_whole() -> None:
    with Voice() as voice:
        for _ in range(30):
            assert voice.render("One one five. Seven more.").duration_s > 1.0


def test_a_killed_worker_is_replaced_without_a_word() -> None:
    with Voice() as voice:
        voice.start()
        assert voice.pid is not None
        os.kill(voice.pid, signal.SIGKILL)
        assert voice.render("yes").duration_s > 0.1


def test_a_hung_worker_is_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    waits_s = iter((10.0, 0.1, 10.0, 10.0))  # Start, render, and both again.
    patient = Child.receive
    monkeypatch.setattr(Child, "receive", lambda child, _timeout_s: patient(child, next(waits_s)))
    with Voice() as voice:
        voice.start()
        hung = voice.pid
        assert hung is not None
        os.kill(hung, signal.SIGSTOP)
        assert voice.render("yes").duration_s > 0.1
        assert voice.pid != hung


@pytest.mark.parametrize("seconds", [0.0, 0.05, 60.0])
def test_sound_of_the_wrong_length_is_refused(seconds: float) -> None:
    speech = Speech(bytes(2 * int(22_050 * seconds)), 22_050)
    with pytest.raises(VoiceLost, match="s of sound for words that take"):
        check_length(speech, "resin eight five six grams")


def test_a_file_takes_sentence_after_sentence(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    troubles: list[str] = []
    with Voice() as voice:
        speaker = Speaker(voice, WaveFile(path), troubles.append)
        speaker.say("one one five", Priority.ANSWER)
        speaker.say("seven more", Priority.ANSWER)
        speaker.drain()
        assert speaker.is_silent
        speaker.close()
    with wave.open(str(path), "rb") as file:
        assert file.getnframes() / file.getframerate() > 2.0
    assert troubles == []
