"""What a journal's bytes hold: its sound entries, a torn end, and damage before it.

A line is ``crc32 SP json LF``: eight hexadecimal digits in lower case, of the bytes of the JSON.
One line is what one decision recorded, so that a power cut keeps all of it or none. Entries are
numbered without a gap, so that a block that was lost, or written twice, shows.
"""

import zlib
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

from handsfree.job.event_format import RecordIsNewer, RecordUnreadable, record_from_text, text_of
from handsfree.job.events import Event
from handsfree.shell.clock import Stamp

_CRC_DIGITS = 8


class NotSaved(Exception):
    """What was to be recorded is not on the disk; the message says why."""


@dataclass(frozen=True)
class Opened:
    """A program began to write here."""

    seq: int  # Entries are counted from 1.
    stamp: Stamp
    program: str  # Its version.
    product: str  # The name of the card.


@dataclass(frozen=True)
class Equipment:
    """What a program works with, so that a record can be made from the journal alone."""

    cards: tuple[str, ...]  # The texts of the product cards, TOML; the first is the start's.
    model: str  # The speech model's name; empty: the words are typed.
    model_sha256: str  # See ``model_folder.fingerprint``; empty as the name is.
    scale_step_g: Fraction


@dataclass(frozen=True)
class Equipped:
    """What the program that writes here works with; written again only when it has changed."""

    seq: int
    stamp: Stamp
    equipment: Equipment


@dataclass(frozen=True)
class Recorded:
    """What one decision recorded; without events, that the program was alive."""

    seq: int
    stamp: Stamp
    events: tuple[Event, ...]


@dataclass(frozen=True)
class Gap:
    """Entries that were damaged and could not be read any more."""

    seq: int  # The first that is lost.
    last_seq: int


Entry: TypeAlias = Opened | Equipped | Recorded | Gap
_KINDS: tuple[type[Opened] | type[Equipped] | type[Recorded] | type[Gap], ...] = (
    Opened,
    Equipped,
    Recorded,
    Gap,
)


@dataclass(frozen=True)
class Damage:
    """A part of the file, before its last sound entry, that is no entry."""

    offset: int  # Bytes from the start of the file.
    length: int  # Bytes; 0 where entries are missing without a trace.
    reason: str
    lost: Gap | None  # None: no entry is missing for it.


@dataclass(frozen=True)
class Contents:
    """All that could be read of a journal."""

    entries: tuple[Entry, ...]  # With a Gap where entries are missing.
    sound_lines: tuple[bytes, ...]  # The same, each with its line end, as they are to be kept.
    sound_bytes: int  # Up to the end of the last sound entry.
    tail: bytes  # After it: what a power cut left of an entry.
    damage: tuple[Damage, ...]
    newer_version: int | None  # Of the first entry by a newer program; nothing after is read.

    @property
    def next_seq(self) -> int:
        """The number of the entry to be written next."""
        return _after(self.entries[-1]) if self.entries else 1

    @property
    def last_stamp(self) -> Stamp | None:
        """The newest moment there is; None in an empty journal."""
        stamps = (entry.stamp for entry in reversed(self.entries) if not isinstance(entry, Gap))
        return next(stamps, None)

    @property
    def parts(self) -> tuple[tuple[Event, ...], ...]:
        """The events, in their order, parted where entries are missing."""
        parts: list[list[Event]] = [[]]
        for entry in self.entries:
            if isinstance(entry, Gap):
                parts.append([])
            elif isinstance(entry, Recorded):
                parts[-1].extend(entry.events)
        return tuple(tuple(part) for part in parts)

    @property
    def product(self) -> str | None:
        """The card that was used last; None in an empty journal."""
        opened = (entry for entry in reversed(self.entries) if isinstance(entry, Opened))
        return next((entry.product for entry in opened), None)

    @property
    def equipment(self) -> Equipment | None:
        """What was worked with last; None where no program wrote it down."""
        equipped = (entry for entry in reversed(self.entries) if isinstance(entry, Equipped))
        return next((entry.equipment for entry in equipped), None)


def line_of(entry: Entry) -> bytes:
    """The entry as it stands in the file, with its line end."""
    text = text_of(entry).encode("ascii")
    return b"%08x %s\n" % (zlib.crc32(text), text)


def entry_of(line: bytes) -> Entry:
    """The entry of a line without its end.

    Raises:
        RecordIsNewer: by a newer program.
        RecordUnreadable: anything else that ``line_of`` does not write.
    """
    text = line[_CRC_DIGITS + 1 :]
    # Whole bytes are compared: a parser of numbers would let a flipped bit pass, as upper case.
    if line[: _CRC_DIGITS + 1] != b"%08x " % zlib.crc32(text):
        raise RecordUnreadable("the checksum does not match")
    try:
        plain = text.decode("ascii")
    except UnicodeDecodeError as error:
        raise RecordUnreadable("not plain ASCII") from error
    return record_from_text(plain, _KINDS)


def contents_of(data: bytes) -> Contents:
    """Reads a journal as far as it can be read; nothing is left out without a word."""
    entries: list[Entry] = []
    sound_lines: list[bytes] = []
    damage: list[Damage] = []
    sound_bytes = offset = 0
    next_seq = 1
    reason = ""
    newer_version = None
    while (end := data.find(b"\n", offset)) >= 0:
        line = data[offset:end]
        try:
            entry = entry_of(line)
        except RecordIsNewer as newer:
            newer_version = newer.version
            break
        except RecordUnreadable as error:
            reason = reason or str(error)
            offset = end + 1
            continue
        if entry.seq < next_seq:
            reason = reason or f"entry {entry.seq} stands here a second time"
            offset = end + 1
            continue
        if entry.seq > next_seq or offset > sound_bytes:
            lost = Gap(next_seq, entry.seq - 1) if entry.seq > next_seq else None
            reason = reason or "entries are missing"
            damage.append(Damage(sound_bytes, offset - sound_bytes, reason, lost))
            if lost is not None:
                entries.append(lost)
                sound_lines.append(line_of(lost))
        entries.append(entry)
        sound_lines.append(line + b"\n")
        next_seq = _after(entry)
        reason = ""
        offset = sound_bytes = end + 1
    return Contents(
        tuple(entries),
        tuple(sound_lines),
        sound_bytes,
        b"" if newer_version is not None else data[sound_bytes:],
        tuple(damage),
        newer_version,
    )


def _after(entry: Entry) -> int:
    return (entry.last_seq if isinstance(entry, Gap) else entry.seq) + 1
