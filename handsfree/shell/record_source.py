"""A journal, read for the records of its jobs: events in local time, clocks, and what was used."""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from enum import Enum
from itertools import pairwise
from pathlib import Path

from handsfree.core.errors import Refusal
from handsfree.job.batch_record import (
    BatchRecord,
    Entered,
    Pause,
    ShelfSince,
    batch_records,
)
from handsfree.job.events import ProductChosen
from handsfree.job.shelf import Shelf
from handsfree.shell.cards import card_from, card_text, load_card, shipped_cards
from handsfree.shell.clock import FIRST_CREDIBLE_AT, SMALL_STEP, SPOKEN_STEP, Stamp
from handsfree.shell.journal import JOURNAL_NAME, NO_JOB_YET
from handsfree.shell.journal_command import findings
from handsfree.shell.journal_entries import (
    Contents,
    Equipment,
    Equipped,
    Gap,
    Opened,
    Recorded,
    contents_of,
)
from handsfree.shell.typed import SIMULATED_BOOT


class NoRecord(Exception):
    """There is nothing to make a record of; the message says why and what to do."""


class ClockNote(Enum):
    """What happened to the time."""

    SIMULATED = "the clock was simulated: the words were typed, not spoken"
    COUNTED = "the program started again; the machine counted on"
    BY_WALL = "the machine was off; how long is known from its wall clock alone"
    IN_DOUBT = "the machine was off, and its wall clock could not be believed: at least this long"
    WALL_SET = "the wall clock was set; times here do not move by it"
    WALL_NOT_SET = "the wall clock was not set: the date is wrong"


@dataclass(frozen=True)
class ClockEvent:
    """A moment at which the time is not simply known."""

    at: datetime
    note: ClockNote
    passed: timedelta | None  # As counted here.
    wall_passed: timedelta | None  # As the wall clock shows it.


@dataclass(frozen=True)
class Used:
    """What was worked with from a moment on."""

    since: datetime
    program: str  # Its version.
    equipment: Equipment | None  # None: it was not written down then.


@dataclass(frozen=True)
class CardUsed:
    """The text of a product card, and since when it was worked with."""

    since: datetime
    product: str
    text: str

    @property
    def sha256(self) -> str:
        """Of the text."""
        return sha256_of(self.text)


@dataclass(frozen=True)
class Source:
    """A journal with what its records need."""

    path: Path
    journal_sha256: str
    cards: tuple[CardUsed, ...]  # Every change of each.
    is_card_recorded: bool  # Else they are those that were named or shipped, today's.
    jobs: tuple[BatchRecord, ...]
    clock: tuple[ClockEvent, ...]
    used: tuple[Used, ...]
    findings: tuple[str, ...]  # What is wrong with the journal.

    def during(self, job: BatchRecord) -> tuple[Used, ...]:
        """What was worked with in a job: what stood at its start, and every change."""
        before = [one for one in self.used if one.since <= job.started_at]
        within = [one for one in self.used if job.started_at < one.since <= job.last_at]
        return (*before[-1:], *within)

    def cards_of(self, job: BatchRecord) -> tuple[CardUsed, ...]:
        """The cards of a job's products, with those that were changed in it."""
        found: list[CardUsed] = []
        for card in job.cards:
            mine = [one for one in self.cards if one.product == card.name]
            before = [one for one in mine if one.since <= job.started_at]
            within = [one for one in mine if job.started_at < one.since <= job.last_at]
            found += (*before[-1:], *within) or mine[:1]
        return tuple(found)


def sha256_of(text: str) -> str:
    """SHA-256 of a text's UTF-8, in hexadecimal."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def read_source(folder: Path, products: Sequence[str] = ()) -> Source:
    """The records of all jobs in a data folder.

    Args:
        folder: with a journal in it, which may be in use.
        products: cards for a journal that holds none, beside the shipped ones.

    Raises:
        NoRecord: no journal, an empty one, or one with a product whose card is not known.
        CardUnusable: a card cannot be read.
    """
    path = folder / JOURNAL_NAME
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise NoRecord(NO_JOB_YET.format(folder=folder)) from error
    except OSError as error:
        raise NoRecord(f"{path} cannot be read: {error.strerror}.") from error
    contents = contents_of(data)
    entered = _entered(contents)
    if not entered:
        damage = " It is damaged: handsfree journal verify" if contents.damage else ""
        raise NoRecord(f"Nothing of a job can be read in {path}.{damage}")
    clock, used = tuple(_clock_events(contents)), tuple(_used(contents))
    kept = [(one.since, one.equipment.cards) for one in used if one.equipment is not None]
    texts = kept or [(_in_zone_of(entered[0]), _texts_now(contents, products))]
    shelves = [ShelfSince(since, _shelf(cards)) for since, cards in texts]
    _check_products(contents, entered, shelves)
    try:
        jobs = batch_records(entered, shelves, _pauses(clock))
    except Refusal as refusal:
        raise NoRecord(f"A product of the job cannot be weighed. {refusal}") from refusal
    return Source(
        path=path,
        journal_sha256=hashlib.sha256(data).hexdigest(),
        cards=tuple(_changes(texts)),
        is_card_recorded=bool(kept),
        jobs=jobs,
        clock=clock,
        used=used,
        findings=tuple(findings(contents)),
    )


def _in_zone_of(first: Entered) -> datetime:
    return first.event.at.astimezone(first.zone)


def _shelf(texts: Sequence[str]) -> Shelf:
    first, *others = (card_from(text, "in the journal") for text in texts)
    return Shelf(first, tuple(others))


def _texts_now(contents: Contents, products: Sequence[str]) -> tuple[str, ...]:
    """The cards as they are today, that of the journal's product first."""
    texts = {load_card(name).name: card_text(name) for name in (*shipped_cards(), *products)}
    if contents.product is not None and contents.product in texts:
        texts = {contents.product: texts[contents.product], **texts}
    return tuple(texts.values())


def _check_products(
    contents: Contents, entered: Sequence[Entered], shelves: Sequence[ShelfSince]
) -> None:
    """Refuses a record that would go by another product's card."""
    chosen = [one.event.product for one in entered if isinstance(one.event, ProductChosen)]
    names = dict.fromkeys([*([contents.product] if contents.product else []), *chosen])
    for name in names:
        if not any(one.shelf.has(name) for one in shelves):
            raise NoRecord(f"The journal does not hold the card of {name}. Name it with --product.")


def _changes(texts: Sequence[tuple[datetime, tuple[str, ...]]]) -> Iterator[CardUsed]:
    newest: dict[str, str] = {}
    for since, cards in texts:
        for text in cards:
            name = card_from(text, "in the journal").name
            if newest.get(name) != text:
                newest[name] = text
                yield CardUsed(since, name, text)


def _entered(contents: Contents) -> tuple[Entered, ...]:
    found: list[Entered] = []
    part = 0
    for entry in contents.entries:
        if isinstance(entry, Gap):
            part += 1
        elif isinstance(entry, Recorded):
            zone = timezone(entry.stamp.utc_offset)
            found += [Entered(event, zone, part) for event in entry.events]
    return tuple(found)


def _stamps(contents: Contents) -> Iterator[tuple[Stamp, bool]]:
    """Every stamp, and whether a program started with it."""
    for entry in contents.entries:
        if not isinstance(entry, Gap):
            yield entry.stamp, isinstance(entry, Opened)


def _local(stamp: Stamp) -> datetime:
    return stamp.at.astimezone(timezone(stamp.utc_offset))


def _clock_events(contents: Contents) -> Iterator[ClockEvent]:
    stamps = list(_stamps(contents))
    is_wrong = False
    for stamp, is_start in stamps:
        if is_start and stamp.boot == SIMULATED_BOOT:
            yield ClockEvent(_local(stamp), ClockNote.SIMULATED, None, None)
            break
    for (before, _), (after, is_start) in pairwise(stamps):
        passed, wall_passed = after.at - before.at, after.wall_at - before.wall_at
        note = None
        if after.wall_at < FIRST_CREDIBLE_AT and not is_wrong:
            yield ClockEvent(_local(after), ClockNote.WALL_NOT_SET, None, None)
        is_wrong = after.wall_at < FIRST_CREDIBLE_AT
        if is_start and after.boot != SIMULATED_BOOT:
            note = _restart(before, after, abs(passed - wall_passed) <= SMALL_STEP)
        elif abs(passed - wall_passed) > SPOKEN_STEP:
            note = ClockNote.WALL_SET
        if note is not None:
            yield ClockEvent(_local(after), note, passed, wall_passed)


def _restart(before: Stamp, after: Stamp, agree: bool) -> ClockNote:
    """As ``Clock`` decides it when a program starts."""
    if before.boot and before.boot == after.boot and after.since_boot >= before.since_boot:
        return ClockNote.COUNTED
    return ClockNote.BY_WALL if agree else ClockNote.IN_DOUBT


def _pauses(clock: Sequence[ClockEvent]) -> tuple[Pause, ...]:
    return tuple(
        Pause(event.at - event.passed, event.at)
        for event in clock
        if event.note is ClockNote.IN_DOUBT and event.passed is not None
    )


def _used(contents: Contents) -> Iterator[Used]:
    """Every start of a program with what it used, once for each change."""
    program = ""
    equipment: Equipment | None = None
    told: tuple[str, Equipment | None] | None = None
    entries = contents.entries
    for place, entry in enumerate(entries):
        if isinstance(entry, Opened):
            program = entry.program
            following = entries[place + 1] if place + 1 < len(entries) else None
            if isinstance(following, Equipped):
                continue
        elif isinstance(entry, Equipped):
            equipment = entry.equipment
        else:
            continue
        if told != (program, equipment):
            told = (program, equipment)
            yield Used(_local(entry.stamp), program, equipment)
