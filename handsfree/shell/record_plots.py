"""The pictures of a record: ratio and pot life of each cup, air and dew point, and cure.

One drawing serves the page (SVG, whose colors follow its light or dark look) and the print
(PNG). The same record gives the same bytes: ids are salted with a fixed text, and no date, no
locale and no local time zone goes in.
"""

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

from handsfree.core.card import ProductCard
from handsfree.core.cure import CureTable, Side, Stage, SurfaceReading, progress
from handsfree.core.dewpoint import DEW_MARGIN_K
from handsfree.core.errors import Refusal
from handsfree.core.mix import Band
from handsfree.job.batch_record import BatchRecord, CoatRecord, CupRecord, Look, WindowVerdict
from handsfree.job.film import slow_share, surface_history
from handsfree.job.state import Coat, State
from handsfree.shell.plan_picture import (
    AIR,
    APPLY,
    DEW,
    MOST_TICKS,
    OPEN,
    SURFACE,
    TAPE,
    TOO_CLOSE,
    WAIT,
)

# Each color by its role on the page; the values are those of the light look. They differ from one
# another, since the page finds them again by value.
ROLES = {
    "#1d2226": "ink",
    "#5c666d": "muted",
    "#dfe2e0": "grid",
    AIR: "air",
    APPLY: "apply",
    DEW: "dew",
    OPEN: "open",
    SURFACE: "surface",
    TAPE: "tape",
    TOO_CLOSE: "close",
    WAIT: "wait",
    "#0b7a5b": "good",
    "#b3261e": "bad",
    "#e3efe9": "band",
    "#f5f1e4": "outer",
    "#fffefb": "sheet",
}
INK, MUTED, GRID, GOOD, BAD, BAND, OUTER, SHEET = (
    "#1d2226",
    "#5c666d",
    "#dfe2e0",
    "#0b7a5b",
    "#b3261e",
    "#e3efe9",
    "#f5f1e4",
    "#fffefb",
)
WIDTH_IN, PRINT_DPI = 8.2, 150
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "handsfree record",
    "font.size": 10.5,
    "font.family": "DejaVu Sans",
    "text.color": INK,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.facecolor": "none",
    "figure.facecolor": "none",
    "axes.unicode_minus": True,
    "timezone": "UTC",
}
# Beyond this many cups their numbers stand closer than the eye can part.
MOST_NAMED_CUPS, MOST_NAMED_COATS = 24, 12
MOST_CURE_PANELS = 3
CURE_STEPS = 120
MOST_DATES = 6
TICK_HOURS = (1 / 12, 1 / 6, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24, 48, 96, 192, 384, 768)
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Picture:
    """One picture, not drawn yet."""

    key: str
    title: str
    text: str  # What it shows, in words, for those who cannot see it.
    draw: Callable[[], Figure]

    def svg(self) -> str:
        """The drawing as an SVG element, whose colors are the page's own."""
        with mpl.rc_context(STYLE):
            file = io.StringIO()
            self.draw().savefig(file, format="svg", metadata=_NO_METADATA)
        return _for_page(file.getvalue(), self.key)

    def png(self) -> bytes:
        """The drawing as it is printed."""
        with mpl.rc_context({**STYLE, "figure.facecolor": "white"}):
            file = io.BytesIO()
            self.draw().savefig(file, format="png", dpi=PRINT_DPI, metadata={"Software": None})
        return file.getvalue()


# Without a date: the same record is to give the same bytes.
_NO_METADATA = {"Date": None, "Creator": None, "Format": None, "Type": None}


def _for_page(text: str, key: str) -> str:
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    for color, role in ROLES.items():
        text = text.replace(color.lower(), f"var(--{role})")
    # Ids are of one picture only; a page holds several.
    text = re.sub(r'\bid="', f'id="{key}-', text)
    text = re.sub(r'href="#', f'href="#{key}-', text)
    text = re.sub(r"url\(#", f"url(#{key}-", text)
    text = re.sub(r"font:( [0-9.]+px) '[^']*'[^;\"]*", r"font:\1 var(--plot-font)", text)
    text = re.sub(
        r"<svg [^>]*?viewBox=\"([^\"]*)\"[^>]*>",
        r'<svg viewBox="\1" aria-hidden="true" focusable="false">',
        text,
        count=1,
    )
    return re.sub(r"\s*\n\s*", "\n", text).strip()


def pictures(job: BatchRecord) -> tuple[Picture, ...]:
    """The pictures that the record has enough for."""
    found = []
    weighed = tuple(cup for cup in job.cups if cup.error is not None)
    if weighed:
        found.append(
            Picture(
                "ratio",
                "Hardener off by, %",
                _ratio_text(weighed),
                lambda: _ratio(weighed, job.card),
            )
        )
    clocked = tuple(cup for cup in job.cups if cup.used_share is not None)
    if clocked:
        found.append(
            Picture("used", "Pot life used, %", _used_text(clocked), lambda: _used(clocked))
        )
    looks = tuple(look for look in job.looks if look.is_complete)
    if looks:
        found.append(
            Picture(
                "air",
                "Surface and dew point, with the coats' windows",
                _air_text(looks),
                lambda: _air(job, looks),
            )
        )
    cured = tuple(c for c in job.coats if c.clock is not None and c.finished_at is not None)
    if cured:
        last = cured[-MOST_CURE_PANELS:]
        found.append(Picture("cure", "Cure, estimated", _cure_text(last), lambda: _cure(job, last)))
    return tuple(found)


# --- cups ---------------------------------------------------------------------------------


def _ratio_text(cups: Sequence[CupRecord]) -> str:
    worst = max(cups, key=lambda cup: abs(cup.error or Fraction()))
    return (
        f"Error of the hardener in each of {len(cups)} cups. The largest is "
        f"{float((worst.error or 0) * 100):+.1f} % in cup {worst.number}."
    )


def _ratio(cups: Sequence[CupRecord], card: ProductCard) -> Figure:
    figure = Figure(figsize=(WIDTH_IN, 2.7), layout="constrained")
    axes = figure.subplots()
    good, tolerated = (
        float(share * 100) for share in (card.tolerance.good, card.tolerance.tolerated)
    )
    errors = [float((cup.error or 0) * 100) for cup in cups]
    most = max(1.35 * tolerated, 1.15 * max(map(abs, errors)))
    axes.axhspan(-tolerated, tolerated, color=OUTER, zorder=0)
    axes.axhspan(-good, good, color=BAND, zorder=0)
    axes.axhline(0, color=MUTED, linewidth=0.8)
    places = range(len(cups))
    axes.vlines(list(places), 0, errors, color=MUTED, linewidth=1.2)
    for is_good, marker, color, label in (
        (True, "o", GOOD, "within tolerance"),
        (False, "s", BAD, "outside"),
    ):
        chosen = [
            place
            for place in places
            if (cups[place].band in (Band.ON_TARGET, Band.WITHIN_TOLERANCE)) is is_good
        ]
        if chosen:
            axes.plot(
                chosen,
                [errors[place] for place in chosen],
                marker,
                color=color,
                markersize=7 if len(cups) <= MOST_NAMED_CUPS else 4,
                label=label,
            )
    for edge, words in ((good, "on target"), (tolerated, "tolerated")):
        axes.annotate(
            words,
            (0.995, -edge),
            xycoords=("axes fraction", "data"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="right",
            color=MUTED,
            fontsize=9,
        )
    edges = (-tolerated, -good, 0.0, good, tolerated)
    axes.set_yticks(edges, [f"{edge:+g}".replace("-", "−") if edge else "0" for edge in edges])
    axes.set_ylim(-most, most)
    axes.set_ylabel("%")
    _name_cups(axes, cups)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False)
    return figure


def _used_text(cups: Sequence[CupRecord]) -> str:
    worst = max(cups, key=lambda cup: cup.used_share or Fraction())
    return (
        f"Share of the estimated pot life used of each of {len(cups)} cups until it was told "
        f"empty. The most is {float((worst.used_share or 0) * 100):.0f} % in cup {worst.number}."
    )


def _used(cups: Sequence[CupRecord]) -> Figure:
    figure = Figure(figsize=(WIDTH_IN, 2.7), layout="constrained")
    axes = figure.subplots()
    shares = [float((cup.used_share or 0) * 100) for cup in cups]
    for is_over, color, hatch, label in (
        (False, DEW, None, "in time"),
        (True, BAD, "///", "past the end"),
    ):
        chosen = [place for place, share in enumerate(shares) if (share > 100) is is_over]
        if chosen:
            axes.add_collection(
                PolyCollection(
                    [_box(place - 0.3, place + 0.3, 0.0, shares[place]) for place in chosen],
                    facecolor="none" if is_over else color,
                    edgecolor=color,
                    hatch=hatch,
                    label=label,
                )
            )
    axes.axhline(100, color=INK, linewidth=1.4)
    axes.annotate(
        "end of the pot life",
        (0.995, 100),
        xycoords=("axes fraction", "data"),
        xytext=(0, 3),
        textcoords="offset points",
        ha="right",
        color=INK,
        fontsize=9,
    )
    axes.set_ylim(0, max(115.0, 1.1 * max(shares)))
    axes.set_ylabel("%")
    axes.grid(axis="y", color=GRID)
    _name_cups(axes, cups)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False)
    return figure


def _box(left: float, right: float, bottom: float, top: float) -> list[tuple[float, float]]:
    """The corners of a rectangle; many of them make one collection, which is drawn at once."""
    return [(left, bottom), (left, top), (right, top), (right, bottom)]


def _name_cups(axes: Axes, cups: Sequence[CupRecord]) -> None:
    every = max(1, -(-len(cups) // MOST_NAMED_CUPS))
    places = range(0, len(cups), every)
    axes.set_xticks(list(places), [str(cups[place].number) for place in places])
    axes.set_xlim(-0.6, max(len(cups), 4) - 0.4)
    axes.tick_params(axis="x", length=0)
    axes.set_xlabel("cup")


# --- air and windows ----------------------------------------------------------------------


def _air_text(looks: Sequence[Look]) -> str:
    least = min(looks, key=lambda look: look.margin_k or 0.0)
    return (
        f"Air, surface and dew point at {len(looks)} looks, with a bar for each coat. The least "
        f"margin of the surface above the dew point is {least.margin_k or 0.0:.1f} °C."
    )


def _air(job: BatchRecord, looks: Sequence[Look]) -> Figure:
    coats = [coat for coat in job.coats if coat.began_at is not None]
    rows = len(coats)
    figure = Figure(figsize=(WIDTH_IN, 3.2 + 0.42 * min(rows, 12)), layout="constrained")
    start = min([looks[0].at, *(c.began_at for c in coats if c.began_at is not None)])
    end_hours = _end_hours(job, looks, start)
    if rows:
        coats_axes, axes = figure.subplots(
            2, 1, sharex=True, height_ratios=[0.35 + 0.42 * min(rows, 12), 2.6]
        )
        _draw_coats(coats_axes, coats, start, end_hours)
    else:
        axes = figure.subplots()
    hours = [(look.at - start) / HOUR for look in looks]
    surface_c = [float(look.surface_c or 0) for look in looks]
    dew_c = [look.dew_point_c or 0.0 for look in looks]
    limits = job.card.limits
    needed_k = limits.dew_margin_k if limits is not None else DEW_MARGIN_K
    for values, color, width, dash, marker, label in (
        ([float(look.air_c or 0) for look in looks], AIR, 1.4, "--", "^", "air"),
        (surface_c, SURFACE, 2.2, "-", "o", "surface"),
        (dew_c, DEW, 2.2, "-.", "D", "dew point"),
    ):
        marker = marker if len(looks) <= 60 else ""
        axes.plot(hours, values, dash, color=color, linewidth=width, marker=marker, label=label)
        if hours[-1] < end_hours:
            axes.plot([hours[-1], end_hours], [values[-1]] * 2, ":", color=color, linewidth=1.2)
    axes.fill_between(
        hours,
        dew_c,
        [dew + needed_k for dew in dew_c],
        color=TOO_CLOSE,
        alpha=0.22,
        linewidth=0,
        label=f"within {needed_k:g} °C of it",
    )
    axes.set_ylabel("°C")
    axes.margins(y=0.12)
    axes.grid(axis="y", color=GRID)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.22), ncols=4, frameon=False)
    _name_hours(axes, start, end_hours)
    return figure


def _end_hours(job: BatchRecord, looks: Sequence[Look], start: datetime) -> float:
    """To the last that was told, and on until the last coat is ready for another."""
    ends = [job.last_at, looks[-1].at]
    for coat in job.coats:
        opens_at = coat.clock.at(Stage.RECOAT_OPENS) if coat.clock is not None else None
        if opens_at is not None:
            ends.append(opens_at + 2 * HOUR)
    return max(max((end - start) / HOUR for end in ends), 1.0)


def _draw_coats(axes: Axes, coats: Sequence[CoatRecord], start: datetime, end_hours: float) -> None:
    def hours_to(moment: datetime | None, otherwise: float) -> float:
        return otherwise if moment is None else min((moment - start) / HOUR, end_hours)

    pulled: list[tuple[float, float]] = []
    missed: list[tuple[float, float]] = []
    boxes: dict[str, list[list[tuple[float, float]]]] = {}

    def draw(color: str, start: float, end: float, middle: float, height: float) -> None:
        if end > start:
            box = _box(start, end, middle - height / 2, middle + height / 2)
            boxes.setdefault(color, []).append(box)

    for row, coat in enumerate(coats):
        began = hours_to(coat.began_at, 0.0)
        finished = hours_to(coat.finished_at, began)
        # A coat that took minutes is still to be seen in a picture of days.
        finished_shown = max(finished, began + 0.006 * end_hours)
        if coat.clock is not None:
            opens = hours_to(coat.clock.at(Stage.RECOAT_OPENS), end_hours)
            closes = hours_to(coat.clock.at(Stage.RECOAT_CLOSES), end_hours)
            draw(WAIT, finished, opens, -row, 0.5)
            draw(OPEN, opens, closes, -row, 0.34)
            if coat.tape_last_call_at is not None and coat.tape.value != "no tape":
                tape = (hours_to(coat.tape_ask_at, 0.0), hours_to(coat.tape_last_call_at, 0.0))
                draw(TAPE, *tape, -row + 0.36, 0.14)
            if coat.tape_off_at is not None:
                off = hours_to(coat.tape_off_at, 0.0)
                pulled.append((off, -row + 0.36))
        draw(APPLY, began, finished_shown, -row, 0.5)
        if coat.window in (WindowVerdict.TOO_EARLY, WindowVerdict.CLOSED):
            missed.append((began, float(-row)))
    for color, label in (
        (APPLY, "applied"),
        (WAIT, "wait"),
        (OPEN, "next coat bonds"),
        (TAPE, "tape comes off"),
    ):
        if color in boxes:
            axes.add_collection(PolyCollection(boxes[color], color=color, label=label))
    for places, marker, color in ((pulled, "v", INK), (missed, "X", BAD)):
        if places:
            axes.plot(*zip(*places, strict=True), marker, color=color, markersize=5)
    rows = range(0, len(coats), max(1, -(-len(coats) // MOST_NAMED_COATS)))
    axes.set_yticks([-row for row in rows], [_name_of(coats[row]) for row in rows])
    axes.set_ylim(-len(coats) + 0.4, 0.65)
    axes.tick_params(axis="y", length=0)
    axes.spines["bottom"].set_visible(False)
    axes.tick_params(axis="x", length=0)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, frameon=False)


def _name_of(coat: CoatRecord) -> str:
    """A coat with its area, where it has one."""
    return f"{coat.area}, coat {coat.number}" if coat.area else f"coat {coat.number}"


def _name_hours(axes: Axes, start: datetime, end_hours: float) -> None:
    """Times of day in the listener's zone, with the date at the first and at each midnight."""
    # From a day on each name is a date, which is twice as wide.
    every = next(
        (h for h in TICK_HOURS if end_hours <= (MOST_TICKS if h < 24 else MOST_DATES) * h), 1536
    )
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    first = -((start - midnight) / HOUR) % every
    ticks = [first + i * every for i in range(int((end_hours - first) / every) + 1)]
    names, day = [], None
    for tick in ticks:
        at = start + timedelta(seconds=round(tick * 3600))
        name = f"{at.hour:02}:{at.minute:02}"
        names.append(name if at.date() == day else f"{name}\n{at.date().isoformat()}")
        day = at.date()
    axes.set_xticks(ticks, names)
    axes.set_xlim(-0.01 * end_hours, 1.01 * end_hours)


# --- cure ---------------------------------------------------------------------------------

_STAGES = (
    (Stage.TACK_FREE, "tack-free", "-"),
    (Stage.RECOAT_OPENS, "next coat", "--"),
    (Stage.HANDLE, "to handle", "-."),
    (Stage.USE, "to use", ":"),
)


def _cure_text(coats: Sequence[CoatRecord]) -> str:
    return (
        "Estimated share of the way to tack-free, the next coat, handling and use for "
        f"{' and '.join(map(_name_of, coats))}, by the card's table."
    )


def _cure(job: BatchRecord, coats: Sequence[CoatRecord]) -> Figure:
    figure = Figure(figsize=(WIDTH_IN, 0.7 + 2.1 * len(coats)), layout="constrained")
    panels = figure.subplots(len(coats), 1, squeeze=False)
    for axes, coat in zip(panels[:, 0], coats, strict=True):
        _draw_cure(axes, job.card, coat)
    panels[0, 0].legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, frameon=False)
    panels[-1, 0].set_xlabel("hours since the last stroke")
    return figure


def _draw_cure(axes: Axes, card: ProductCard, coat: CoatRecord) -> None:
    assert card.cure is not None
    assert coat.finished_at is not None
    assert coat.clock is not None
    state = State(conditions=coat.surface_told)
    history = surface_history(state, coat.finished_at)
    ends = [at for stage, _, _ in _STAGES if (at := coat.clock.at(stage)) is not None]
    end_hours = max(((at - coat.finished_at) / HOUR for at in ends), default=24.0)
    known_hours = history[-1].hours if history else 0.0
    slow = slow_share(card.cure, state, Coat(coat.number, None, coat.finished_at, coat.felt))
    for (stage, label, dash), color in zip(_STAGES, (SURFACE, OPEN, DEW, INK), strict=True):
        if stage not in card.cure.hours or not history:
            continue
        shares = _shares(card.cure, stage, history, end_hours, slow)
        hours = [step * end_hours / CURE_STEPS for step in range(CURE_STEPS + 1)]
        axes.plot(hours, shares, dash, color=color, linewidth=2, label=label)
        for (a, first), (b, second) in pairwise(zip(hours, shares, strict=True)):
            if first < 100 <= second:
                reached = a + (b - a) * (100 - first) / (second - first)
                axes.plot([reached], [100], "o", color=color, markersize=5)
    axes.axvspan(known_hours, end_hours, color=OUTER, zorder=0)
    axes.annotate(
        "shaded: the last surface temperature held",
        (0.995, 0.0),
        xycoords="axes fraction",
        xytext=(0, 5),
        textcoords="offset points",
        ha="right",
        color=MUTED,
        fontsize=9,
    )
    for felt in coat.felt:
        felt_at = (felt.at - coat.finished_at) / HOUR
        if 0 <= felt_at <= end_hours:
            axes.axvline(felt_at, color=MUTED, linewidth=1)
            axes.annotate(
                felt.film.value,
                (felt_at, 0.22),
                xycoords=("data", "axes fraction"),
                ha="center",
                color=INK,
                fontsize=9,
                bbox={"facecolor": SHEET, "edgecolor": MUTED, "linewidth": 0.6, "pad": 2},
            )
    axes.set_xlim(0.0, end_hours)
    axes.set_ylim(0, 108)
    axes.set_yticks([0, 50, 100])
    axes.set_ylabel(f"{_name_of(coat)}, %")
    axes.grid(axis="y", color=GRID)


def _shares(
    table: CureTable,
    stage: Stage,
    history: Sequence[SurfaceReading],
    end_hours: float,
    slow: float,
) -> list[float]:
    """Percents of the way at even steps; a coat that was seen to be slow has further to go."""
    shares = []
    for step in range(CURE_STEPS + 1):
        now = step * end_hours / CURE_STEPS
        try:
            done = progress(table, stage, history=history, now_hours=now, side=Side.LATE)
        except Refusal:
            done = float("nan")
        shares.append(min(100.0 * done / slow, 100.0))
    return shares
