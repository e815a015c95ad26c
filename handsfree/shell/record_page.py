"""A record as one page of HTML: nothing is loaded from elsewhere, and nothing on it runs."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from importlib import resources

import handsfree
from handsfree.job.batch_record import BatchRecord
from handsfree.shell.record_tables import (
    NO_VALUE,
    Column,
    Deviation,
    Mark,
    Table,
    Value,
    shown,
)
from handsfree.shell.settings import CAUTION

STYLE_FILE = "record.css"
POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
# Which picture stands with which table.
PICTURE_OF = {"cups": "ratio", "pot_life": "used", "coats": "air", "ready": "cure"}
NOT_HELD = (
    "What is not in it, since nothing told it: how the surface was prepared, the thickness of the "
    "film, adhesion, and who worked."
)


@dataclass(frozen=True)
class Page:
    """What the page and the print say."""

    job: BatchRecord
    tables: tuple[Table, ...]
    deviations: tuple[Deviation, ...]
    about: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]  # What the record was made from: name and checksum.

    @property
    def title(self) -> str:
        """Product, job and day."""
        return f"{self.job.products}, job {self.job.number}, {self.job.started_at.date()}"

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """The few numbers that stand at the top."""
        job = self.job
        grams = sum((cup.resin_g + cup.hardener_g for cup in job.cups), start=0)
        bad = sum(one.count for one in self.deviations if one.mark is Mark.BAD)
        looked = sum(one.count for one in self.deviations) - bad
        return (
            ("cups", str(len(job.cups))),
            ("grams in all", f"{float(grams):,.0f}".replace(",", " ")),
            ("coats", str(len(job.coats))),
            ("not kept", str(bad)),
            ("to look at", str(looked)),
        )

    @property
    def product(self) -> str:
        """The products and their ratios, in words."""
        texts = []
        for card in self.job.cards:
            ratio = card.ratio
            parts = f"{float(ratio.resin_parts):g}:{float(ratio.hardener_parts):g}"
            note = f" {card.note}" if card.note else ""
            texts.append(f"{card.name}, resin to hardener {parts} by {ratio.basis.value}.{note}")
        return " ".join(texts)

    @property
    def span(self) -> tuple[datetime, datetime]:
        """From the first that was told to the end of the job, or the last that was told."""
        return self.job.started_at, self.job.ended_at or self.job.last_at


def visible(table: Table) -> tuple[Column, ...]:
    """The columns in which any row has a value; CSV and JSON keep all of them."""
    return tuple(
        column
        for column in table.columns
        if any(column.value(row) not in (None, "") for row in table.rows)
    )


def page_text(page: Page, svgs: Mapping[str, tuple[str, str, str]]) -> str:
    """The whole page.

    Args:
        page: what it says.
        svgs: of each picture, by key: its title, what it shows in words, and its SVG.
    """
    style = (resources.files("handsfree") / "shell" / STYLE_FILE).read_text("utf-8")
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        '<meta name="referrer" content="no-referrer">',
        f'<meta name="generator" content="handsfree {escape(handsfree.__version__)}">',
        f"<title>{escape(page.title)}: batch record</title>",
        f"<style>\n{style}</style>",
        "</head>",
        "<body>",
        *_head(page),
        "<main>",
        *_deviations(page),
    ]
    for table in page.tables:
        parts += _section(table, svgs.get(PICTURE_OF.get(table.key, "")))
    return "\n".join([*parts, "</main>", *_foot(page), "</body>", "</html>", ""])


def _head(page: Page) -> Iterator[str]:
    start, end = page.span
    yield "<header>"
    yield '<p class="kind">Batch record</p>'
    yield f"<h1>{escape(page.job.products)} <span>job {page.job.number}</span></h1>"
    yield f'<p class="span">{_time(start)} <span class="to">to</span> {_time(end)}</p>'
    yield f'<p class="product">{escape(page.product)}</p>'
    yield '<dl class="facts">'
    for name, value in page.facts:
        yield f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>"
    yield "</dl>"
    yield "</header>"


def _deviations(page: Page) -> Iterator[str]:
    yield '<section aria-labelledby="deviations">'
    yield '<h2 id="deviations">Deviations</h2>'
    if page.deviations:
        yield '<ul class="deviations">'
        for deviation in page.deviations:
            yield f"<li>{_mark(deviation.mark)}<span>{escape(deviation.sentence)}</span></li>"
        yield "</ul>"
    else:
        yield f"<p>{_mark(Mark.GOOD)} None in what was told.</p>"
    if page.about:
        yield '<ul class="about">'
        yield from (f"<li>{escape(sentence)}</li>" for sentence in page.about)
        yield "</ul>"
    marks = " ".join(f"<span>{_mark(mark)} {mark.value}</span>" for mark in Mark)
    yield f'<p class="key">{marks} <span>≈ estimated or calculated ahead</span></p>'
    yield "</section>"


def _section(table: Table, picture: tuple[str, str, str] | None) -> Iterator[str]:
    name = escape(table.key)
    yield f'<section aria-labelledby="{name}" class="of-{name}">'
    yield f'<h2 id="{name}">{escape(table.title)}</h2>'
    if picture is not None:
        title, words, svg = picture
        yield f'<figure role="group" aria-label="{escape(title)}">'
        yield f"<figcaption>{escape(title)}</figcaption>"
        # It scrolls where the page is narrow, so it can be reached by keyboard.
        label = escape(f"{title}, picture")
        yield f'<div class="plot" role="region" tabindex="0" aria-label="{label}">'
        yield f'<div role="img" aria-label="{escape(words)}">{svg}</div>'
        yield "</div>"
        yield "</figure>"
    if not table.rows:
        yield '<p class="none">None.</p>'
    elif table.is_long:
        yield f"<details><summary>{len(table.rows)} entries</summary>"
        yield from _table(table)
        yield "</details>"
    else:
        yield from _table(table)
    yield "</section>"


def _table(table: Table) -> Iterator[str]:
    columns = visible(table)
    yield (
        f'<div class="wide" role="region" tabindex="0" aria-label="{escape(table.title)}, table">'
    )
    yield f"<table>\n<caption><span>{escape(table.caption)}</span></caption>"
    # The first names the row: it is no number to be added up.
    numbers = {column.key for column in columns[1:] if _is_number(column, table.rows)}
    heads = "".join(
        f'<th scope="col"{_class(column.key in numbers)}>{_head_cell(column)}</th>'
        for column in columns
    )
    yield f"<thead><tr>{heads}</tr></thead>"
    yield "<tbody>"
    for row in table.rows:
        first, *others = columns
        cells = [f'<th scope="row">{_cell(first, row)}</th>']
        cells += [
            f"<td{_class(column.key in numbers)}>{_cell(column, row)}</td>" for column in others
        ]
        yield f"<tr>{''.join(cells)}</tr>"
    yield "</tbody>\n</table>\n</div>"


def _head_cell(column: Column) -> str:
    return f"{'≈ ' if column.is_estimate else ''}{escape(column.label)}"


def _is_number(column: Column, rows: Sequence[object]) -> bool:
    value = next(value for row in rows if (value := column.value(row)) not in (None, ""))
    return not isinstance(value, str | datetime)


def _class(is_number: bool) -> str:
    return ' class="n"' if is_number else ""


def _cell(column: Column, row: object) -> str:
    value = column.value(row)
    mark = column.mark(row) if column.mark is not None else None
    text = _value(value, column)
    return text if mark is None else f"{_mark(mark)}{text}"


def _value(value: Value, column: Column) -> str:
    if isinstance(value, datetime):
        return _time(value)
    text = shown(value, column)
    if text == NO_VALUE:
        return f'<span class="no">{NO_VALUE}</span>'
    if column.key.endswith("sha256"):
        return f"<code>{escape(text)}</code>"
    return escape(text)


def _time(value: datetime) -> str:
    day, _, rest = value.isoformat("T", "seconds").partition("T")
    clock, offset = rest[:8], rest[8:] or "+00:00"
    return f'<time datetime="{value.isoformat()}"><b>{clock}</b> <span>{day} {offset}</span></time>'


def _mark(mark: Mark) -> str:
    name = mark.name.lower()
    return f'<span class="mark {name}" role="img" aria-label="{escape(mark.value)}"></span>'


def _foot(page: Page) -> Iterator[str]:
    yield "<footer>"
    yield '<section aria-labelledby="signed"><h2 id="signed">Signed</h2>'
    yield '<div class="signed">'
    for words in ("worked by", "checked by", "place and date"):
        yield f"<p><span>{words}</span></p>"
    yield "</div></section>"
    yield '<section aria-labelledby="kept"><h2 id="kept">What this record is</h2>'
    yield f"<p>{escape(NOT_HELD)}</p>"
    yield (
        "<p>Everything in it follows from the journal: the same journal gives the same record, "
        "byte for byte. Times are those of the zone the machine was in, with its offset from "
        "universal time.</p>"
    )
    yield f"<p>{escape(CAUTION)}</p>"
    yield _definitions(page.sources)
    yield "</section>"
    yield "</footer>"


def _definitions(pairs: Iterable[tuple[str, str]]) -> str:
    rows = [f"<div><dt>{escape(k)}</dt><dd><code>{escape(v)}</code></dd></div>" for k, v in pairs]
    return f'<dl class="sources">{"".join(rows)}</dl>'


def sources_of(
    journal_sha256: str, cards: Iterable[tuple[str, str]]
) -> tuple[tuple[str, str], ...]:
    """What a record was made from, with the checksums."""
    return (
        ("record made by handsfree", handsfree.__version__),
        ("journal, SHA-256", journal_sha256),
        *((f"card of {product}, SHA-256", sha256) for product, sha256 in cards),
    )
