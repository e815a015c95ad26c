"""The board's server as a child: replaced when it fails, and never waited for."""

import json
import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import replace

import pytest

from handsfree.shell import board as board_module
from handsfree.shell.board import Board, BoardUnusable, PortTaken, own_address
from handsfree.shell.board_messages import Access, new_token
from tests.shell.board_scenes import POURED, Job
from tests.shell.test_board_server import WAIT_S

JOB = Job(*POURED)


class Client:
    """Reads the news as a page does."""

    def __init__(self, access: Access) -> None:
        self._connection = socket.create_connection((access.host, access.port), timeout=WAIT_S)
        lines = [
            "GET /news HTTP/1.1",
            f"Host: {access.host}:{access.port}",
            f"Authorization: Bearer {access.token}",
        ]
        self._connection.sendall("\r\n".join([*lines, "", ""]).encode())
        self._text = b""

    def view(self) -> dict[str, object]:
        """The next view."""
        while True:
            event, end, rest = self._text.partition(b"\n\n")
            if not end:
                part = self._connection.recv(65536)
                if not part:
                    raise ConnectionError("the stream ended")
                self._text += part
                continue
            self._text = rest
            found = json.loads(event[event.index(b"data: ") + 6 :])
            if "view" in found:
                view: dict[str, object] = found["view"]
                return view

    def close(self) -> None:
        self._connection.close()


def view_of(access: Access) -> dict[str, object]:
    """The view that a client gets who comes now; tried until the server is there."""
    deadline = time.monotonic() + 2 * WAIT_S
    while True:
        try:
            client = Client(access)
            try:
                return client.view()
            finally:
                client.close()
        except OSError:
            if time.monotonic() > deadline:
                raise


@pytest.fixture
def troubles() -> list[str]:
    return []


@pytest.fixture
def board(troubles: list[str]) -> Iterator[Board]:
    """A running board with a button, on any free port."""
    access = Access("127.0.0.1", 0, new_token(), may_acknowledge=True)
    with Board(access, on_trouble=troubles.append) as running:
        yield running


def test_what_is_shown_is_on_the_page(board: Board) -> None:
    board.show(JOB.view, JOB.now)
    view = view_of(board.access)
    assert view["product"] == "Gate Coat"
    main = view["main"]
    assert isinstance(main, dict)
    assert (main["kind"], main["target_g"]) == ("PourPanel", "122")


def test_the_token_is_in_the_fragment_and_in_no_command_line(board: Board) -> None:
    token = board.access.token
    assert board.address == f"http://127.0.0.1:{board.access.port}/#{token}"
    assert len(token) >= 32
    assert board.pid is not None
    with open(f"/proc/{board.pid}/cmdline", "rb") as file:
        assert token.encode() not in file.read()


def test_the_token_is_in_no_text_of_what_holds_it() -> None:
    access = Access("127.0.0.1", 0, new_token())
    assert access.token not in repr(access)


def test_each_run_has_another_token() -> None:
    assert len({new_token() for _ in range(100)}) == 100


def test_a_server_that_crashes_is_replaced_in_the_same_place_and_said_once(
    board: Board, troubles: list[str]
) -> None:
    board.show(JOB.view, JOB.now)
    access = board.access
    for _ in range(2):
        assert view_of(access)["product"] == "Gate Coat"
        assert board.pid is not None
        os.kill(board.pid, signal.SIGKILL)
        while not troubles:
            time.sleep(0.005)
    assert view_of(access)["product"] == "Gate Coat"
    assert len(troubles) == 1
    assert "started again" in troubles[0]


def test_a_server_that_hangs_holds_nothing_up(board: Board, troubles: list[str]) -> None:
    board.show(JOB.view, JOB.now)
    view_of(board.access)
    assert board.pid is not None
    os.kill(board.pid, signal.SIGSTOP)
    for number in range(1000):  # More than any pipe holds, were it sent.
        board.show(replace(JOB.view, said=f"{number} " * 1000), JOB.now)
    os.kill(board.pid, signal.SIGCONT)
    assert troubles == []


def test_a_server_that_hangs_is_replaced(
    board: Board, troubles: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_module, "ANSWER_TIMEOUT_S", 0.2)
    board.show(JOB.view, JOB.now)
    view_of(board.access)
    assert board.pid is not None
    os.kill(board.pid, signal.SIGSTOP)
    while not troubles:
        time.sleep(0.005)
    assert view_of(board.access)["product"] == "Gate Coat"


def test_a_press_comes_to_the_program(board: Board) -> None:
    got: list[str] = []
    has_come = threading.Event()

    def take(key: str) -> None:
        got.append(key)
        has_come.set()

    board.on_press(take)
    board.show(JOB.view, JOB.now)
    body = b'{"key":"timer 1"}'
    access = board.access
    with socket.create_connection((access.host, access.port), timeout=WAIT_S) as connection:
        lines = [
            "POST /acknowledge HTTP/1.1",
            f"Host: {access.host}:{access.port}",
            f"Authorization: Bearer {access.token}",
            "Content-Type: application/json",
            f"Content-Length: {len(body)}",
        ]
        connection.sendall("\r\n".join([*lines, "", ""]).encode() + body)
        assert connection.recv(65536).startswith(b"HTTP/1.1 202 ")
    assert has_come.wait(WAIT_S)
    assert got == ["timer 1"]


def test_a_port_that_is_taken_is_said_with_what_to_do() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with (
            pytest.raises(PortTaken, match=f"Port {port} is taken.*--board-port"),
            Board(Access("127.0.0.1", port, new_token()), on_trouble=print),
        ):
            pass


def test_an_address_that_is_not_this_machines_is_refused() -> None:
    # 192.0.2.0/24 is for documentation (RFC 5737): no machine has it.
    with (
        pytest.raises(BoardUnusable, match="--board-host"),
        Board(Access("192.0.2.77", 0, new_token()), on_trouble=print),
    ):
        pass


def test_a_machine_without_a_network_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    class NoNetwork(socket.socket):
        def connect(self, _address: object) -> None:
            raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(socket, "socket", NoNetwork)
    with pytest.raises(BoardUnusable, match="in no network"):
        own_address()
