"""Film thickness, spreading rate and the amount a surface takes."""

from dataclasses import dataclass


@dataclass(frozen=True)
class FilmSheet:
    """What a card says of the film."""

    volume_solids_percent: float  # Dry volume to 100 of wet volume.
    least_dft_um: float  # Of one coat, dry.
    largest_dft_um: float
    coats: int
