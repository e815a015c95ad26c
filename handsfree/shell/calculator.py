"""The commands that calculate from the keyboard: calc and card; plan is registered with them."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass

from handsfree.core.dewpoint import dew_margin_k, dew_point_c, dew_verdict
from handsfree.shell.amount_answers import (
    AREA_KEYS,
    RATIO_KEYS,
    coverage_answer,
    mix_answer,
    overpour_answer,
)
from handsfree.shell.card_answer import described
from handsfree.shell.cards import load_card
from handsfree.shell.planner import add_plan_command
from handsfree.shell.settings import Answer, Settings, print_answer, settings_from
from handsfree.shell.time_answers import film_answer, potlife_answer


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
    calc.set_defaults(run=_run_calc)
    card = subparsers.add_parser("card", help="check a product card and say what it contains")
    card.add_argument("file", help="a TOML file, or the name of a card that comes along")
    card.add_argument("--json", action="store_true", help="print one JSON object")
    card.set_defaults(run=_run_card)
    add_plan_command(subparsers)


def _run_calc(args: argparse.Namespace) -> int:
    """Runs calc; returns 0, or 2 after one sentence on standard error."""
    topic = TOPICS[args.topic]
    return print_answer(
        lambda: topic.answer(settings_from(args.settings, topic.keys)), as_json=args.json
    )


def _run_card(args: argparse.Namespace) -> int:
    """Runs card; returns 0, or 2 after one sentence on standard error."""
    return print_answer(lambda: described(load_card(args.file)), as_json=args.json)


def _dewpoint_answer(given: Settings) -> Answer:
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


TOPICS = {
    "mix": Topic(
        mix_answer,
        (
            *RATIO_KEYS,
            "resin_g",
            "hardener_g",
            "total_g",
            "step_g",
            "cup_g",
            "addition_percent",
            *AREA_KEYS,
        ),
    ),
    "overpour": Topic(
        overpour_answer,
        (*RATIO_KEYS, "resin_g", "hardener_g", "cup_g", "stood_min", "potlife_min"),
    ),
    "potlife": Topic(
        potlife_answer,
        (
            *("label_min", "label_g", "label_c", "grams", "cup_c", "method", "depth_mm"),
            *("now_min", "history", "cup_now_c"),
        ),
    ),
    "dewpoint": Topic(_dewpoint_answer, ("air_c", "rh_percent", "surface_c")),
    "coverage": Topic(coverage_answer, (*AREA_KEYS, "comb_wet_um", "comb_dry_um")),
    "film": Topic(film_answer, ("card", "history", "now_h", "still_tacky_h")),
}
