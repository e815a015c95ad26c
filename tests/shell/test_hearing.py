"""The recognizer process: real recordings, crashes and hangs."""

import csv
import json
import os
import signal
from pathlib import Path

import numpy as np
import pytest
import soxr

from handsfree.language import replies
from handsfree.language.grammar import UNKNOWN_WORD
from handsfree.language.intents import TakeReading
from handsfree.language.parser import parse
from handsfree.language.wording import wording
from handsfree.shell.audio_file import blocks_of
from handsfree.shell.bench import mixed, samples_of
from handsfree.shell.ear import Attention, Trouble
from handsfree.shell.hearing import Hearing, HearingLost, what_may_be_said
from handsfree.shell.model_folder import ModelUnusable, shipped_model
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16
from handsfree.shell.voice import Voice
from tests.conftest import FIXTURES
from tests.language.test_replies import EXAMPLES

pytestmark = pytest.mark.audio

LEAST_EXACT_SHARE = 0.9
# Heard as another number by the present model; the dialogue reads it back, so a no puts it right.
KNOWN_WRONG = {"readings/0015_am_puck.flac"}


def index() -> list[dict[str, str]]:
    with (FIXTURES / "index.tsv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def heard_in(hearing: Hearing, path: Path) -> list[str]:
    return [" ".join(utterance.words) for utterance in hearing.hear_all(blocks_of(path))]


def test_every_recording_is_indexed_and_there() -> None:
    listed = {row["file"] for row in index()}
    found = {path.relative_to(FIXTURES).as_posix() for path in FIXTURES.rglob("*.flac")}
    assert listed == found


@pytest.fixture(scope="module")
def heard_in_all(hearing: Hearing) -> dict[str, list[str]]:
    """The sentences in each recording."""
    return {row["file"]: heard_in(hearing, FIXTURES / row["file"]) for row in index()}


def test_recordings_are_heard_and_no_further_number_is_wrong(
    heard_in_all: dict[str, list[str]],
) -> None:
    exact, wrong = 0, set()
    for row in index():
        heard = heard_in_all[row["file"]]
        exact += heard == [row["words"]]
        meaning = parse(heard[0].split()) if len(heard) == 1 else None
        if row["grams"] and isinstance(meaning, TakeReading):
            truth = parse(row["words"].split())
            assert isinstance(truth, TakeReading)
            if meaning.masses != truth.masses:
                wrong.add(row["file"])
    assert wrong <= KNOWN_WRONG
    assert exact / len(index()) >= LEAST_EXACT_SHARE


def test_the_demos_recordings_are_heard_word_for_word(heard_in_all: dict[str, list[str]]) -> None:
    for row in index():
        if row["file"].startswith("demo/"):
            assert heard_in_all[row["file"]] == [row["words"]]


def test_two_sentences_with_a_pause_are_two_utterances(hearing: Hearing) -> None:
    first, second = "02_resin_eight_five_six_grams.flac", "03_yes.flac"
    pause = [bytes(SAMPLE_RATE_HZ * 2)]
    blocks = [*blocks_of(FIXTURES / "demo" / first), *pause, *blocks_of(FIXTURES / "demo" / second)]
    utterances = list(hearing.hear_all(iter(blocks)))
    assert [" ".join(u.words) for u in utterances] == ["resin eight five six grams", "yes"]
    assert 0.2 < utterances[0].start_s < utterances[0].end_s < utterances[1].start_s
    assert len(utterances[0].words) == len(utterances[0].confidences)


def test_block_size_does_not_change_what_is_heard(hearing: Hearing) -> None:
    sound = b"".join(blocks_of(FIXTURES / "demo" / "05_hardener_one_two_two_grams.flac"))
    for size in (2, 640, 31_998):
        if size == 2:
            blocks = [sound[:2], sound[2:5], sound[5:30_001], sound[30_001:60_000], sound[60_000:]]
        else:
            blocks = [sound[at : at + size] for at in range(0, len(sound), size)]
        utterances = list(hearing.hear_all(iter(blocks)))
        assert [" ".join(u.words) for u in utterances] == ["hardener one two two grams"]


@pytest.mark.parametrize("level", [0.0, 0.05])
def test_silence_and_noise_are_no_speech(hearing: Hearing, level: float) -> None:
    noise = np.random.default_rng(1).normal(0, level, 5 * SAMPLE_RATE_HZ).astype(np.float32)
    sound = pcm16(noise)
    blocks = [sound[at : at + 3200] for at in range(0, len(sound), 3200)]
    assert list(hearing.hear_all(iter(blocks))) == []


def test_clipped_speech_is_marked(hearing: Hearing) -> None:
    sound = b"".join(blocks_of(FIXTURES / "demo" / "02_resin_eight_five_six_grams.flac"))
    loud = np.frombuffer(sound, dtype="<i2").astype(np.float32) * np.float32(30 / 32768)
    data = pcm16(loud)
    blocks = [data[at : at + 3200] for at in range(0, len(data), 3200)]
    (utterance,) = hearing.hear_all(iter(blocks))
    assert utterance.trouble is Trouble.CLIPPED


def test_speech_that_does_not_end_is_cut_and_marked(hearing: Hearing) -> None:
    sound = np.frombuffer(
        b"".join(blocks_of(FIXTURES / "demo" / "02_resin_eight_five_six_grams.flac")), dtype="<i2"
    )
    loud = np.flatnonzero(np.abs(sound) > 300)
    speech = sound[loud[0] : loud[-1]].tobytes()
    blocks = [speech] * 8
    utterances = list(hearing.hear_all(iter(blocks)))
    assert utterances[0].trouble is Trouble.TOO_LONG
    assert utterances[0].end_s - utterances[0].start_s < 8.5


def test_a_crashed_recognizer_is_noticed_and_replaced() -> None:
    path = FIXTURES / "demo" / "03_yes.flac"
    with Hearing(shipped_model()) as hearing:
        assert hearing.pid is not None
        os.kill(hearing.pid, signal.SIGKILL)
        with pytest.raises(HearingLost, match="crashed"):
            heard_in(hearing, path)
        hearing.start()
        assert heard_in(hearing, path) == ["yes"]


def test_a_hung_recognizer_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    with Hearing(shipped_model()) as hearing:
        assert hearing.pid is not None
        os.kill(hearing.pid, signal.SIGSTOP)
        with monkeypatch.context() as impatient:
            impatient.setattr("handsfree.shell.hearing.ANSWER_TIMEOUT_S", 0.2)
            with pytest.raises(HearingLost, match="no answer"):
                heard_in(hearing, FIXTURES / "demo" / "03_yes.flac")
        hearing.start()
        assert heard_in(hearing, FIXTURES / "demo" / "03_yes.flac") == ["yes"]


def test_a_bad_model_is_refused_before_a_process_starts(tmp_path: Path) -> None:
    hearing = Hearing(tmp_path)
    with pytest.raises(ModelUnusable, match="no complete speech model"):
        hearing.start()
    assert hearing.pid is None


@pytest.mark.parametrize("snr_db", [10.0, 20.0])
def test_speech_over_noise_is_measured(hearing: Hearing, snr_db: float) -> None:
    clean = samples_of(FIXTURES / "demo" / "02_resin_eight_five_six_grams.flac")
    hiss = np.random.default_rng(3).normal(0, 0.1, 10 * SAMPLE_RATE_HZ).astype(np.float32)
    sound = pcm16(mixed(clean, hiss, snr_db, "seed"))
    blocks = [sound[at : at + 3200] for at in range(0, len(sound), 3200)]
    (utterance,) = hearing.hear_all(iter(blocks))
    # The mixing takes the power where there is speech, the ear between its first and last sound.
    assert utterance.snr_db == pytest.approx(snr_db, abs=3.5)


def test_words_that_sound_like_digits_are_never_offered_to_the_recognizer() -> None:
    entries = json.loads(what_may_be_said(shipped_model()).json_text)
    words = {word for entry in entries for word in entry.split()}
    assert not words & {"to", "too", "for", "won", "ate"}
    assert {"two", "four", "one", "eight"} <= words


def heard_with(hearing: Hearing, name: str, attention: Attention) -> list[str]:
    found = []
    for block in blocks_of(FIXTURES / "commands" / name):
        found += hearing.hear(block, attention)
    return [" ".join(utterance.words) for utterance in (*found, *hearing.finish())]


WAKE_RECORDINGS = ("20_slt_hello_bench", "21_rms_listen_bench", "22_awb_hello_bench")


@pytest.mark.parametrize("name", WAKE_RECORDINGS)
def test_asleep_it_hears_the_wake_phrase(hearing: Hearing, name: str) -> None:
    phrase = name.split("_", 2)[2].replace("_", " ")
    assert heard_with(hearing, f"{name}.flac", Attention.WAKE) == [phrase]


def test_asleep_it_hears_nothing_else(hearing: Hearing) -> None:
    for path in sorted((FIXTURES / "commands").glob("*.flac")):
        if path.stem not in WAKE_RECORDINGS:
            assert heard_with(hearing, path.name, Attention.WAKE) == [UNKNOWN_WORD], path


@pytest.mark.parametrize("name", WAKE_RECORDINGS)
def test_over_its_own_voice_only_the_wake_phrase_is_found(hearing: Hearing, name: str) -> None:
    phrase = name.split("_", 2)[2].replace("_", " ")
    assert phrase in heard_with(hearing, f"{name}.flac", Attention.CUT)


@pytest.mark.parametrize("every", [42, pytest.param(1, marks=pytest.mark.slow)])
def test_nothing_that_it_says_is_taken_for_the_wake_phrase(hearing: Hearing, every: int) -> None:
    examples = [r for r in EXAMPLES if not isinstance(r, replies.Asleep)]
    with Voice() as voice:
        for reply in examples[::every]:
            speech = voice.render(wording(reply))
            samples = np.frombuffer(speech.samples, "<i2").astype(np.float32) / 32768
            sound = pcm16(soxr.resample(samples, speech.rate_hz, SAMPLE_RATE_HZ))
            for at in range(0, len(sound), 6400):
                assert hearing.hear(sound[at : at + 6400], Attention.CUT) == [], reply
            hearing.finish()


def test_the_sound_of_an_utterance_is_kept_only_where_that_was_asked_for(
    hearing: Hearing,
) -> None:
    path = FIXTURES / "commands" / "10_rms_status.flac"
    (without,) = hearing.hear_all(blocks_of(path))
    with Hearing(shipped_model(), keeps_sound=True) as keeping:
        (with_sound,) = keeping.hear_all(blocks_of(path))
    assert without.sound == b""
    assert len(with_sound.sound) > 2 * SAMPLE_RATE_HZ * (without.end_s - without.start_s)
    assert with_sound.words == without.words == ("status",)


def test_the_live_loop_hears_what_a_recording_gives(hearing: Hearing) -> None:
    # Live come blocks of 20 ms, of a file 100 ms.
    for path in sorted((FIXTURES / "commands").glob("*.flac"))[::5]:
        sound = b"".join(blocks_of(path))
        live = [u for at in range(0, len(sound), 640) for u in hearing.hear(sound[at : at + 640])]
        live += hearing.finish()
        assert [u.words for u in live] == [u.words for u in hearing.hear_all(blocks_of(path))]
