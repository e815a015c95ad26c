"""Tables of readings that a person names on the command line."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from handsfree.core.conditions import Conditions
from handsfree.core.cure import SurfaceReading
from handsfree.core.errors import NotAllowed
from handsfree.core.potlife import MixReading
from handsfree.shell.settings import plain_number

LARGEST_BYTES = 4_000_000


def load_surface_history(name: str) -> tuple[SurfaceReading, ...]:
    """A coat's surface temperatures from a CSV file with the columns hours and surface_c.

    Raises:
        NotAllowed: the file cannot be read, lacks a column, or holds something else than numbers.
    """
    rows = _number_rows(name, "history", ("hours", "surface_c"))
    return tuple(SurfaceReading(hours, surface_c) for hours, surface_c in rows)


def load_mix_history(name: str) -> tuple[MixReading, ...]:
    """Temperatures round a mixed cup from a CSV file with the columns minutes and mix_c.

    Raises:
        NotAllowed: the file cannot be read, lacks a column, or holds something else than numbers.
    """
    rows = _number_rows(name, "history", ("minutes", "mix_c"))
    return tuple(MixReading(minutes, mix_c) for minutes, mix_c in rows)


def load_conditions(name: str) -> tuple[Conditions, ...]:
    """Conditions now and later from a CSV file: hours, air_c, rh_percent, surface_c.

    Raises:
        NotAllowed: the file cannot be read, lacks a column, or holds something else than numbers.
    """
    rows = _number_rows(name, "forecast", ("hours", "air_c", "rh_percent", "surface_c"))
    return tuple(Conditions(*row) for row in rows)


def _number_rows(name: str, field: str, columns: Sequence[str]) -> list[list[float]]:
    text = _read_text(Path(name), field)
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


def _read_text(path: Path, field: str) -> str:
    allowed = "the path of a readable CSV file"
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
        if len(content) > LARGEST_BYTES:
            raise NotAllowed(field, str(path), f"{allowed} up to {LARGEST_BYTES} bytes")
        return content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise NotAllowed(field, str(path), allowed) from error
