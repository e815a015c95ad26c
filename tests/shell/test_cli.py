"""The commands as a user runs them."""

import json
import shutil
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.shell.cli import main
from tests.conftest import FIXTURES

DEMO = FIXTURES / "demo"


def json_lines(text: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in text.splitlines()]


@pytest.mark.audio
def test_demo_hears_answers_and_writes_its_voice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wav = tmp_path / "demo.wav"
    assert main(["demo", "--wav", str(wav)]) == 0
    out = capsys.readouterr().out
    assert "you:        resin eight five six grams" in out
    assert "handsfree:  One two two grams of hardener" in out
    assert "handsfree:  Cup one. The pot life is over; do not use the rest." in out
    with wave.open(str(wav), "rb") as file:
        assert file.getnframes() / file.getframerate() > 20


@pytest.mark.audio
def test_hear_gives_one_json_line_per_utterance(capsys: pytest.CaptureFixture[str]) -> None:
    reading = str(DEMO / "02_resin_eight_five_six_grams.flac")
    assert main(["hear", reading, str(DEMO / "03_yes.flac"), "--json"]) == 0
    first, second = json_lines(capsys.readouterr().out)
    assert set(first) == {
        "file",
        "start_s",
        "end_s",
        "words",
        "intent",
        "component",
        "grams",
        "outcome",
        "reply",
    }
    assert first["words"] == "resin eight five six grams"
    assert (first["component"], first["grams"], first["outcome"]) == ("resin", 856, "asked")
    # By default each file is a dialogue of its own, so nothing is open to say yes to.
    assert (second["outcome"], second["reply"]) == ("rejected", "I had no question open.")


@pytest.mark.audio
def test_hear_together_is_one_dialogue(capsys: pytest.CaptureFixture[str]) -> None:
    reading = str(DEMO / "02_resin_eight_five_six_grams.flac")
    assert main(["hear", "--together", reading, str(DEMO / "03_yes.flac"), "--json"]) == 0
    _, second = json_lines(capsys.readouterr().out)
    assert second["outcome"] == "accepted"
    assert str(second["reply"]).startswith("One two two grams of hardener")


@pytest.mark.audio
def test_hear_goes_on_after_an_unreadable_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = tmp_path / "notes.wav"
    text.write_text("no sound")
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(16_000), 16_000)
    files = [str(text), str(tmp_path / "none.wav"), str(silent), str(DEMO / "01_no.flac")]
    assert main(["hear", *files, "--json"]) == 2
    lines = json_lines(capsys.readouterr().out)
    assert "not a sound file" in str(lines[0]["error"])
    assert "There is no file" in str(lines[1]["error"])
    assert (lines[2]["outcome"], lines[2]["reply"]) == ("ignored", "I heard no speech.")
    assert lines[3]["words"] == "no"


@pytest.mark.audio
def test_hear_takes_stereo_at_another_rate(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    samples, rate_hz = soundfile.read(DEMO / "02_resin_eight_five_six_grams.flac")
    stereo = tmp_path / "stereo.wav"
    tripled = np.repeat(samples, 3)
    soundfile.write(stereo, np.stack([tripled, tripled], axis=1), rate_hz * 3)
    assert main(["hear", str(stereo), "--json"]) == 0
    (line,) = json_lines(capsys.readouterr().out)
    assert line["grams"] == 856


@pytest.mark.audio
def test_a_damaged_model_is_one_clear_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from handsfree.shell.model_folder import shipped_model

    copy = shutil.copytree(shipped_model(), tmp_path / "model")
    (copy / "graph/Gr.fst").write_bytes(b"damaged")
    assert main(["hear", str(DEMO / "01_no.flac"), "--model", str(copy)]) == 2
    assert "The speech model is damaged: ./graph/Gr.fst has changed" in capsys.readouterr().err


def test_type_runs_a_script_on_a_simulated_clock(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = tmp_path / "job.txt"
    script.write_text(
        "# a cup\n"
        "08:00:00 Resin eight seven five grams.\n"
        "08:00:05 yes\n\n"
        "08:01:00 hardener one two five grams\n"
        "08:01:05 yes\n"
        "08:02:00 mixed\n"
        "08:02:10 two five degrees\n"
    )
    assert main(["type", "--script", str(script), "--until", "08:13", "--json"]) == 0
    lines = json_lines(capsys.readouterr().out)
    assert lines[0] == {"time": "08:00:00", "who": "you", "text": "resin eight seven five grams"}
    # 20.2 minutes of pot life from 08:02:00: half of it is gone at 08:12:06.
    assert lines[-1]["who"] == "handsfree"
    assert str(lines[-1]["time"]).startswith("08:12:0")
    assert "Half of the pot life is gone" in str(lines[-1]["text"])


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("25:00:00 yes", "Line 1: '25:00:00' is no time of day."),
        ("yes\n08:0 yes", "Line 2: '08:0' is no time; write HH:MM:SS."),
    ],
)
def test_type_names_the_line_it_cannot_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, error: str
) -> None:
    script = tmp_path / "job.txt"
    script.write_text(text)
    assert main(["type", "--script", str(script)]) == 2
    assert capsys.readouterr().err.strip() == error


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        (["type", "--script", "no-such-file.txt"], "cannot be read"),
        (["type", "--product", "no-such-card"], "There is no product card no-such-card"),
        (["hear", "x.wav", "--model", "no-such-model"], "no speech model folder"),
    ],
)
def test_what_is_missing_is_named(
    capsys: pytest.CaptureFixture[str], arguments: list[str], error: str
) -> None:
    assert main(arguments) == 2
    assert error in capsys.readouterr().err


def test_a_card_with_impossible_values_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card = tmp_path / "card.toml"
    card.write_text(
        'format = 1\nname = "Odd"\ninvented = true\n[mix]\nratio = "70:1"\nby = "weight"\n'
    )
    assert main(["type", "--product", str(card)]) == 2
    error = capsys.readouterr().err
    assert "mix.ratio" in error
    assert "70:1" in error


@pytest.mark.parametrize("value", ["0", "-1", "nan", "1e3", "1/3", "ten", "200"])
def test_a_scale_step_out_of_range_is_refused(
    value: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["type", "--scale-step", value])
    assert stopped.value.code == 2
    assert "scale-step" in capsys.readouterr().err


@pytest.mark.audio
def test_check_tells_what_is_there(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check"]) == 0
    out = capsys.readouterr().out
    assert "ok       speech model: english-shop" in out
    assert "ok       voice:" in out


def test_check_tells_what_is_missing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--product", "no-such-card"]) == 1
    out = capsys.readouterr().out
    assert "problem  product card 1: There is no product card no-such-card" in out
    assert "To mend first: 1." in out


@pytest.mark.audio
def test_bench_scores_indexed_recordings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = "02_resin_eight_five_six_grams.flac"
    shutil.copy(DEMO / name, tmp_path / name)
    shutil.copy(DEMO / name, tmp_path / "lie.flac")
    (tmp_path / "index.tsv").write_text(
        f"{name}\tslt\tresin eight five six grams\tresin\t856\n"
        "lie.flac\tslt\tresin eight five nine grams\tresin\t859\n"
    )
    assert main(["bench", "hearing", "--speech", str(tmp_path), "--jobs", "1"]) == 0
    row = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("| clean"))
    assert row.split("|")[2:6] == [" 2 ", " 50.0% ", " 50.0% ", " 1 "]


def test_bench_without_an_index_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "hearing", "--speech", str(tmp_path)]) == 2
    assert "has no index.tsv" in capsys.readouterr().err


def test_a_wake_phrase_of_ones_own_wakes_and_the_shipped_one_does_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = tmp_path / "job.txt"
    script.write_text("go to sleep\nhello bench\ngood evening garage\n")
    arguments = ["type", "--script", str(script), "--wake", "Good evening garage", "--json"]
    assert main(arguments) == 0
    said = [line["text"] for line in json_lines(capsys.readouterr().out)]
    assert said == [
        "go to sleep",
        "I listen only for good evening garage, and for danger.",
        "hello bench",
        "good evening garage",
        "I am listening.",
    ]


@pytest.mark.parametrize("phrase", ["bench", "yes correct 5", "new cup"])
def test_a_bad_wake_phrase_is_refused(phrase: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["type", "--wake", phrase])
    assert "--wake" in capsys.readouterr().err


def test_a_wake_phrase_the_model_cannot_hear_is_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["hear", str(DEMO / "01_no.flac"), "--wake", "hello xylotomy"]) == 2
    assert "xylotomy" in capsys.readouterr().err
