"""Adding a user's own words to the model."""

import argparse
import hashlib
import json
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.shell import words
from handsfree.shell.model_folder import check_model, shipped_model


def digest(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def command(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    words.add_commands(parser.add_subparsers(required=True))
    chosen = parser.parse_args(["words", *arguments])
    return int(chosen.run(chosen))


def test_an_added_word_is_in_a_whole_model_of_the_users_and_the_shipped_one_is_unchanged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before, own = digest(shipped_model()), tmp_path / "deep" / "own"
    assert command("add", "seekadoor", "seek a door", "--into", str(own)) == 0
    assert command("add", "blueglaze", "blue G L EY Z", "--into", str(own)) == 0
    check_model(own, ["seekadoor", "blueglaze", "resin"])  # The check sums are right, too.
    assert digest(shipped_model()) == before
    capsys.readouterr()
    assert command("list", "--into", str(own)) == 0
    assert capsys.readouterr().out.splitlines()[0] == "blueglaze: B L UW G L EY Z"


def test_vosk_finds_the_added_word(tmp_path: Path) -> None:
    pytest.importorskip("vosk")
    own = tmp_path / "own"
    assert command("add", "seekadoor", "seek a door", "--into", str(own)) == 0
    script = """
import json, sys, vosk
vosk.SetLogLevel(-1)
model = vosk.Model(sys.argv[1])
print(json.dumps([model.vosk_model_find_word(w) >= 0 for w in ("seekadoor", "resin", "qqq")]))
"""
    done = subprocess.run(
        [sys.executable, "-c", script, str(own)], capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout) == [True, True, False]


@pytest.mark.parametrize(
    ("name", "sounds", "needle"),
    [
        pytest.param("fort", "F AO R T", "could be taken for", id="one-phone-from-four"),
        pytest.param("ayt", "EY T", "could be taken for 'a'", id="same-as-eight"),
        pytest.param("resin", "resin", "knows 'resin' already", id="known"),
        pytest.param("two words", "blue door", "is no word", id="blank"),
        pytest.param("Caps", "blue door", "is no word", id="capitals"),
        pytest.param("x1", "blue door", "is no word", id="digit"),
        pytest.param("odd", "qqzzk door", "how 'qqzzk' sounds", id="unknown-part"),
        pytest.param("oo", "UW", "at least two phones", id="too-short"),
        pytest.param("voidy", "", "at least two phones", id="nothing"),
    ],
)
def test_a_bad_word_is_refused_with_a_reason_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, sounds: str, needle: str
) -> None:
    own = tmp_path / "own"
    assert command("add", name, sounds, "--into", str(own)) == 1
    assert needle in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_model_without_a_lexicon_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bare").mkdir()
    assert command("add", "blueglaze", "blue door", "--into", str(tmp_path / "bare")) == 1
    assert "takes no more words" in capsys.readouterr().err


def test_number_words_themselves_are_all_number_like() -> None:
    lexicon = words.read_lexicon(shipped_model())
    for word in ("zero", "three", "fifteen", "ninety", "hundred", "thousand", "point"):
        assert words.number_like(lexicon[word][0], lexicon) is not None
