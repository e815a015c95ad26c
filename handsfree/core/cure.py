"""What a coat has become since it was applied, from the card's table."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Stage(Enum):
    """The moments of a coat's life, in order; the value is the card's key without its unit."""

    TACK_FREE = "tack_free"
    RECOAT_OPENS = "recoat_opens"
    RECOAT_CLOSES = "recoat_closes"
    HANDLE = "handle"
    SAND = "sand"
    USE = "use"
    FULL_CURE = "full_cure"


@dataclass(frozen=True)
class CureTable:
    """Hours from application to each stage, at each of the table's surface temperatures."""

    surface_c: tuple[float, ...]  # Rising.
    hours: Mapping[Stage, tuple[float, ...]]  # One number for each temperature; falling.
    least_c: float  # Below it nothing counts toward a stage.
