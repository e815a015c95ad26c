"""The board's options: what is opened, what is said of it, and where the token goes."""

import argparse
import io
import socket
import stat
from contextlib import ExitStack
from pathlib import Path

import pytest

from handsfree.shell import board_options
from handsfree.shell.board import BoardUnusable
from handsfree.shell.board_options import CannotShow, opened
from handsfree.shell.cli import main
from handsfree.shell.config_file import settle
from handsfree.shell.preferences import BOARD_KEYS, add_options


class Terminal(io.StringIO):
    """An output that a person sees."""

    def isatty(self) -> bool:
        return True


def options(*given: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path)
    board_options.add_host_to(parser)
    add_options(parser, BOARD_KEYS)
    args = parser.parse_args([*given, "--no-config"])
    settle(args)
    return args


@pytest.fixture
def terminal() -> Terminal:
    return Terminal()


def test_nothing_is_opened_that_nobody_asked_for() -> None:
    with ExitStack() as stack:
        assert opened(options(), stack, does_tick=True) == board_options.Shown()


def test_a_person_is_told_the_whole_address(terminal: Terminal) -> None:
    with ExitStack() as stack:
        shown = opened(options("--board", "--board-port", "0"), stack, does_tick=True, out=terminal)
        assert shown.board is not None
        assert terminal.getvalue() == f"Board: {shown.board.address}\n"
        assert shown.displays == (shown.board,)
        assert not shown.board.access.may_acknowledge


def test_a_log_is_told_only_where_the_address_is(tmp_path: Path) -> None:
    log, folder = io.StringIO(), tmp_path / "job"
    given = options("--board", "--board-port", "0", "--data", str(folder))
    with ExitStack() as stack:
        shown = opened(given, stack, does_tick=True, out=log)
        assert shown.board is not None
        assert shown.board.access.token not in log.getvalue()
        (path,) = folder.iterdir()
        assert str(path) in log.getvalue()
        assert path.read_text() == f"{shown.board.address}\n"
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert not path.exists()


def test_an_address_that_cannot_be_written_down_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    given = options("--board", "--board-port", "0", "--data", str(tmp_path / "file"))
    with ExitStack() as stack, pytest.raises(CannotShow, match="cannot be written"):
        opened(given, stack, does_tick=True, out=io.StringIO())


def test_another_device_is_let_in_with_a_picture_and_plain_words(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Another address of this machine's own than the usual one, so that nothing is opened.
    monkeypatch.setattr(board_options, "_is_near", lambda _host: False)
    with ExitStack() as stack:
        given = options("--board-host", "127.0.0.1", "--board-port", "0", "--board-acknowledge")
        shown = opened(given, stack, does_tick=True, out=terminal)
        assert shown.board is not None
        out = terminal.getvalue()
        assert "not encrypted" in out
        assert "answer announcements, but change nothing else" in out
        assert out.count("▀") + out.count("▄") + out.count("█") > 100
        assert shown.board.address in out
        assert shown.board.access.may_acknowledge


def test_the_usual_port_gives_way_but_a_named_one_is_insisted_on(terminal: Terminal) -> None:
    with ExitStack() as stack, socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        stack.enter_context(pytest.MonkeyPatch.context()).setattr(board_options, "USUAL_PORT", port)
        shown = opened(options("--board"), stack, does_tick=True, out=terminal)
        assert shown.board is not None
        assert shown.board.access.port != port
        assert str(shown.board.access.port) in terminal.getvalue()
        with pytest.raises(CannotShow, match="taken"):
            opened(options("--board-port", str(port)), stack, does_tick=True)


def test_a_machine_without_a_network_is_told_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> str:
        raise BoardUnusable("This machine is in no network.")

    monkeypatch.setattr("handsfree.shell.board.own_address", none)
    with ExitStack() as stack, pytest.raises(CannotShow, match="no network"):
        opened(options("--board-host"), stack, does_tick=True)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("--board-port", "70000"), "no port"),
        (("--board-port", "eighty"), "no port"),
        (("--board-port", "-1"), "no port"),
        (("--board-host", "0.0.0.0"), "every network"),
        (("--board-host", "http://x/"), "no address"),
        (("--board-host", "a b"), "no address"),
    ],
)
def test_bad_options_are_refused_in_words(
    given: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        options(*given)
    assert words in capsys.readouterr().err


def test_a_large_board_needs_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["type", "--board-terminal", "--script", "/dev/null"]) == 2
    assert "needs a terminal" in capsys.readouterr().err


def test_a_page_and_a_large_terminal_are_not_had_together() -> None:
    with ExitStack() as stack, pytest.raises(CannotShow, match="one of them"):
        opened(options("--board", "--board-terminal"), stack, does_tick=True)


def test_a_typed_job_can_be_watched(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script = tmp_path / "script"
    script.write_text("08:00:00 resin eight five six grams\nyes\n")
    command = ["type", "--board", "--board-port", "0", "--script", str(script)]
    assert main([*command, "--data", str(tmp_path / "job")]) == 0
    out = capsys.readouterr().out
    assert "The board's address is in" in out
    assert "One two two grams of hardener" in out


def test_a_typed_job_has_no_button() -> None:
    with pytest.raises(SystemExit):
        main(["type", "--board-acknowledge"])
