"""The ``review`` command: what past jobs say about a card, and corrections only when told to."""

import argparse
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from handsfree.core.card import ProductCard
from handsfree.job.batch_record import BatchRecord
from handsfree.job.review import Change, Proposal, Review, review
from handsfree.shell.amount_answers import shown
from handsfree.shell.card_edit import NotEditable, with_values
from handsfree.shell.cards import CardUnusable, card_from, card_text
from handsfree.shell.files import Files, write_new
from handsfree.shell.preferences import take_from_file
from handsfree.shell.record_source import NoRecord, read_source, sha256_of
from handsfree.shell.settings import CAUTION

DONE, BAD_INPUT = 0, 2
FIRST_OWN_VERSION = 2


def add_command(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``review`` to the command line."""
    command = subparsers.add_parser(
        "review", help="what past jobs say about a product card; changes nothing by itself"
    )
    command.add_argument(
        "--data",
        dest="folders",
        type=Path,
        action="append",
        metavar="FOLDER",
        help="a job's folder; may be given several times",
    )
    command.add_argument("--product", metavar="CARD", help="the card; default: the journal's")
    command.add_argument(
        "--accept", type=int, nargs="+", metavar="N", help="write a new card with these corrections"
    )
    command.add_argument("--out", type=Path, metavar="FILE", help="where the new card goes")
    take_from_file(command, ("data",))
    command.set_defaults(run=_run)


def _run(args: argparse.Namespace) -> int:
    try:
        text, card, jobs = _read(args.folders or (args.data and [args.data]), args.product)
        found = review(card, jobs)
        if args.accept is None:
            print("\n".join(_told(card, found, len(jobs))))
            return DONE
        path = _accept(args, text, card, found.proposals)
    except (NoRecord, CardUnusable, NotEditable) as trouble:
        print(trouble, file=sys.stderr)
        return BAD_INPUT
    print(f"The new card is {path}; the old one stays as it is.")
    print(f"Work with it: handsfree run --product {path}")
    print(CAUTION)
    return DONE


def _read(
    folders: Sequence[Path] | None, product: str | None
) -> tuple[str, ProductCard, list[BatchRecord]]:
    """The card, which is that of the last job where none is named, and all jobs."""
    from handsfree.shell.job_folder import default_folder

    named = [] if product is None else [product]
    sources = [read_source(folder, named) for folder in folders or [default_folder()]]
    jobs = [job for source in sources for job in source.jobs]
    if product is not None:
        text = card_text(product)
    else:
        last = [one.text for one in sources[-1].cards if one.product == jobs[-1].card.name]
        text = last[-1]
    return text, card_from(text, product or "in the journal"), jobs


def _told(card: ProductCard, found: Review, jobs: int) -> Iterator[str]:
    yield f"{card.name}, jobs: {jobs}, cups: {found.cups}, coats: {found.coats}."
    for finding in found.findings:
        yield ""
        yield finding.sentence
        yield from (f"  {line}" for line in finding.evidence)
    for number, proposal in enumerate(found.proposals, start=1):
        yield ""
        yield f"{number}. {proposal.reason}"
        yield from (f"  {_changed(change)}" for change in proposal.changes)
        yield from (f"  {line}" for line in proposal.evidence)
    yield ""
    if found.proposals:
        yield "Nothing was changed. To write a new card of your own: handsfree review --accept 1"
    else:
        yield "Nothing to correct was found. A few jobs prove nothing: absence is no proof either."
    yield CAUTION


def _changed(change: Change) -> str:
    return f"{change.key}: {_values(change.old)} to {_values(change.new)}"


def _values(values: Sequence[Fraction]) -> str:
    texts = [shown(value) for value in values]
    return texts[0] if len(texts) == 1 else f"[{', '.join(texts)}]"


def _accept(
    args: argparse.Namespace, text: str, card: ProductCard, proposals: Sequence[Proposal]
) -> Path:
    numbers = tuple(dict.fromkeys(args.accept))
    unknown = [number for number in numbers if not 1 <= number <= len(proposals)]
    if unknown:
        there = f"there are {len(proposals)}" if proposals else "there is none"
        raise NoRecord(f"There is no correction {unknown[0]}: {there}. See: handsfree review")
    chosen = [proposals[number - 1] for number in numbers]
    head = [
        f"Changed by handsfree review from the card with the SHA-256 {sha256_of(text)}.",
        *(
            f"{line}."
            for proposal in chosen
            for line in (*map(_changed, proposal.changes), *proposal.evidence)
        ),
        CAUTION,
        "",
    ]
    changes = {change.key: change.new for proposal in chosen for change in proposal.changes}
    new = with_values(text, changes, head)
    path: Path = args.out or _own_path(card)
    files = Files()
    try:
        if path.exists():
            raise NoRecord(f"{path} is there already and stays. Name another file with --out.")
        files.make_folder(path.parent)
        write_new(files, path, new.encode("utf-8"))
    except OSError as error:
        raise NoRecord(f"{path} cannot be written: {error.strerror or error}.") from error
    return path


def _own_path(card: ProductCard) -> Path:
    """The next version of a card among a person's own."""
    from handsfree.shell.job_folder import default_folder

    stem = card.name.lower().replace(" ", "-").replace("'", "")
    number = FIRST_OWN_VERSION
    while (path := default_folder() / "cards" / f"{stem}-{number}.toml").exists():
        number += 1
    return path
