"""The journal's file: every event is on the disk before anything is said about it.

One append-only file for each data folder, and one program that writes it. What was once written
is never changed; what a crash left behind is copied aside before it is cut off.
"""

import contextlib
import errno
import os
import zlib
from collections.abc import Sequence
from pathlib import Path

import handsfree
from handsfree.job.events import Event
from handsfree.shell.clock import Stamp
from handsfree.shell.files import Files, write_new
from handsfree.shell.journal_entries import (
    Contents,
    Entry,
    Equipment,
    Equipped,
    NotSaved,
    Opened,
    Recorded,
    contents_of,
    line_of,
)

JOURNAL_NAME = "journal.log"
LOCK_NAME = "journal.lock"

NO_JOB_YET = (
    "No job is recorded in {folder}. handsfree run records there; --data names another folder."
)


class JournalBusy(Exception):
    """Another program writes this journal; the message says which."""


class JournalUnreadable(Exception):
    """The file is there, but the system does not let it be read."""


class Journal:
    """The one writer of a data folder."""

    def __init__(self, folder: Path, files: Files | None = None) -> None:
        """Opens nothing yet.

        Args:
            folder: made if it is missing.
            files: the file system; None takes the real one.
        """
        self.folder = folder
        self.path = folder / JOURNAL_NAME
        self.trouble: str | None = None  # Why nothing is saved; None: all is well.
        self.copied_to: Path | None = None  # Where what was cut off or damaged was kept.
        self._files = files or Files()
        self._is_read_only = False
        self._lock: int | None = None
        self._file: int | None = None
        self._length = 0  # Of the file, as far as it is sound.
        self._next_seq = 1
        self._unsaved = b""  # Lines that a full disk refused; they go first next time.

    def open(self) -> Contents:
        """What was recorded so far, mended as far as it can be.

        Where nothing can be written, the journal can still be read, and ``trouble`` says why.

        Raises:
            JournalBusy: another program has it open.
            JournalUnreadable: it is there and cannot be read.
        """
        try:
            try:
                self._files.make_folder(self.folder)
                self._take_lock()
            except OSError as error:
                self._give_up(error)
            data = self._open_and_read()
            contents = contents_of(data)
            self._length = contents.sound_bytes
            self._next_seq = contents.next_seq
            self._mend(data, contents)
        except BaseException:
            self.close()
            raise
        return contents

    def begin(self, stamp: Stamp, product: str) -> None:
        """Records that this program goes on here. Raises NotSaved."""
        self._append(Opened(self._next_seq, stamp, handsfree.__version__, product))

    def equip(self, stamp: Stamp, equipment: Equipment) -> None:
        """Records what this program works with. Raises NotSaved."""
        self._append(Equipped(self._next_seq, stamp, equipment))

    def append(self, events: Sequence[Event], stamp: Stamp) -> None:
        """Records what one decision gave; on the disk when this returns.

        Args:
            events: in their order; none at all records that the program is alive.
            stamp: the moment of them.

        Raises:
            NotSaved: they are not. Where the disk may have room again they are kept and go
                before the next ones.
        """
        self._append(Recorded(self._next_seq, stamp, tuple(events)))

    def close(self) -> None:
        """Releases the file and the lock."""
        for descriptor in (self._file, self._lock):
            if descriptor is not None:
                with contextlib.suppress(OSError):  # Everything was synced before.
                    self._files.close(descriptor)
        self._file = self._lock = None
        self._is_read_only = True

    # --- writing --------------------------------------------------------------------------

    def _append(self, entry: Entry) -> None:
        if self._is_read_only or self._file is None:
            raise NotSaved(self.trouble or "the journal is closed")
        self._unsaved += line_of(entry)
        self._next_seq += 1
        try:
            count = self._files.write(self._file, self._unsaved)
            if count != len(self._unsaved):
                # A full disk takes a part of the bytes and reports no error.
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        except OSError as error:
            self.trouble = _reason(error)
            self._cut_back()
            raise NotSaved(self.trouble) from error
        try:
            self._files.sync(self._file)
        except OSError as error:
            # A second sync may report success although the bytes are gone: never tried.
            self._give_up(error)
            self._cut_back()
            raise NotSaved(_reason(error)) from error
        self._length += len(self._unsaved)
        self._unsaved = b""
        self.trouble = None

    def _cut_back(self) -> None:
        """Removes half an entry, which would else stand before the next one."""
        assert self._file is not None
        try:
            self._files.truncate(self._file, self._length)
        except OSError as error:
            self._give_up(error)

    def _give_up(self, error: OSError) -> None:
        self._is_read_only = True
        self.trouble = self.trouble or _reason(error)

    # --- opening --------------------------------------------------------------------------

    def _take_lock(self) -> None:
        lock = self._files.open(self.folder / LOCK_NAME, os.O_RDWR | os.O_CREAT)
        self._lock = lock
        if not self._files.lock(lock):
            holder = self._files.read(lock).decode("ascii", "replace").strip()
            self.close()
            raise JournalBusy(
                f"Another handsfree (process {holder or 'unknown'}) uses {self.folder}. "
                "Stop it first, or name another folder with --data."
            )
        # Only for the message above: a disk too full for it may have room for entries later.
        with contextlib.suppress(OSError):
            self._files.truncate(lock, 0)
            self._files.write(lock, f"{os.getpid()}\n".encode("ascii"))

    def _open_and_read(self) -> bytes:
        try:
            if self._is_read_only:
                return self._read_only()
            self._file = self._files.open(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT)
            self._files.sync_folder(self.folder)
        except OSError as error:
            self._give_up(error)
            return self._read_only()
        try:
            return self._files.read(self._file)
        except OSError as error:
            raise self._unreadable(error) from error

    def _read_only(self) -> bytes:
        try:
            descriptor = self._files.open(self.path, os.O_RDONLY)
        except FileNotFoundError:
            return b""
        except OSError as error:
            raise self._unreadable(error) from error
        try:
            return self._files.read(descriptor)
        except OSError as error:
            raise self._unreadable(error) from error
        finally:
            self._files.close(descriptor)

    def _unreadable(self, error: OSError) -> JournalUnreadable:
        return JournalUnreadable(f"{self.path} cannot be read: {_reason(error)}.")

    def _mend(self, data: bytes, contents: Contents) -> None:
        if contents.newer_version is not None:
            self._is_read_only = True
            self.trouble = f"it is of a newer handsfree, format {contents.newer_version}"
        if self._is_read_only or not (contents.tail or contents.damage):
            return
        assert self._file is not None
        try:
            self._keep_copy(data if contents.damage else contents.tail, contents)
            if contents.damage:
                self._replace_file(b"".join(contents.sound_lines))
            else:
                self._files.truncate(self._file, self._length)
                self._files.sync(self._file)
        except OSError as error:
            self._give_up(error)

    def _keep_copy(self, data: bytes, contents: Contents) -> None:
        kind = "damaged" if contents.damage else "torn"
        # Named for its content: a start that is cut short and repeated makes no second copy.
        path = self.folder / f"{kind}-{contents.next_seq}-{zlib.crc32(data):08x}.log"
        write_new(self._files, path, data)
        self.copied_to = path

    def _replace_file(self, mended: bytes) -> None:
        assert self._file is not None
        write_new(self._files, self.path, mended)
        self._files.close(self._file)
        self._file = None
        self._file = self._files.open(self.path, os.O_RDWR | os.O_APPEND)
        self._length = len(mended)


def _reason(error: OSError) -> str:
    """What the system says, for a sentence."""
    return error.strerror or str(error)
