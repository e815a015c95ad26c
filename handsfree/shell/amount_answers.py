"""Calc's answers about amounts: the mix, an over-pour, coverage."""

from fractions import Fraction

from handsfree.core.coverage import (
    Profile,
    comb_wft_um,
    dry_film_um,
    liters_needed,
    spreading_rate_m2_per_l,
    wet_film_um,
)
from handsfree.core.errors import Missing, NotAllowed
from handsfree.core.mix import (
    Basis,
    Component,
    Tolerance,
    addition_g,
    band_of,
    check_batch_size,
    correction,
    hardener_error,
    hardener_for_resin_g,
    mixed_density_g_per_ml,
    parse_ratio,
    resin_for_hardener_g,
    rounded_parts_g,
    rounded_to_step,
    running_total_g,
    split_total_g,
    weight_ratio,
)
from handsfree.core.units import Amount, Kind, canonical, converted
from handsfree.shell.settings import CAUTION, Answer, Settings

RATIO_KEYS = ("ratio", "by", "resin_density", "hardener_density")
AREA_KEYS = (
    "area_m2",
    "area_ft2",
    "dft_um",
    "dft_mil",
    "solids_volume_percent",
    "loss_percent",
    "profile",
)


def mix_answer(given: Settings) -> Answer:
    """Resin and hardener from one of them, from the total, or from an area. Raises Refusal."""
    ratio = _weight_ratio_given(given)
    wanted = [key for key in ("resin_g", "hardener_g", "total_g", "area_m2") if given.has(key)]
    if len(wanted) != 1:
        raise NotAllowed(
            "amount", ", ".join(wanted), "exactly one of resin_g, hardener_g, total_g, area_m2"
        )
    if given.has("resin_g"):
        resin_g = given.exact("resin_g", "the mix")
        hardener_g = hardener_for_resin_g(resin_g=resin_g, weight_ratio=ratio)
    elif given.has("hardener_g"):
        hardener_g = given.exact("hardener_g", "the mix")
        resin_g = resin_for_hardener_g(hardener_g=hardener_g, weight_ratio=ratio)
    else:
        total_g = (
            given.exact("total_g", "the mix")
            if given.has("total_g")
            else _total_from_area_g(given, ratio)
        )
        resin_g, hardener_g = split_total_g(total_g=total_g, weight_ratio=ratio)
    found: dict[str, object] = {
        "resin_g": float(resin_g),
        "hardener_g": float(hardener_g),
        "total_g": float(resin_g + hardener_g),
        "resin_g_per_hardener_g": float(ratio),
    }
    step_g = given.exact("step_g", "the scale") if given.has("step_g") else Fraction(1, 10)
    rounded = rounded_parts_g([resin_g, hardener_g], step_g)
    sentences = [
        f"Resin {shown(rounded[0])} g, hardener {shown(rounded[1])} g, "
        f"together {shown(sum(rounded, Fraction()))} g."
    ]
    if given.has("addition_percent"):
        added_g = addition_g(
            mixed_g=resin_g + hardener_g,
            addition_percent=given.exact("addition_percent", "the filler or thinner"),
        )
        found["addition_g"] = float(added_g)
        sentences.append(
            f"Filler, pigment or thinner {shown(rounded_to_step(added_g, step_g))} g, "
            "if the label allows it."
        )
    if given.has("step_g"):
        check_batch_size(
            resin_g=resin_g,
            weight_ratio=ratio,
            step_g=step_g,
            tolerance=Tolerance().tolerated,
        )
        cup_g = given.exact_or_none("cup_g") or Fraction()
        stop_g = running_total_g(resin_g=resin_g, weight_ratio=ratio, cup_g=cup_g)
        found["hardener_shown_g"] = float(rounded_to_step(hardener_g, step_g))
        found["running_total_g"] = float(rounded_to_step(stop_g, step_g))
        sentences.append(f"Not zeroed in between: stop at {found['running_total_g']:g} g.")
    return found, [*sentences, CAUTION]


def _weight_ratio_given(given: Settings, default_basis: Basis | None = None) -> Fraction:
    if not given.has("by") and default_basis is None:
        raise Missing("by", "the ratio: weight or volume, as the label says")
    return weight_ratio(
        parse_ratio(
            given.text("ratio", "the mix"), given.choice_or("by", default_basis or Basis.WEIGHT)
        ),
        given.exact_or_none("resin_density"),
        given.exact_or_none("hardener_density"),
    )


def _total_from_area_g(given: Settings, ratio: Fraction) -> Fraction:
    density = mixed_density_g_per_ml(
        weight_ratio=ratio,
        resin_g_per_ml=given.exact("resin_density", "grams from an area"),
        hardener_g_per_ml=given.exact("hardener_density", "grams from an area"),
    )
    return Fraction(_liters_given(given)) * 1000 * density


def overpour_answer(given: Settings) -> Answer:
    """How far a cup is off its ratio, and what balances it. Raises Refusal."""
    cup = {
        "resin_g": given.exact("resin_g", "the ratio error"),
        "hardener_g": given.exact("hardener_g", "the ratio error"),
        "weight_ratio": _weight_ratio_given(given, Basis.WEIGHT),
    }
    error = hardener_error(**cup)
    verdict = band_of(error, Tolerance())
    stood_minutes = given.exact_or_none("stood_min")
    add = correction(
        **cup,
        cup_g=given.exact_or_none("cup_g"),
        stood_minutes=None if stood_minutes is None else float(stood_minutes),
        pot_life_minutes=(
            None
            if stood_minutes is None
            else given.number("potlife_min", "the limit of standing before a correction")
        ),
    )
    key = "add_resin_g" if add.component is Component.RESIN else "add_hardener_g"
    found: dict[str, object] = {
        key: float(add.add_g),
        "ratio_error_percent": float(error * 100),
        "verdict": verdict.value,
        "total_g": float(add.total_g),
    }
    sentences = [
        f"Hardener is {float(error * 100):+.1f} % off its target: {verdict.value}.",
        f"To balance it add {float(add.add_g):.1f} g of {add.component.value}.",
        "The pot life still counts from the first contact.",
        CAUTION,
    ]
    return found, sentences


def coverage_answer(given: Settings) -> Answer:
    """Liters for one coat on an area, with the wet film and the comb. Raises Refusal."""
    film_um = _length_given(given, "dft_um", "dft_mil")
    solids_percent = given.number("solids_volume_percent", "the amount")
    liters = _liters_given(given)
    found: dict[str, object] = {
        "liters": liters,
        "us_gallons": float(converted(Amount(Fraction(liters), "l"), "US gal")),
        "spreading_rate_m2_per_l": spreading_rate_m2_per_l(
            dft_um=film_um,
            volume_solids_percent=solids_percent,
            loss_percent=given.number("loss_percent", "the amount"),
        ),
        "wet_film_um": wet_film_um(dft_um=film_um, volume_solids_percent=solids_percent),
    }
    sentences = [
        f"{liters:.2f} liters of mix for one coat ({found['us_gallons']:.2f} US gallons).",
        f"Wet film {found['wet_film_um']:.0f} µm.",
    ]
    if given.has("comb_wet_um"):
        span_um = comb_wft_um(
            wetted_um=given.number("comb_wet_um", "the comb"),
            next_dry_um=given.number("comb_dry_um", "the comb: its next tooth, which is dry"),
        )
        dry_um = [
            dry_film_um(wft_um=tooth_um, volume_solids_percent=solids_percent)
            for tooth_um in span_um
        ]
        found["dry_film_um"] = dry_um
        sentences.append(f"The comb's film dries to {dry_um[0]:.0f} to {dry_um[1]:.0f} µm.")
    return found, sentences


def _liters_given(given: Settings) -> float:
    area = given.exact_or_none("area_ft2")
    area_m2 = given.exact("area_m2", "the amount") if area is None else Fraction()
    if area is not None:
        area_m2 = canonical(Amount(area, "ft2"), Kind.AREA)
    return liters_needed(
        area_m2=float(area_m2),
        dft_um=_length_given(given, "dft_um", "dft_mil"),
        volume_solids_percent=given.number("solids_volume_percent", "the amount"),
        loss_percent=given.number("loss_percent", "the amount; 0 for none"),
        profile=given.choice_or("profile", Profile.SMOOTH),
    )


def _length_given(given: Settings, key_um: str, key_mil: str) -> float:
    mils = given.exact_or_none(key_mil)
    if mils is None:
        return given.number(key_um, "the amount")
    return float(canonical(Amount(mils, "mil"), Kind.LENGTH))


def shown(number: Fraction) -> str:
    """A number as it is printed, without digits that say nothing."""
    return f"{float(number):.10g}"
