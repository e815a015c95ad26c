"""The dew point, and whether a surface is far enough above it to be coated."""

import math
from enum import Enum

from handsfree.core.errors import check_range

# Alduchov and Eskridge, J. Appl. Meteorol. 35 (1996) 601: Magnus form over water.
MAGNUS_A, MAGNUS_B_C = 17.625, 243.04
LEAST_AIR_C, LARGEST_AIR_C = -40.0, 50.0  # The range that paper states.
# ISO 8502-4: the surface is usually kept at least 3 °C above the dew point.
DEW_MARGIN_K = 3.0
# A hygrometer off by 3 % moves the dew point 0.6 °C and a thermometer off by 1 °C moves it another
# 1 °C; that is most of a margin that just holds. Judgement.
THIN_MARGIN_K = 1.0


class DewVerdict(Enum):
    """Whether a surface may be coated, as far as dew goes."""

    CLEAR = "clear"
    THIN = "thin margin"  # It holds, but by less than the instruments' own error.
    TOO_CLOSE = "too close"  # Do not coat.
    WET = "wet"  # At or below the dew point: water is on it.


def dew_point_c(*, air_c: float, humidity_percent: float) -> float:
    """The temperature at which dew forms, °C.

    Args:
        air_c: air temperature, -40 to 50 °C.
        humidity_percent: relative humidity over water, 1 to 100 %.

    Returns:
        Unrounded; never above air_c. Within 0.1 °C of the ASHRAE formulation from 0 to 45 °C and
        20 to 100 %.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: Magnus form solved for temperature, constants above.

    Not covered:
        Frost: below 0 °C frost forms up to about 2 °C above this, so nothing is coated on it.
    """
    check_range("air_c", air_c, LEAST_AIR_C, LARGEST_AIR_C, "°C")
    check_range("humidity_percent", humidity_percent, 1, 100, "%")
    gamma = math.log(humidity_percent / 100.0) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
    return min(air_c, MAGNUS_B_C * gamma / (MAGNUS_A - gamma))


def dew_margin_k(*, air_c: float, humidity_percent: float, surface_c: float) -> float:
    """How far a surface is above the dew point, K; negative when it is below.

    Args:
        air_c, humidity_percent: as for dew_point_c, taken close to the surface.
        surface_c: the surface's temperature, -40 to 80 °C.

    Raises:
        OutOfRange: an argument lies outside its range.

    Source: the definition of the margin in ISO 8502-4.
    """
    check_range("surface_c", surface_c, -40, 80, "°C")
    return surface_c - dew_point_c(air_c=air_c, humidity_percent=humidity_percent)


def dew_verdict(margin_k: float, *, needed_k: float = DEW_MARGIN_K) -> DewVerdict:
    """What a margin means.

    Args:
        margin_k: as dew_margin_k returns it.
        needed_k: the card's margin, 1 to 20 K; 3 K when the card is silent.

    Raises:
        OutOfRange: needed_k lies outside its range or margin_k is not a number of this world.

    Source: ISO 8502-4 for the 3 K; the thin margin is Judgement, see above.
    """
    check_range("needed_k", needed_k, 1, 20, "K")
    check_range("margin_k", margin_k, -200, 200, "K")
    if margin_k <= 0.0:
        return DewVerdict.WET
    if margin_k < needed_k:
        return DewVerdict.TOO_CLOSE
    return DewVerdict.THIN if margin_k < needed_k + THIN_MARGIN_K else DewVerdict.CLEAR
