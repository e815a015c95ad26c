"""The report of a check for others to read: versions and findings, nothing private.

Only texts marked as public are in it: no device's name (headsets carry their owner's), no path,
no card, no entry of the record. As a second guard the names of user, home and machine are
taken out of what is left, and anything that could be a serial number.
"""

import contextlib
import getpass
import re
import socket
from collections.abc import Sequence
from pathlib import Path

from handsfree.shell.finding import Finding

HEADER = "# handsfree check"
TAKEN_OUT = "(private)"
# Shorter names would be found inside of other words.
SHORTEST_NAME = 3
# Eight or more letters and digits with at least three digits: a serial, not a version or a rate.
_SERIAL = re.compile(r"\b(?=(?:[A-Za-z_-]*[0-9]){3})[0-9A-Za-z_-]{8,}\b")


class ReportNotWritten(Exception):
    """The message says why, and what to do."""


def private_names() -> frozenset[str]:
    """What tells who and where this is."""
    names = {socket.gethostname(), socket.gethostname().partition(".")[0], str(Path.home())}
    names.add(Path.home().name)
    with contextlib.suppress(KeyError, OSError):  # A user without a name.
        names.add(getpass.getuser())
    return frozenset(name for name in names if len(name) >= SHORTEST_NAME)


def report_of(findings: Sequence[Finding], private: frozenset[str]) -> str:
    """The report's text.

    Args:
        findings: in their order.
        private: names that must not be in it.
    """
    lines = [f"{f.verdict.value:<8} {f.name}: {f.public}".rstrip(": ") for f in findings]
    return "\n".join([HEADER, "", *(cleaned(line, private) for line in lines)]) + "\n"


def cleaned(text: str, private: frozenset[str]) -> str:
    """The text without private names and serial numbers."""
    for name in sorted(private, key=len, reverse=True):
        text = re.sub(rf"(?<![A-Za-z0-9]){re.escape(name)}(?![A-Za-z0-9])", TAKEN_OUT, text)
    return _SERIAL.sub(TAKEN_OUT, text)


def write(path: Path, findings: Sequence[Finding]) -> None:
    """Writes the report, over an older one but over nothing else.

    Raises:
        ReportNotWritten: something else is there, or it cannot be written.
    """
    try:
        if path.exists() and not path.read_bytes().startswith(HEADER.encode()):
            raise ReportNotWritten(f"{path} is something else and was left alone. Name a new file.")
        path.write_text(report_of(findings, private_names()), encoding="utf-8")
    except OSError as error:
        raise ReportNotWritten(
            f"The report cannot be written to {path}: {error.strerror or error}."
        ) from error
