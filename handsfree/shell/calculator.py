"""The commands that calculate from the keyboard: calc and card; plan is registered with them."""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from handsfree.core.card import Origin, ProductCard, missing_for
from handsfree.core.coverage import Profile, liters_needed, spreading_rate_m2_per_l, wet_film_um
from handsfree.core.cure import (
    Side,
    Stage,
    StageTime,
    recoat,
    slow_share_seen,
    stage_time,
    tape_times,
)
from handsfree.core.dewpoint import dew_margin_k, dew_point_c, dew_verdict
from handsfree.core.errors import Missing, NotAllowed
from handsfree.core.mix import (
    Basis,
    Component,
    Tolerance,
    band_of,
    check_batch_size,
    correction,
    hardener_error,
    hardener_for_resin_g,
    mixed_density_g_per_ml,
    parse_ratio,
    resin_for_hardener_g,
    rounded_to_step,
    running_total_g,
    split_total_g,
    weight_ratio,
)
from handsfree.core.potlife import Doubt, LabelPotLife, Method, PotLife, pot_life
from handsfree.core.units import Amount, Kind, canonical, converted
from handsfree.shell.cards import load_card
from handsfree.shell.planner import add_plan_command
from handsfree.shell.readings import load_surface_history
from handsfree.shell.settings import Answer, Settings, print_answer, settings_from

CAUTION = "The label, the safety data sheet and local rules come first."

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


@dataclass(frozen=True)
class Topic:
    """One topic of calc: its calculation and the keys it takes."""

    answer: Callable[[Settings], Answer]
    keys: tuple[str, ...]


def add_commands(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Registers calc, card and plan; each sets run, which returns the exit code."""
    calc = subparsers.add_parser(
        "calc",
        help="one calculation from the keyboard",
        epilog="; ".join(f"{name}: {', '.join(topic.keys)}" for name, topic in TOPICS.items()),
    )
    calc.add_argument("topic", choices=list(TOPICS), help="what to calculate")
    calc.add_argument("settings", nargs="*", metavar="key=value", help="its values")
    calc.add_argument("--json", action="store_true", help="print one JSON object")
    calc.set_defaults(run=run_calc)
    card = subparsers.add_parser("card", help="check a product card and say what it contains")
    card.add_argument("file", help="a TOML file, or the name of a card that comes along")
    card.add_argument("--json", action="store_true", help="print one JSON object")
    card.set_defaults(run=run_card)
    add_plan_command(subparsers)


def run_calc(args: argparse.Namespace) -> int:
    """Runs calc; returns 0, or 2 after one sentence on standard error."""
    topic = TOPICS[args.topic]
    return print_answer(
        lambda: topic.answer(settings_from(args.settings, topic.keys)), as_json=args.json
    )


def run_card(args: argparse.Namespace) -> int:
    """Runs card; returns 0, or 2 after one sentence on standard error."""
    return print_answer(lambda: described(load_card(args.file)), as_json=args.json)


def mix_answer(given: Settings) -> Answer:
    ratio = weight_ratio_given(given)
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
            else total_from_area_g(given, ratio)
        )
        resin_g, hardener_g = split_total_g(total_g=total_g, weight_ratio=ratio)
    found: dict[str, object] = {
        "resin_g": float(resin_g),
        "hardener_g": float(hardener_g),
        "total_g": float(resin_g + hardener_g),
        "resin_g_per_hardener_g": float(ratio),
    }
    step_g = given.exact("step_g", "the scale") if given.has("step_g") else Fraction(1, 10)
    sentences = [
        f"Resin {shown(rounded_to_step(resin_g, step_g))} g, "
        f"hardener {shown(rounded_to_step(hardener_g, step_g))} g, "
        f"together {shown(rounded_to_step(resin_g + hardener_g, step_g))} g."
    ]
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


def weight_ratio_given(given: Settings, default_basis: Basis | None = None) -> Fraction:
    if not given.has("by") and default_basis is None:
        raise Missing("by", "the ratio: weight or volume, as the label says")
    return weight_ratio(
        parse_ratio(
            given.text("ratio", "the mix"), given.choice_or("by", default_basis or Basis.WEIGHT)
        ),
        given.exact_or_none("resin_density"),
        given.exact_or_none("hardener_density"),
    )


def total_from_area_g(given: Settings, ratio: Fraction) -> Fraction:
    density = mixed_density_g_per_ml(
        weight_ratio=ratio,
        resin_g_per_ml=given.exact("resin_density", "grams from an area"),
        hardener_g_per_ml=given.exact("hardener_density", "grams from an area"),
    )
    return Fraction(liters_given(given)) * 1000 * density


def overpour_answer(given: Settings) -> Answer:
    cup = {
        "resin_g": given.exact("resin_g", "the ratio error"),
        "hardener_g": given.exact("hardener_g", "the ratio error"),
        "weight_ratio": weight_ratio_given(given, Basis.WEIGHT),
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


def potlife_answer(given: Settings) -> Answer:
    method = given.choice_or("method", Method.CUP_IN_AIR)
    label = LabelPotLife(
        minutes=given.number("label_min", "the pot life"),
        test_g=given.number("label_g", "the pot life: minutes hold for one mass only"),
        test_c=given.number("label_c", "the pot life: minutes hold for one temperature only"),
        method=method,
    )
    depth_mm = given.exact_or_none("depth_mm")
    life = pot_life(
        label,
        batch_g=given.number("grams", "the pot life"),
        mix_c=given.number("cup_c", "the pot life"),
        fill_depth_mm=None if depth_mm is None else float(depth_mm),
    )
    reasons = reasons_of(life)
    if not given.has("method"):
        reasons.append(
            "taken as tested in a cup in air; if the maker used a water bath or does not say, "
            "give method=water bath or method=unknown for a shorter time"
        )
    found: dict[str, object] = {
        "minutes": life.minutes,
        "why": "; ".join(reasons),
        "temperature_factor": life.temperature_factor,
        "mass_factor": life.mass_factor,
        "method_factor": life.method_factor,
    }
    return found, [
        f"About {life.minutes:.0f} minutes from the first contact.",
        *(f"- {reason}" for reason in reasons),
        "If the cup grows warm, use it or spread it out at once.",
        CAUTION,
    ]


# Why a pot life is not simply the label's.
DOUBT_WORDS = {
    Doubt.WATER_BATH_LABEL: "the label was tested in a water bath, a cup in air is shorter",
    Doubt.METHOD_UNKNOWN: "how the label was tested is not known, so it is cut short",
    Doubt.SLOW_PRODUCT: "a slow product surprises in a large cup, so a quarter is taken off",
    Doubt.COLDER_THAN_THE_RULE: "below 10 °C no more time is counted than at 10 °C",
    Doubt.SMALL_BATCH_NO_CREDIT: "a smaller batch than the label's gets no extra time",
}


def reasons_of(life: PotLife) -> list[str]:
    return [
        f"temperature: times {life.temperature_factor:.2f}",
        f"mass: times {life.mass_factor:.2f}",
        *(DOUBT_WORDS[doubt] for doubt in life.doubts),
    ]


def dewpoint_answer(given: Settings) -> Answer:
    air = {
        "air_c": given.number("air_c", "the dew point"),
        "humidity_percent": given.number("rh_percent", "the dew point"),
    }
    dew_c = dew_point_c(**air)
    found: dict[str, object] = {"dew_point_c": dew_c}
    sentences = [f"Dew point {dew_c:.1f} °C."]
    if given.has("surface_c"):
        margin_k = dew_margin_k(**air, surface_c=given.number("surface_c", "the margin"))
        verdict = dew_verdict(margin_k)
        found |= {"margin_c": margin_k, "verdict": verdict.value}
        sentences.append(f"The surface is {margin_k:+.1f} °C from it: {verdict.value}.")
    return found, sentences


def coverage_answer(given: Settings) -> Answer:
    film_um = length_given(given, "dft_um", "dft_mil")
    solids_percent = given.number("solids_volume_percent", "the amount")
    liters = liters_given(given)
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
    return found, [
        f"{liters:.2f} liters of mix for one coat ({found['us_gallons']:.2f} US gallons).",
        f"Wet film {found['wet_film_um']:.0f} µm.",
    ]


def liters_given(given: Settings) -> float:
    area = given.exact_or_none("area_ft2")
    area_m2 = given.exact("area_m2", "the amount") if area is None else Fraction()
    if area is not None:
        area_m2 = canonical(Amount(area, "ft2"), Kind.AREA)
    return liters_needed(
        area_m2=float(area_m2),
        dft_um=length_given(given, "dft_um", "dft_mil"),
        volume_solids_percent=given.number("solids_volume_percent", "the amount"),
        loss_percent=given.number("loss_percent", "the amount; 0 for none"),
        profile=given.choice_or("profile", Profile.SMOOTH),
    )


def length_given(given: Settings, key_um: str, key_mil: str) -> float:
    mils = given.exact_or_none(key_mil)
    if mils is None:
        return given.number(key_um, "the amount")
    return float(canonical(Amount(mils, "mil"), Kind.LENGTH))


def film_answer(given: Settings) -> Answer:
    card = load_card(given.text("card", "the film"))
    history = load_surface_history(given.text("history", "the film: hours,surface_c as CSV"))
    table = card.cure
    if table is None:
        raise Missing("cure", "the film's windows; the card has no such section")
    now_hours = given.number_or("now_h", history[-1].hours)
    slow = 1.0
    tacky_hours = given.exact_or_none("still_tacky_h")
    if tacky_hours is not None:
        slow = slow_share_seen(
            table, Stage.TACK_FREE, history=history, not_yet_hours=float(tacky_hours)
        )
    times: dict[str, StageTime] = {}
    if Stage.TACK_FREE in table.hours:
        tape = tape_times(table, history=history)
        times |= {
            "tape_ask_h": tape.ask,
            "tape_insist_h": tape.insist,
            "tape_last_call_h": tape.last_call,
        }
    for stage in table.hours:
        is_close = stage is Stage.RECOAT_CLOSES
        times[f"{stage.value}_h"] = stage_time(
            table,
            stage,
            history=history,
            side=Side.EARLY if is_close else Side.LATE,
            share=1.0 if is_close else slow,
        )
    found: dict[str, object] = {key: time.hours for key, time in times.items()}
    found["forecast"] = [key for key, time in times.items() if time.is_forecast]
    sentences = [
        f"{key.removesuffix('_h').replace('_', ' ')}: "
        + ("not at this temperature" if time.hours is None else f"{time.hours:.1f} h")
        + (" (forecast)" if time.is_forecast and time.hours is not None else "")
        for key, time in times.items()
    ]
    if Stage.RECOAT_OPENS in table.hours and Stage.RECOAT_CLOSES in table.hours:
        state = recoat(table, history=history, now_hours=now_hours, slow_share=slow)
        found["recoat_now"] = state.value
        sentences.append(f"next coat at {now_hours:g} h: {RECOAT_WORDS[state.value]}")
    return found, [*sentences, CAUTION]


RECOAT_WORDS = {
    "too early": "too early",
    "open": "open, it bonds chemically",
    "closed": "closed, it bonds mechanically only: sand first",
}


TOPICS = {
    "mix": Topic(
        mix_answer,
        (*RATIO_KEYS, "resin_g", "hardener_g", "total_g", "step_g", "cup_g", *AREA_KEYS),
    ),
    "overpour": Topic(
        overpour_answer,
        (*RATIO_KEYS, "resin_g", "hardener_g", "cup_g", "stood_min", "potlife_min"),
    ),
    "potlife": Topic(
        potlife_answer,
        ("label_min", "label_g", "label_c", "grams", "cup_c", "method", "depth_mm"),
    ),
    "dewpoint": Topic(dewpoint_answer, ("air_c", "rh_percent", "surface_c")),
    "coverage": Topic(coverage_answer, AREA_KEYS),
    "film": Topic(film_answer, ("card", "history", "now_h", "still_tacky_h")),
}


def described(card: ProductCard) -> Answer:
    ratio = f"{shown(card.ratio.resin_parts)}:{shown(card.ratio.hardener_parts)}"
    lacking = missing_for(card)
    found: dict[str, object] = {
        "name": card.name,
        "invented": card.invented,
        "ratio": ratio,
        "by": card.ratio.basis.value,
        "tolerance_percent": [float(limit * 100) for limit in limits_of(card.tolerance)],
        "pot_life_minutes": None if card.pot_life is None else card.pot_life.minutes,
        "origins": {key: origin.value for key, origin in card.origins.items()},
        "missing": {feature.value: list(keys) for feature, keys in lacking.items()},
    }
    sentences = [
        f"{card.name}: {ratio} by {card.ratio.basis.value}."
        + (" This product is invented and does not exist." if card.invented else ""),
        "Ratio error: up to {:g} % is good, {:g} % tolerated, over {:g} % stop.".format(
            *(float(limit * 100) for limit in limits_of(card.tolerance))
        ),
    ]
    if card.pot_life is not None:
        sentences.append(
            f"Pot life {card.pot_life.minutes:g} minutes for {card.pot_life.test_g:g} g at "
            f"{card.pot_life.test_c:g} °C, tested: {card.pot_life.method.value}."
        )
    if card.film is not None:
        sentences.append(
            f"Film {card.film.least_dft_um:g} to {card.film.largest_dft_um:g} µm dry a coat, "
            f"{card.film.coats} coats, {card.film.volume_solids_percent:g} % solids by volume."
        )
    if card.limits is not None:
        sentences.append(
            f"Air {card.limits.least_air_c:g} to {card.limits.largest_air_c:g} °C, surface "
            f"{card.limits.least_surface_c:g} to {card.limits.largest_surface_c:g} °C, humidity "
            f"up to {card.limits.largest_humidity_percent:g} %, surface at least "
            f"{card.limits.dew_margin_k:g} °C above the dew point."
        )
    if card.cure is not None:
        rows = ", ".join(stage.value.replace("_", " ") for stage in card.cure.hours)
        sentences.append(
            f"Cure table from {card.cure.surface_c[0]:g} to {card.cure.surface_c[-1]:g} °C: {rows}."
        )
    sentences += [
        f"From the {ORIGIN_WORDS[origin]}: {', '.join(keys)}."
        for origin in Origin
        if (keys := [key for key, where in card.origins.items() if where is origin])
    ]
    sentences += [
        f"Missing for {feature.value}: {', '.join(keys)}." for feature, keys in lacking.items()
    ]
    if not lacking:
        sentences.append("Nothing is missing.")
    return found, [*sentences, CAUTION]


ORIGIN_WORDS = {
    Origin.LABEL: "label",
    Origin.DATA_SHEET: "data sheet",
    Origin.GUESS: "card's writer, who guessed",
}


def limits_of(tolerance: Tolerance) -> Sequence[Fraction]:
    return tolerance.good, tolerance.tolerated, tolerance.limit


def shown(number: Fraction) -> str:
    return f"{float(number):.10g}"
