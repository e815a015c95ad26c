"""The first hour with real sound: the check that listens, and the try-out by voice.

Slow: minutes of real time, on the rig of ``tests/shell/rig.py``.
"""

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile

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
LOOP = ("load-module", "module-loopback", "source=spk.monitor", "sink=mic", "latency_msec=60",
        "source_dont_move=true", "sink_dont_move=true")  # fmt: skip
SILENT_S = 1.5
READING = FIXTURES / "demo" / "02_resin_eight_five_six_grams.flac"


@pytest.fixture
def rig() -> Iterator[Rig]:
    with rigged() as started:
        started.start_hiss()
        yield started


def finished(program: Program) -> int:
    program.wait_for("", 1)
    code = program.process.wait(60)
    time.sleep(0.2)  # The reader of its lines is a thread.
    return code


def text_of(program: Program) -> str:
    text = "\n".join(line for _, line in program.lines)
    print(text)
    return text


def test_the_check_hears_the_voice_and_the_loudspeaker(rig: Rig, tmp_path: Path) -> None:
    rig.pactl(*LOOP)
    report = tmp_path / "report.txt"
    program = Program(
        rig, tmp_path, "--listen", "--microphone", "default", "--report", str(report),
        command="check",
    )  # fmt: skip
    program.wait_for("in your usual voice", 60)
    rig.speak(READING)
    program.wait_for("loudspeaker, heard", 90)
    assert finished(program) == 0
    lines = [line for _, line in program.lines]
    print("\n".join(lines))
    assert any(line.startswith("ok       your voice: voice -") for line in lines)
    assert any(
        line.startswith("ok       loudspeaker, heard: The microphone hears") for line in lines
    )
    assert "ok       loudspeaker, heard" in report.read_text()


def test_the_check_tells_of_a_muted_microphone_and_a_deaf_one(rig: Rig, tmp_path: Path) -> None:
    rig.pactl("set-source-mute", "mic.monitor", "1")
    program = Program(rig, tmp_path, "--listen", "--microphone", "default", command="check")
    program.wait_for("loudspeaker, heard", 60)
    assert finished(program) == 0
    lines = [line for _, line in program.lines]
    assert any("gives no sound at all. Look for a mute switch" in line for line in lines)
    assert any(
        line.startswith("note     loudspeaker, heard: The microphone did not") for line in lines
    )


def test_of_several_microphones_the_one_that_hears_is_named(rig: Rig, tmp_path: Path) -> None:
    program = Program(rig, tmp_path, "--listen", command="check")
    program.wait_for("Talk on and on", 60)
    talk = subprocess.Popen(
        ["bash", "-c", f"while paplay --device=mic {as_wav(rig, READING)}; do :; done"],
        env=rig.environment,
        start_new_session=True,
    )
    try:
        program.wait_for("best microphone", 60)
    finally:
        os.killpg(talk.pid, signal.SIGKILL)
        talk.wait()
    assert finished(program) == 0
    assert "To keep it: --microphone" in text_of(program)


def as_wav(rig: Rig, path: Path) -> Path:
    sound, rate_hz = soundfile.read(path)
    target = rig.folder / "talk.wav"
    soundfile.write(target, sound, rate_hz)
    return target


def recording(rig: Rig, words: str) -> Path:
    """A sentence: a shipped recording, or one by the same synthesizer."""
    shipped = sorted((FIXTURES / "commands").glob(f"*_{words.replace(' ', '_')}.flac"))
    if shipped:
        return shipped[0]
    path = rig.folder / f"{words.replace(' ', '_')}.wav"
    subprocess.run(["flite", "-voice", "slt", "-t", words, "-o", str(path)], check=True)
    return path


def wait_until_silent(rig: Rig) -> None:
    """Until the loudspeaker has been silent for so long that it is no pause."""
    command = ["parec", "--device=spk.monitor", "--rate=8000", "--channels=1", "--latency-msec=50"]
    with subprocess.Popen(command, env=rig.environment, stdout=subprocess.PIPE) as ear:
        assert ear.stdout is not None
        silent_s = 0.0
        while silent_s < SILENT_S:
            silent_s = 0.0 if any(ear.stdout.read(1_600)) else silent_s + 0.1
        ear.kill()


def say_until(rig: Rig, program: Program, words: str, then: str) -> None:
    """Says a sentence when the program is silent, again where it was not heard."""
    for last in (False, False, True):
        wait_until_silent(rig)
        rig.speak(recording(rig, words))
        try:
            # The call comes twenty seconds after it was asked for.
            program.wait_for(then, 40 if words.startswith("remind") else 8)
        except AssertionError:
            if last:
                raise
        else:
            return


@pytest.mark.skipif(shutil.which("flite") is None, reason="no flite: apt-get install flite")
def test_the_try_out_by_voice_from_levels_to_the_caution(rig: Rig, tmp_path: Path) -> None:
    """Every lesson spoken, each when it is asked for and the program is silent again."""
    program = Program(rig, tmp_path, command="tryout")
    program.wait_for("listening for 5 seconds", 90)
    rig.speak(READING)
    program.wait_for("I hear you well", 60)
    way = (
        ("Say hello bench", "hello bench"),
        ("For practice", "resin one one one grams"),
        ("so say no", "no"),
        ("from the first jug", "resin two one zero grams"),
        ("If that is what", "yes"),
        ("Press tare", "tare"),
        ("The second jug", "hardener five zero grams"),
        ("taken back", "scratch that"),
        ("Pour on to the target", "hardener one zero five grams"),
        ("on target", "yes"),
        ("Stir, and say mixed", "mixed"),
        ("Warm epoxy", "two two degrees"),
        ("From here you can always ask", "how long is left"),
        ("remind you of anything", "remind me in twenty seconds"),
        ("A call comes again", "understood"),
    )
    asked = [*(words for words, _ in way[1:]), "Well done, that was all"]
    program.wait_for(way[0][0], 90)
    for (_, words), then in zip(way, asked, strict=True):
        say_until(rig, program, words, then)
    assert program.process.wait(60) == 0
    text_of(program)
    assert not (tmp_path / "data").exists()
