"""The record as a person looks at it, and a typed job that goes on after a restart."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.shell.cli import main
from handsfree.shell.journal import JOURNAL_NAME, Journal
from tests.shell.journal_faults import NOON, UnsyncedFiles, decisions, stamp


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A data folder with a sound journal of five decisions."""
    journal = Journal(tmp_path, UnsyncedFiles())
    journal.open()
    journal.begin(stamp(NOON), "Gate Coat")
    for events in decisions(5):
        journal.append(events, stamp(NOON))
    journal.close()
    return tmp_path


def run(topic: str, folder: Path, *more: str) -> int:
    """The exit code of a ``journal`` command."""
    return main(["journal", topic, "--data", str(folder), *more])


def damage(folder: Path) -> None:
    """Makes the third entry unreadable and adds half of one."""
    path = folder / JOURNAL_NAME
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:2], lines[2].upper(), *lines[3:], b"half"]))


def test_a_sound_journal_is_called_sound(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("verify", folder) == 0
    assert capsys.readouterr().out == "6 entries with 8 events can be read.\n"


def test_damage_is_told_and_nothing_is_changed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    damage(folder)
    before = (folder / JOURNAL_NAME).read_bytes()
    assert run("verify", folder) == 1
    out = capsys.readouterr().out
    assert "Entries 3 to 3 are lost." in out
    assert "The last 4 bytes are no entry" in out
    assert (folder / JOURNAL_NAME).read_bytes() == before


def test_a_repair_copies_first_and_leaves_a_sound_journal_that_knows_of_its_gap(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    damage(folder)
    before = (folder / JOURNAL_NAME).read_bytes()
    assert run("repair", folder) == 0
    (copy,) = folder.glob("damaged-*.log")
    assert str(copy) in capsys.readouterr().out
    assert copy.read_bytes() == before
    assert run("verify", folder) == 1
    assert "Entries 3 to 3 were lost before an earlier repair." in capsys.readouterr().out
    assert run("repair", folder) == 0
    assert "There is nothing to mend." in capsys.readouterr().out


def test_a_repair_leaves_a_journal_in_use_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = Journal(folder)
    journal.open()
    assert run("repair", folder) == 2
    assert "Another handsfree" in capsys.readouterr().err
    # Looking at it is no harm.
    assert run("verify", folder) == 0
    journal.close()


def test_show_gives_one_line_for_each_event(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    damage(folder)
    assert run("show", folder) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["2", "2026-03-02T12:00:00+00:00", "BatchOpened", "batch=1"]
    assert lines[1].split() == ["3", "Gap", "last=3"]
    assert run("show", folder, "--json") == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert rows[0] == {
        "entry": 2,
        "kind": "BatchOpened",
        "at": "2026-03-02T12:00:00+00:00",
        "batch": 1,
    }
    assert len(rows) == len(lines)


def test_an_export_can_be_rebuilt_at_any_time(folder: Path, tmp_path: Path) -> None:
    sheet, tree = tmp_path / "job.csv", tmp_path / "job.json"
    sheet.write_text("something older")
    for _ in range(2):
        assert run("export", folder, str(sheet)) == 0
        assert run("export", folder, str(tree)) == 0
    with sheet.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["kind"] for row in rows] == [row["kind"] for row in json.loads(tree.read_text())]
    assert rows[1]["grams"] == "1"
    assert not list(tmp_path.glob(".*draft"))


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        (
            ["journal", "verify", "--data", "nowhere"],
            "No job is recorded in nowhere.",
        ),
        (["journal", "show", "--data", "nowhere"], "No job is recorded"),
        (["journal", "export", "--data", "nowhere", "job.csv"], "No job is recorded"),
        (["journal", "export", "job.pdf"], "ends neither in .csv nor in .json"),
    ],
)
def test_what_cannot_be_done_is_said(
    capsys: pytest.CaptureFixture[str], arguments: list[str], error: str
) -> None:
    assert main(arguments) == 2
    assert error in capsys.readouterr().err


def test_an_export_that_cannot_be_written_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("export", folder, str(folder / "no-such-folder" / "job.csv")) == 2
    assert "cannot be written: No such file" in capsys.readouterr().err


@pytest.mark.parametrize("hours", ["22", "22:00", "25:00-06:00", "a-b", "22:00-06:00-07:00"])
def test_quiet_hours_are_two_times(hours: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["run", "--quiet-hours", hours])
    assert "no span such as 22:00-06:30" in capsys.readouterr().err


# --- the real program ---------------------------------------------------------------------


def started(folder: Path) -> "subprocess.Popen[str]":
    """The real program, typed to through a pipe."""
    return subprocess.Popen(
        [sys.executable, "-m", "handsfree", "type", "--data", str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )


def until(program: "subprocess.Popen[str]", words: str) -> str:
    """The first line said that has the words in it."""
    assert program.stdout is not None
    for line in program.stdout:
        if words in line:
            return line
    raise AssertionError(f"{words} was not said")


def tell(program: "subprocess.Popen[str]", *lines: str) -> None:
    """Types."""
    assert program.stdin is not None
    program.stdin.writelines(f"{line}\n" for line in lines)
    program.stdin.flush()


def test_a_killed_program_goes_on_where_it_was(tmp_path: Path) -> None:
    program = started(tmp_path)
    tell(program, "00:00:05 resin eight five six grams", "00:00:10 yes", "00:01:00 timer one hour")
    until(program, "at one")
    second = started(tmp_path)
    _, error = second.communicate()
    assert f"process {program.pid}" in error
    assert second.returncode == 2
    program.kill()
    program.communicate()
    again = started(tmp_path)
    assert "cup one holds eight five six of resin, one timer runs" in until(again, "I am back")
    tell(again, "00:02:00 hardener one two two", "00:02:10 yes")
    until(again, "the mix is complete")
    again.kill()
    again.communicate()


def test_a_typed_job_with_another_product_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = tmp_path / "script"
    script.write_text("resin eight five six grams\nyes\n")
    arguments = ["type", "--script", str(script), "--data", str(tmp_path / "job")]
    assert main(arguments) == 0
    assert main([*arguments, "--product", "floor-seal"]) == 2
    assert "holds a job with Gate Coat, not Floor Seal" in capsys.readouterr().err
