"""The board in a terminal: large, whole, and never in the way."""

import io
import sys
import threading
from dataclasses import replace
from datetime import timedelta

import pytest

from handsfree.shell.block_letters import block_text
from handsfree.shell.terminal_board import (
    NoTerminal,
    TerminalBoard,
    board_lines,
    left_text,
    length_text,
)
from tests.shell.board_scenes import MIXED, POURED, Job, Scene, scenes
from tests.shell.fake_time import START

SIZES = [(40, 12), (80, 24), (100, 30), (132, 43), (200, 60)]


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("scene", scenes(), ids=lambda scene: scene.name)
def test_every_moment_fits_every_terminal(scene: Scene, size: tuple[int, int]) -> None:
    width, height = size
    lines = board_lines(scene.job.view, scene.job.now, width, height)
    assert len(lines) <= height
    assert all(len(line.plain) <= width for line in lines)


def test_the_dominant_number_is_large() -> None:
    job = Job(*POURED)
    for width, height, least_rows in ((80, 24, 7), (200, 60, 20)):
        lines = [line.plain for line in board_lines(job.view, job.now, width, height)]
        assert sum("██" in line for line in lines) >= least_rows


def test_a_small_terminal_says_what_it_needs() -> None:
    job = Job()
    (line,) = board_lines(job.view, job.now, 30, 10)
    assert "larger" in line.plain


def test_the_bar_fills_to_its_mark() -> None:
    lengths = []
    for reading in ("hardener two zero", "hardener one zero zero"):
        job = Job(*POURED, reading)
        bar = next(
            line.plain for line in board_lines(job.view, job.now, 80, 24) if "·" in line.plain
        )
        assert "|" in bar
        lengths.append(bar.count("█"))
    assert 0 < lengths[0] < lengths[1]


def test_an_alarm_stands_still_while_its_frame_comes_and_goes() -> None:
    job = Job(*MIXED)
    job.wait(12)
    on = [line.plain for line in board_lines(job.view, job.now, 80, 24, is_on=True)]
    off = [line.plain for line in board_lines(job.view, job.now, 80, 24, is_on=False)]
    assert on != off
    assert [line.strip(" █") for line in on if line.strip(" █")] == [
        line.strip(" █") for line in off if line.strip(" █")
    ]
    assert any("!!! Cup 1 !!!" in line for line in off)


def test_what_is_not_saved_is_shown() -> None:
    job = Job()
    view = replace(job.view, is_saved=False)
    assert any("Not saved" in line.plain for line in board_lines(view, job.now, 80, 24))


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (timedelta(), ("0:00", "min")),
        (timedelta(seconds=599.9), ("9:59", "min")),
        (timedelta(minutes=10), ("10", "min")),
        (timedelta(minutes=89, seconds=59), ("89", "min")),
        (timedelta(minutes=90), ("1:30", "h")),
        (timedelta(hours=47, minutes=59, seconds=59), ("47:59", "h")),
        (timedelta(days=2), ("2", "days")),
    ],
)
def test_what_is_left_is_rounded_down(length: timedelta, text: tuple[str, str]) -> None:
    assert length_text(length) == text


def test_what_is_over_says_since_when() -> None:
    assert left_text(START + timedelta(minutes=5), START) == "5:00 min left"
    assert left_text(START, START + timedelta(minutes=5)) == "over for 5:00 min"


@pytest.mark.parametrize(("width", "height"), [(1, 1), (5, 3), (6, 4), (40, 8), (500, 100)])
def test_letters_keep_to_their_place(width: int, height: int) -> None:
    for text in ("122 g", "", "word " * 30, "äöß€"):
        lines = block_text(text, width, height)
        assert len(lines) <= height
        assert all(len(line) <= width for line in lines)


def test_digits_are_told_apart() -> None:
    drawn = {digit: tuple(block_text(digit, 10, 4)) for digit in "0123456789"}
    assert len(set(drawn.values())) == 10


class Terminal(io.StringIO):
    """A terminal that a test reads."""

    def isatty(self) -> bool:
        return True


class Hanging(Terminal):
    """A terminal that takes nothing, as one that was stopped with Ctrl-S."""

    def __init__(self) -> None:
        super().__init__()
        self.goes_on = threading.Event()

    def write(self, text: str) -> int:
        self.goes_on.wait()
        return super().write(text)


@pytest.fixture(autouse=True)
def _any_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)


def test_it_draws_and_what_was_printed_meanwhile_follows(
    capsys: pytest.CaptureFixture[str],
) -> None:
    out, job = Terminal(), Job(*POURED)
    with TerminalBoard(out=out) as board:
        board.show(job.view, job.now)
        while "Cup 1: hardener" not in out.getvalue():
            board._is_shown.wait(0.01)
        print("a line of the program")
        print("a complaint", file=sys.stderr)
    assert "a line of the program" not in out.getvalue()
    assert capsys.readouterr().out == "a line of the program\na complaint\n"


def test_the_bell_of_an_alarm_still_rings() -> None:
    out, job = Terminal(), Job(*POURED)
    with TerminalBoard(out=out) as board:
        board.show(job.view, job.now)
        print("\a", end="", flush=True)
        while "\a" not in out.getvalue():
            board._is_shown.wait(0.01)


def test_a_terminal_that_hangs_holds_nothing_up() -> None:
    out, job = Hanging(), Job(*POURED)
    board = TerminalBoard(out=out)
    board.__enter__()
    for _ in range(1000):
        board.show(job.view, job.now)
        print("and no print waits either")
    out.goes_on.set()
    board.__exit__()


def test_a_file_is_no_terminal() -> None:
    with pytest.raises(NoTerminal, match="--board"):
        TerminalBoard(out=io.StringIO())
