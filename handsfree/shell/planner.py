"""The command plan: a whole job as text, as JSON, and as a picture."""

import argparse
from dataclasses import dataclass
from pathlib import Path

from handsfree.core.card import ProductCard
from handsfree.core.conditions import Conditions, Fault
from handsfree.core.coverage import Profile, coats_needed
from handsfree.core.dewpoint import DEW_MARGIN_K
from handsfree.core.errors import Missing, NotAllowed
from handsfree.core.plan import Caution, CoatTimes, Job, Plan, plan
from handsfree.shell.cards import load_card
from handsfree.shell.clock_words import clock
from handsfree.shell.readings import load_conditions
from handsfree.shell.settings import CAUTION, Answer, Settings, print_answer, settings_from

KEYS = (
    "card",
    "area_m2",
    "coats",
    "dft_um",
    "total_dft_um",
    "air_c",
    "rh_percent",
    "surface_c",
    "forecast",
    "scale_step_g",
    "mix_c",
    "m2_per_hour",
    "loss_percent",
    "stuck_g",
    "cup_g",
    "profile",
    "resin_stock_g",
    "hardener_stock_g",
    "start",
)
# Assumed, and said, when they are not given. Brush and roller lose 10 to 15 % and keep 30 to 60 g
# in pot and roller (common practice, no published source); the pace is Judgement.
LOSS_PERCENT, STUCK_G, SPREAD_M2_PER_HOUR = 15.0, 40.0, 6.0

CAUTION_WORDS = {
    Caution.CONDITIONS_NOW: "Do not start yet: a limit is not kept now.",
    Caution.CONDITIONS_LATER: "The conditions leave their limits later; protect the coat or wait.",
    Caution.FORECAST_ENDS_EARLY: "The readings end before the last coat does; measure again "
    "before each coat, about every four hours.",
    Caution.STOCK_SHORT: "There is not enough in the tins.",
    Caution.POT_LIFE_DOUBTFUL: "The pot life is cut short because the label leaves it in doubt.",
    Caution.CUP_MAY_SMOKE: "A cup left standing full may overheat and smoke: pour it out at once, "
    "and never leave it.",
    Caution.SCALE_COARSE: "The scale holds the tolerance but not the good band; a finer one is "
    "better.",
    Caution.SAND_BETWEEN_COATS: "The window may close before it surely opens: sand between coats.",
    Caution.MAY_BLUSH: "A coat that cures this cool or damp may blush: wash it with warm water and "
    "detergent, rinse and dry before the next.",
    Caution.TOO_COLD_TO_CURE: "At these temperatures a stage is never reached: too cold to count.",
    Caution.WINDOW_NOT_ON_CARD: "The card has no recoat window.",
    Caution.LIMITS_NOT_ON_CARD: "The card has no limits of air and surface; see the data sheet.",
}
FAULT_UNITS = {Fault.TOO_HUMID: "%"}
SAFETY = (
    "Gloves and eye protection, and air to breathe; no flame near solvent.",
    "Leftovers grow hot: spread them thin and let them cool before they are thrown away.",
    CAUTION,
)


@dataclass(frozen=True)
class Request:
    """A plan that was asked for: what it is made from, and what was assumed."""

    card: ProductCard
    job: Job
    readings: tuple[Conditions, ...]
    start_minutes: int | None  # Of the day; None when times are told from the start.
    assumed: tuple[str, ...]


def add_plan_command(
    subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Registers plan; it sets run, which returns the exit code."""
    command = subparsers.add_parser(
        "plan", help="cups, amounts, times and stock of a whole job", epilog=", ".join(KEYS)
    )
    command.add_argument("settings", nargs="*", metavar="key=value", help="what is to be done")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.add_argument("--picture", type=Path, metavar="FILE.png", help="also draw the times")
    command.set_defaults(run=_run_plan)


def _run_plan(args: argparse.Namespace) -> int:
    """Runs plan; returns 0, or 2 after one sentence on standard error."""

    def answer() -> Answer:
        request = _requested(settings_from(args.settings, KEYS))
        made = plan(request.card, request.job, request.readings)
        if args.picture is not None:
            _draw(request, made, args.picture)
        return _found_in(request, made), _told(request, made)

    return print_answer(answer, as_json=args.json)


def _draw(request: Request, made: Plan, path: Path) -> None:
    # Imported here, since matplotlib takes most of a second to load.
    from handsfree.shell.plan_picture import draw_plan

    if path.suffix.lower() != ".png":
        raise NotAllowed("--picture", str(path), "a file name that ends in .png")
    try:
        draw_plan(
            made,
            request.readings,
            needed_margin_k=(
                DEW_MARGIN_K if request.card.limits is None else request.card.limits.dew_margin_k
            ),
            title=f"{request.card.name}, {request.job.area_m2:g} m², {request.job.coats} coats",
            start_minutes=request.start_minutes,
            path=path,
        )
    except OSError as error:
        raise NotAllowed("--picture", str(path), "a file that can be written") from error


def _requested(given: Settings) -> Request:
    card = load_card(given.text("card", "the plan"))
    if card.film is None:
        raise Missing("film", "the amount from an area; the card has no such section")
    if given.has("forecast"):
        readings = load_conditions(given.text("forecast", "the plan"))
    else:
        readings = (
            Conditions(
                hours=0.0,
                air_c=given.number("air_c", "the conditions"),
                humidity_percent=given.number("rh_percent", "the conditions"),
                surface_c=given.number("surface_c", "the conditions"),
            ),
        )
    defaults = {
        "coats": (float(card.film.coats), "the card's {:g} coats"),
        "dft_um": (
            (card.film.least_dft_um + card.film.largest_dft_um) / 2.0,
            "{:g} µm dry a coat, the middle of the card's range",
        ),
        "mix_c": (readings[0].air_c, "the parts at the air's {:g} °C"),
        "m2_per_hour": (SPREAD_M2_PER_HOUR, "a pace of {:g} m² an hour"),
        "loss_percent": (LOSS_PERCENT, "{:g} % lost in tools"),
        "stuck_g": (STUCK_G, "{:g} g a coat left in pot and roller"),
    }
    if given.has("total_dft_um"):
        total_um = given.number("total_dft_um", "the film")
        coats = coats_needed(total_dft_um=total_um, largest_dft_um=card.film.largest_dft_um)
        defaults["coats"] = (float(coats), "{:g} coats for the whole film")
        defaults["dft_um"] = (total_um / coats, "{:g} µm dry a coat for the whole film")
    values = {key: given.number_or(key, default) for key, (default, _) in defaults.items()}
    if values["coats"] != int(values["coats"]):
        raise NotAllowed("coats", f"{values['coats']:g}", "a whole number")
    job = Job(
        area_m2=given.number("area_m2", "the plan"),
        coats=int(values["coats"]),
        dft_um=values["dft_um"],
        mix_c=values["mix_c"],
        step_g=given.exact("scale_step_g", "the amounts: what your scale shows, such as 1 or 0.1"),
        spread_m2_per_hour=values["m2_per_hour"],
        loss_percent=values["loss_percent"],
        stuck_g=values["stuck_g"],
        cup_g=given.exact_or_none("cup_g"),
        profile=given.choice_or("profile", Profile.SMOOTH),
        resin_stock_g=given.exact_or_none("resin_stock_g"),
        hardener_stock_g=given.exact_or_none("hardener_stock_g"),
    )
    assumed = tuple(
        words.format(default) for key, (default, words) in defaults.items() if not given.has(key)
    )
    return Request(card, job, readings, _start_of(given), assumed)


def _start_of(given: Settings) -> int | None:
    if not given.has("start"):
        return None
    text = given.text("start", "the times of day")
    hours, colon, minutes = text.partition(":")
    is_time = colon and len(minutes) == 2 and hours.isdecimal() and minutes.isdecimal()
    if not (text.isascii() and is_time and int(hours) < 24 and int(minutes) < 60):
        raise NotAllowed("start", text, "a time of day such as 8:30")
    return int(hours) * 60 + int(minutes)


def _found_in(request: Request, made: Plan) -> dict[str, object]:
    """The plan as JSON; hours count from the start of the job."""
    cups = made.cups
    return {
        "product": request.card.name,
        "cups_per_coat": cups.count,
        "resin_g_per_cup": float(cups.resin_g),
        "hardener_g_per_cup": float(cups.hardener_g),
        "pot_life_min": cups.life.minutes,
        "spread_min_per_cup": cups.spread_minutes,
        "peak_c": [cups.heat.least_peak_c, cups.heat.largest_peak_c],
        "smoke": cups.heat.smoke.value,
        "coats": [
            {
                "coat": coat.number,
                "start_h": coat.start_hours,
                "end_h": coat.end_hours,
                "tape_ask_h": coat.tape_ask_hours,
                "tape_insist_h": coat.tape_insist_hours,
                "tape_last_call_h": coat.tape_last_call_hours,
                "recoat_opens_h": coat.recoat_opens_hours,
                "recoat_closes_h": coat.recoat_closes_hours,
            }
            for coat in made.coats
        ],
        "ready_h": {stage.value: hours for stage, hours in made.ready_hours.items()},
        "resin_g": float(made.resin_g),
        "hardener_g": float(made.hardener_g),
        "resin_left_g": None if made.resin_left_g is None else float(made.resin_left_g),
        "hardener_left_g": None if made.hardener_left_g is None else float(made.hardener_left_g),
        "least_dew_margin_c": made.outlook.least_margin_k,
        "dew_margin_falls": made.outlook.is_margin_falling,
        "first_breach_h": made.outlook.first_breach_hours,
        "breaches_now": [breach.fault.value for breach in made.breaches],
        "cautions": [caution.value for caution in made.cautions],
        "assumed": list(request.assumed),
    }


def _told(request: Request, made: Plan) -> list[str]:
    """The plan in sentences."""
    cups, start = made.cups, request.start_minutes
    cup_word = "cup" if cups.count == 1 else "cups"
    lines = [
        f"{request.card.name} on {request.job.area_m2:g} m², {request.job.coats} coats, "
        f"{request.job.dft_um:g} µm dry each."
        + (" The product is invented." if request.card.invented else ""),
        f"Each coat: {cups.count} {cup_word} of {float(cups.resin_g):g} g resin and "
        f"{float(cups.hardener_g):g} g hardener.",
        f"Pot life of a cup about {cups.life.minutes:.0f} min; spreading takes "
        f"{cups.spread_minutes:.0f} min of it.",
        f"In all: {float(made.resin_g):g} g resin, {float(made.hardener_g):g} g hardener.",
    ]
    for name, left_g in (("resin", made.resin_left_g), ("hardener", made.hardener_left_g)):
        if left_g is not None:
            state = "left" if left_g >= 0 else "short"
            lines.append(f"In the tins: {abs(float(left_g)):g} g {name} {state}.")
    lines += [line for coat in made.coats for line in _coat_lines(coat, start)]
    lines += [
        f"Ready to call {stage.value.replace('_', ' ')}: {clock(hours, start)}."
        for stage, hours in made.ready_hours.items()
    ]
    lines += [
        f"Limit not kept: {breach.fault.value}, {breach.reading:.1f} against {breach.limit:g} "
        f"{FAULT_UNITS.get(breach.fault, '°C')}."
        for breach in made.breaches or made.outlook.breaches
    ]
    lines.append(
        f"Least dew margin {made.outlook.least_margin_k:.1f} °C at "
        f"{clock(made.outlook.least_margin_hours, start)}"
        + (", and falling." if made.outlook.is_margin_falling else ".")
    )
    lines += [CAUTION_WORDS[caution] for caution in made.cautions]
    if request.assumed:
        lines.append(f"Assumed, since you did not say: {'; '.join(request.assumed)}.")
    return [*lines, *SAFETY]


def _coat_lines(coat: CoatTimes, start_minutes: int | None) -> list[str]:
    lines = [
        f"Coat {coat.number}: {clock(coat.start_hours, start_minutes)} to "
        f"{clock(coat.end_hours, start_minutes)}."
    ]
    if coat.tape_last_call_hours is not None:
        lines.append(
            f"  Tape off from {clock(coat.tape_ask_hours, start_minutes)}, at the latest "
            f"{clock(coat.tape_last_call_hours, start_minutes)}."
        )
    if coat.recoat_opens_hours is not None and coat.recoat_closes_hours is not None:
        lines.append(
            f"  Next coat from {clock(coat.recoat_opens_hours, start_minutes)} to "
            f"{clock(coat.recoat_closes_hours, start_minutes)}; after that sand first."
        )
    return lines
