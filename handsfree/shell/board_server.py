"""The board's server, in a process of its own: a page, a stream of news, at most one button.

HTTP is read by h11, which refuses what is malformed; no file is ever opened for a request, and
every connection is closed after its one answer.
"""

import asyncio
import errno
import hmac
import json
import os
import signal
import threading
from collections import deque
from dataclasses import dataclass
from multiprocessing.connection import Connection

import h11

from handsfree.shell.board_messages import Access, CannotListen, Listening, News
from handsfree.shell.board_page import Page, board_page

# Limits, by judgement: fifty screens may look on at once, and each asks for a page and a stream.
MOST_CONNECTIONS = 100
MOST_STREAMS = 60
LARGEST_HEAD_BYTES = 8 * 1024
LARGEST_BODY_BYTES = 1024
REQUEST_WITHIN_S = 5.0
WRITE_WITHIN_S = 10.0
LINGER_S = 0.5
# Of one address: so many requests at once, and then so many a second. A wrong token costs more.
MOST_AT_ONCE, REQUESTS_PER_S, WRONG_TOKEN_COSTS = 200.0, 20.0, 20.0
MOST_ADDRESSES = 1000
# A stream says so often that the program lives; the page misses it after a few.
BEAT_EVERY_S = 2.0
MOST_WAITING_PRESSES = 20
LONGEST_KEY = 200

HEADERS = (
    ("Cache-Control", "no-store"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Permissions-Policy", "camera=(), microphone=(), geolocation=()"),
    ("Connection", "close"),
)
PAGE, STREAM, PRESS = b"/", b"/news", b"/acknowledge"


class _Refusal(Exception):
    """An answer that is none: its status, and the sentence that goes with it."""

    def __init__(self, status: int, sentence: str) -> None:
        """Keeps both."""
        super().__init__(sentence)
        self.status, self.sentence = status, sentence


@dataclass(frozen=True)
class _Request:
    """One request, read in full."""

    method: bytes
    target: bytes
    headers: tuple[tuple[bytes, bytes], ...]  # Names in lower case.
    body: bytes

    def header(self, name: bytes) -> bytes | None:
        """The header's value; a header that is given twice is refused."""
        found = [value for key, value in self.headers if key == name]
        if len(found) > 1:
            raise _Refusal(400, f"Two headers {name.decode('ascii')}.")
        return found[0] if found else None


class Allowance:
    """How many requests each address may still make."""

    def __init__(self) -> None:
        """Nobody has asked for anything."""
        self._left: dict[str, tuple[float, float]] = {}  # By address: what is left, and when.

    def take(self, address: str, now_s: float, cost: float = 1.0) -> bool:
        """Whether an address may do one more thing of that cost at that moment, seconds."""
        if len(self._left) >= MOST_ADDRESSES:
            self._left = {a: left for a, left in self._left.items() if now_s - left[1] < 60.0}
            if len(self._left) >= MOST_ADDRESSES:
                self._left.clear()
        left, at_s = self._left.get(address, (MOST_AT_ONCE, now_s))
        left = min(MOST_AT_ONCE, left + (now_s - at_s) * REQUESTS_PER_S)
        may = left >= 1.0
        self._left[address] = (max(0.0, left - cost) if may else left, now_s)
        return may


class Server:
    """Answers requests with the newest of what it was told."""

    def __init__(self, access: Access, page: Page) -> None:
        """Nobody is connected, and there is no news."""
        self._access = access
        self._page = page
        self._hosts: frozenset[bytes] = frozenset()
        self._connections = 0
        self._streams = 0
        self._allowance = Allowance()
        self._presses: deque[str] = deque()
        self._view: str | None = None
        self._version = 0
        self._beat = 0
        self._beat_at_s = 0.0
        self._news: News | None = None
        self._news_at_s = 0.0
        self._changed = asyncio.Event()

    async def open(self) -> tuple[asyncio.Server, int]:
        """Listens; returns the server and its port. Raises OSError."""
        access = self._access
        server = await asyncio.start_server(
            self._serve, access.host, access.port, limit=LARGEST_HEAD_BYTES, backlog=128
        )
        port = int(server.sockets[0].getsockname()[1])
        names = {access.host}
        if access.host in ("127.0.0.1", "::1"):
            names.add("localhost")
        self._hosts = frozenset(
            f"[{name}]:{port}".encode() if ":" in name else f"{name}:{port}".encode()
            for name in names
        )
        return server, port

    async def take(self, news: News) -> tuple[str, ...]:
        """Passes news on to every stream; returns what was pressed since, the keys."""
        now_s = _now_s()
        is_new = news.view is not None
        if news.view is not None:
            self._view = news.view
            self._version += 1
        # A program that hangs sends the same moment again: its silence is passed on as silence.
        has_moved = self._news is None or news.now_ms != self._news.now_ms or not news.does_tick
        if has_moved or is_new:
            self._news, self._news_at_s = news, now_s
        if is_new or (has_moved and now_s - self._beat_at_s >= BEAT_EVERY_S):
            self._beat += 1
            self._beat_at_s = now_s
            self._changed.set()
            self._changed = asyncio.Event()
        pressed = tuple(self._presses)
        self._presses.clear()
        return pressed

    # --- one connection -------------------------------------------------------------------

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self._connections >= MOST_CONNECTIONS:
            writer.transport.abort()
            return
        self._connections += 1
        try:
            await self._answer(reader, writer)
        except (OSError, TimeoutError):
            writer.transport.abort()  # The other side is gone, or too slow to wait for.
        finally:
            self._connections -= 1
            writer.close()

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        connection = h11.Connection(h11.SERVER, max_incomplete_event_size=LARGEST_HEAD_BYTES)
        try:
            async with asyncio.timeout(REQUEST_WITHIN_S):
                request = await _read(reader, connection)
            status, kind, body, extra = self._answer_to(request, _address_of(writer))
        except h11.RemoteProtocolError as error:
            status, kind, body, extra = error.error_status_hint, *_sentence("Malformed request.")
        except _Refusal as refusal:
            status, kind, body, extra = refusal.status, *_sentence(refusal.sentence)
        if connection.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
            return
        headers = [*HEADERS, ("Content-Type", kind), *extra]
        if kind == "text/event-stream":
            self._streams += 1
            try:
                writer.write(_sent(connection, h11.Response(status_code=status, headers=headers)))
                await self._send_news(connection, writer)
            finally:
                self._streams -= 1
            return
        headers.append(("Content-Length", str(len(body))))
        writer.write(_sent(connection, h11.Response(status_code=status, headers=headers)))
        writer.write(_sent(connection, h11.Data(data=body)))
        writer.write(_sent(connection, h11.EndOfMessage()))
        async with asyncio.timeout(WRITE_WITHIN_S):
            await writer.drain()
        await _linger(reader, writer)

    def _answer_to(
        self, request: _Request, address: str
    ) -> tuple[int, str, bytes, tuple[tuple[str, str], ...]]:
        """Status, type, body and further headers. Raises _Refusal."""
        self._check_source(request)
        if request.target == STREAM or (request.target == PRESS and self._access.may_acknowledge):
            self._check_token(request, address)
        elif not self._allowance.take(address, _now_s()):
            raise _Refusal(429, "Too many requests. Wait a little.")
        match request.target:
            case b"/":
                _check_method(request, b"GET")
                policy = ("Content-Security-Policy", self._page.policy)
                return 200, "text/html; charset=utf-8", self._page.body, (policy,)
            case b"/news":
                _check_method(request, b"GET")
                if self._streams >= MOST_STREAMS:
                    raise _Refusal(503, "Too many boards are open. Close one.")
                return 200, "text/event-stream", b"", ()
            case b"/acknowledge" if self._access.may_acknowledge:
                _check_method(request, b"POST")
                self._take_press(request)
                return 202, *_sentence("Passed on.")
            case _:
                raise _Refusal(404, "There is nothing here.")

    def _check_source(self, request: _Request) -> None:
        """Only pages of this very address may ask; whatever name an address goes by elsewhere.

        A name that an attacker's page made to point here (DNS rebinding) is in the Host header.
        """
        host = request.header(b"host")
        if host is None or host.lower() not in self._hosts:
            raise _Refusal(421, "This address is not the board's.")
        origin = request.header(b"origin")
        if origin is not None and origin.lower() != b"http://" + host.lower():
            raise _Refusal(403, "Only the board's own page may ask for this.")
        site = request.header(b"sec-fetch-site")
        if request.target != PAGE and site not in (None, b"same-origin"):
            raise _Refusal(403, "Only the board's own page may ask for this.")

    def _check_token(self, request: _Request, address: str) -> None:
        given = request.header(b"authorization") or b""
        expected = f"Bearer {self._access.token}".encode()
        if hmac.compare_digest(given, expected):
            return
        if not self._allowance.take(address, _now_s(), WRONG_TOKEN_COSTS):
            raise _Refusal(429, "Too many requests. Wait a little.")
        raise _Refusal(401, "The token is missing or wrong. Take the address anew.")

    def _take_press(self, request: _Request) -> None:
        kind = request.header(b"content-type") or b""
        if kind.split(b";")[0].strip().lower() != b"application/json":
            raise _Refusal(415, "JSON is needed.")
        try:
            found = json.loads(request.body)
        except (ValueError, RecursionError):
            raise _Refusal(400, "That is no JSON.") from None
        key = found.get("key") if isinstance(found, dict) and len(found) == 1 else None
        if not isinstance(key, str) or not 0 < len(key) <= LONGEST_KEY:
            raise _Refusal(400, "The key of an announcement is needed.")
        if len(self._presses) >= MOST_WAITING_PRESSES:
            raise _Refusal(503, "Too many presses at once. Press again.")
        self._presses.append(key)

    async def _send_news(self, connection: h11.Connection, writer: asyncio.StreamWriter) -> None:
        """The stream, until the other side goes; one that is slow gets only the newest."""
        version, beat = 0, 0
        while not writer.is_closing():
            changed = self._changed
            if self._news is None or self._view is None or beat == self._beat:
                await changed.wait()
                continue
            beat = self._beat
            text = self._event(is_new=version != self._version)
            version = self._version
            writer.write(_sent(connection, h11.Data(data=text)))
            async with asyncio.timeout(WRITE_WITHIN_S):
                await writer.drain()

    def _event(self, *, is_new: bool) -> bytes:
        assert self._news is not None
        fields = {
            "now": self._news.now_ms,
            "age": round((_now_s() - self._news_at_s) * 1000),
            "ticks": self._news.does_tick,
            "button": self._access.may_acknowledge,
        }
        text = json.dumps(fields)
        if is_new:
            text = f'{text[:-1]}, "view": {self._view}}}'
        return f"data: {text}\n\n".encode()


async def _read(reader: asyncio.StreamReader, connection: h11.Connection) -> _Request:
    head: h11.Request | None = None
    body = b""
    while True:
        event = connection.next_event()
        if event is h11.NEED_DATA:
            connection.receive_data(await reader.read(4096))
        elif isinstance(event, h11.Request):
            head = event
        elif isinstance(event, h11.Data):
            body += event.data
            if len(body) > LARGEST_BODY_BYTES:
                raise _Refusal(413, "Too large.")
        elif isinstance(event, h11.EndOfMessage) and head is not None:
            return _Request(head.method, head.target, tuple(head.headers), body)
        else:
            raise ConnectionResetError("closed before it asked for anything")


def _check_method(request: _Request, method: bytes) -> None:
    if request.method != method:
        raise _Refusal(405, f"Only {method.decode('ascii')} is answered here.")


def _sentence(text: str) -> tuple[str, bytes, tuple[tuple[str, str], ...]]:
    return "text/plain; charset=utf-8", f"{text}\n".encode(), ()


def _sent(connection: h11.Connection, event: h11.Event) -> bytes:
    return connection.send(event) or b""


async def _linger(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Reads what is still on its way: closing on it would take the answer away as well."""
    if writer.can_write_eof():
        writer.write_eof()
    try:
        async with asyncio.timeout(LINGER_S):
            while await reader.read(4096):
                pass
    except TimeoutError:
        pass


def _address_of(writer: asyncio.StreamWriter) -> str:
    name = writer.get_extra_info("peername")
    return str(name[0]) if name else ""


def _now_s() -> float:
    return asyncio.get_running_loop().time()


# --- the child's life ---------------------------------------------------------------------


def run(pipe: Connection, access: Access) -> None:
    """The child's whole life: listens, then takes news and answers each with what was pressed."""
    # The program above ends this process; Ctrl-C is meant for that one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    asyncio.run(_serve(pipe, Server(access, board_page())))


async def _serve(pipe: Connection, server: Server) -> None:
    try:
        listening, port = await server.open()
    except OSError as error:
        pipe.send(CannotListen(error.strerror or str(error), error.errno == errno.EADDRINUSE))
        return
    pipe.send(Listening(port))
    loop, ended = asyncio.get_running_loop(), asyncio.Event()

    def take_news() -> None:
        try:
            while True:
                news = pipe.recv()
                # By way of the loop, so that no answer comes from a server that hangs.
                taken = asyncio.run_coroutine_threadsafe(server.take(news), loop)
                pipe.send(taken.result())
        except (EOFError, OSError):
            loop.call_soon_threadsafe(ended.set)

    threading.Thread(target=take_news, name="news", daemon=True).start()
    await ended.wait()
    listening.close()
    os._exit(0)  # At once: nothing here is worth keeping, and streams end with their process.
