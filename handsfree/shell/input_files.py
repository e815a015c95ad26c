"""Files a person names on the command line: product cards and tables of readings."""

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

from handsfree.core.card import ProductCard, read_card
from handsfree.core.conditions import Conditions
from handsfree.core.cure import SurfaceReading
from handsfree.core.errors import NotAllowed
from handsfree.shell.settings import plain_number

SHIPPED_CARDS = Path(__file__).parent.parent / "cards"
CARD_NAME = re.compile(r"[a-z0-9-]{1,40}")
LARGEST_CARD_BYTES, LARGEST_TABLE_BYTES = 65_536, 4_000_000


def load_card(name: str) -> ProductCard:
    """A product card, by the name of one that comes with the program or by its path.

    Args:
        name: such as "gate-coat", or a path to a TOML file.

    Raises:
        NotAllowed: there is no such file, it cannot be read, or it is not UTF-8 text.
        CardInvalid: its text is refused.
    """
    path = SHIPPED_CARDS / f"{name}.toml" if CARD_NAME.fullmatch(name) else Path(name)
    shipped = ", ".join(sorted(card.stem for card in SHIPPED_CARDS.glob("*.toml")))
    allowed = f"the path of a readable text file up to 64 KiB, or one of {shipped}"
    return read_card(read_text(path, "card", LARGEST_CARD_BYTES, allowed))


def load_surface_history(name: str) -> tuple[SurfaceReading, ...]:
    """A coat's surface temperatures from a CSV file with the columns hours and surface_c.

    Raises:
        NotAllowed: the file cannot be read, lacks a column, or holds something else than numbers.
    """
    rows = number_rows(name, "history", ("hours", "surface_c"))
    return tuple(SurfaceReading(hours, surface_c) for hours, surface_c in rows)


def load_conditions(name: str) -> tuple[Conditions, ...]:
    """Conditions now and later from a CSV file: hours, air_c, rh_percent, surface_c.

    Raises:
        NotAllowed: the file cannot be read, lacks a column, or holds something else than numbers.
    """
    rows = number_rows(name, "forecast", ("hours", "air_c", "rh_percent", "surface_c"))
    return tuple(Conditions(*row) for row in rows)


def number_rows(name: str, field: str, columns: Sequence[str]) -> list[list[float]]:
    text = read_text(Path(name), field, LARGEST_TABLE_BYTES, "the path of a readable CSV file")
    rows = list(csv.reader(io.StringIO(text)))
    header = [cell.strip() for cell in rows[0]] if rows else []
    if not set(columns) <= set(header):
        raise NotAllowed(
            f"{field}, line 1,", ",".join(header), f"a header with {', '.join(columns)}"
        )
    places = [header.index(column) for column in columns]
    numbers: list[list[float]] = []
    for line, row in enumerate(rows[1:], start=2):
        if not row:
            continue
        cells = [row[place] if place < len(row) else "" for place in places]
        numbers.append([float(plain_number(f"{field}, line {line},", cell)) for cell in cells])
    if not numbers:
        raise NotAllowed(f"{field}, line 2,", "", "at least one line of numbers")
    return numbers


def read_text(path: Path, field: str, largest_bytes: int, allowed: str) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(largest_bytes + 1)
        if len(content) > largest_bytes:
            raise NotAllowed(field, str(path), allowed)
        return content.decode("utf-8-sig")
    except (OSError, ValueError) as error:
        raise NotAllowed(field, str(path), allowed) from error
