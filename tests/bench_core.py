"""Prints how long the core's answers take. Run: python tests/bench_core.py

Targets: any single answer under 1 ms; a 48 h history in steps of one minute under 20 ms.
"""

import gc
import statistics
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import handsfree
from handsfree.core.card import read_card
from handsfree.core.conditions import Conditions, outlook
from handsfree.core.coverage import liters_needed
from handsfree.core.cure import Side, Stage, SurfaceReading, progress, stage_time, tape_times
from handsfree.core.dewpoint import dew_point_c
from handsfree.core.exotherm import exotherm, label_speed
from handsfree.core.mix import (
    Basis,
    correction,
    hardener_for_resin_g,
    parse_ratio,
    rounded_parts_g,
)
from handsfree.core.plan import Job, plan
from handsfree.core.potlife import MixReading, pot_life, share_used
from handsfree.core.units import Amount, converted

TEXT = (Path(handsfree.__file__).parent / "cards" / "gate-coat.toml").read_text(encoding="utf-8")
CARD = read_card(TEXT)
assert CARD.pot_life is not None
assert CARD.cure is not None
LABEL, CURE = CARD.pot_life, CARD.cure

# A day that swings between 12 and 28 °C, every minute different from the last.
SURFACE = [
    SurfaceReading(minute / 60.0, 20.0 + 8.0 * ((minute * 37) % 1441 / 720.5 - 1.0))
    for minute in range(48 * 60)
]
AIR = [
    MixReading(minute / 2.0, 20.0 + 8.0 * ((minute * 37) % 1441 / 720.5 - 1.0))
    for minute in range(2880)
]
WEEK = [Conditions(hour, 20.0, 60.0, 18.0 + hour % 7) for hour in range(168)]
JOB = Job(
    area_m2=6.0,
    coats=2,
    dft_um=200.0,
    mix_c=20.0,
    step_g=Fraction(1),
    spread_m2_per_hour=6.0,
    loss_percent=15.0,
)
SEVEN = Fraction(7)


def first_exotherm() -> object:
    label_speed.cache_clear()
    return exotherm(LABEL, batch_g=800, mix_c=22, air_c=22)


SINGLE: dict[str, Callable[[], object]] = {
    "hardener for resin": lambda: hardener_for_resin_g(resin_g=Fraction(1191), weight_ratio=SEVEN),
    "ratio from text": lambda: parse_ratio("100:44", Basis.WEIGHT),
    "correction": lambda: correction(
        resin_g=Fraction(1000), hardener_g=Fraction(154), weight_ratio=SEVEN
    ),
    "rounded parts": lambda: rounded_parts_g([Fraction(8925, 10), Fraction(1275, 10)], Fraction(1)),
    "unit conversion": lambda: converted(Amount(Fraction(3), "lb"), "g"),
    "pot life": lambda: pot_life(LABEL, batch_g=1191, mix_c=20),
    "exotherm": lambda: exotherm(LABEL, batch_g=800, mix_c=22, air_c=22),
    "exotherm, first for a label": first_exotherm,
    "dew point": lambda: dew_point_c(air_c=20, humidity_percent=60),
    "liters": lambda: liters_needed(area_m2=6, dft_um=200, volume_solids_percent=100),
    "plan": lambda: plan(CARD, JOB, WEEK[:2]),
    "card from text": lambda: read_card(TEXT),
}
HISTORIES: dict[str, Callable[[], object]] = {
    "recoat opens": lambda: stage_time(CURE, Stage.RECOAT_OPENS, history=SURFACE, side=Side.LATE),
    "full cure so far": lambda: progress(
        CURE, Stage.FULL_CURE, history=SURFACE, now_hours=48, side=Side.LATE
    ),
    "tape": lambda: tape_times(CURE, history=SURFACE),
    "pot life used, 24 h": lambda: share_used(LABEL, batch_g=800, history=AIR, now_minutes=1440),
    "outlook over a week, hourly": lambda: outlook(CARD.limits, WEEK),
}


def milliseconds(answer: Callable[[], object], runs: int) -> tuple[float, float]:
    """Median and largest of single runs."""
    answer()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        answer()
        times.append((time.perf_counter() - start) * 1000.0)
    return statistics.median(times), max(times)


def main() -> None:
    gc.disable()
    for title, answers, runs in (
        ("one answer", SINGLE, 300),
        ("48 h of one-minute readings", HISTORIES, 20),
    ):
        print(f"{title:32}  median ms  largest ms")
        for name, answer in answers.items():
            median, largest = milliseconds(answer, runs)
            print(f"  {name:30}  {median:9.4f}  {largest:10.4f}")


if __name__ == "__main__":
    main()
