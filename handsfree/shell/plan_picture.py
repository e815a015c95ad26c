"""The picture of a plan: each coat's windows over time, and the surface against the dew point."""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from handsfree.core.conditions import Conditions, between
from handsfree.core.dewpoint import dew_point_c
from handsfree.core.plan import CoatTimes, Plan
from handsfree.shell.clock_words import clock

# Colors that people who do not tell red from green also tell apart (Okabe and Ito, 2008).
APPLY, TAPE, WAIT, OPEN = "#333333", "#E69F00", "#D0D0D0", "#009E73"
AIR, SURFACE, DEW, TOO_CLOSE = "#999999", "#D55E00", "#0072B2", "#CC79A7"
HOURS_SHOWN_AFTER_LAST_COAT = 12.0
STEPS_SHOWN = 240
TICK_HOURS, MOST_TICKS = (1, 2, 3, 6, 12, 24, 48, 96, 192), 12


def draw_plan(
    made: Plan,
    readings: Sequence[Conditions],
    *,
    needed_margin_k: float,
    title: str,
    start_minutes: int | None,
    path: Path,
) -> None:
    """Draws a plan into a PNG file.

    Args:
        made: the plan.
        readings: what it was made from; the last is held to the right edge.
        needed_margin_k: surface above dew point below which the time is marked, K.
        title: one line above the picture.
        start_minutes: the start's time of day, or None to count from the start.
        path: where it goes.

    Raises:
        OSError: the file cannot be written.
    """
    rows = len(made.coats)
    figure = Figure(figsize=(11.0, 4.0 + 0.6 * rows), layout="constrained", dpi=120)
    coats_axes, air_axes = figure.subplots(2, 1, sharex=True, height_ratios=[0.6 + 0.6 * rows, 2.4])
    end_hours = made.coats[-1].end_hours + HOURS_SHOWN_AFTER_LAST_COAT
    figure.suptitle(title, x=0.01, ha="left", fontweight="bold")
    _draw_coats(coats_axes, made.coats, end_hours, start_minutes)
    _draw_air(air_axes, readings, end_hours, needed_margin_k)
    _name_hours(air_axes, end_hours, start_minutes)
    for axes in (coats_axes, air_axes):
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(axis="x", color="#E8E8E8")
        axes.set_axisbelow(True)
    figure.savefig(path)


def _draw_coats(
    axes: Axes, coats: Sequence[CoatTimes], end_hours: float, start_minutes: int | None
) -> None:
    for coat in coats:
        row = -coat.number
        opens = end_hours if coat.recoat_opens_hours is None else coat.recoat_opens_hours
        _draw_bar(axes, row, coat.end_hours, min(opens, end_hours), WAIT)
        if coat.recoat_opens_hours is not None and coat.recoat_closes_hours is not None:
            closes = min(coat.recoat_closes_hours, end_hours)
            _draw_bar(axes, row, opens, closes, OPEN)
            if closes > opens:
                axes.annotate(
                    f"until {clock(coat.recoat_closes_hours, start_minutes)} ",
                    (closes, row),
                    ha="right",
                    va="center",
                    color="white",
                )
        _draw_bar(axes, row, coat.start_hours, coat.end_hours, APPLY)
        if coat.tape_ask_hours is not None and coat.tape_last_call_hours is not None:
            _draw_bar(
                axes, row + 0.38, coat.tape_ask_hours, coat.tape_last_call_hours, TAPE, height=0.16
            )
    axes.set_yticks([-coat.number for coat in coats], [f"coat {coat.number}" for coat in coats])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(-len(coats) - 0.5, -0.4)
    parts = (
        ("mix and apply", APPLY),
        ("tape off", TAPE),
        ("wait", WAIT),
        ("next coat bonds", OPEN),
    )
    axes.legend(
        handles=[Patch(color=color, label=label) for label, color in parts],
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        ncols=len(parts),
        frameon=False,
    )


def _draw_bar(
    axes: Axes, row: float, start: float, end: float, color: str, height: float = 0.5
) -> None:
    if end > start:
        axes.broken_barh([(start, end - start)], (row - height / 2.0, height), color=color)


def _draw_air(
    axes: Axes, readings: Sequence[Conditions], end_hours: float, needed_margin_k: float
) -> None:
    seen = [_held_at(readings, step * end_hours / STEPS_SHOWN) for step in range(STEPS_SHOWN + 1)]
    hours = [conditions.hours for conditions in seen]
    surface_c = [conditions.surface_c for conditions in seen]
    dew_c = [
        dew_point_c(air_c=conditions.air_c, humidity_percent=conditions.humidity_percent)
        for conditions in seen
    ]
    is_close = [conditions.margin_k < needed_margin_k for conditions in seen]
    axes.plot(hours, [c.air_c for c in seen], color=AIR, linestyle="--", label="air")
    axes.plot(hours, surface_c, color=SURFACE, linewidth=2.5, label="surface")
    axes.plot(hours, dew_c, color=DEW, linewidth=2.5, label="dew point")
    axes.fill_between(
        hours,
        dew_c,
        surface_c,
        where=is_close,
        color=TOO_CLOSE,
        alpha=0.35,
        label=f"less than {needed_margin_k:g} °C apart",
    )
    axes.set_ylabel("°C")
    axes.margins(y=0.15)
    if readings[-1].hours < end_hours:
        axes.axvline(readings[-1].hours, color=AIR, linestyle=":")
        axes.annotate(
            " last reading, held from here",
            (readings[-1].hours, 1.0),
            xycoords=("data", "axes fraction"),
            va="top",
            color="#666666",
        )
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=4, frameon=False)


def _held_at(readings: Sequence[Conditions], hours: float) -> Conditions:
    """The conditions at a time, straight between readings and held after the last."""
    for earlier, later in pairwise(readings):
        if hours <= later.hours:
            return between(earlier, later, (hours - earlier.hours) / (later.hours - earlier.hours))
    last = readings[-1]
    return Conditions(max(hours, last.hours), last.air_c, last.humidity_percent, last.surface_c)


def _name_hours(axes: Axes, end_hours: float, start_minutes: int | None) -> None:
    spacing = next((hours for hours in TICK_HOURS if end_hours <= MOST_TICKS * hours), 1000)
    first = 0.0 if start_minutes is None else -(start_minutes / 60.0) % spacing
    ticks = [first + i * spacing for i in range(int((end_hours - first) / spacing) + 1)]
    axes.set_xticks(ticks, [clock(tick, start_minutes).replace(" on ", "\n") for tick in ticks])
    axes.set_xlim(0.0, end_hours)
    axes.set_xlabel("hours from the start" if start_minutes is None else "time of day")
