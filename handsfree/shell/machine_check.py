"""What the machine must give the record and the clocks: a disk that keeps, time, no sleep."""

import contextlib
import ctypes
import os
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from handsfree.shell.clock import FIRST_CREDIBLE_AT, SystemTime, TimeSource
from handsfree.shell.files import Files
from handsfree.shell.finding import Finding, note, ok, problem
from handsfree.shell.journal import JOURNAL_NAME
from handsfree.shell.journal_command import findings as journal_findings
from handsfree.shell.journal_entries import contents_of
from handsfree.shell.sleep_inhibitor import SleepInhibitor

# A journal takes about 0.3 MB for a thousand events; the rest is for the system. Judgement.
LEAST_FREE_BYTES, SCARCE_FREE_BYTES = 10_000_000, 200_000_000
# All processes of the program together, with margin (DEVELOPERS.md).
SCARCE_MEMORY_BYTES = 300_000_000
# The words wait for the disk: longer than this is felt. Judgement.
SLOW_SYNC_S = 0.3
PROBE_BYTES = 4096
VOLATILE = ("tmpfs", "ramfs", "devtmpfs")
NETWORK = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "fuse.sshfs", "fuse.rclone")
LAYERED = ("overlay", "aufs")  # Read-only systems keep changes in memory under these.
_MOUNTS = Path("/proc/self/mounts")
_MEMORY = Path("/proc/meminfo")
# adjtimex(2): TIME_ERROR is returned while the clock is not synchronized. A buffer larger than
# struct timex, all zeros: nothing is changed.
_TIME_ERROR, _TIMEX_BYTES = 5, 1024


def data_folder(folder: Path, files: Files | None = None) -> Iterator[Finding]:
    """Whether what is recorded will stay; writes and deletes one small file.

    Args:
        folder: of the record; need not exist yet, and is not made.
        files: the file system; None takes the real one.
    """
    name = "data folder"
    there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    try:
        sync_s = _probe(there, files or Files())
    except OSError as error:
        reason = error.strerror or str(error)
        yield problem(
            name,
            f"Nothing can be written in {there}: {reason}. Name another folder with --data.",
            f"cannot be written: {reason}",
        )
        return
    kind = filesystem_of(there)
    public = (
        f"can be written, on {kind or 'an unknown filesystem'}, synced in {sync_s * 1000:.0f} ms"
    )
    text = f"{folder} {public}"
    if kind in VOLATILE:
        yield note(
            name,
            f"{text}. That is memory: the record is lost when the power goes. "
            "Name a folder on a disk with --data.",
            public,
        )
    elif kind in NETWORK:
        yield note(
            name,
            f"{text}. That is a network: when it goes, nothing is saved, and a lock may not hold. "
            "Name a folder on this machine with --data.",
            public,
        )
    elif kind in LAYERED:
        yield note(
            name,
            f"{text}. Where the system is started read-only, that is memory and is lost when the "
            "power goes; then name a folder on a partition of its own with --data.",
            public,
        )
    elif sync_s > SLOW_SYNC_S:
        yield note(name, f"{text}. That is slow: every answer waits for it.", public)
    else:
        yield ok(name, text, public)
    free_bytes = shutil.disk_usage(there).free
    free = f"{free_bytes / 1e6:.0f} MB free"
    if free_bytes < LEAST_FREE_BYTES:
        yield problem("disk", f"{free}. Make room, or nothing will be saved.", free)
    elif free_bytes < SCARCE_FREE_BYTES:
        yield note("disk", f"{free}. Make room before a long job.", free)
    else:
        yield ok("disk", free)


def _probe(folder: Path, files: Files) -> float:
    """How long a small file takes to the disk, in seconds; raises OSError."""
    path = folder / f".handsfree-check-{os.getpid()}"
    descriptor = files.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL)
    try:
        began = time.monotonic()
        if files.write(descriptor, bytes(PROBE_BYTES)) != PROBE_BYTES:
            raise OSError("the disk is full")
        files.sync(descriptor)
        return time.monotonic() - began
    finally:
        files.close(descriptor)
        with contextlib.suppress(OSError):
            path.unlink()


def filesystem_of(path: Path, mounts: Path = _MOUNTS) -> str:
    """The kind of filesystem a path lies on; empty where the system does not tell.

    Source: fstab(5): device, mount point with spaces as octal escapes, kind.
    """
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    best = ("", "")
    real = path.resolve()
    for line in lines:
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = fields[1].replace("\\040", " ").replace("\\011", "\t").replace("\\134", "\\")
        # A later mount on the same point lies on top.
        if real.is_relative_to(point) and len(point) >= len(best[0]):
            best = (point, fields[2])
    return best[1]


def journal(folder: Path) -> Finding:
    """Whether the record in a folder can be read; changes nothing."""
    name = "record"
    path = folder / JOURNAL_NAME
    try:
        contents = contents_of(path.read_bytes())
    except FileNotFoundError:
        return ok(name, "none yet")
    except OSError as error:
        reason = error.strerror or str(error)
        return problem(
            name,
            f"{path} cannot be read: {reason}. Mend its rights, or name another with --data.",
            f"cannot be read: {reason}",
        )
    count = f"{len(contents.entries)} entries"
    if contents.newer_version is not None:
        return note(
            name,
            f"{path} is of a newer handsfree: it is read, but nothing new is saved. "
            "Install that version, or name another folder with --data.",
            f"of a newer version, format {contents.newer_version}",
        )
    if contents.damage:
        return note(
            name,
            f"{path} is damaged. {' '.join(journal_findings(contents))} The next start copies it "
            "aside and goes on with what can be read; see: handsfree journal verify",
            f"damaged in {len(contents.damage)} places, {count}",
        )
    if contents.tail:
        return note(
            name,
            f"{path} was cut off in its last entry, as by a power cut. The next start mends it and "
            "tells you to check the last thing you said.",
            f"cut off at its end, {count}",
        )
    return ok(name, f"{path}, {count}, all sound", f"{count}, all sound")


def clocks(source: TimeSource | None = None) -> Iterator[Finding]:
    """Whether lengths of time and times of day can be believed."""
    if hasattr(time, "CLOCK_BOOTTIME"):
        yield ok("clock", "counts on while the machine sleeps")
    else:
        text = "may stand still while the machine sleeps. Keep it awake while a cup is mixed."
        yield note("clock", text, text)
    source = source or SystemTime()
    zone = source.zone()[0] or "a zone without a name"
    shown = source.wall_at().astimezone(source.zone()[1])
    if source.wall_at() < FIRST_CREDIBLE_AT:
        text = f"shows {shown:%Y-%m-%d}, which cannot be. Set the date, or times of day are wrong."
        yield problem("date", text, text)
        return
    is_synchronized = _is_synchronized()
    if is_synchronized is False:
        text = (
            "not set by the network. Compare it with a watch: after a power cut it is all there "
            "is to tell how long the machine was off."
        )
        yield note("date", f"{shown:%Y-%m-%d %H:%M}, {zone}, {text}", text)
    else:
        how = "set by the network" if is_synchronized else "it is not known what sets it"
        yield ok("date", f"{shown:%Y-%m-%d %H:%M}, {zone}, {how}", how)


def _is_synchronized() -> bool | None:
    """Whether the kernel holds the clock for synchronized; None where it cannot be asked."""
    if sys.platform != "linux":
        return None
    try:
        library = ctypes.CDLL(None, use_errno=True)
        state = library.adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (OSError, AttributeError):
        return None
    return None if state < 0 else bool(state != _TIME_ERROR)


def sleep(inhibitor: SleepInhibitor | None = None) -> Finding:
    """Whether the machine can be kept awake; lets it sleep again at once."""
    inhibitor = inhibitor or SleepInhibitor()
    try:
        if inhibitor.hold():
            return ok("sleep", "kept off while something runs")
    finally:
        inhibitor.release()
    text = "cannot be kept off from here. Switch it off in the settings of this machine."
    return note("sleep", text, text)


def memory() -> Finding:
    """Whether there is room for the recognizer and the voice."""
    name = "memory"
    try:
        lines = _MEMORY.read_text(encoding="ascii").splitlines()
        kilobytes = next(int(line.split()[1]) for line in lines if line.startswith("MemAvailable"))
    except (OSError, StopIteration, ValueError):
        return ok(name, "not known on this system")
    free = f"{kilobytes / 1000:.0f} MB available"
    if kilobytes * 1024 < SCARCE_MEMORY_BYTES:
        return note(name, f"{free}. Close other programs: it needs up to 300.", free)
    return ok(name, free)
