"""How long a mixed cup can be used."""

from dataclasses import dataclass
from enum import Enum


class Method(Enum):
    """How the label's pot life was measured."""

    CUP_IN_AIR = "cup in air"
    WATER_BATH = "water bath"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class LabelPotLife:
    """The pot life a label states, with the test it holds for."""

    minutes: float
    test_g: float  # Resin and hardener together.
    test_c: float
    method: Method
    induction_minutes: float = 0.0  # Standing time the label asks for; part of the pot life.
