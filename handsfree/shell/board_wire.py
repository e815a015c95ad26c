"""A board view as the page reads it: JSON of plain values, each panel with its kind."""

import json
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum

from handsfree.job.board_view import BoardView

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


def view_text(view: BoardView) -> str:
    """The view as one line of JSON; moments are milliseconds since 1970, UTC."""
    return json.dumps(_plain(view), separators=(",", ":"))


def milliseconds(moment: datetime) -> int:
    """A moment in milliseconds since 1970, UTC, rounded down."""
    return (moment - _EPOCH) // _MILLISECOND


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        found = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
        return {"kind": type(value).__name__, **found}
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    if isinstance(value, datetime):
        return milliseconds(value)
    if isinstance(value, Enum):
        return value.name.lower()
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"{type(value).__name__} has no form on the board")
