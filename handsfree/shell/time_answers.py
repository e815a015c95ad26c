"""Calc's answers about time: the pot life and the film's windows."""

from handsfree.core.cure import (
    Recoat,
    Side,
    Stage,
    StageTime,
    recoat,
    slow_share_seen,
    stage_time,
    tape_times,
)
from handsfree.core.errors import Missing
from handsfree.core.exotherm import exotherm
from handsfree.core.potlife import (
    Doubt,
    LabelPotLife,
    Method,
    MixReading,
    PotLife,
    pot_life,
    share_gone_at_rise,
    share_used,
)
from handsfree.shell.cards import load_card
from handsfree.shell.readings import load_mix_history, load_surface_history
from handsfree.shell.settings import CAUTION, Answer, Settings


def potlife_answer(given: Settings) -> Answer:
    """The pot life of a cup and why; with now_min also what is gone of it. Raises Refusal."""
    method = given.choice_or("method", Method.CUP_IN_AIR)
    label = LabelPotLife(
        minutes=given.number("label_min", "the pot life"),
        test_g=given.number("label_g", "the pot life: minutes hold for one mass only"),
        test_c=given.number("label_c", "the pot life: minutes hold for one temperature only"),
        method=method,
    )
    depth_mm = given.exact_or_none("depth_mm")
    batch_g = given.number("grams", "the pot life")
    cup_c = given.number("cup_c", "the pot life")
    life = pot_life(
        label,
        batch_g=batch_g,
        mix_c=cup_c,
        fill_depth_mm=None if depth_mm is None else float(depth_mm),
    )
    heat = exotherm(label, batch_g=batch_g, mix_c=cup_c, air_c=cup_c)
    reasons = _reasons_of(life)
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
        "peak_c": [heat.least_peak_c, heat.largest_peak_c],
        "smoke": heat.smoke.value,
    }
    left = []
    if any(given.has(key) for key in ("now_min", "history", "cup_now_c")):
        clock = _pot_life_clock(given, label, life, cup_c)
        found |= clock
        left = [
            f"Of it {clock['used_percent']:.0f} % is gone, {clock['minutes_left']:.0f} min left."
        ]
    return found, [
        f"About {life.minutes:.0f} minutes from the first contact.",
        *left,
        *(f"- {reason}" for reason in reasons),
        f"Left standing full it may reach {heat.least_peak_c:.0f} to {heat.largest_peak_c:.0f} °C "
        f"by the physics, which promises nothing; smoke: {heat.smoke.value}.",
        "If the cup grows warm, use it or spread it out at once.",
        CAUTION,
    ]


def _pot_life_clock(
    given: Settings, label: LabelPotLife, life: PotLife, cup_c: float
) -> dict[str, float]:
    """How much is gone and left now, by the air's history and by the cup's own warmth."""
    depth_mm = given.exact_or_none("depth_mm")
    history = (
        load_mix_history(given.text("history", "the clock"))
        if given.has("history")
        else (MixReading(0.0, cup_c),)
    )
    used = share_used(
        label,
        batch_g=given.number("grams", "the pot life"),
        history=history,
        now_minutes=given.number("now_min", "the clock"),
        fill_depth_mm=None if depth_mm is None else float(depth_mm),
    )
    if given.has("cup_now_c"):
        cup_now_c = given.number("cup_now_c", "the cup's own clock")
        used = max(used, share_gone_at_rise(mixed_c=cup_c, cup_c=cup_now_c))
    return {
        "used_percent": 100.0 * used,
        "minutes_left": max(0.0, 1.0 - used) * life.minutes,
    }


# Why a pot life is not simply the label's.
DOUBT_WORDS = {
    Doubt.WATER_BATH_LABEL: "the label was tested in a water bath, a cup in air is shorter",
    Doubt.METHOD_UNKNOWN: "how the label was tested is not known, so it is cut short",
    Doubt.SLOW_PRODUCT: "a slow product surprises in a large cup, so a quarter is taken off",
    Doubt.COLDER_THAN_THE_RULE: "below 10 °C no more time is counted than at 10 °C",
    Doubt.SMALL_BATCH_NO_CREDIT: "a smaller batch than the label's gets no extra time",
}


def _reasons_of(life: PotLife) -> list[str]:
    return [
        f"temperature: times {life.temperature_factor:.2f}",
        f"mass: times {life.mass_factor:.2f}",
        *(DOUBT_WORDS[doubt] for doubt in life.doubts),
    ]


def film_answer(given: Settings) -> Answer:
    """When each stage of a coat is reached, from its card and its surface's history.

    Raises:
        Refusal: a value is missing or out of its range.
        CardUnusable: the card cannot be read.
    """
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
        sentences.append(f"next coat at {now_hours:g} h: {RECOAT_WORDS[state]}")
    return found, [*sentences, CAUTION]


RECOAT_WORDS = {
    Recoat.TOO_EARLY: "too early",
    Recoat.OPEN: "open, it bonds chemically",
    Recoat.CLOSED: "closed, it bonds mechanically only: sand first",
}
