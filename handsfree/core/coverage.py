"""Film thickness wet and dry, spreading rate, and the amount a surface takes."""

import math
from dataclasses import dataclass
from enum import Enum

from handsfree.core.errors import check_range

LEAST_FILM_UM, LARGEST_FILM_UM = 1.0, 10_000.0
LARGEST_AREA_M2 = 10_000.0


@dataclass(frozen=True)
class FilmSheet:
    """What a card says of the film."""

    volume_solids_percent: float  # Dry volume to 100 of wet volume.
    least_dft_um: float  # Of one coat, dry.
    largest_dft_um: float
    coats: int


class Profile(Enum):
    """A steel surface's roughness, by what a dry film loses in it, µm.

    Source: a trade note on application losses (dead volume): shot-blasted 10, fine open blast 35,
        coarse 60, old and pitted 125.
    """

    SMOOTH = 0.0
    SHOT_BLASTED = 10.0
    FINE_BLAST = 35.0
    COARSE_BLAST = 60.0
    PITTED = 125.0


def spreading_rate_m2_per_l(
    *, dft_um: float, volume_solids_percent: float, loss_percent: float = 0.0
) -> float:
    """Area one liter covers at a dry film thickness, after losses.

    Args:
        dft_um: dry film thickness wanted, 1 to 10,000 µm.
        volume_solids_percent: volume solids, 1 to 100 %; by weight is of no use here.
        loss_percent: share lost to pot, tools and overspray, 0 up to 90 %.

    Returns:
        Spreading rate, m²/l, unrounded; theoretical when the loss is 0.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source:
        Conservation of volume: a liter leaves volume_solids_percent/100 l dry, and 1 l at 1 µm is
        1000 m². A loss divides: 30 % lost means 1 / 0.70 as much, not 1.30.

    Not covered:
        Roughness: add Profile's micrometers to dft_um.
    """
    _check_film("dft_um", dft_um)
    _check_solids(volume_solids_percent)
    _check_loss(loss_percent)
    return 10.0 * volume_solids_percent / dft_um * (1.0 - loss_percent / 100.0)


def liters_needed(
    *,
    area_m2: float,
    dft_um: float,
    volume_solids_percent: float,
    loss_percent: float = 0.0,
    profile: Profile = Profile.SMOOTH,
) -> float:
    """Liters of mixed product for one coat on an area, unrounded.

    Args:
        area_m2: above 0, up to 10,000 m².
        dft_um, volume_solids_percent, loss_percent: as for spreading_rate_m2_per_l.
        profile: the surface's roughness.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the definition of the spreading rate; dead volume adds to the film.
    """
    check_range("area_m2", area_m2, 0, LARGEST_AREA_M2, "m²", low_excluded=True)
    return area_m2 / spreading_rate_m2_per_l(
        dft_um=dft_um + profile.value,
        volume_solids_percent=volume_solids_percent,
        loss_percent=loss_percent,
    )


def wet_film_um(
    *, dft_um: float, volume_solids_percent: float, thinner_percent: float = 0.0
) -> float:
    """Wet film thickness that dries to a dry one, µm, unrounded.

    Args:
        dft_um: dry film thickness, 1 to 10,000 µm.
        volume_solids_percent: of the product before thinning, 1 to 100 %.
        thinner_percent: thinner by volume to 100 of product, 0 to 100 %.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: conservation of volume, WFT = DFT (1 + thinner) / solids.

    Not covered: solvent that has left before the comb is read; the comb then reads low.
    """
    _check_film("dft_um", dft_um)
    return dft_um * 100.0 / thinned_solids_percent(volume_solids_percent, thinner_percent)


def dry_film_um(
    *, wft_um: float, volume_solids_percent: float, thinner_percent: float = 0.0
) -> float:
    """Dry film thickness that a wet one leaves, µm, unrounded; arguments as for wet_film_um.

    Args:
        wft_um: wet film thickness, 1 to 10,000 µm.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: conservation of volume.
    """
    _check_film("wft_um", wft_um)
    return wft_um * thinned_solids_percent(volume_solids_percent, thinner_percent) / 100.0


def thinned_solids_percent(volume_solids_percent: float, thinner_percent: float) -> float:
    """Volume solids after thinning, %.

    Args:
        volume_solids_percent: 1 to 100 %.
        thinner_percent: thinner by volume to 100 of product, 0 to 100 %.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: conservation of volume. Whether thinning is allowed is for the label to say.
    """
    _check_solids(volume_solids_percent)
    check_range("thinner_percent", thinner_percent, 0, 100, "%")
    return volume_solids_percent / (1.0 + thinner_percent / 100.0)


def comb_wft_um(*, wetted_um: float, next_dry_um: float) -> tuple[float, float]:
    """The span in which a wet film lies by a comb gauge, µm.

    Args:
        wetted_um: the deepest tooth that came up wet, 1 to 10,000 µm.
        next_dry_um: the next tooth, dry; larger, up to 10,000 µm.

    Raises:
        OutOfRange: an argument lies outside its range, or the teeth are not in this order.

    Source: ASTM D4414: the film lies between the two teeth.
    """
    _check_film("wetted_um", wetted_um)
    check_range("next_dry_um", next_dry_um, wetted_um, LARGEST_FILM_UM, "µm", low_excluded=True)
    return wetted_um, next_dry_um


def coats_needed(*, total_dft_um: float, largest_dft_um: float) -> int:
    """Coats that build a dry film when none may be thicker than the card allows.

    Args:
        total_dft_um: the whole film, 1 to 10,000 µm.
        largest_dft_um: the thickest single coat, 1 to 10,000 µm.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: whole coats of at most that thickness.
    """
    _check_film("total_dft_um", total_dft_um)
    _check_film("largest_dft_um", largest_dft_um)
    return math.ceil(total_dft_um / largest_dft_um)


def _check_film(field: str, value: float) -> None:
    """Refuses a film thickness outside 1 to 10,000 µm."""
    check_range(field, value, LEAST_FILM_UM, LARGEST_FILM_UM, "µm")


def _check_solids(value: float) -> None:
    """Refuses volume solids outside 1 to 100 %."""
    check_range("volume_solids_percent", value, 1, 100, "%")


def _check_loss(value: float) -> None:
    """Refuses a loss outside 0 to 90 %."""
    check_range("loss_percent", value, 0, 90, "%")
