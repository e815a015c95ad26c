"""The lock on sleep: held while something runs, given back with the process, told when refused."""

import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.shell.sleep_inhibitor import SleepInhibitor

# A stand-in for the system's program: notes what it was asked for, then runs the inner command.
HOLDS = '#!/bin/sh\necho "$1" >> "$0.log"\nshift 4\nexec "$@"\n'
REFUSES = '#!/bin/sh\necho "$1" >> "$0.log"\nexit 1\n'
REFUSES_THE_LID = HOLDS.replace("shift", 'case "$1" in *lid*) exit 1;; esac\nshift')
HANGS = "#!/bin/sh\nexec sleep 60\n"


def program(folder: Path, text: str) -> str:
    """The stand-in as a file that can be run."""
    path = folder / "inhibit"
    path.write_text(text)
    path.chmod(0o700)
    return str(path)


def asked(folder: Path) -> list[str]:
    """What the stand-in was asked for."""
    return (folder / "inhibit.log").read_text().splitlines()


def test_the_lock_is_held_until_it_is_released(tmp_path: Path) -> None:
    inhibitor = SleepInhibitor(program(tmp_path, HOLDS))
    assert inhibitor.hold()
    assert inhibitor.hold()
    assert inhibitor.is_held
    inhibitor.release()
    assert not inhibitor.is_held
    assert asked(tmp_path) == ["--what=sleep:idle:handle-lid-switch"]


def test_without_the_right_to_the_lid_it_is_held_without(tmp_path: Path) -> None:
    inhibitor = SleepInhibitor(program(tmp_path, REFUSES_THE_LID))
    assert inhibitor.hold()
    assert asked(tmp_path)[-1] == "--what=sleep:idle"
    inhibitor.release()


def test_a_refusal_is_told(tmp_path: Path) -> None:
    inhibitor = SleepInhibitor(program(tmp_path, REFUSES))
    assert not inhibitor.hold()
    assert not inhibitor.is_held
    inhibitor.release()


def test_a_missing_program_is_told() -> None:
    assert not SleepInhibitor("no-such-program").hold()


def test_a_program_that_hangs_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("handsfree.shell.sleep_inhibitor.START_TIMEOUT_S", 0.1)
    assert not SleepInhibitor(program(tmp_path, HANGS)).hold()


CHILD = """
import os, signal, sys
from handsfree.shell.sleep_inhibitor import SleepInhibitor
inhibitor = SleepInhibitor(sys.argv[1])
assert inhibitor.hold()
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_the_lock_ends_when_the_program_is_killed(tmp_path: Path) -> None:
    # The stand-in notes its end, and then closes the pipe that we wait for.
    ends = HOLDS.replace('exec "$@"', '"$@"\necho ended >> "$0.log"')
    done = subprocess.run(
        [sys.executable, "-c", CHILD, program(tmp_path, ends)],
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[2],
        check=False,
    )
    assert done.returncode == -9
    ended = tmp_path / "inhibit.log"
    subprocess.run(
        ["timeout", "5", "sh", "-c", f"until grep -q ended {ended}; do :; done"], check=True
    )
