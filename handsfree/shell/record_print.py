"""A record as a PDF, for paper and archives.

The same record gives the same bytes: its date is the job's, its parts are numbered. It is not
tagged for reading aloud; the page is.
"""

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from html import escape
from pathlib import Path

import matplotlib as mpl
from reportlab import rl_config
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    Image,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
)

import handsfree
from handsfree.shell.record_page import NOT_HELD, PICTURE_OF, Page, visible
from handsfree.shell.record_plots import Picture, pictures
from handsfree.shell.record_tables import NO_VALUE, Column, Mark, Table, moment, shown
from handsfree.shell.settings import CAUTION

# The fonts that come with matplotlib: the fonts built into PDF lack most signs.
FONTS = {"plain": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf"}
DATE_VARIABLE = "SOURCE_DATE_EPOCH"
INK, MUTED, GRID, SEAM = (HexColor(c) for c in ("#1d2226", "#59636a", "#c9ccca", "#9a5410"))
MARKS = {Mark.GOOD: "●", Mark.LOOK: "▲", Mark.BAD: "■", Mark.OPEN: "○"}
COLORS = {
    Mark.GOOD: "#0b7a5b",
    Mark.LOOK: "#8a5a00",
    Mark.BAD: "#b3261e",
    Mark.OPEN: "#59636a",
}
MARK_COLORS = {mark: HexColor(color) for mark, color in COLORS.items()}
MARGIN = 13 * mm
SIZE = landscape(A4)
WIDTH = SIZE[0] - 2 * MARGIN
PICTURE_WIDTH = 0.62 * WIDTH
ROWS_TOGETHER = 8  # A table this short is not parted.
MOST_LINES = 40  # Of a cell: a row has to fit on one page.
PADDING = 6.0  # Points, left and right of a cell together.

TITLE = ParagraphStyle("title", fontName="bold", fontSize=24, leading=28, textColor=INK)
KIND = ParagraphStyle("kind", fontName="bold", fontSize=9, leading=12, textColor=SEAM)
HEAD = ParagraphStyle(
    "head", fontName="bold", fontSize=12.5, leading=15, textColor=INK, spaceBefore=12, spaceAfter=4
)
TEXT = ParagraphStyle("text", fontName="plain", fontSize=8.6, leading=11.6, textColor=INK)
NOTE = ParagraphStyle("note", parent=TEXT, fontSize=7.6, leading=10, textColor=MUTED, spaceAfter=3)
CELL_SIZE, CELL_LEADING = 7.0, 8.6
ABOVE, BELOW = 2.0, 2.5  # Points, round the lines of a cell.


@dataclass
class Line:
    """A row of a table, its cells broken into lines that fit."""

    cells: list[tuple[str, ...]]
    colors: list[Color]

    @property
    def height(self) -> float:
        """Points."""
        return max(map(len, self.cells)) * CELL_LEADING + ABOVE + BELOW


class Rows(Flowable):  # type: ignore[misc]
    """A table that breaks over pages, with its head on each.

    reportlab's own tables draw every line of every cell as an object of its own, which takes
    twice as long.
    """

    def __init__(self, head: Line, lines: list[Line], widths: list[float]) -> None:
        """Takes what is drawn; widths in points."""
        super().__init__()
        self.head, self.lines, self.widths = head, lines, widths

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """How much room it needs."""
        return sum(self.widths), sum(line.height for line in (self.head, *self.lines))

    def split(self, _width: float, height: float) -> list["Rows"]:
        """What fits on this page, and the rest."""
        left = height - self.head.height
        count = 0
        while count < len(self.lines) and self.lines[count].height <= left:
            left -= self.lines[count].height
            count += 1
        if count in (0, len(self.lines)):
            return []
        parts = (self.lines[:count], self.lines[count:])
        return [Rows(self.head, part, self.widths) for part in parts]

    def draw(self) -> None:
        """Draws it from its upper left corner down."""
        canvas = self.canv
        wide, top = self.wrap(0, 0)
        canvas.setStrokeColor(GRID)
        canvas.setLineWidth(0.4)
        text = canvas.beginText()
        for line, font in ((self.head, "bold"), *((line, "plain") for line in self.lines)):
            text.setFont(font, CELL_SIZE, CELL_LEADING)
            left = PADDING / 2
            # The names of the columns stand on the line, everything else hangs from it.
            lowest = max(map(len, line.cells)) if font == "bold" else 0
            for cell, color, width in zip(line.cells, line.colors, self.widths, strict=True):
                down = max(0, lowest - len(cell)) * CELL_LEADING
                text.setTextOrigin(left, top - ABOVE - CELL_SIZE - down)
                text.setFillColor(color)
                for words in cell:
                    text.textLine(words)
                left += width
            top -= line.height
            canvas.line(0, top, wide, top)
        canvas.drawText(text)


class Signatures(Flowable):  # type: ignore[misc]
    """Three lines to sign on."""

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """How much room they need."""
        return WIDTH, 5 * mm

    def draw(self) -> None:
        """Draws them side by side."""
        self.canv.setFont("plain", 8)
        self.canv.setFillColor(MUTED)
        for place, words in enumerate(("worked by", "checked by", "place and date")):
            left = place * 0.36 * WIDTH
            self.canv.line(left, 5 * mm, left + 0.28 * WIDTH, 5 * mm)
            self.canv.drawString(left, 1.5 * mm, words)


def pdf_of(page: Page) -> bytes:
    """The record as PDF: everything but the list of all events, which page and sheets hold."""
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    for name, file in FONTS.items():
        pdfmetrics.registerFont(TTFont(name, folder / file))
    # Pictures as they are, not as text a quarter longer.
    rl_config.useA85 = 0
    target = io.BytesIO()
    document = BaseDocTemplate(
        target,
        pagesize=SIZE,
        title=f"{page.title}: batch record",
        author="",
        creator=f"handsfree {handsfree.__version__}",
        lang="en",
        invariant=1,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
    )
    frame = Frame(MARGIN, MARGIN, WIDTH, SIZE[1] - 2 * MARGIN, 0, 0, 0, 0)

    def foot(canvas: Canvas, _: object) -> None:
        canvas.setFont("plain", 7)
        canvas.setFillColor(MUTED)
        canvas.drawString(MARGIN, 7 * mm, page.title)
        canvas.drawRightString(SIZE[0] - MARGIN, 7 * mm, f"page {canvas.getPageNumber()}")

    document.addPageTemplates(PageTemplate("all", [frame], onPage=foot))
    with _dated(page.job.last_at):
        document.build(list(_story(page)))
    return target.getvalue()


@contextmanager
def _dated(moment: datetime) -> Iterator[None]:
    """The document's date is the job's last moment: this is how reportlab is told one."""
    before = os.environ.get(DATE_VARIABLE)
    os.environ[DATE_VARIABLE] = str(int(moment.timestamp()))
    try:
        yield
    finally:
        if before is None:
            del os.environ[DATE_VARIABLE]
        else:
            os.environ[DATE_VARIABLE] = before


def _story(page: Page) -> Iterator[Flowable]:
    start, end = page.span
    yield Paragraph("Batch record", KIND)
    yield Paragraph(escape(f"{page.job.products}, job {page.job.number}"), TITLE)
    yield Paragraph(escape(f"{moment(start)} to {moment(end)}"), TEXT)
    yield Paragraph(escape(page.product), NOTE)
    yield Paragraph(escape(", ".join(f"{name}: {value}" for name, value in page.facts)), TEXT)
    yield Paragraph("Deviations", HEAD)
    for deviation in page.deviations:
        yield Paragraph(f"{_mark(deviation.mark)} {escape(deviation.sentence)}", TEXT)
    if not page.deviations:
        yield Paragraph("None in what was told.", TEXT)
    for sentence in page.about:
        yield Paragraph(escape(sentence), NOTE)
    key = " &nbsp; ".join(f"{_mark(mark)} {mark.value}" for mark in Mark)
    yield Paragraph(f"{key} &nbsp; ≈ estimated or calculated ahead", NOTE)
    drawn = {picture.key: picture for picture in pictures(page.job)}
    for table in page.tables:
        if not table.is_long:
            yield from _section(table, drawn.get(PICTURE_OF.get(table.key, "")))
    yield from _end(page)


def _section(table: Table, picture: Picture | None) -> Iterator[Flowable]:
    head = Paragraph(escape(table.title), HEAD)
    if picture is not None:
        image = Image(io.BytesIO(picture.png()))
        image.drawHeight *= PICTURE_WIDTH / image.drawWidth
        image.drawWidth = PICTURE_WIDTH
        image.hAlign = "LEFT"
        yield KeepTogether([head, Paragraph(escape(picture.title), NOTE), image])
        yield Paragraph(escape(table.caption), NOTE)
    else:
        words = Paragraph(escape(table.caption if table.rows else "None."), NOTE)
        if 0 < len(table.rows) <= ROWS_TOGETHER:
            yield KeepTogether([head, words, *_table(table)])
            return
        yield KeepTogether([head, words])
    if table.rows:
        yield from _table(table)


def _table(table: Table) -> Iterator[Flowable]:
    columns = visible(table)
    head = [f"{'≈ ' if column.is_estimate else ''}{column.label}" for column in columns]
    rows = [[_cell(column, row) for column in columns] for row in table.rows]
    widths = _widths(head, rows)
    lines = [
        Line(_wrapped(texts, widths), [_color(column, row) for column in columns])
        for texts, row in zip(rows, table.rows, strict=True)
    ]
    yield Rows(Line(_wrapped(head, widths, "bold"), [MUTED] * len(columns)), lines, widths)


def _color(column: Column, row: object) -> Color:
    mark = column.mark(row) if column.mark is not None else None
    return MARK_COLORS[mark] if mark in (Mark.BAD, Mark.LOOK) else INK


def _cell(column: Column, row: object) -> str:
    value = column.value(row)
    mark = column.mark(row) if column.mark is not None else None
    text = shown(value, column)
    if isinstance(value, datetime):
        day, _, rest = text.partition(" ")
        clock, _, offset = rest.partition(" ")
        text = f"{clock}\n{day} {offset}"
    return text if mark is None or text == NO_VALUE else f"{MARKS[mark]} {text}"


def _widths(head: list[str], rows: list[list[str]]) -> list[float]:
    """As wide as the longest word needs, and what is left by the longest text."""
    least, wish = [], []
    for place, name in enumerate(head):
        texts = [name, *(row[place] for row in rows[:200])]
        words = [word for text in texts for word in text.split()]
        lines = [line for text in texts[1:] for line in text.split("\n")]
        longest = max(_text_width(word, "bold") for word in words)
        least.append(min(longest, WIDTH / 3) + PADDING)
        wish.append(min(max(_text_width(line) for line in lines), WIDTH / 3) + PADDING)
    wanted = [max(pair) for pair in zip(least, wish, strict=True)]
    if sum(wanted) <= WIDTH:
        return wanted
    if sum(least) >= WIDTH:
        return [width * WIDTH / sum(least) for width in least]
    share = (WIDTH - sum(least)) / (sum(wanted) - sum(least))
    return [a + share * (b - a) for a, b in zip(least, wanted, strict=True)]


@lru_cache(maxsize=65536)
def _text_width(text: str, font: str = "plain") -> float:
    return float(pdfmetrics.stringWidth(text, font, CELL_SIZE))


def _wrapped(row: list[str], widths: list[float], font: str = "plain") -> list[tuple[str, ...]]:
    """Each cell's text broken into lines that fit."""
    return [
        tuple(line for text in cell.split("\n") for line in _broken(text, width - PADDING, font))
        for cell, width in zip(row, widths, strict=True)
    ]


@lru_cache(maxsize=65536)
def _broken(text: str, width: float, font: str) -> tuple[str, ...]:
    """The lines of a text; most texts of a table come many times."""
    lines = tuple(_lines(text, width, font))
    if len(lines) > MOST_LINES:
        return (*lines[:MOST_LINES], "(the rest is in page and sheets)")
    return lines


def _lines(text: str, width: float, font: str) -> Iterator[str]:
    if _text_width(text, font) <= width:
        yield text
        return
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if not line or _text_width(longer, font) <= width:
            line = longer
        else:
            yield line
            line = word
        # A checksum has no place to break.
        while _text_width(line, font) > width and len(line) > 1:
            count = max(1, int(len(line) * width / _text_width(line, font)))
            yield line[:count]
            line = line[count:]
    yield line


def _mark(mark: Mark) -> str:
    return f'<font color="{COLORS[mark]}">{MARKS[mark]}</font>'


def _end(page: Page) -> Iterator[Flowable]:
    yield KeepTogether([Paragraph("Signed", HEAD), Spacer(1, 14 * mm), Signatures()])
    sources = [Paragraph(escape(f"{name}: {value}"), NOTE) for name, value in page.sources]
    yield KeepTogether(
        [
            Paragraph("What this record is", HEAD),
            Paragraph(escape(NOT_HELD), TEXT),
            Paragraph(escape(CAUTION), TEXT),
            Spacer(1, 4),
            *sources,
        ]
    )
