"""Random and hostile arguments: an answer is finite and in its range, or it is a named refusal."""

import math
import random
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

import handsfree
from handsfree.core.card import read_card
from handsfree.core.conditions import Conditions, breaches, outlook
from handsfree.core.coverage import (
    coats_needed,
    dry_film_um,
    liters_needed,
    spreading_rate_m2_per_l,
    wet_film_um,
)
from handsfree.core.cure import (
    Side,
    Stage,
    SurfaceReading,
    progress,
    recoat,
    slow_share_seen,
    stage_hours,
    stage_time,
    tape_times,
)
from handsfree.core.dewpoint import dew_margin_k, dew_point_c, dew_verdict
from handsfree.core.errors import CardInvalid, OutOfRange, Refusal
from handsfree.core.exotherm import exotherm
from handsfree.core.mix import (
    Basis,
    MixRatio,
    correction,
    hardener_error,
    hardener_for_resin_g,
    mixed_density_g_per_ml,
    parse_ratio,
    resin_for_hardener_g,
    rounded_to_step,
    split_total_g,
    weight_ratio,
)
from handsfree.core.plan import Job, plan
from handsfree.core.potlife import (
    LabelPotLife,
    Method,
    MixReading,
    pot_life,
    share_gone_at_rise,
    share_used,
)
from handsfree.core.units import UNITS, Amount, converted

CARDS = Path(handsfree.__file__).parent / "cards"
GATE_TEXT = (CARDS / "gate-coat.toml").read_text(encoding="utf-8")
GATE = read_card(GATE_TEXT)
assert GATE.cure is not None
CURE = GATE.cure

HOSTILE = (
    math.nan,
    math.inf,
    -math.inf,
    0.0,
    -0.0,
    -1.0,
    5e-324,
    -5e-324,
    1e-9,
    1e9,
    1e308,
    -1e308,
)
SPANS = ((0.0, 1.0), (-50.0, 60.0), (0.0, 100.0), (0.0, 6000.0), (0.0, 12_000.0))


def number(dice: random.Random) -> float:
    if dice.random() < 0.04:
        return dice.choice(HOSTILE)
    low, high = dice.choice(SPANS)
    return round(dice.uniform(low, high), dice.choice((0, 1, 3, 15)))


def within(dice: random.Random, low: float, high: float) -> float:
    """Mostly inside a domain, so that the arithmetic behind the checks is reached."""
    return number(dice) if dice.random() < 0.1 else dice.uniform(low, high)


def exact(dice: random.Random, low: float = 0.01, high: float = 20_000.0) -> Fraction:
    value = within(dice, low, high)
    return Fraction(value) if math.isfinite(value) else Fraction(10) ** 400


def ratio(dice: random.Random) -> Fraction:
    return exact(dice, 0.05, 20.0)


def label(dice: random.Random) -> LabelPotLife:
    return LabelPotLife(
        within(dice, 2, 240), within(dice, 10, 500), within(dice, 10, 40), dice.choice(list(Method))
    )


def surface_history(dice: random.Random) -> list[SurfaceReading]:
    hours = 0.0 if dice.random() < 0.97 else number(dice)
    history = []
    for _ in range(dice.randrange(1, 5)):
        history.append(SurfaceReading(hours, within(dice, -30, 60)))
        hours += within(dice, 0.1, 30)
    return history


def mix_history(dice: random.Random) -> list[MixReading]:
    return [MixReading(r.hours, within(dice, 0, 40)) for r in surface_history(dice)]


def conditions(dice: random.Random, hours: float) -> Conditions:
    return Conditions(hours, within(dice, -10, 45), within(dice, 5, 100), within(dice, -10, 60))


def job(dice: random.Random) -> Job:
    return Job(
        area_m2=within(dice, 1, 30),
        coats=dice.randrange(0, 5),
        dft_um=within(dice, 150, 300),
        mix_c=within(dice, 5, 35),
        step_g=exact(dice, 0.1, 1.0),
        spread_m2_per_hour=within(dice, 3, 60),
        loss_percent=within(dice, 0, 50),
        stuck_g=within(dice, 0, 60),
    )


def stage(dice: random.Random) -> Stage:
    return dice.choice(list(Stage))


def side(dice: random.Random) -> Side:
    return dice.choice(list(Side))


# Each takes dice and returns numbers that must be finite, and those that must not be negative.
Case = Callable[[random.Random], tuple[list[float | Fraction], list[float | Fraction]]]


def mixing(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    r, g = ratio(dice), exact(dice)
    match dice.randrange(6):
        case 0:
            return [], [
                hardener_for_resin_g(resin_g=g, weight_ratio=r),
                resin_for_hardener_g(hardener_g=g, weight_ratio=r),
            ]
        case 1:
            return [], list(split_total_g(total_g=g, weight_ratio=r))
        case 2:
            h = exact(dice)
            found = correction(
                resin_g=g,
                hardener_g=h,
                weight_ratio=r,
                cup_g=exact(dice) if dice.random() < 0.5 else None,
                stood_minutes=number(dice) if dice.random() < 0.5 else None,
                pot_life_minutes=number(dice),
            )
            return [hardener_error(resin_g=g, hardener_g=h, weight_ratio=r)], [
                found.add_g,
                found.total_g,
            ]
        case 3:
            volume = MixRatio(exact(dice, 1, 100), exact(dice, 1, 100), Basis.VOLUME)
            by_weight = weight_ratio(volume, exact(dice, 0.5, 4), exact(dice, 0.5, 4))
            return [], [by_weight]
        case 4:
            return [], [
                mixed_density_g_per_ml(
                    weight_ratio=r,
                    resin_g_per_ml=exact(dice, 0.5, 4),
                    hardener_g_per_ml=exact(dice, 0.5, 4),
                )
            ]
        case _:
            return [rounded_to_step(g - 100, exact(dice, 0.1, 5))], []


def letters(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    text = "".join(dice.choice("0123456789:. /%phrtoflw-e,") for _ in range(dice.randrange(12)))
    return [], [weight_ratio(parse_ratio(text, Basis.WEIGHT))]


def unit(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    here, there = dice.choice(list(UNITS)), dice.choice(list(UNITS))
    value = number(dice)
    return [converted(Amount(Decimal(value), here), there)], []


def pot(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    depth = within(dice, 0.1, 200) if dice.random() < 0.3 else None
    batch_g = within(dice, 0.1, 5000)
    product = label(dice)
    if dice.random() < 0.5:
        life = pot_life(product, batch_g=batch_g, mix_c=within(dice, 0, 40), fill_depth_mm=depth)
        return [], [life.minutes, life.mass_factor, life.temperature_factor]
    return [], [
        share_used(
            product,
            batch_g=batch_g,
            history=mix_history(dice),
            now_minutes=within(dice, 0, 300),
            fill_depth_mm=depth,
        ),
        share_gone_at_rise(mixed_c=within(dice, 0, 40), cup_c=within(dice, 0, 300)),
    ]


def film(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    history = surface_history(dice)
    match dice.randrange(5):
        case 0:
            hours = stage_hours(CURE, stage(dice), surface_c=within(dice, -30, 60), side=Side.EARLY)
            return [], [hours]
        case 1:
            now = within(dice, 0, 500)
            recoat(CURE, history=history, now_hours=now)
            return [], [
                progress(CURE, stage(dice), history=history, now_hours=now, side=side(dice))
            ]
        case 2:
            time_ = stage_time(
                CURE, stage(dice), history=history, side=side(dice), share=within(dice, 0.1, 3)
            )
            return [], [] if time_.hours is None else [time_.hours]
        case 3:
            tape = tape_times(CURE, history=history)
            hours_ = [call.hours for call in (tape.ask, tape.insist, tape.last_call)]
            assert hours_ == sorted(hours_, key=lambda h: math.inf if h is None else h)
            return [], [hour for hour in hours_ if hour is not None]
        case _:
            seen = slow_share_seen(
                CURE, Stage.TACK_FREE, history=history, not_yet_hours=within(dice, 0, 500)
            )
            return [], [seen]


def air(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    air_c, humidity = within(dice, -40, 50), within(dice, 1, 100)
    if dice.random() < 0.7:
        margin_k = dew_margin_k(
            air_c=air_c, humidity_percent=humidity, surface_c=within(dice, -40, 80)
        )
        dew_verdict(margin_k, needed_k=within(dice, 1, 20))
        return [dew_point_c(air_c=air_c, humidity_percent=humidity), margin_k], []
    readings = [conditions(dice, 0.0), conditions(dice, within(dice, 0.1, 30))]
    breaches(GATE.limits, readings[0], mix_c=within(dice, 0, 40))
    found = outlook(GATE.limits, readings)
    return [found.least_margin_k], [found.least_margin_hours]


def area(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    um, percent, loss = within(dice, 1, 5000), within(dice, 1, 100), within(dice, 0, 90)
    thinner = within(dice, 0, 100)
    return [], [
        spreading_rate_m2_per_l(dft_um=um, volume_solids_percent=percent, loss_percent=loss),
        liters_needed(area_m2=within(dice, 0.1, 1000), dft_um=um, volume_solids_percent=percent),
        wet_film_um(dft_um=um, volume_solids_percent=percent, thinner_percent=thinner),
        dry_film_um(wft_um=um, volume_solids_percent=percent, thinner_percent=thinner),
        coats_needed(total_dft_um=um, largest_dft_um=within(dice, 1, 500)),
    ]


def heat(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    found = exotherm(
        label(dice),
        batch_g=within(dice, 0.1, 5000),
        mix_c=within(dice, 0, 40),
        air_c=within(dice, 0, 40),
    )
    return [], [
        found.least_peak_c,
        found.largest_peak_c,
        found.soonest_minutes,
        found.latest_minutes,
    ]


def whole_job(dice: random.Random) -> tuple[list[float | Fraction], list[float | Fraction]]:
    readings = [conditions(dice, 0.0), conditions(dice, within(dice, 0.1, 30))]
    made = plan(GATE, job(dice), readings)
    return [], [
        made.resin_g,
        made.hardener_g,
        made.cups.life.minutes,
        made.cups.spread_minutes,
        *(coat.end_hours for coat in made.coats),
        *(hours for hours in made.ready_hours.values() if hours is not None),
    ]


# The last two cost a hundred times the others, so they are drawn less often.
CASES: tuple[Case, ...] = (mixing, letters, unit, pot, film, air, area)
COSTLY: tuple[Case, ...] = (heat, whole_job)
COSTLY_SHARE = 0.004


def fuzz(cases: int, seed: int) -> dict[str, int]:
    """Answers given, by function."""
    dice = random.Random(seed)
    answered: dict[str, int] = {}
    for _ in range(cases):
        case = dice.choice(COSTLY if dice.random() < COSTLY_SHARE else CASES)
        state = dice.getstate() if cases <= 10_000 else None
        refused: Refusal | None = None
        try:
            finite, not_negative = case(dice)
        except Refusal as refusal:
            refused = refusal
        if refused is not None:
            assert str(refused)
            if isinstance(refused, OutOfRange):
                assert refused.field
                assert refused.low <= refused.high
            continue
        for value in (*finite, *not_negative):
            # A fraction is always finite; it may be too large for a float.
            is_finite = isinstance(value, Fraction) or math.isfinite(value)
            assert is_finite, (case.__name__, value, state)
        for value in not_negative:
            assert value >= 0, (case.__name__, value, state)
        answered[case.__name__] = answered.get(case.__name__, 0) + 1
    return answered


ODD_NUMBERS = ("nan", "-inf", "1e999", "-5", "0", "true", "0x10", "1_0", "9" * 50, '"7"')


def mutated(text: str, dice: random.Random) -> str:
    for _ in range(dice.randrange(1, 4)):
        at = dice.randrange(len(text))
        match dice.randrange(6):
            case 0:
                text = text[:at] + text[at + dice.randrange(1, 9) :]
            case 1:
                text = (
                    text[:at] + chr(dice.choice((0, 9, 10, 34, 35, 61, 91, 93, 0x2028))) + text[at:]
                )
            case 2:
                numbers = (
                    "nan",
                    "-inf",
                    "1e999",
                    "-5",
                    "0",
                    "true",
                    "0x10",
                    "1_0",
                    "9" * 50,
                    '"7"',
                )
                text = text[:at] + dice.choice(numbers) + text[at + 2 :]
            case 3:
                end = at + dice.randrange(40)
                text = text[:end] + text[at:end] + text[end:]
            case 4:
                text = text[:at] + text[at:].replace("=", " = -", 1)
            case _:
                text = text[:at] + chr(dice.randrange(32, 0x3000)) + text[at + 1 :]
    return text


def fuzz_cards(cards: int, seed: int) -> int:
    """How many mutated cards were accepted; the others were refused by name."""
    dice = random.Random(seed)
    texts = [path.read_text(encoding="utf-8") for path in sorted(CARDS.glob("*.toml"))]
    accepted = 0
    for _ in range(cards):
        text = mutated(dice.choice(texts), dice)
        try:
            card = read_card(text)
        except CardInvalid:
            continue
        accepted += 1
        assert Fraction(1, 20) <= card.ratio.resin_parts / card.ratio.hardener_parts <= 20
        numbers: list[float] = []
        if card.pot_life is not None:
            numbers += [card.pot_life.minutes, card.pot_life.test_g]
        if card.film is not None:
            numbers += [card.film.volume_solids_percent, card.film.least_dft_um]
        if card.cure is not None:
            numbers += [hour for row in card.cure.hours.values() for hour in row]
        assert all(math.isfinite(value) and value > 0 for value in numbers)
    return accepted


def test_a_few_thousand_cases() -> None:
    answered = fuzz(4000, seed=1)
    assert set(answered) >= {case.__name__ for case in CASES}


def test_some_hundred_mutated_cards() -> None:
    accepted = fuzz_cards(400, seed=2)
    assert 0 < accepted < 400


@pytest.mark.slow
def test_a_million_cases() -> None:
    answered = fuzz(1_000_000, seed=3)
    assert all(answered[case.__name__] > 100 for case in (*CASES, *COSTLY))


@pytest.mark.slow
def test_a_hundred_thousand_mutated_cards() -> None:
    assert fuzz_cards(100_000, seed=4) > 1000
