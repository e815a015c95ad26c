"""The board of a running job: hands its views to the server's process, and looks after that."""

import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from handsfree.job.board_view import BoardView
from handsfree.shell.board_messages import Access, CannotListen, Listening, News, serve
from handsfree.shell.board_wire import milliseconds, view_text
from handsfree.shell.child import Child

START_TIMEOUT_S = 20.0
ANSWER_TIMEOUT_S = 3.0
# Sends at least so often: presses come back with the answers, and the page learns that the
# program lives.
BEAT_S = 0.25
START_AGAIN_AFTER_S = 1.0
# Reserved for documentation (RFC 5737): nothing is sent, only the way to it is looked up.
FAR_ADDRESS = ("192.0.2.1", 9)


class BoardLost(Exception):
    """The server's process crashed, or gave no answer in time."""


class BoardUnusable(Exception):
    """The board cannot be had; the message says what to do."""


class PortTaken(BoardUnusable):
    """Another program has the port."""


@dataclass(frozen=True)
class _Seen:
    """What was shown last, and when by the program's clock."""

    view: BoardView
    now: datetime


class Board:
    """Shows a job on a page. Use as a context manager; ``show`` never waits."""

    def __init__(
        self,
        access: Access,
        *,
        on_trouble: Callable[[str], None],
        does_tick: bool = True,
    ) -> None:
        """Starts nothing yet.

        Args:
            access: where the page can be had, and by whom.
            on_trouble: told once, in a sentence, when the server had to be started again.
            does_tick: the program's clock runs; False: it stands between two lines of a script.
        """
        self.access = access
        self._on_trouble = on_trouble
        self._does_tick = does_tick
        self._on_press: Callable[[str], None] = lambda _key: None
        self._seen: _Seen | None = None
        self._is_shown = threading.Event()
        self._is_closing = threading.Event()
        self._was_told = False
        self._child = self._new_child()
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)

    def __enter__(self) -> "Board":
        """Starts the server.

        Raises:
            PortTaken: another program has the port.
            BoardUnusable: it cannot listen there, or does not start.
        """
        try:
            first = self._start()
        except BoardLost as error:
            raise BoardUnusable(f"The board does not start: {error}. Go on without it.") from error
        if isinstance(first, CannotListen):
            self._child.stop()
            raise _refusal(first, self.access)
        # A server that is started again shall be found in the same place.
        self.access = replace(self.access, port=first.port)
        self._thread.start()
        return self

    def __exit__(self, *_exception: object) -> None:
        self._is_closing.set()
        self._is_shown.set()
        self._thread.join()
        self._child.stop()

    def _new_child(self) -> Child:
        return Child("board", BoardLost, serve, self.access)

    def _start(self) -> Listening | CannotListen:
        self._child.stop()
        self._child = self._new_child()
        self._child.start()
        first = self._child.receive(START_TIMEOUT_S)
        assert isinstance(first, Listening | CannotListen)
        return first

    @property
    def address(self) -> str:
        """Where the page is; the token is in the fragment, which a browser sends to nobody."""
        host = f"[{self.access.host}]" if ":" in self.access.host else self.access.host
        return f"http://{host}:{self.access.port}/#{self.access.token}"

    @property
    def pid(self) -> int | None:
        """The server's process id; None when it is not running."""
        return self._child.pid

    def on_press(self, take: Callable[[str], None]) -> None:
        """From now on gives the key of each announcement that is acknowledged on the page.

        Args:
            take: called from another thread; must return at once.
        """
        self._on_press = take

    def show(self, view: BoardView, now: datetime) -> None:
        """Takes the view, which a thread of its own passes on."""
        self._seen = _Seen(view, now)
        self._is_shown.set()

    def _run(self) -> None:
        sent: BoardView | None = None
        while not self._is_closing.is_set():
            self._is_shown.wait(BEAT_S)
            self._is_shown.clear()
            seen = self._seen
            if seen is None:
                continue
            try:
                text = None if seen.view == sent else view_text(seen.view)
                self._child.send(News(text, milliseconds(seen.now), self._does_tick))
                for key in self._child.receive(ANSWER_TIMEOUT_S):
                    self._on_press(key)
                sent = seen.view
            except BoardLost as error:
                sent = None
                self._start_again(error)

    def _start_again(self, error: BoardLost) -> None:
        if not self._was_told:
            self._was_told = True
            self._on_trouble(f"The board failed and was started again: {error}.")
        while not self._is_closing.is_set():
            try:
                if isinstance(self._start(), Listening):
                    return
            except BoardLost:
                pass
            self._is_closing.wait(START_AGAIN_AFTER_S)


def _refusal(found: CannotListen, access: Access) -> BoardUnusable:
    if found.is_taken:
        return PortTaken(
            f"Port {access.port} is taken, perhaps by another Handsfree. "
            "Name another with --board-port, or 0 for any that is free."
        )
    return BoardUnusable(
        f"The board cannot be had at {access.host}, port {access.port}: {found.reason}. "
        "Name an address of this machine with --board-host, or another port with --board-port."
    )


def own_address() -> str:
    """This machine's address in the network it reaches others by.

    Raises:
        BoardUnusable: it is in none.
    """
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(FAR_ADDRESS)
            return str(probe.getsockname()[0])
    except OSError as error:
        raise BoardUnusable(
            "This machine is in no network, so no other device can reach the board. "
            "Use --board alone, or name an address with --board-host."
        ) from error
