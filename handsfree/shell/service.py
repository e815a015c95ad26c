"""Running under systemd: it is told that the program is ready, alive, and about to stop.

Source: sd_notify(3): lines of text in a datagram to the socket named by NOTIFY_SOCKET; a name
that starts with "@" is abstract, with a zero byte in its place.
"""

import contextlib
import os
import shutil
import signal
import socket
import sys
from collections.abc import Sequence
from enum import Enum
from pathlib import Path
from types import FrameType

READY, ALIVE, STOPPING = "READY=1", "WATCHDOG=1", "STOPPING=1"


def notify(state: str) -> None:
    """Tells the service manager; nothing happens where there is none."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    # A manager that does not listen is no reason to stop a pot life.
    with (
        contextlib.suppress(OSError),
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as there,
    ):
        there.sendto(state.encode(), address)


UNIT = """\
# A user service: put it into ~/.config/systemd/user/handsfree.service, then
#   systemctl --user daemon-reload && systemctl --user enable --now handsfree
# It starts with the login; "loginctl enable-linger" starts it with the machine.
[Unit]
Description=Handsfree: an epoxy job talked through
Wants=sound.target
After=sound.target pipewire-pulse.service pulseaudio.service

[Service]
Type=notify
ExecStart={command}
Restart=always
RestartSec=2
# The loop says several times a second that it is alive; one that hangs is started anew, and
# says where things stand.
WatchdogSec=20
TimeoutStopSec=10
NoNewPrivileges=true
# {why}
{network}

[Install]
WantedBy=default.target
"""


class Reach(Enum):
    """How far into the network the program has to reach, for its board alone."""

    NONE = "none"
    LOOPBACK = "this machine"
    OTHERS = "other devices"


_NETWORK = {
    Reach.NONE: (
        "No sound and no record ever leaves the machine.",
        "IPAddressDeny=any\nRestrictAddressFamilies=AF_UNIX",
    ),
    Reach.LOOPBACK: (
        "The board is for this machine alone.",
        "IPAddressDeny=any\nIPAddressAllow=localhost\n"
        "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6",
    ),
    Reach.OTHERS: (
        "Other devices may ask for the board.",
        "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6",
    ),
}


def unit(program: Sequence[str], options: Sequence[str] = (), reach: Reach = Reach.NONE) -> str:
    """The text of a systemd user unit that runs the program.

    Args:
        program: its path, or the words that start it.
        options: of ``handsfree run``; those that name a file which is there become whole paths,
            since the service starts in another folder.
        reach: what the board needs of the network.
    """
    words = [*program, "run", *(_whole_path(option) for option in options)]
    why, network = _NETWORK[reach]
    return UNIT.format(command=" ".join(map(_quoted, words)), why=why, network=network)


def _whole_path(option: str) -> str:
    name, equals, value = option.rpartition("=") if option.startswith("--") else ("", "", option)
    if value and not value.startswith("-") and Path(value).exists():
        return f"{name}{equals}{Path(value).resolve()}"
    return option


def _quoted(word: str) -> str:
    """A word of a command as systemd reads it.

    Source: systemd.service(5), "Command lines": double quotes, C-style escapes, and "%" and "$"
        are doubled where they stand for themselves.
    """
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    is_plain = escaped == word and not any(c.isspace() or c in "';" for c in word) and word
    return escaped if is_plain else f'"{escaped}"'


def print_unit(options: Sequence[str], reach: Reach) -> int:
    """The ``service`` command; returns the exit code."""
    found = shutil.which("handsfree")
    program = [found] if found else [sys.executable, "-m", "handsfree"]
    print(unit(program, options, reach), end="")
    return 0


def stop_cleanly_when_asked() -> None:
    """Lets SIGTERM end the program as Ctrl-C does."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
