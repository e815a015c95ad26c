"""The system calls of the journal, one method each, so that a test can make any one fail."""

import os
import sys
from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

FILE_MODE = 0o600  # Nobody else's business.
FOLDER_MODE = 0o700
LOCKED_AT = 1 << 20


class Files:
    """The file system. Every method raises OSError as the system does."""

    def make_folder(self, path: Path) -> None:
        """Makes a folder and those above it; one that is there is left as it is."""
        path.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)

    def open(self, path: Path, flags: int) -> int:
        """A descriptor of a file, which only its owner may read; not inherited by children."""
        return os.open(path, flags | getattr(os, "O_BINARY", 0), FILE_MODE)

    def close(self, descriptor: int) -> None:
        """Gives a descriptor back."""
        os.close(descriptor)

    def read(self, descriptor: int) -> bytes:
        """Everything in a file from its start."""
        os.lseek(descriptor, 0, os.SEEK_SET)
        parts = []
        while part := os.read(descriptor, 1 << 20):
            parts.append(part)
        return b"".join(parts)

    def write(self, descriptor: int, data: bytes) -> int:
        """Writes once; how many bytes were taken, which may be fewer than given."""
        return os.write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Returns once the file's content will survive a power cut."""
        if sys.platform == "darwin":  # From memory: its fsync stops at the drive's cache.
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
        elif sys.platform == "linux":
            os.fdatasync(descriptor)
        else:
            os.fsync(descriptor)

    def truncate(self, descriptor: int, length: int) -> None:
        """Cuts a file to a length, bytes; the next write goes there."""
        os.ftruncate(descriptor, length)
        os.lseek(descriptor, length, os.SEEK_SET)

    def rename(self, source: Path, target: Path) -> None:
        """Puts a file in another's place, in one step."""
        source.replace(target)

    def sync_folder(self, path: Path) -> None:
        """Returns once the folder's names will survive a power cut."""
        if sys.platform == "win32":  # From memory: a folder cannot be opened there.
            return
        descriptor = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def lock(self, descriptor: int) -> bool:
        """Takes a lock that the system releases with the process; False: another has it."""
        try:
            if sys.platform == "win32":
                # Far behind the content, which a locked part would hide from the others.
                os.lseek(descriptor, LOCKED_AT, os.SEEK_SET)
                msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
            else:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            return False
        return True


def write_new(files: Files, path: Path, data: bytes) -> None:
    """Writes a whole file so that either the old or the new one is there, never a part.

    Raises:
        OSError: it could not be; the old file, where there was one, is untouched.
    """
    draft = path.with_name(f".{path.name}.draft")
    descriptor = files.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    try:
        if files.write(descriptor, data) != len(data):
            raise OSError(f"only a part of {path} could be written")
        files.sync(descriptor)
    finally:
        files.close(descriptor)
    files.rename(draft, path)
    files.sync_folder(path.parent)
