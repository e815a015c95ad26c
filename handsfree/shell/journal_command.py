"""The ``journal`` command: check, show, export and mend the record of a job."""

import argparse
import csv
import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.job.event_format import KIND_FIELD, encoded
from handsfree.shell.journal_entries import Contents, Gap, Recorded, contents_of
from handsfree.shell.preferences import add_options

if TYPE_CHECKING:
    from handsfree.shell.journal import Journal

SOUND, DAMAGED, BAD_INPUT = 0, 1, 2
FIRST_COLUMNS = ("entry", "at", KIND_FIELD)


def add_commands(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``journal`` and its topics to the command line."""
    journal = subparsers.add_parser("journal", help="check, show, export or mend a job's record")
    topics = journal.add_subparsers(metavar="TOPIC", required=True)
    for name, text, run in (
        ("verify", "whether every entry can be read; changes nothing", _verify),
        ("show", "what was recorded, the oldest first", _show),
        ("export", "write what was recorded to a file, which can be rebuilt at any time", _export),
        ("repair", "cut off what cannot be read, after copying it", _repair),
    ):
        topic = topics.add_parser(name, help=text)
        add_options(topic, ("data",))
        topic.set_defaults(run=run)
        if name == "show":
            topic.add_argument("--json", action="store_true", help="one JSON line for each event")
        if name == "export":
            topic.add_argument(
                "file", type=Path, metavar="FILE", help="its name ends in .csv or .json"
            )


def rows(contents: Contents) -> Iterator[dict[str, object]]:
    """One row for each event, with the number of its entry, and one for each gap."""
    for entry in contents.entries:
        if isinstance(entry, Gap):
            yield {"entry": entry.seq, KIND_FIELD: "Gap", "last": entry.last_seq}
        elif isinstance(entry, Recorded):
            for event in entry.events:
                yield {"entry": entry.seq, **encoded(event)}


def csv_of(contents: Contents) -> str:
    """All rows as CSV, with a column for every field there is."""
    found = list(rows(contents))
    others = sorted({name for row in found for name in row} - set(FIRST_COLUMNS))
    text = io.StringIO()
    writer = csv.DictWriter(text, [*FIRST_COLUMNS, *others], lineterminator="\n")
    writer.writeheader()
    writer.writerows(found)
    return text.getvalue()


def findings(contents: Contents) -> Iterator[str]:
    """What is wrong with a journal, one sentence each; nothing when it is sound."""
    for damage in contents.damage:
        where = f"At byte {damage.offset}, {damage.length} bytes are no entry: {damage.reason}."
        if damage.lost is not None:
            where += f" Entries {damage.lost.seq} to {damage.lost.last_seq} are lost."
        yield where
    gaps = [entry for entry in contents.entries if isinstance(entry, Gap)]
    told = {damage.lost for damage in contents.damage}
    for gap in gaps:
        if gap not in told:
            yield f"Entries {gap.seq} to {gap.last_seq} were lost before an earlier repair."
    if contents.tail:
        yield f"The last {len(contents.tail)} bytes are no entry; handsfree was cut off in it."
    if contents.newer_version is not None:
        yield f"The rest is of a newer handsfree, format {contents.newer_version}."


def _folder(args: argparse.Namespace) -> Path:
    from handsfree.shell.job_folder import default_folder

    return args.data or default_folder()


def _read(args: argparse.Namespace) -> Contents | None:
    """The journal's contents, without a lock: it may be read while it is written."""
    from handsfree.shell.journal import JOURNAL_NAME, NO_JOB_YET

    path = _folder(args) / JOURNAL_NAME
    try:
        return contents_of(path.read_bytes())
    except FileNotFoundError:
        print(NO_JOB_YET.format(folder=path.parent), file=sys.stderr)
        return None
    except OSError as error:
        print(f"{path} cannot be read: {error.strerror}.", file=sys.stderr)
        return None


def _verify(args: argparse.Namespace) -> int:
    contents = _read(args)
    if contents is None:
        return BAD_INPUT
    found = list(findings(contents))
    events = sum(len(part) for part in contents.parts)
    print(f"{len(contents.entries)} entries with {events} events can be read.")
    for sentence in found:
        print(sentence)
    if contents.damage or contents.tail:
        print("To mend it: handsfree journal repair")
    return DAMAGED if found else SOUND


def _show(args: argparse.Namespace) -> int:
    contents = _read(args)
    if contents is None:
        return BAD_INPUT
    for row in rows(contents):
        if args.json:
            print(json.dumps(row))
            continue
        fields = [f"{name}={json.dumps(value)}" for name, value in row.items()]
        shown = [text for text in fields if not text.startswith(("entry=", "at=", "kind="))]
        print(f"{row['entry']:>6}  {row.get('at', ''):<32}  {row[KIND_FIELD]}  {' '.join(shown)}")
    return SOUND


def _export(args: argparse.Namespace) -> int:
    from handsfree.shell.files import Files, write_new

    if args.file.suffix not in (".csv", ".json"):
        print(f"{args.file} ends neither in .csv nor in .json.", file=sys.stderr)
        return BAD_INPUT
    contents = _read(args)
    if contents is None:
        return BAD_INPUT
    if args.file.suffix == ".csv":
        text = csv_of(contents)
    else:
        text = json.dumps(list(rows(contents)), indent=1) + "\n"
    try:
        write_new(Files(), args.file, text.encode("utf-8"))
    except OSError as error:
        print(f"{args.file} cannot be written: {error.strerror}.", file=sys.stderr)
        return BAD_INPUT
    return SOUND


def _repair(args: argparse.Namespace) -> int:
    from handsfree.shell.journal import Journal, JournalBusy, JournalUnreadable

    journal = Journal(_folder(args))
    try:
        return _repaired(journal)
    except (JournalBusy, JournalUnreadable) as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    finally:
        journal.close()


def _repaired(journal: "Journal") -> int:
    contents = journal.open()
    for sentence in findings(contents):
        print(sentence)
    if journal.trouble is not None:
        print(f"Nothing was changed: {journal.trouble}.", file=sys.stderr)
        return BAD_INPUT
    if journal.copied_to is None:
        print("There is nothing to mend.")
    else:
        print(f"What was cut off is kept in {journal.copied_to}.")
    return SOUND
