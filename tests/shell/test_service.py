"""The service manager is told, the level is shown, and a key serves as the wake phrase."""

import configparser
import io
import os
import pty
import socket
import sys
import threading
from pathlib import Path

import pytest

from handsfree.shell.cli import main
from handsfree.shell.keys import Keys
from handsfree.shell.live import POLL_S
from handsfree.shell.meter import WIDTH, Meter, line_of
from handsfree.shell.note_sound import SoundNotKept, keep_sound
from handsfree.shell.service import READY, notify


@pytest.mark.parametrize("is_abstract", [False, True])
def test_the_service_manager_gets_the_datagram_of_sd_notify(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_abstract: bool
) -> None:
    name = f"@handsfree-test-{os.getpid()}" if is_abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name[1:] if is_abstract else name)
        manager.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        notify(READY)
        assert manager.recv(100) == b"READY=1"


def test_a_manager_that_is_not_there_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "none"))
    notify(READY)
    monkeypatch.delenv("NOTIFY_SOCKET")
    notify(READY)


def service_of(capsys: pytest.CaptureFixture[str], *options: str) -> configparser.SectionProxy:
    assert main(["service", "--", *options]) == 0
    unit = configparser.ConfigParser(strict=True, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read_string(capsys.readouterr().out)
    return unit["Service"]


def test_the_unit_is_one_that_systemd_takes(capsys: pytest.CaptureFixture[str]) -> None:
    service = service_of(capsys)
    assert service["Type"] == "notify"
    assert service["ExecStart"].endswith(" run")
    # Source: systemd.service(5): the watchdog ends a service that is silent for so long; the
    # loop speaks at every look at the clock.
    assert float(service["WatchdogSec"]) > 10 * POLL_S


def test_the_unit_opens_the_network_only_as_far_as_the_board_needs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    silent = service_of(capsys, "--attention", "0")
    assert silent["RestrictAddressFamilies"] == "AF_UNIX"
    here = service_of(capsys, "--board-port", "9000")
    assert (here["IPAddressDeny"], here["IPAddressAllow"]) == ("any", "localhost")
    assert "AF_INET" in here["RestrictAddressFamilies"]
    there = service_of(capsys, "--board-host")
    assert "IPAddressDeny" not in there


def test_the_units_options_are_those_of_run_with_whole_paths(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "50% more $.toml").touch()
    service = service_of(capsys, "--product", "50% more $.toml", "--wake", "good evening bench")
    product = f'"{tmp_path}/50%% more $$.toml"'
    assert service["ExecStart"].endswith(f' run --product {product} --wake "good evening bench"')
    with pytest.raises(SystemExit):
        main(["service", "--", "--atention", "0"])


def test_the_name_alone_shows_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert "handsfree demo" in capsys.readouterr().out


def test_the_bar_grows_with_the_level() -> None:
    bars = [line_of(db, is_awake=True).count("#") for db in (-90.0, -70.0, -35.0, 0.0, 3.0)]
    assert bars == sorted(bars)
    assert bars[0] == 0
    assert bars[-1] == WIDTH
    assert "wake phrase" in line_of(-40.0, is_awake=False)


def test_the_level_never_goes_into_a_file() -> None:
    out = io.StringIO()
    Meter(out).show(-20.0, is_awake=True)
    assert out.getvalue() == ""


def test_a_key_calls_back_and_the_terminal_is_left_as_it_was(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import termios

    keyboard, terminal = pty.openpty()
    before = termios.tcgetattr(terminal)
    pressed = threading.Event()
    with open(terminal, closefd=True) as shown:
        monkeypatch.setattr(sys, "stdin", shown)
        keys = Keys(pressed.set)
        for _ in range(100):  # What is typed before the thread is ready is thrown away.
            os.write(keyboard, b" ")
            if pressed.wait(0.05):
                break
        keys.stop()
        assert pressed.is_set()
        assert termios.tcgetattr(terminal) == before
    os.close(keyboard)


def test_without_a_terminal_there_are_no_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("keys"))
    Keys(lambda: pytest.fail("no key was pressed")).stop()


def test_the_sound_of_a_note_is_written_once_and_exactly(tmp_path: Path) -> None:
    import soundfile

    sound = bytes(range(250)) * 64
    path = keep_sound(tmp_path, "note-1.flac", sound)
    samples, rate_hz = soundfile.read(path, dtype="int16")
    assert (samples.astype("<i2").tobytes(), rate_hz) == (sound, 16_000)
    with pytest.raises(SoundNotKept, match="was not kept"):
        keep_sound(tmp_path, "note-1.flac", sound)
    with pytest.raises(SoundNotKept, match="typed"):
        keep_sound(tmp_path, "note-2.flac", b"")
