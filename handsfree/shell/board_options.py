"""The board's options of a command, and what is opened and said because of them."""

import argparse
import ipaddress
import re
import sys
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from handsfree.shell.session import Display

if TYPE_CHECKING:
    # Loaded only where a board is asked for.
    from handsfree.shell.board import Board

LOOPBACK = "127.0.0.1"
ANY_ADDRESSES = ("0.0.0.0", "::", "*")
USUAL_PORT = 8427  # No service is registered for it (IANA's list, from memory).
HIGHEST_PORT = 65535
_HOST = re.compile(r"[A-Za-z0-9][A-Za-z0-9.:-]{0,252}|::1")
ADDRESS_FILE = "board-{port}.txt"  # Two programs never have the same port.


class CannotShow(Exception):
    """The board cannot be had; the message says what to do."""


@dataclass(frozen=True)
class Shown:
    """What shows the job."""

    displays: tuple[Display, ...] = ()
    board: "Board | None" = None


def add_host_to(parser: argparse.ArgumentParser) -> None:
    """Gives a command the one option of the board that no file of settings has."""
    parser.add_argument(
        "--board-host",
        nargs="?",
        const="",
        type=_host,
        metavar="ADDRESS",
        help="let other devices in the network see it, by this address of this machine",
    )


def is_page_wanted(args: argparse.Namespace) -> bool:
    """Whether the options ask for the page."""
    return (
        args.board
        or args.board_host is not None
        or args.board_port is not None
        or getattr(args, "board_acknowledge", False)
    )


def opened(
    args: argparse.Namespace, stack: ExitStack, *, does_tick: bool, out: TextIO | None = None
) -> Shown:
    """Opens what was asked for, and says where it is.

    Args:
        args: of a command that has these options.
        stack: closes it again.
        does_tick: the command's clock runs; False: it stands between two lines.
        out: where it is said; None: standard output.

    Raises:
        CannotShow: it cannot be had.
    """
    board = None
    displays: list[Display] = []
    is_page = is_page_wanted(args)
    if is_page and args.board_terminal:
        raise CannotShow(
            "--board-terminal fills this terminal, so the page's address could not be read in it. "
            "Use one of them."
        )
    if is_page:
        board = _board(args, stack, does_tick=does_tick)
        displays.append(board)
        _tell(board, out or sys.stdout, args.data, stack)
    if args.board_terminal:
        from handsfree.shell.terminal_board import NoTerminal, TerminalBoard

        try:
            displays.append(stack.enter_context(TerminalBoard(does_tick=does_tick)))
        except NoTerminal as error:
            raise CannotShow(str(error)) from error
    return Shown(tuple(displays), board)


def _board(args: argparse.Namespace, stack: ExitStack, *, does_tick: bool) -> "Board":
    from handsfree.shell.board import Board, BoardUnusable, PortTaken, own_address
    from handsfree.shell.board_messages import Access, new_token

    def tell(message: str) -> None:
        print(message, file=sys.stderr)

    try:
        host = LOOPBACK if args.board_host is None else args.board_host or own_address()
        port = USUAL_PORT if args.board_port is None else args.board_port
        may_acknowledge = getattr(args, "board_acknowledge", False)
        access = Access(host, port, new_token(), may_acknowledge)
        try:
            return stack.enter_context(Board(access, on_trouble=tell, does_tick=does_tick))
        except PortTaken:
            if args.board_port is not None:
                raise
        # Nobody asked for the usual port: any other serves, and the address says which.
        access = Access(host, 0, access.token, may_acknowledge)
        return stack.enter_context(Board(access, on_trouble=tell, does_tick=does_tick))
    except BoardUnusable as error:
        raise CannotShow(str(error)) from error


def _tell(board: "Board", out: TextIO, data: Path | None, stack: ExitStack) -> None:
    """Says where the board is; the token only to a person, never to a log."""
    access = board.access
    is_near = _is_near(access.host)
    if not is_near:
        print(_exposure(may_acknowledge=access.may_acknowledge), file=out)
    if not out.isatty():
        path = _address_file(board, data)
        stack.callback(path.unlink, missing_ok=True)
        print(f"The board's address is in {path}.", file=out, flush=True)
        return
    if not is_near:
        import segno

        segno.make(board.address, error="l", micro=False).terminal(out, compact=True)
    print(f"Board: {board.address}", file=out, flush=True)


def _exposure(*, may_acknowledge: bool) -> str:
    change = "can answer announcements, but change nothing else"
    if not may_acknowledge:
        change = "cannot change it"
    return (
        "The board is open to this network. Whoever has its whole address can see the job: the "
        f"product, amounts, clocks and the last words heard, and {change}. It is not "
        "encrypted: who can listen to this network can read it too. Use it only in a network "
        "you trust. The address ends with this program."
    )


def _address_file(board: "Board", data: Path | None) -> Path:
    """A file beside the record, which only its owner may read."""
    from handsfree.shell.files import Files, write_new
    from handsfree.shell.job_folder import default_folder

    folder = data or default_folder()
    files, path = Files(), folder / ADDRESS_FILE.format(port=board.access.port)
    try:
        files.make_folder(folder)
        write_new(files, path, f"{board.address}\n".encode())
    except OSError as error:
        raise CannotShow(
            f"The board's address cannot be written to {path}: {error.strerror}. "
            "Start it in a terminal to see the address there."
        ) from error
    return path


def _host(text: str) -> str:
    if text in ANY_ADDRESSES:
        raise argparse.ArgumentTypeError(
            f"{text!r} means every network; name one address of this machine, or none after "
            "--board-host to take the usual one"
        )
    if text and not _HOST.fullmatch(text):
        raise argparse.ArgumentTypeError(f"{text!r} is no address such as 192.168.0.20")
    return LOOPBACK if text == "localhost" else text.lower()


def _is_near(host: str) -> bool:
    """Whether only this machine reaches the address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
