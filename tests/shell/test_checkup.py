"""The check finds what a first hour can trip over, and its report tells nothing private."""

import ctypes
import errno
import getpass
import os
import re
import shutil
import socket
import sys
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from handsfree.job.events import NoteTaken
from handsfree.language.tryout_wording import SoundVerdict
from handsfree.shell import checkup, listen_check, machine_check
from handsfree.shell.check_report import TAKEN_OUT, cleaned, private_names, report_of
from handsfree.shell.checkup import summary
from handsfree.shell.cli import main
from handsfree.shell.clock import Clock
from handsfree.shell.files import Files
from handsfree.shell.finding import Finding, Verdict, note, ok, problem
from handsfree.shell.journal import JOURNAL_NAME, Journal
from handsfree.shell.listen_check import compared, voice_finding
from handsfree.shell.machine_check import clocks, data_folder, filesystem_of, journal, sleep
from handsfree.shell.microphone import Microphone
from handsfree.shell.sleep_inhibitor import SleepInhibitor
from handsfree.shell.sound_check import Levels
from handsfree.shell.sound_device import NoSoundDevice
from tests.shell.fake_time import FakeTime
from tests.shell.test_microphone import PortAudioError

PROJECT = Path(__file__).parent.parent.parent / "pyproject.toml"


def by_name(findings: Iterator[Finding]) -> dict[str, Finding]:
    return {finding.name: finding for finding in findings}


# --- the machine ------------------------------------------------------------------------------


def test_a_data_folder_is_not_made_and_nothing_stays_in_it(tmp_path: Path) -> None:
    found = by_name(data_folder(tmp_path / "not" / "yet"))
    assert found["data folder"].verdict in (Verdict.OK, Verdict.NOTE)
    assert list(tmp_path.iterdir()) == []


class FailingFiles(Files):
    """A disk that fails in one call."""

    def __init__(self, call: str, error: int) -> None:
        self.call, self.error = call, error

    def _fail(self, call: str) -> None:
        if call == self.call:
            raise OSError(self.error, os.strerror(self.error))

    def open(self, path: Path, flags: int) -> int:
        self._fail("open")
        return super().open(path, flags)

    def sync(self, descriptor: int) -> None:
        self._fail("sync")
        super().sync(descriptor)

    def write(self, descriptor: int, data: bytes) -> int:
        return 10 if self.call == "short" else super().write(descriptor, data)


@pytest.mark.parametrize(
    ("call", "error", "why"),
    [
        ("open", errno.EROFS, "Read-only file system"),
        ("open", errno.EACCES, "Permission denied"),
        ("sync", errno.EIO, "Input/output error"),
        ("short", 0, "the disk is full"),
    ],
)
def test_a_disk_that_does_not_keep_is_a_problem(
    tmp_path: Path, call: str, error: int, why: str
) -> None:
    (found,) = data_folder(tmp_path, FailingFiles(call, error))
    assert found.verdict is Verdict.PROBLEM
    assert why in found.text
    assert list(tmp_path.iterdir()) == []


MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
tmpfs /tmp tmpfs rw 0 0
server:/home /home nfs4 rw 0 0
/dev/sdb1 /home/my\\040disk vfat rw 0 0
overlay /mnt overlay rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/var/lib", "ext4"),
        ("/tmp/x", "tmpfs"),
        ("/tmpx", "ext4"),
        ("/home/me", "nfs4"),
        ("/home/my disk/jobs", "vfat"),
        ("/mnt", "overlay"),
    ],
)
def test_the_filesystem_is_that_of_the_nearest_mount(tmp_path: Path, path: str, kind: str) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(MOUNTS)
    assert filesystem_of(Path(path), mounts) == kind


@pytest.mark.parametrize(
    ("kind", "verdict", "word"),
    [
        ("tmpfs", Verdict.NOTE, "memory"),
        ("nfs4", Verdict.NOTE, "network"),
        ("overlay", Verdict.NOTE, "read-only"),
        ("ext4", Verdict.OK, "ext4"),
    ],
)
def test_a_disk_that_forgets_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, verdict: Verdict, word: str
) -> None:
    monkeypatch.setattr(machine_check, "filesystem_of", lambda _path: kind)
    found = by_name(data_folder(tmp_path))["data folder"]
    assert found.verdict is verdict
    assert word in found.text


@pytest.mark.parametrize(
    ("free", "verdict"), [(1_000, Verdict.PROBLEM), (10**8, Verdict.NOTE), (10**10, Verdict.OK)]
)
def test_a_full_disk_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, free: int, verdict: Verdict
) -> None:
    usage = SimpleNamespace(free=free)
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: usage)
    assert by_name(data_folder(tmp_path))["disk"].verdict is verdict


def written_journal(folder: Path) -> Path:
    clock = Clock()
    record = Journal(folder)
    record.open()
    record.begin(clock.stamp(clock.now()), "Gate Coat")
    for number in range(3):
        words = ("the", "secret", "number", str(number))
        record.append((NoteTaken(clock.now(), number + 1, words),), clock.stamp(clock.now()))
    record.close()
    return folder / JOURNAL_NAME


def test_a_record_is_read_and_left_as_it_is(tmp_path: Path) -> None:
    assert journal(tmp_path).text == "none yet"
    path = written_journal(tmp_path)
    before = path.read_bytes()
    assert journal(tmp_path).text.endswith("4 entries, all sound")
    path.write_bytes(before[:-20])
    assert journal(tmp_path).verdict is Verdict.NOTE
    assert "cut off" in journal(tmp_path).text
    path.write_bytes(before.replace(b"secret", b"sacred", 1))
    assert "damaged in 1 places" in journal(tmp_path).public
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["journal.lock", JOURNAL_NAME]


def test_a_record_that_cannot_be_read_is_a_problem(tmp_path: Path) -> None:
    (tmp_path / JOURNAL_NAME).mkdir()
    assert journal(tmp_path).verdict is Verdict.PROBLEM


def test_a_clock_from_before_this_program_is_a_problem() -> None:
    time = FakeTime()
    assert by_name(clocks(time))["date"].verdict in (Verdict.OK, Verdict.NOTE)
    time.reboot(timedelta(hours=1), wall_at=datetime(1970, 1, 1, 0, 5, tzinfo=UTC))
    found = by_name(clocks(time))["date"]
    assert found.verdict is Verdict.PROBLEM
    assert "1970-01-01" in found.text


@pytest.mark.parametrize(
    ("is_synchronized", "verdict", "word"),
    [
        (True, Verdict.OK, "set by the network"),
        (False, Verdict.NOTE, "not set by the network"),
        (None, Verdict.OK, "not known"),
    ],
)
def test_what_sets_the_clock_is_told_where_it_is_known(
    monkeypatch: pytest.MonkeyPatch, is_synchronized: bool | None, verdict: Verdict, word: str
) -> None:
    monkeypatch.setattr(machine_check, "_is_synchronized", lambda: is_synchronized)
    found = by_name(clocks(FakeTime()))["date"]
    assert (found.verdict, word in found.text) == (verdict, True)


@pytest.mark.skipif(sys.platform != "linux" or sys.maxsize < 2**32, reason="64-bit Linux only")
def test_the_kernel_is_asked_whether_its_clock_is_synchronized() -> None:
    # By another way: the status word of adjtimex(2) from the kernel, as adjtimex --print shows
    # it, is in the bytes 40 to 43; STA_UNSYNC is 0x40.
    buffer = ctypes.create_string_buffer(1024)
    ctypes.CDLL(None).adjtimex(buffer)
    status = int.from_bytes(buffer.raw[40:44], "little")
    assert machine_check._is_synchronized() is not bool(status & 0x40)


def test_a_machine_that_cannot_be_kept_awake_is_told() -> None:
    found = sleep(SleepInhibitor("no-such-program"))
    assert found.verdict is Verdict.NOTE
    assert "Switch it off" in found.text


# --- the program --------------------------------------------------------------------------------


def test_every_package_of_the_project_is_looked_at() -> None:
    needed = tomllib.loads(PROJECT.read_text())["project"]["dependencies"]
    names = {re.split(r"[<>=!~ ]", requirement)[0] for requirement in needed}
    assert set(checkup.PACKAGES) == names


def test_a_card_that_cannot_be_chosen_by_voice_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good = tmp_path / "good.toml"
    good.write_text(
        'format = 1\nname = "Xylotomy"\ninvented = true\n[mix]\nratio = "2:1"\nby = "weight"\n'
    )
    assert main(["check", "--product", str(good)]) == 0
    out = capsys.readouterr().out
    assert "note     product card 1: Xylotomy, invented. Its name cannot be chosen by voice" in out
    assert "xylotomy" in out


def test_every_card_is_looked_at(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('name = "Odd"\n')
    assert main(["check", "--product", "gate-coat", "--product", str(bad)]) == 1
    out = capsys.readouterr().out
    assert "ok       product card 1: Gate Coat" in out
    assert "problem  product card 2:" in out


def test_damaged_settings_are_one_finding_and_the_rest_is_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "config.toml"
    path.write_text('words = "loud"\nscale_stp = 1\n')
    assert main(["check", "--config", str(path)]) == 1
    out = capsys.readouterr().out
    assert f"problem  settings: {path}, line 1: words is not accepted" in out
    assert "Did you mean scale_step?" in out
    assert "ok       voice:" in out


def test_what_it_comes_to_is_said_in_one_line() -> None:
    fine, silent = ok("disk", ""), note("microphone", "none")
    assert summary([fine]) == "Ready."
    assert summary([fine, note("sleep", "")]) == "Ready. Notes: 1."
    assert summary([fine, silent]) == "Ready but to listen and speak; see microphone. Notes: 1."
    assert summary([problem("voice", ""), silent]) == "To mend first: 1. Notes: 1."


# --- sound devices ------------------------------------------------------------------------------

DEVICES = [
    {
        "index": 0, "name": "Anna's headset (SN 4711ABCD99)", "max_input_channels": 1,
        "max_output_channels": 2, "default_samplerate": 48000.0, "hostapi": 0,
    },
    {
        "index": 1, "name": "Camera", "max_input_channels": 2,
        "max_output_channels": 0, "default_samplerate": 16000.0, "hostapi": 0,
    },
]  # fmt: skip


def library(*, refuses: bool = False) -> Any:
    def check(**_settings: object) -> None:
        if refuses:
            raise PortAudioError("Device unavailable")

    return SimpleNamespace(
        query_devices=lambda kind=None: DEVICES if kind is None else DEVICES[0],
        query_hostapis=lambda _index: {"name": "ALSA"},
        check_input_settings=check,
        check_output_settings=check,
        PortAudioError=PortAudioError,
    )


def test_every_device_is_shown_with_its_rate_and_the_report_has_no_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(checkup, "sound_library", library)
    found = by_name(checkup.sound("camera", None))
    assert found["microphone"].text == "Camera, 16000 Hz, 2 channels, by ALSA, chosen by name"
    assert found["loudspeaker"].text.startswith("Anna's headset")
    assert found["microphone 2"].text == "Camera, 16000 Hz, 2 channels, by ALSA"
    report = report_of(list(found.values()), frozenset())
    assert "48000 Hz, 1 channels, by ALSA" in report
    for private in ("Anna", "4711", "Camera"):
        assert private not in report


def test_a_device_in_use_by_another_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checkup, "sound_library", lambda: library(refuses=True))
    found = by_name(checkup.sound(None, None))["microphone"]
    assert found.verdict is Verdict.NOTE
    assert "cannot be opened: Device unavailable. Close what else uses it" in found.text


def test_without_a_sound_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing() -> Any:
        raise NoSoundDevice("install the package libportaudio2")

    monkeypatch.setattr(checkup, "sound_library", missing)
    (found,) = checkup.sound(None, None)
    assert (found.verdict, found.text) == (Verdict.NOTE, "install the package libportaudio2")


class Heard:
    """A microphone that gives one level, or cannot be opened."""

    def __init__(self, db: float | None) -> None:
        self.db = db

    def __enter__(self) -> "Heard":
        if self.db is None:
            raise NoSoundDevice("The microphone cannot be opened: busy.")
        return self

    def __exit__(self, *_exception: object) -> None:
        pass


def test_the_loudest_microphone_that_does_not_clip_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from tests.shell.test_sound_check import at_db

    levels = {"Far": -50.0, "Near": -25.0, "Clipping": 3.0, "Mute": -400.0, "Busy": None}

    def heard(microphone: Heard, length_s: float) -> bytes:
        assert microphone.db is not None
        return bytes(2_000) if microphone.db < -90 else at_db(microphone.db, length_s)

    monkeypatch.setattr(listen_check, "record", heard)
    found = compared(list(levels), lambda name: cast(Microphone, Heard(levels[name])))
    *each, (name, best) = found
    assert (name, best.name) == ("Near", "best microphone")
    assert '--microphone "Near"' in best.text
    assert [finding.text.split(", ")[-1] for _, finding in each[:4]] == [
        "-50 dB", "-25 dB", "too loud", "no sound at all",
    ]  # fmt: skip
    assert each[4][1].verdict is Verdict.NOTE
    assert "5 microphones" in capsys.readouterr().out


def test_no_microphone_is_named_where_none_hears() -> None:
    found = compared(["Busy"], lambda _name: cast(Microphone, Heard(None)))
    assert [finding.verdict for _, finding in found] == [Verdict.NOTE]


@pytest.mark.parametrize("verdict", list(SoundVerdict))
def test_every_verdict_says_what_to_do(verdict: SoundVerdict) -> None:
    levels = {
        SoundVerdict.FINE: Levels(-60, -25, 0.0, False),
        SoundVerdict.MUTED: Levels(-90, -90, 0.0, True),
        SoundVerdict.CLIPPED: Levels(-60, -3, 0.1, False),
        SoundVerdict.TOO_QUIET: Levels(-70, -55, 0.0, False),
        SoundVerdict.NOISY: Levels(-30, -25, 0.0, False),
    }[verdict]
    assert levels.verdict is verdict
    found = voice_finding(levels)
    assert (found.verdict is Verdict.OK) == (verdict is SoundVerdict.FINE)
    assert verdict.value in found.public


# --- the report ---------------------------------------------------------------------------------


@pytest.mark.audio
def test_the_report_holds_nothing_private(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home" / "wilhelmina"
    data = home / "private-jobs"
    data.mkdir(parents=True)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("LOGNAME", "wilhelmina")
    monkeypatch.setattr(socket, "gethostname", lambda: "garage-pi.wilhelmina.example")
    monkeypatch.setattr(checkup, "sound_library", library)
    written_journal(data)
    card = home / "customer-house.toml"
    card.write_text('name = "Customer House"\n')
    settings = home / "mine.toml"
    settings.write_text(f'data = "{data}"\nmicrophone = "Anna"\nproduct = "{card}"\n')
    report = tmp_path / "report.txt"
    assert main(["check", "--config", str(settings), "--report", str(report)]) == 1
    capsys.readouterr()
    text = report.read_text()
    planted = ("wilhelmina", "garage-pi", str(home), "private-jobs", "Anna", "4711ABCD99", "secret",
               "customer-house", "Customer House", "mine.toml", str(tmp_path))  # fmt: skip
    for private in planted:
        assert private not in text, private
    assert "ok       record: 4 entries, all sound" in text
    assert "problem  product card 1: a card of their own, CardUnusable" in text
    assert re.search(r"^ok       package vosk: [0-9.]+$", text, re.MULTILINE)


def test_what_slips_through_is_taken_out() -> None:
    names = frozenset({"wilhelmina", "/home/wilhelmina", "garage-pi"})
    text = cleaned("on garage-pi at /home/wilhelmina/x, headset A1B2C3D4, by wilhelmina.", names)
    assert text == (
        f"on {TAKEN_OUT} at {TAKEN_OUT}/x, headset {TAKEN_OUT}, by {TAKEN_OUT}."
    )  # fmt: skip
    # Versions, rates and plain words stay.
    plain = "handsfree 0.1.0, Python 3.11.7, 48000 Hz, 2026.11.25, libportaudio2, x86_64"
    assert cleaned(plain, names) == plain


def test_the_names_are_those_of_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: "garage-pi")
    monkeypatch.setattr(getpass, "getuser", lambda: "wilhelmina")
    assert {"garage-pi", "wilhelmina", str(Path.home())} <= private_names()


def test_a_report_replaces_a_report_and_nothing_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from handsfree.shell import check_report

    path = tmp_path / "report.txt"
    check_report.write(path, [ok("program", "1")])
    check_report.write(path, [ok("program", "2")])
    assert path.read_text().endswith("program: 2\n")
    path.write_text("my notes")
    assert main(["check", "--report", str(path)]) == 2
    assert path.read_text() == "my notes"
    assert "something else" in capsys.readouterr().err
