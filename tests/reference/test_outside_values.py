"""Every row of outside_values.csv: a value from outside this project against ours.

The file's columns: the calculation, its inputs as key=value;..., the kind of check (equals,
at_most, at_least), the expected value, the tolerance, and the source. A tolerance is what the
source's own rounding allows, or 0 for a value that is exact.
"""

import csv
from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path

import psychrolib
import pytest

from handsfree.core.coverage import (
    Profile,
    coats_needed,
    dry_film_um,
    liters_needed,
    spreading_rate_m2_per_l,
    thinned_solids_percent,
    wet_film_um,
)
from handsfree.core.cure import CureTable, Side, Stage, SurfaceReading, progress, stage_hours
from handsfree.core.dewpoint import dew_margin_k, dew_point_c
from handsfree.core.exotherm import BASE, Exotherm, course, exotherm
from handsfree.core.mix import (
    Basis,
    Component,
    correction,
    hardener_error,
    hardener_for_resin_g,
    least_resin_g,
    mixed_density_g_per_ml,
    parse_ratio,
    running_total_g,
    weight_ratio,
)
from handsfree.core.potlife import LabelPotLife, Method, pot_life
from handsfree.core.units import UNITS, Amount, converted

Inputs = Mapping[str, str]

TABLE = (Path(__file__).parent / "outside_values.csv").read_text(encoding="utf-8")
ROWS = list(csv.DictReader(TABLE.splitlines()))


def inputs_of(row: Mapping[str, str]) -> dict[str, str]:
    pairs = (pair.partition("=") for pair in row["inputs"].split(";"))
    return {key: value for key, _, value in pairs}


def ratio_of(given: Inputs) -> Fraction:
    densities = [
        Fraction(given[key]) if key in given else None
        for key in ("resin_density", "hardener_density")
    ]
    return weight_ratio(parse_ratio(given["ratio"], Basis(given["by"])), *densities)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32.0


def added_g(given: Inputs, component: Component) -> Fraction:
    found = correction(
        resin_g=Fraction(given["resin_g"]),
        hardener_g=Fraction(given["hardener_g"]),
        weight_ratio=ratio_of(given),
    )
    assert found.component is component
    return found.add_g


def dew_point_f_from_wet_bulb(given: Inputs) -> float:
    dry_c, wet_c = celsius(float(given["dry_f"])), celsius(float(given["wet_f"]))
    psychrolib.SetUnitSystem(psychrolib.SI)
    humidity = psychrolib.GetRelHumFromTWetBulb(dry_c, wet_c, 101325.0)
    return fahrenheit(dew_point_c(air_c=dry_c, humidity_percent=100.0 * humidity))


def film(given: Inputs) -> float:
    return spreading_rate_m2_per_l(
        dft_um=float(given["dft_um"]),
        volume_solids_percent=float(given["solids"]),
        loss_percent=float(given["loss"]),
    )


def square_feet_per_gallon(given: Inputs) -> Fraction:
    metric = spreading_rate_m2_per_l(
        dft_um=float(converted(Amount(Fraction(given["dft_mil"]), "mil"), "um")),
        volume_solids_percent=float(given["solids"]),
    )
    return converted(Amount(Fraction(metric), "m2/l"), "ft2/US gal")


def table_of(given: Inputs) -> CureTable:
    return CureTable(
        surface_c=tuple(float(c) for c in given["temps"].split()),
        hours={Stage.USE: tuple(float(hour) for hour in given["hours"].split())},
        least_c=-10.0,
    )


def age_h(given: Inputs, steps: list[tuple[float, float]]) -> float:
    """Hours at the reference temperature, over steps of hours and a temperature."""
    history: list[SurfaceReading] = []
    now = 0.0
    for hours, surface_c in steps:
        # A thousandth of an hour of change, so that both sides see the same steps.
        history.append(SurfaceReading(now, surface_c))
        history.append(SurfaceReading(now + hours - 0.001, surface_c))
        now += hours
    done = progress(
        table_of(given), Stage.USE, history=history, now_hours=now, side=Side(given["side"])
    )
    return done * float(given["reference"])


def steps_of(given: Inputs) -> list[tuple[float, float]]:
    numbers = [float(number) for number in given["steps"].split()]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def heat_of(given: Inputs) -> Exotherm:
    return exotherm(
        LabelPotLife(float(given["label_min"]), 100.0, 25.0, Method.CUP_IN_AIR),
        batch_g=float(given["batch_g"]),
        mix_c=float(given["mix_c"]),
        air_c=float(given["air_c"]),
    )


def no_loss_rise_k() -> float:
    """The base case's rise without heat loss, carried on from 97 % to full conversion."""
    return (
        course(BASE, speed_per_minute=0.02, loss_per_minute=0.0, mix_c=25.0, air_c=25.0).peak_c
        - 25.0
    ) / 0.97


def air_of(given: Inputs) -> dict[str, float]:
    return {
        "air_c": float(given["air_c"]),
        "humidity_percent": float(given["rh_percent"]),
    }


CALCULATIONS: dict[str, Callable[[Inputs], float | Fraction]] = {
    "unit": lambda given: converted(Amount(Fraction(given["number"]), given["from"]), given["to"]),
    "hardener_g": lambda given: hardener_for_resin_g(
        resin_g=Fraction(given["resin_g"]), weight_ratio=ratio_of(given)
    ),
    "ratio_error_percent": lambda given: (
        100
        * hardener_error(
            resin_g=Fraction(given["resin_g"]),
            hardener_g=Fraction(given["hardener_g"]),
            weight_ratio=ratio_of(given),
        )
    ),
    "add_resin_g": lambda given: added_g(given, Component.RESIN),
    "add_hardener_g": lambda given: added_g(given, Component.HARDENER),
    "running_total_g": lambda given: running_total_g(
        resin_g=Fraction(given["resin_g"]), weight_ratio=ratio_of(given), cup_g=Fraction()
    ),
    "least_resin_g": lambda given: least_resin_g(
        weight_ratio=ratio_of(given),
        step_g=Fraction(given["step_g"]),
        tolerance=Fraction(given["tolerance"]),
    ),
    "mixed_density": lambda given: mixed_density_g_per_ml(
        weight_ratio=ratio_of(given),
        resin_g_per_ml=Fraction(given["resin_density"]),
        hardener_g_per_ml=Fraction(given["hardener_density"]),
    ),
    "dew_point_c": lambda given: dew_point_c(**air_of(given)),
    "dew_point_f": lambda given: fahrenheit(
        dew_point_c(
            air_c=celsius(float(given["air_f"])), humidity_percent=float(given["rh_percent"])
        )
    ),
    "dew_point_f_wet_bulb": dew_point_f_from_wet_bulb,
    "dew_margin_c": lambda given: dew_margin_k(
        **air_of(given), surface_c=float(given["surface_c"])
    ),
    "least_surface_c": lambda given: dew_point_c(**air_of(given)) + 3.0,
    "spreading_m2_per_l": film,
    "spreading_ft2_per_gal": square_feet_per_gallon,
    "practical_from_theoretical": lambda given: (
        float(given["theoretical"])
        * spreading_rate_m2_per_l(
            dft_um=10.0, volume_solids_percent=1.0, loss_percent=float(given["loss"])
        )
    ),
    "thinned_solids_percent": lambda given: thinned_solids_percent(
        float(given["solids"]), float(given["thinner"])
    ),
    "wet_film_um": lambda given: wet_film_um(
        dft_um=float(given["dft_um"]),
        volume_solids_percent=float(given["solids"]),
        thinner_percent=float(given["thinner"]),
    ),
    "dry_film_um": lambda given: dry_film_um(
        wft_um=float(given["wft_um"]),
        volume_solids_percent=float(given["solids"]),
        thinner_percent=float(given["thinner"]),
    ),
    "liters": lambda given: liters_needed(
        area_m2=float(given["area_m2"]),
        dft_um=float(given["dft_um"]),
        volume_solids_percent=float(given["solids"]),
        loss_percent=float(given["loss"]),
        profile=Profile[given["profile"]],
    ),
    "coats": lambda given: coats_needed(
        total_dft_um=float(given["total_um"]), largest_dft_um=float(given["largest_um"])
    ),
    "pot_life_min": lambda given: (
        pot_life(
            LabelPotLife(
                float(given["label_min"]),
                float(given["label_g"]),
                float(given["label_c"]),
                Method.CUP_IN_AIR,
            ),
            batch_g=float(given["batch_g"]),
            mix_c=float(given["mix_c"]),
        ).minutes
    ),
    "cure_hours": lambda given: stage_hours(
        table_of(given),
        Stage.USE,
        surface_c=float(given["surface_c"]),
        side=Side(given["side"]),
    ),
    "equivalent_age_h": lambda given: age_h(
        given, [(float(given["elapsed"]), float(given["at_c"]))]
    ),
    "steps_age_h": lambda given: age_h(given, steps_of(given)),
    "adiabatic_rise_k": lambda _: no_loss_rise_k(),
    "largest_peak_c": lambda given: heat_of(given).largest_peak_c,
    "least_peak_c": lambda given: heat_of(given).least_peak_c,
    "soonest_peak_min": lambda given: heat_of(given).soonest_minutes,
}


def test_there_are_enough_rows_and_each_names_its_source() -> None:
    assert len(ROWS) >= 150
    assert all(len(row["source"]) > 10 for row in ROWS)
    assert set(CALCULATIONS) == {row["calculation"] for row in ROWS}


def test_every_unit_is_checked_against_a_published_factor() -> None:
    rows = [inputs_of(row) for row in ROWS if row["calculation"] == "unit"]
    assert {row[end] for row in rows for end in ("from", "to")} == set(UNITS)


@pytest.mark.parametrize(
    "row", ROWS, ids=[f"{n}-{row['calculation']}" for n, row in enumerate(ROWS, start=2)]
)
def test_outside_value(row: Mapping[str, str]) -> None:
    ours = Fraction(CALCULATIONS[row["calculation"]](inputs_of(row)))
    expected, tolerance = Fraction(row["expected"]), Fraction(row["tolerance"])
    match row["check"]:
        case "equals":
            assert abs(ours - expected) <= tolerance, float(ours)
        case "at_most":
            assert ours <= expected + tolerance, float(ours)
        case "at_least":
            assert ours >= expected - tolerance, float(ours)
        case other:
            pytest.fail(f"unknown check {other}")
