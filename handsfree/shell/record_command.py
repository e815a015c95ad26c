"""The ``record`` command: what a job came to, as a page, a print, sheets and data."""

import argparse
import csv
import io
import json
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

import handsfree
from handsfree.job.batch_record import BatchRecord
from handsfree.shell.cards import CardUnusable
from handsfree.shell.files import Files, write_new
from handsfree.shell.preferences import add_options
from handsfree.shell.record_page import Page, page_text, sources_of
from handsfree.shell.record_source import NoRecord, Source, read_source
from handsfree.shell.record_tables import Table, about, deviations, moment, plain, tables_of

DONE, BAD_INPUT = 0, 2
FORMATS = ("html", "pdf", "csv", "json")
DATA_FORMAT = 1  # Of the JSON; raised when a key changes its meaning or goes.
# What a spreadsheet would take for a formula (common practice, no published source).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def add_command(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``record`` to the command line."""
    record = subparsers.add_parser("record", help="the batch record of a job, to keep or hand over")
    record.add_argument("job", nargs="?", metavar="JOB", help="its number; default: the last one")
    record.add_argument("--list", action="store_true", help="the jobs there are")
    record.add_argument(
        "--format",
        type=_formats,
        default=("html",),
        metavar="KIND,KIND",
        help=f"any of {', '.join(FORMATS)}; default html",
    )
    record.add_argument(
        "--out", type=Path, default=Path(), metavar="FOLDER", help="where it goes; default: here"
    )
    add_options(record, ("data",))
    record.add_argument(
        "--product",
        action="append",
        metavar="CARD",
        help="a card, for a journal that does not hold it",
    )
    record.set_defaults(run=_run)


def _formats(text: str) -> tuple[str, ...]:
    kinds = tuple(dict.fromkeys(text.lower().split(",")))
    unknown = [kind for kind in kinds if kind not in FORMATS]
    if unknown:
        raise argparse.ArgumentTypeError(f"{unknown[0]!r} is none of {', '.join(FORMATS)}")
    return kinds


def _run(args: argparse.Namespace) -> int:
    from handsfree.shell.job_folder import default_folder

    try:
        source = read_source(args.data or default_folder(), args.product or ())
        if args.list:
            print("\n".join(_listed(source)))
            return DONE
        job = _chosen(source, args.job)
    except (NoRecord, CardUnusable) as trouble:
        print(trouble, file=sys.stderr)
        return BAD_INPUT
    for sentence in source.findings:
        print(sentence, file=sys.stderr)
    files = Files()
    try:
        files.make_folder(args.out)
        for name, data in record_files(source, job, args.format):
            write_new(files, args.out / name, data)
            print(args.out / name)
    except OSError as error:
        print(
            f"{args.out} cannot be written to: {error.strerror or error}. "
            "Name another folder with --out.",
            file=sys.stderr,
        )
        return BAD_INPUT
    return DONE


def _listed(source: Source) -> Iterator[str]:
    for job in source.jobs:
        end = "" if job.ended_at is None else f" to {moment(job.ended_at)}"
        yield (
            f"{job.number}  {moment(job.started_at)}{end}  {job.products}, "
            f"cups: {len(job.cups)}, coats: {len(job.coats)}"
        )


def _chosen(source: Source, name: str | None) -> BatchRecord:
    if name is None:
        return source.jobs[-1]
    for job in source.jobs:
        if name == str(job.number):
            return job
    raise NoRecord(
        f"There is no job {name[:40]}; jobs are numbered from 1 to {len(source.jobs)}. "
        "See them with: handsfree record --list"
    )


def record_files(
    source: Source, job: BatchRecord, formats: tuple[str, ...]
) -> Iterator[tuple[str, bytes]]:
    """The record's files: each one's name and its content, the same from the same journal.

    Args:
        source: the journal.
        job: one of its jobs.
        formats: of FORMATS.
    """
    tables = tables_of(source, job)
    stem = f"record-{job.started_at.date()}-job-{job.number}"
    page = Page(
        job=job,
        tables=tables,
        deviations=deviations(tables, source.findings),
        about=about(source, job),
        sources=sources_of(source.journal_sha256, _cards(source, job)),
    )
    for kind in formats:
        if kind == "html":
            yield f"{stem}.html", page_text(page, _svgs(job)).encode("utf-8")
        elif kind == "pdf":
            # Imported here: only this form needs it.
            from handsfree.shell.record_print import pdf_of

            yield f"{stem}.pdf", pdf_of(page)
        elif kind == "json":
            yield f"{stem}.json", json_of(page, source).encode("utf-8")
        else:
            for table in tables:
                yield f"{stem}-{table.key.replace('_', '-')}.csv", csv_of(table).encode("utf-8")


def _cards(source: Source, job: BatchRecord) -> list[tuple[str, str]]:
    return [(one.product, one.sha256) for one in source.cards_of(job)]


def _svgs(job: BatchRecord) -> Mapping[str, tuple[str, str, str]]:
    # Imported here, since matplotlib takes most of a second to load.
    from handsfree.shell.record_plots import pictures

    return {one.key: (one.title, one.text, one.svg()) for one in pictures(job)}


def csv_of(table: Table) -> str:
    """A table as CSV (RFC 4180, but for plain line ends), with all its columns."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([column.key for column in table.columns])
    for row in table.rows:
        cells = [plain(column.value(row), column) for column in table.columns]
        writer.writerow([_harmless(cell) if isinstance(cell, str) else cell for cell in cells])
    return text.getvalue()


def _harmless(text: str) -> str:
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def json_of(page: Page, source: Source) -> str:
    """The record as one JSON object: its tables by key, and which columns are estimates."""
    job = page.job
    start, _ = page.span
    found = {
        "format": DATA_FORMAT,
        "record_by": f"handsfree {handsfree.__version__}",
        "journal_sha256": source.journal_sha256,
        "products": [card.name for card in job.cards],
        "invented": [card.name for card in job.cards if card.invented],
        "job": job.number,
        "started": start.isoformat(),
        "ended": None if job.ended_at is None else job.ended_at.isoformat(),
        "last": job.last_at.isoformat(),
        "about": list(page.about),
        "deviations": [
            {"mark": deviation.mark.value, "sentence": deviation.sentence}
            for deviation in page.deviations
        ],
        "tables": {table.key: _rows(table) for table in page.tables},
        "estimates": {
            table.key: [column.key for column in table.columns if column.is_estimate]
            for table in page.tables
        },
    }
    return json.dumps(found, allow_nan=False, ensure_ascii=False, indent=1) + "\n"


def _rows(table: Table) -> list[dict[str, object]]:
    return [
        {column.key: plain(column.value(row), column) for column in table.columns}
        for row in table.rows
    ]
