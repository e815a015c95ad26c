"""The real program with real sound, and every fault that a cheap microphone has.

Slow: minutes of real time. The rig of ``tests/shell/rig.py`` has null sinks for devices.
"""

import os
import random
import signal
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import FIXTURES
from tests.shell import rig as rigs
from tests.shell.rig import Program, Rig, rigged

pytestmark = [
    pytest.mark.slow,
    pytest.mark.audio,
    pytest.mark.skipif(
        rigs.MISSING is not None,
        reason=f"no {rigs.MISSING}: apt-get install pulseaudio pulseaudio-utils",
    ),
]
OPENING_S = 20.0  # The caution at the start takes about eleven seconds to say.


@pytest.fixture
def rig() -> Iterator[Rig]:
    with rigged() as started:
        started.start_hiss()
        yield started


def started(rig: Rig, tmp_path: Path, *options: str) -> Program:
    program = Program(rig, tmp_path / "data", *options)
    program.wait_for("Gate Coat", 30)
    return program


def command(name: str) -> Path:
    (path,) = (FIXTURES / "commands").glob(f"*_{name}.flac")
    return path


def say(rig: Rig, program: Program, name: str, answer: str, timeout_s: float = 5.0) -> float:
    """Speaks a recording; seconds from its end to the answer on the screen."""
    seen = len(program.lines)
    rig.speak(command(name))
    spoken = time.monotonic()
    return program.wait_for(answer, timeout_s, after=seen) - spoken


def test_a_command_is_answered_and_the_program_stops_when_asked(rig: Rig, tmp_path: Path) -> None:
    program = started(rig, tmp_path)
    time.sleep(OPENING_S)
    assert say(rig, program, "slt_how_much_hardener", "Nothing is on the scale yet") < 3
    assert program.stop() == 0


def test_the_wake_phrase_cuts_its_speech(rig: Rig, tmp_path: Path) -> None:
    program = started(rig, tmp_path)
    time.sleep(1.0)  # In the middle of the caution.
    waits = say(rig, program, "slt_hello_bench", "I am listening.")
    assert waits < 3
    program.stop()


def test_its_own_voice_in_the_microphone_is_no_command(rig: Rig, tmp_path: Path) -> None:
    rig.pactl("load-module", "module-loopback", "source=spk.monitor", "sink=mic",
              "latency_msec=60", "source_dont_move=true", "sink_dont_move=true")  # fmt: skip
    program = started(rig, tmp_path)
    for _ in range(6):
        time.sleep(OPENING_S / 2)
        rig.speak(command("slt_help"))
    time.sleep(OPENING_S)
    answers = [line for _, line in program.lines[2:]]
    allowed = ("You can say", "I did not understand", "I heard")
    assert answers
    assert all(any(start in line for start in allowed) for line in answers), answers
    assert not (tmp_path / "data").joinpath("journal.log").read_text().count("ReadingTaken")
    program.stop()


def test_a_mute_switch_is_told_within_three_seconds(rig: Rig, tmp_path: Path) -> None:
    program = started(rig, tmp_path)
    time.sleep(OPENING_S)
    muted_at = time.monotonic()
    rig.pactl("set-source-mute", "mic.monitor", "1")
    assert program.wait_for("gives no sound at all", 5) - muted_at < 3
    rig.pactl("set-source-mute", "mic.monitor", "0")
    program.wait_for("I can hear you again", 8)
    program.stop()


def test_a_sound_server_that_dies_is_told_and_come_back_to(rig: Rig, tmp_path: Path) -> None:
    program = started(rig, tmp_path)
    time.sleep(OPENING_S)
    killed_at = time.monotonic()
    rig.kill_server()
    assert program.wait_for("The microphone has gone", 5) - killed_at < 3
    rig.stop()
    rig.start()
    up_at = time.monotonic()
    assert program.wait_for("I can hear you again", 10) - up_at < 5
    program.stop()


def test_a_microphone_is_pulled_out_and_put_back(rig: Rig, tmp_path: Path) -> None:
    program = started(rig, tmp_path)
    time.sleep(OPENING_S)
    (module,) = (
        line.split("\t")[0]
        for line in rig.pactl("list", "short", "modules").splitlines()
        if "sink_name=mic" in line
    )
    rig.stop_hiss()
    rig.pactl("unload-module", module)
    # The server may also move the stream to a source that gives nothing.
    program.wait_for("The microphone has gone", 5, other="gives no sound at all")
    rig.pactl("load-module", "module-null-sink", "sink_name=mic", "rate=48000", "channels=1")
    rig.pactl("set-default-source", "mic.monitor")
    rig.start_hiss()
    program.wait_for("I can hear you again", 10)
    assert program.stop() == 0


def children_of(pid: int) -> list[int]:
    """The program's processes; the helper of multiprocessing is no part of it."""
    threads = Path(f"/proc/{pid}/task").iterdir()
    listed = [child for thread in threads for child in (thread / "children").read_text().split()]
    return [
        child
        for child in map(int, listed)
        if b"resource_tracker" not in Path(f"/proc/{child}/cmdline").read_bytes()
    ]


def test_children_killed_at_random_are_replaced(rig: Rig, tmp_path: Path) -> None:
    """HANDSFREE_KILLS sets how often; the figures in DEVELOPERS are of 200."""
    kills = int(os.environ.get("HANDSFREE_KILLS", "8"))
    program = started(rig, tmp_path)
    time.sleep(OPENING_S)
    pick, waits = random.Random(3), []
    for _ in range(kills):
        before = set(children_of(program.process.pid))
        os.kill(pick.choice(sorted(before)), signal.SIGKILL)
        killed_at = time.monotonic()
        while len(set(children_of(program.process.pid)) - before) == 0:
            assert time.monotonic() - killed_at < 8, program.lines[-5:]
            # The voice is started again at its next word.
            if time.monotonic() - killed_at > 3:
                rig.speak(command("rms_status"))
            time.sleep(0.05)
        waits.append(time.monotonic() - killed_at)
        time.sleep(pick.uniform(0.5, 2.5))
    print(f"{kills} kills: median {statistics.median(waits):.2f} s, longest {max(waits):.2f} s")
    time.sleep(5)
    say(rig, program, "rms_status", "Nothing is on the scale yet", 15)
    assert program.stop() == 0
