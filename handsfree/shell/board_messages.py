"""What the program and its board's server tell each other, light enough for both."""

import secrets
from dataclasses import dataclass, field
from multiprocessing.connection import Connection

TOKEN_BYTES = 24  # 192 bits: never guessed.


@dataclass(frozen=True)
class Access:
    """Where the board can be had, and by whom."""

    host: str  # An address of this machine.
    port: int  # 0: any that is free.
    token: str = field(repr=False)  # Never in a message or a log.
    may_acknowledge: bool = False


def new_token() -> str:
    """A token that nobody guesses, of letters that an address may hold."""
    return secrets.token_urlsafe(TOKEN_BYTES)


@dataclass(frozen=True)
class News:
    """What the program tells its board, at least once a second."""

    view: str | None  # JSON; None: as before.
    now_ms: int  # The program's clock, milliseconds since 1970.
    does_tick: bool  # The program's clock runs; else it stands between two lines of a script.


@dataclass(frozen=True)
class Listening:
    """The server can be reached."""

    port: int


@dataclass(frozen=True)
class CannotListen:
    """The server cannot be reached, and why."""

    reason: str
    is_taken: bool  # Another program has the port.


def serve(pipe: Connection, access: Access) -> None:
    """The child's whole life; the server is loaded in the child alone."""
    from handsfree.shell.board_server import run

    run(pipe, access)
