"""The board's server against what a network may send it, by raw sockets."""

import asyncio
import json
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future

import pytest

from handsfree.shell import board_server
from handsfree.shell.board_messages import Access, News
from handsfree.shell.board_page import Page, board_page
from handsfree.shell.board_server import Allowance, Server

TOKEN = "the-token-of-this-test"
WAIT_S = 5.0
LARGEST_PAGE_BYTES = 60_000  # The bound.


class Running:
    """A server in a thread of the test."""

    def __init__(self, *, may_acknowledge: bool) -> None:
        self.server = Server(Access("127.0.0.1", 0, TOKEN, may_acknowledge), board_page())
        self.loop = asyncio.new_event_loop()
        opened: Future[int] = Future()
        self._thread = threading.Thread(target=self._run, args=(opened,), daemon=True)
        self._thread.start()
        self.port = opened.result(WAIT_S)
        self._now_ms = 0

    def _run(self, opened: "Future[int]") -> None:
        asyncio.set_event_loop(self.loop)
        listening, port = self.loop.run_until_complete(self.server.open())
        opened.set_result(port)
        self.loop.run_forever()
        listening.close()
        open_ones = asyncio.all_tasks(self.loop)
        for task in open_ones:
            task.cancel()
        self.loop.run_until_complete(asyncio.gather(*open_ones, return_exceptions=True))
        self.loop.run_until_complete(asyncio.sleep(0))
        self.loop.close()

    def stop(self) -> None:
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(WAIT_S)
        assert not self._thread.is_alive()

    def tell(self, view: str | None = None, *, passed_ms: int = 1000) -> tuple[str, ...]:
        """The program tells its board something; what was pressed comes back."""
        self._now_ms += passed_ms
        news = News(view, self._now_ms, does_tick=True)
        return asyncio.run_coroutine_threadsafe(self.server.take(news), self.loop).result(WAIT_S)

    def connect(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=WAIT_S)

    def send(self, data: bytes) -> bytes:
        """Everything that is answered until the connection is closed."""
        with self.connect() as connection:
            connection.sendall(data)
            answer = b""
            while part := _received(connection):
                answer += part
            return answer

    def status(self, data: bytes) -> int:
        """The answer's status; 0: there was none."""
        answer = self.send(data)
        return int(answer.split(b" ")[1]) if answer else 0

    def request(
        self,
        target: str,
        *headers: str,
        method: str = "GET",
        token: str | None = TOKEN,
        host: str | None = None,
        body: bytes = b"",
    ) -> bytes:
        lines = [f"{method} {target} HTTP/1.1", f"Host: {host or f'127.0.0.1:{self.port}'}"]
        lines += [f"Authorization: Bearer {token}"] if token is not None else []
        lines += [f"Content-Length: {len(body)}"] if body else []
        return "\r\n".join([*lines, *headers, "", ""]).encode() + body


def _received(connection: socket.socket) -> bytes:
    try:
        return connection.recv(65536)
    except ConnectionResetError:
        return b""


@pytest.fixture
def served() -> Iterator[Running]:
    """A server that only shows."""
    running = Running(may_acknowledge=False)
    yield running
    running.stop()


@pytest.fixture
def with_button() -> Iterator[Running]:
    """A server that also takes presses."""
    running = Running(may_acknowledge=True)
    yield running
    running.stop()


class Stream:
    """A client of the news."""

    def __init__(self, served: Running) -> None:
        self._connection = served.connect()
        self._connection.sendall(served.request("/news"))
        self._text = b""

    def next(self) -> dict[str, object]:
        """The next news."""
        while b"\n\n" not in self._text:
            part = self._connection.recv(65536)
            assert part, "the stream ended"
            self._text += part
        event, _, self._text = self._text.partition(b"\n\n")
        found: dict[str, object] = json.loads(event[event.index(b"data: ") + 6 :])
        return found

    def close(self) -> None:
        self._connection.close()


def test_the_page_is_small_needs_no_token_and_holds_no_data(served: Running) -> None:
    served.tell('{"product":"Gate Coat"}')
    answer = served.send(served.request("/", token=None))
    head, _, body = answer.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200 ")
    assert len(body) < LARGEST_PAGE_BYTES
    assert b"Gate Coat" not in answer
    assert TOKEN.encode() not in answer


def test_every_answer_carries_the_headers_that_protect_it(served: Running) -> None:
    for target in ("/", "/nothing"):
        head = served.send(served.request(target)).partition(b"\r\n\r\n")[0].decode().lower()
        for line in (
            "cache-control: no-store",
            "referrer-policy: no-referrer",
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "cross-origin-resource-policy: same-origin",
        ):
            assert line in head
        assert "set-cookie" not in head
        assert "server:" not in head


def test_the_policy_lets_only_the_pages_own_script_run(served: Running) -> None:
    head = served.send(served.request("/")).partition(b"\r\n\r\n")[0].decode()
    policy = next(line for line in head.splitlines() if "content-security-policy" in line.lower())
    assert "default-src 'none'" in policy
    assert "script-src 'sha256-" in policy
    assert "require-trusted-types-for 'script'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy.partition(":")[2]


def test_the_page_refers_to_nothing_outside() -> None:
    body = board_page().body.decode()
    addresses = body.replace("http://www.w3.org/2000/svg", "")
    assert "http:" not in addresses.replace("http://' +", "")
    assert "https:" not in addresses
    assert "innerHTML" not in body
    assert " style=" not in body
    assert " on" + "click=" not in body


def test_news_come_to_who_has_the_token(served: Running) -> None:
    stream = Stream(served)
    served.tell('{"product":"<b>Gate</b>"}')
    first = stream.next()
    assert first["view"] == {"product": "<b>Gate</b>"}
    assert first["now"] == 1000
    served.tell('{"product":"Another"}')
    assert stream.next()["view"] == {"product": "Another"}
    stream.close()


def test_a_beat_repeats_no_view_and_a_program_that_hangs_gives_none(
    served: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_server, "BEAT_EVERY_S", 0.0)
    stream = Stream(served)
    served.tell("{}")
    assert "view" in stream.next()
    served.tell()
    assert "view" not in stream.next()
    served.tell(passed_ms=0)
    served.tell(passed_ms=0)
    served.tell(passed_ms=5)
    assert stream.next()["now"] == 2005
    stream.close()


@pytest.mark.parametrize(
    ("token", "status"), [(None, 401), ("", 401), (TOKEN[:-1], 401), (f"{TOKEN}x", 401)]
)
def test_without_the_token_there_are_no_news(
    served: Running, token: str | None, status: int
) -> None:
    assert served.status(served.request("/news", token=token)) == status


def test_two_tokens_are_none(served: Running) -> None:
    assert served.status(served.request("/news", f"Authorization: Bearer {TOKEN}")) == 400


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.nip:80"]
)
def test_a_name_that_was_made_to_point_here_is_refused(served: Running, host: str) -> None:
    asked_for = host.format(port=served.port)
    for target in ("/", "/news"):
        assert served.status(served.request(target, host=asked_for)) == 421


def test_the_loopback_has_two_names(served: Running) -> None:
    assert served.status(served.request("/", host=f"localhost:{served.port}")) == 200


@pytest.mark.parametrize(
    "header",
    [
        "Origin: http://evil.example",
        "Origin: null",
        "Origin: https://127.0.0.1:{port}",
        "Sec-Fetch-Site: cross-site",
        "Sec-Fetch-Site: same-site",
    ],
)
def test_another_pages_request_is_refused(served: Running, header: str) -> None:
    header = header.format(port=served.port)
    assert served.status(served.request("/news", header)) == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "HEAD", "OPTIONS", "TRACE", "BREW"])
def test_only_get_is_answered(served: Running, method: str) -> None:
    for target in ("/", "/news"):
        assert served.status(served.request(target, method=method)) == 405


@pytest.mark.parametrize(
    "target",
    [
        "/../../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "//etc/passwd",
        "/news/../",
        "/./",
        "/news?x=1",
        "/script.js",
        "/..%5c..%5cwindows",
        "/\\..\\",
        "http://127.0.0.1/",
        "*",
    ],
)
def test_no_path_leads_to_a_file(served: Running, target: str) -> None:
    answer = served.send(served.request(target))
    assert answer.split(b" ")[1] in (b"404", b"400")
    assert b"root:" not in answer


@pytest.mark.parametrize(
    "data",
    [
        b"\r\n\r\n",
        b"nonsense\r\n\r\n",
        b"GET /\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\x00b\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET / HTTP/9.9\r\nHost: a\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(range(256)),
        bytes(range(256)) * 40,
        b"GET / HTTP/1.1\r\nX: \xff\xfe\r\n broken\r\n\r\n",
    ],
)
def test_what_is_malformed_is_refused(served: Running, data: bytes) -> None:
    with served.connect() as connection:
        connection.sendall(data)
        connection.shutdown(socket.SHUT_WR)
        answer = _received(connection)
    assert not answer or answer.split(b" ")[1].startswith(b"4")
    assert served.status(served.request("/")) == 200


@pytest.mark.parametrize(
    "data",
    [
        b"GET /" + b"a" * 20_000 + b" HTTP/1.1\r\nHost: a\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nX: " + b"a" * 20_000 + b"\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\n" + b"X: a\r\n" * 5_000 + b"\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 5000\r\n\r\n" + b"a" * 5_000,
    ],
)
def test_what_is_too_large_is_refused(served: Running, data: bytes) -> None:
    assert served.status(data) in (0, 400, 413, 431)
    assert served.status(served.request("/")) == 200


def test_who_says_nothing_is_not_waited_for(
    served: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_server, "REQUEST_WITHIN_S", 0.05)
    for start in (b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: a\r\n"):
        assert served.send(start) == b""


def test_fifty_look_on_at_once(served: Running) -> None:
    streams = [Stream(served) for _ in range(50)]
    served.tell('{"n":1}')
    assert all(stream.next()["view"] == {"n": 1} for stream in streams)
    for stream in streams:
        stream.close()


def test_too_many_streams_are_refused_and_the_others_go_on(
    served: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_server, "MOST_STREAMS", 2)
    streams = [Stream(served) for _ in range(2)]
    served.tell('{"n":1}')
    assert all(stream.next()["view"] == {"n": 1} for stream in streams)
    assert served.status(served.request("/news")) == 503
    served.tell('{"n":2}')
    assert all(stream.next()["view"] == {"n": 2} for stream in streams)
    for stream in streams:
        stream.close()


def test_too_many_connections_are_closed_at_once(
    served: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_server, "MOST_CONNECTIONS", 3)
    idle = [served.connect() for _ in range(3)]
    while served.server._connections < 3:
        time.sleep(0.001)
    assert served.send(served.request("/")) == b""
    for connection in idle:
        connection.close()


def test_a_stream_that_is_gone_gives_its_place_back(served: Running) -> None:
    stream = Stream(served)
    served.tell('{"n":1}')
    stream.next()
    stream.close()
    deadline = time.monotonic() + WAIT_S
    number = 2
    while served.server._streams and time.monotonic() < deadline:
        served.tell(f'{{"n":{number}}}')
        number += 1
    assert served.server._streams == 0


def test_so_many_requests_and_then_so_many_a_second() -> None:
    allowance = Allowance()
    most = int(board_server.MOST_AT_ONCE)
    assert all(allowance.take("a", 0.0) for _ in range(most))
    assert not allowance.take("a", 0.0)
    assert allowance.take("b", 0.0)
    assert allowance.take("a", 1.0 / board_server.REQUESTS_PER_S)
    assert not allowance.take("a", 1.0 / board_server.REQUESTS_PER_S)


def test_many_addresses_take_no_more_memory() -> None:
    allowance = Allowance()
    for number in range(3 * board_server.MOST_ADDRESSES):
        allowance.take(str(number), number / 1000)
    assert len(allowance._left) <= board_server.MOST_ADDRESSES


def test_guessing_tokens_is_stopped_but_who_has_it_is_let_in(served: Running) -> None:
    served.tell("{}")
    found = [served.status(served.request("/news", token=f"guess {n}")) for n in range(15)]
    assert found[0] == 401
    assert found[-1] == 429
    stream = Stream(served)
    assert stream.next()["view"] == {}
    stream.close()


# --- the button ---------------------------------------------------------------------------

JSON = "Content-Type: application/json"


def pressing(served: Running, body: bytes, *headers: str, token: str | None = TOKEN) -> int:
    data = served.request("/acknowledge", *headers, method="POST", token=token, body=body)
    return served.status(data)


def test_a_press_comes_back_with_the_next_answer_once(with_button: Running) -> None:
    assert pressing(with_button, b'{"key":"timer 1"}', JSON) == 202
    assert with_button.tell("{}") == ("timer 1",)
    assert with_button.tell("{}") == ()


def test_without_the_button_a_press_has_no_address(served: Running) -> None:
    assert pressing(served, b'{"key":"timer 1"}', JSON) == 404
    assert served.tell("{}") == ()


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{}",
        b"[]",
        b'"timer 1"',
        b'{"key":1}',
        b'{"key":""}',
        b'{"key":"a","more":1}',
        b"\xff\xfe",
        b"[" * 1000,
        b'{"key":"' + b"a" * 300 + b'"}',
    ],
)
def test_a_press_of_anything_else_is_refused(with_button: Running, body: bytes) -> None:
    assert pressing(with_button, body, JSON) in (400, 413)
    assert with_button.tell("{}") == ()


def test_a_press_needs_the_token_the_type_and_the_page(with_button: Running) -> None:
    body = b'{"key":"timer 1"}'
    assert pressing(with_button, body, JSON, token="wrong") == 401
    assert pressing(with_button, body, "Content-Type: text/plain") == 415
    assert pressing(with_button, body, JSON, "Origin: http://evil.example") == 403
    assert with_button.status(with_button.request("/acknowledge")) == 405
    assert with_button.tell("{}") == ()


def test_presses_do_not_pile_up(with_button: Running) -> None:
    found = [pressing(with_button, b'{"key":"a"}', JSON) for _ in range(25)]
    assert found[0] == 202
    assert found[-1] == 503
    assert len(with_button.tell("{}")) == board_server.MOST_WAITING_PRESSES


def test_a_refusal_never_repeats_what_was_asked(served: Running) -> None:
    answer = served.send(served.request("/<script>alert(1)</script>"))
    assert b"alert" not in answer


def test_a_page_is_made_of_three_files() -> None:
    page = board_page()
    assert isinstance(page, Page)
    assert b"/* script.js */" not in page.body
    assert b"/* style.css */" not in page.body
