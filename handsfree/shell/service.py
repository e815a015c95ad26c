"""Running under systemd: it is told that the program is ready, alive, and about to stop.

Source: sd_notify(3): lines of text in a datagram to the socket named by NOTIFY_SOCKET; a name
that starts with "@" is abstract, with a zero byte in its place.
"""

import argparse
import contextlib
import os
import shutil
import signal
import socket
import sys
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
ExecStart={command} run
Restart=always
RestartSec=2
# The loop says several times a second that it is alive; one that hangs is started anew, and
# says where things stand.
WatchdogSec=20
TimeoutStopSec=10
NoNewPrivileges=true
# No sound and no record ever leaves the machine.
IPAddressDeny=any
RestrictAddressFamilies=AF_UNIX

[Install]
WantedBy=default.target
"""


def unit(command: str) -> str:
    """The text of a systemd user unit that runs the program.

    Args:
        command: path of the program.
    """
    return UNIT.format(command=command)


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``service`` to the command line."""
    parser = commands.add_parser("service", help="print a systemd unit that starts it by itself")
    parser.set_defaults(run=lambda _args: _print_unit())


def _print_unit() -> int:
    found = shutil.which("handsfree")
    print(unit(found or f"{sys.executable} -m handsfree"), end="")
    return 0


def stop_cleanly_when_asked() -> None:
    """Lets SIGTERM end the program as Ctrl-C does."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
