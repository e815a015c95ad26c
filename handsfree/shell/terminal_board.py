"""The board in a terminal, large, for a machine without a browser."""

import sys
import threading
from collections import deque
from dataclasses import dataclass
from datetime import datetime, timedelta
from time import monotonic
from typing import TextIO

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from handsfree.job.board_view import (
    AlarmPanel,
    BoardView,
    ClockPanel,
    NotePanel,
    Panel,
    PourPanel,
    QuestionPanel,
)
from handsfree.job.reminders import Urgency
from handsfree.shell.block_letters import block_text

LOOK_EVERY_S = 0.25
CALL_EVERY_S = 0.5  # The frame of an alarm comes and goes once a second; its words stand still.
MOST_LINES = 2000  # Of what was printed meanwhile, and is printed again at the end.
MOST_REST_IN_ALARM = 1  # An alarm takes the room of the rest: its words are large before all.
LEAST_WIDTH, LEAST_HEIGHT = 40, 12
LONG = timedelta(minutes=90)
SHORT = timedelta(minutes=10)
STYLES = {
    Urgency.HIGH: "bold white on red",
    Urgency.MEDIUM: "bold black on yellow",
    Urgency.LOW: "bold",
}
SIGNS = {Urgency.HIGH: "!!!", Urgency.MEDIUM: "!", Urgency.LOW: "i"}


class NoTerminal(Exception):
    """The output is no terminal; the message says what to do."""


@dataclass(frozen=True)
class _Seen:
    """What was shown last, when by the program's clock, and when by this machine's."""

    view: BoardView
    now: datetime
    at_s: float


class _Kept:
    """Takes what is printed meanwhile, which would tear the screen."""

    encoding = "utf-8"

    def __init__(self) -> None:
        self.lines: deque[str] = deque(maxlen=MOST_LINES)
        self.has_rung = threading.Event()
        self._open = ""

    def write(self, text: str) -> int:
        if "\a" in text:
            self.has_rung.set()  # Where there is no loudspeaker, the bell is an alarm's sound.
        *whole, self._open = (self._open + text.replace("\a", "")).split("\n")
        self.lines.extend(whole)
        return len(text)

    def flush(self) -> None:
        """Nothing waits."""

    def isatty(self) -> bool:
        """It is none."""
        return False


class TerminalBoard:
    """Draws in a thread of its own, so that a terminal that hangs holds nothing up."""

    def __init__(self, *, does_tick: bool = True, out: TextIO | None = None) -> None:
        """Opens nothing yet.

        Args:
            does_tick: the program's clock runs; False: it stands between two lines of a script.
            out: the terminal; None: standard output.

        Raises:
            NoTerminal: the output is no terminal.
        """
        self._out = out or sys.stdout
        self._console = Console(file=self._out)
        if not self._console.is_terminal or self._console.is_dumb_terminal:
            raise NoTerminal("--board-terminal needs a terminal. Use --board for a page instead.")
        self._does_tick = does_tick
        self._seen: _Seen | None = None
        self._is_shown = threading.Event()
        self._is_closing = threading.Event()
        self._kept = _Kept()
        self._thread = threading.Thread(target=self._run, name="terminal board", daemon=True)
        self._streams = (sys.stdout, sys.stderr)

    def __enter__(self) -> "TerminalBoard":
        sys.stdout = sys.stderr = self._kept
        self._thread.start()
        return self

    def __exit__(self, *_exception: object) -> None:
        self._is_closing.set()
        self._is_shown.set()
        self._thread.join(timeout=2.0)  # A terminal that hangs does not keep the program.
        sys.stdout, sys.stderr = self._streams
        for line in self._kept.lines:
            print(line)

    def show(self, view: BoardView, now: datetime) -> None:
        """Takes the view; the thread draws it."""
        self._seen = _Seen(view, now, monotonic())
        self._is_shown.set()

    def _run(self) -> None:
        with Live(
            console=self._console,
            screen=True,
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=False,
        ) as live:
            while not self._is_closing.is_set():
                seen = self._seen
                if self._kept.has_rung.is_set():
                    self._kept.has_rung.clear()
                    self._console.bell()
                if seen is not None:
                    live.update(self._drawn(seen), refresh=True)
                self._is_shown.wait(LOOK_EVERY_S)
                self._is_shown.clear()

    def _drawn(self, seen: _Seen) -> Group:
        since = timedelta(seconds=monotonic() - seen.at_s) if self._does_tick else timedelta()
        width, height = self._console.size
        is_on = int(monotonic() / CALL_EVERY_S) % 2 == 0
        return Group(*board_lines(seen.view, seen.now + since, width, height, is_on=is_on))


def board_lines(
    view: BoardView, now: datetime, width: int, height: int, *, is_on: bool = True
) -> list[Text]:
    """The whole screen, line by line.

    Args:
        view: what is shown.
        now: the moment, UTC, which clocks are counted down to.
        width, height: of the terminal, in characters.
        is_on: an alarm's frame is drawn; its words always are.
    """
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return [Text(f"Make the terminal larger, {LEAST_WIDTH} by {LEAST_HEIGHT} or more.")]
    head = Text(f"{view.product}".ljust(width - len(view.clock_text)) + view.clock_text, "bold")
    top = [head]
    if not view.is_saved:
        top.append(Text(" Not saved: the disk does not take the record ".ljust(width), "reverse"))
    below: list[Text] = []
    if view.asked is not None:
        below += [Text(f"? {line}", "bold reverse") for line in _question_lines(view.asked, width)]
    most = MOST_REST_IN_ALARM if isinstance(view.main, AlarmPanel) else len(view.rest)
    below += [Text(f"  {_row(panel, now)}"[:width]) for panel in view.rest[:most]]
    more = view.more + len(view.rest[most:])
    if more:
        below.append(Text(f"  and {more} more"))
    below += _talk(view, width)
    room = height - len(top) - len(below) - 1
    while room < LEAST_HEIGHT // 2 and len(below) > 1:
        below.pop(-3 if len(below) > 3 else 0)  # The rest gives way before the main thing does.
        room += 1
    return [*top, *_main(view.main, now, width, room, is_on=is_on), *below]


def _talk(view: BoardView, width: int) -> list[Text]:
    if view.wake_phrase:
        heard = f'Asleep: say "{view.wake_phrase}"'
    elif view.heard:
        verb = "heard" if view.was_understood else "not understood"
        heard = f'{view.heard_at_text} {verb}: "{view.heard}"'
    else:
        heard = "Nothing heard yet"
    lines = [Text(heard[:width], "bold")]
    if view.said:
        lines.append(Text(f"said: {view.said}"[:width]))
    return lines


def _main(panel: Panel, now: datetime, width: int, height: int, *, is_on: bool) -> list[Text]:
    """The dominant thing: its name, large letters, and what goes with it."""
    title, large, under = _parts(panel, now)
    style, frame = "", ""
    if isinstance(panel, AlarmPanel):
        style = STYLES[panel.urgency]
        sign = SIGNS[panel.urgency]
        title = f"{sign} {title} {sign}"
        is_calling = panel.urgency is Urgency.HIGH and not panel.is_missed
        frame = "█" if is_calling and is_on else " "
    inner = width - 4
    lines = [title, *_bar(panel, inner), ""]
    tail = ["", under]
    lines += block_text(large, inner, max(height - len(lines) - len(tail) - 2, 1))
    lines += tail
    lines += [""] * (height - 2 - len(lines))
    border = (frame or "─") * width
    framed = [border, *(f"{frame or ' '} {line[:inner]:<{inner}} {frame or ' '}" for line in lines)]
    return [Text(line, style) for line in [*framed[: height - 1], border]]


def _parts(panel: Panel, now: datetime) -> tuple[str, str, str]:
    """Title, large text, and the line under it."""
    match panel:
        case AlarmPanel():
            missed = "Missed: " if panel.is_missed else ""
            left = "" if panel.ends_at is None else f"{left_text(panel.ends_at, now)}. "
            say = 'Say "got it".' if panel.key else ""
            return f"{missed}{panel.name}", panel.text, f"{left}{say}"
        case PourPanel():
            return f"{panel.cup}: {panel.part}", f"{panel.target_g} g", _pour_text(panel)
        case ClockPanel():
            left, unit = length_text(abs(panel.ends_at - now))
            where = "left" if panel.ends_at > now else "over"
            end = f"{where}, until {panel.ends_text}"
            if panel.is_cup and panel.ends_at <= now:
                end += ": do not use the rest"
            return f"{panel.name}: {panel.what}", f"{left} {unit}", end
        case QuestionPanel():
            return "Asked", panel.text, _say(panel)
        case NotePanel():
            return "", panel.title, panel.text


def _pour_text(panel: PourPanel) -> str:
    parts = [_to_do(panel), f"good: {panel.low_g} to {panel.high_g}"]
    return ", ".join([*parts, panel.scale_text] if panel.scale_text else parts)


def _to_do(panel: PourPanel) -> str:
    if panel.asked_g:
        return f"{panel.asked_g} g?"
    if panel.left_g.startswith("-"):
        return f"{panel.left_g[1:]} g too much"
    return f"{panel.left_g} g more" if panel.poured_g != "0" else "to pour"


def _bar(panel: Panel, width: int) -> list[str]:
    """A pour's bar: what is in, a mark at the target, what is still open."""
    if not isinstance(panel, PourPanel):
        return []
    full = 1.12 * max(map(float, (panel.target_g, panel.poured_g, panel.high_g)))
    at = int(float(panel.poured_g) / full * width)
    target = int(float(panel.target_g) / full * width)
    bar = "".join("█" if x < at else "|" if x == target else "·" for x in range(width))
    return [bar, f"{panel.poured_g} g in".ljust(target)[:target] + "^ target"]


def _row(panel: Panel, now: datetime) -> str:
    match panel:
        case AlarmPanel():
            return f"{SIGNS[panel.urgency]} {panel.name}: {panel.text}"
        case PourPanel():
            return f"{panel.cup}: {_to_do(panel)}, {panel.part}"
        case ClockPanel():
            return f"{panel.name}: {left_text(panel.ends_at, now)}, {panel.what}, {panel.ends_text}"
        case QuestionPanel():
            return f"? {panel.text} {_say(panel)}"
        case NotePanel():
            return f"{panel.title}. {panel.text}"


def _question_lines(panel: QuestionPanel, width: int) -> list[str]:
    text = f"{panel.text} {_say(panel)}"
    return [text[: width - 2]]


def _say(panel: QuestionPanel) -> str:
    answers = [f'"{a}"' if " " not in a else a for a in panel.answers]
    return f"Say {' or '.join(answers)}." if answers else ""


def left_text(ends_at: datetime, now: datetime) -> str:
    """How long there is to a moment, or since when it is over."""
    value, unit = length_text(abs(ends_at - now))
    return f"{value} {unit} left" if ends_at > now else f"over for {value} {unit}"


def length_text(length: timedelta) -> tuple[str, str]:
    """A length and its unit, rounded down: what is left is never shown longer than it is."""
    seconds = int(length.total_seconds())
    if length >= timedelta(days=2):
        return str(length.days), "days"
    if length >= LONG:
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}", "h"
    if length >= SHORT:
        return str(seconds // 60), "min"
    return f"{seconds // 60}:{seconds % 60:02d}", "min"
