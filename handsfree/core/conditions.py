"""Whether air and surface allow coating."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """What a card allows of air and surface."""

    least_air_c: float
    largest_air_c: float
    least_surface_c: float
    largest_surface_c: float
    largest_humidity_percent: float
    dew_margin_k: float  # The surface is at least this much above the dew point.
