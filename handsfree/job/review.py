"""What a card said against what happened: corrections a person may accept, with their evidence.

Only the direction that cannot hurt is proposed: a pot life that ends earlier, a coat that is ready
later, a window or tape that comes due earlier. The other direction is never proposed, however
often it was seen: a few cups say little about the worst one, and the label and the data sheet
decide.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from fractions import Fraction
from operator import gt, lt

from handsfree.core.card import ProductCard
from handsfree.core.cure import CureTable, Side, Stage, progress
from handsfree.core.errors import Refusal
from handsfree.core.mix import Band
from handsfree.core.potlife import LEAST_LABEL_MINUTES, LabelPotLife, pot_life
from handsfree.job.batch_record import (
    BatchRecord,
    CoatRecord,
    CupRecord,
    TapeVerdict,
    WindowVerdict,
)
from handsfree.job.film import surface_history
from handsfree.job.state import State
from handsfree.language.intents import Film

# Fewer cups than this have the same sign by chance often enough. Judgement.
LEAST_CUPS_FOR_A_LEANING = 4
# A cup that thickens in less than this share of its time was hardly an ordinary one. Judgement.
SUSPICIOUS_SHARE = 0.5
LATER_STAGES = (Stage.RECOAT_OPENS, Stage.HANDLE, Stage.SAND, Stage.USE, Stage.FULL_CURE)
EARLIER_STAGES = (Stage.TACK_FREE, Stage.RECOAT_CLOSES)
STEPS_AN_HOUR = 10  # That new hours are rounded to, away from what could hurt.
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@dataclass(frozen=True)
class Change:
    """A value of the card, as it is and as it would be."""

    key: str  # The card's, such as "pot_life.minutes".
    old: tuple[Fraction, ...]  # One number, or a row of the cure table.
    new: tuple[Fraction, ...]


@dataclass(frozen=True)
class Proposal:
    """A correction of the card, which is accepted as a whole or not at all."""

    changes: tuple[Change, ...]
    reason: str
    evidence: tuple[str, ...]  # One observation each.


@dataclass(frozen=True)
class Finding:
    """Something worth knowing that changes no value of the card."""

    sentence: str
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True)
class Review:
    """What past jobs say about a card."""

    cups: int  # Looked at.
    coats: int
    proposals: tuple[Proposal, ...]
    findings: tuple[Finding, ...]


def review(card: ProductCard, jobs: Sequence[BatchRecord]) -> Review:
    """Compares a card with what happened.

    Args:
        card: as it is now; a correction that was accepted is in it, and not proposed again.
        jobs: past jobs; of them only the cups and coats of this product count.
    """
    cups = [(job, cup) for job in jobs for cup in job.cups if cup.card.name == card.name]
    coats = [(job, coat) for job in jobs for coat in job.coats if coat.card.name == card.name]
    proposals = (*_pot_life(card, cups), *_film(card, coats))
    findings = (
        *_at_once(card, cups),
        *_past_the_end(cups),
        *_left_out(cups),
        *_leaning(cups),
        *_tape(coats),
        *_windows(coats),
    )
    return Review(len(cups), len(coats), proposals, findings)


# --- pot life -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Gel:
    """A cup that was called thick or hot."""

    job: BatchRecord
    cup: CupRecord
    minutes: float  # After its parts met.

    def predicted(self, label: LabelPotLife) -> float | None:
        """The pot life by a label, minutes; None where the label cannot be carried over to it."""
        batch_g = float(self.cup.resin_g + self.cup.hardener_g)
        assert self.cup.mix_c is not None
        try:
            return pot_life(label, batch_g=batch_g, mix_c=float(self.cup.mix_c)).minutes
        except Refusal:
            return None

    def is_early(self, label: LabelPotLife) -> bool:
        """Whether it went off while a label's pot life still ran."""
        predicted = self.predicted(label)
        return predicted is not None and self.minutes < predicted


def _is_ordinary(cup: CupRecord) -> bool:
    """Whether what a cup did says something about the product."""
    return (
        cup.mixed_at is not None
        and not cup.is_mix_c_assumed
        and not cup.is_time_in_doubt
        and cup.band in (Band.ON_TARGET, Band.WITHIN_TOLERANCE)
    )


def _thick_minutes(cup: CupRecord) -> float | None:
    """When a cup was first called thick or hot, minutes after its parts met."""
    felt = [sign.at for sign in cup.warmed if sign.cup_c is None and sign.share_gone >= 1]
    return None if not felt or cup.mixed_at is None else (min(felt) - cup.mixed_at) / MINUTE


def _early(label: LabelPotLife, cups: Sequence[tuple[BatchRecord, CupRecord]]) -> list[_Gel]:
    """The ordinary cups that went off while the label's pot life still ran."""
    gels = [
        _Gel(job, cup, minutes)
        for job, cup in cups
        if _is_ordinary(cup) and (minutes := _thick_minutes(cup)) is not None
    ]
    return [gel for gel in gels if gel.is_early(label)]


def _pot_life(
    card: ProductCard, cups: Sequence[tuple[BatchRecord, CupRecord]]
) -> Iterator[Proposal]:
    label = card.pot_life
    if label is None:
        return
    shortest = replace(label, minutes=LEAST_LABEL_MINUTES)
    early = [gel for gel in _early(label, cups) if not gel.is_early(shortest)]
    minutes = math.ceil(label.minutes) - 1
    while any(gel.is_early(replace(label, minutes=float(minutes))) for gel in early):
        minutes -= 1
    if early:
        yield Proposal(
            (Change("pot_life.minutes", (Fraction(label.minutes),), (Fraction(minutes),)),),
            f"{len(early)} of {len(cups)} cups went off before the card's pot life was over.",
            tuple(_gel_words(gel, label) for gel in early),
        )


def _gel_words(gel: _Gel, label: LabelPotLife) -> str:
    predicted = gel.predicted(label)
    assert predicted is not None, "only an early cup is told of"
    words = (
        f"{_where(gel.job)}, cup {gel.cup.number}: thick or hot after {gel.minutes:.1f} min, "
        f"by the card {predicted:.1f} min "
        f"({float(gel.cup.resin_g + gel.cup.hardener_g):g} g, {float(gel.cup.mix_c or 0):g} °C)"
    )
    if gel.minutes < SUSPICIOUS_SHARE * predicted:
        words += "; so early that the hardener, the heat and the mixing are to be looked at first"
    return words


def _at_once(card: ProductCard, cups: Sequence[tuple[BatchRecord, CupRecord]]) -> Iterator[Finding]:
    if card.pot_life is None:
        return
    shortest = replace(card.pot_life, minutes=LEAST_LABEL_MINUTES)
    gels = [gel for gel in _early(card.pot_life, cups) if gel.is_early(shortest)]
    if gels:
        yield Finding(
            f"{_count(gels, 'cup')} so soon thick or hot that no pot life explains it. Do not go "
            "on with this product before you know why.",
            tuple(_gel_words(gel, card.pot_life) for gel in gels),
        )


def _past_the_end(cups: Sequence[tuple[BatchRecord, CupRecord]]) -> Iterator[Finding]:
    past = [
        f"{_where(job)}, cup {cup.number}: {float(cup.used_share * 100):.0f} %"
        for job, cup in cups
        if _is_ordinary(cup)
        and cup.used_share is not None
        and cup.used_share > 1
        and _thick_minutes(cup) is None
    ]
    if past:
        yield Finding(
            f"{_count(past, 'cup')} told empty after the end of the pot life and never called "
            "thick. That is no ground for a longer pot life, and none is proposed: label and data "
            "sheet decide. Mix less at once, or pour it out sooner.",
            tuple(past),
        )


def _left_out(cups: Sequence[tuple[BatchRecord, CupRecord]]) -> Iterator[Finding]:
    odd = [
        f"{_where(job)}, cup {cup.number}"
        for job, cup in cups
        if not _is_ordinary(cup) and _thick_minutes(cup) is not None
    ]
    if odd:
        yield Finding(
            f"{_count(odd, 'cup')} called thick that say nothing about the card: the ratio was "
            "off, the temperature was assumed, or the time is in doubt.",
            tuple(odd),
        )


# --- film ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Look:
    """A coat that was felt, against the card it was held to then."""

    table: CureTable  # Of that job.
    share: float  # Of the way to tack-free, by it.
    words: str

    def row(self, table: CureTable, stage: Stage) -> Sequence[float]:
        """The stage's hours as this look would have them, where they can be told."""
        row = self.table.hours.get(stage, ())
        if self.table.surface_c != table.surface_c:
            return ()
        return [hours * self.share for hours in row]


def _film(card: ProductCard, coats: Sequence[tuple[BatchRecord, CoatRecord]]) -> Iterator[Proposal]:
    table = card.cure
    if table is None:
        return
    slow, fast = _looks(coats)
    later = tuple(_changes(table, slow, LATER_STAGES, max, math.ceil))
    if later:
        reason = (
            "A coat was not dry when the card says it is: everything that has to wait for it waits "
            "longer. Tape and the end of the window stay where they are."
        )
        yield Proposal(later, reason, tuple(look.words for look in slow))
    earlier = tuple(_changes(table, fast, EARLIER_STAGES, min, math.floor))
    if earlier:
        reason = (
            "A coat was dry before the card says so: tape and the end of the window come sooner. "
            "An earlier next coat does not follow from it; the data sheet decides."
        )
        yield Proposal(earlier, reason, tuple(look.words for look in fast))


def _looks(
    coats: Sequence[tuple[BatchRecord, CoatRecord]],
) -> tuple[list[_Look], list[_Look]]:
    """Coats that were not dry when they should have been, and those dry before they should."""
    slow: list[_Look] = []
    fast: list[_Look] = []
    for job, coat in coats:
        table = coat.card.cure
        if table is None or Stage.TACK_FREE not in table.hours:
            continue
        if coat.finished_at is None or coat.is_time_in_doubt or not coat.surface_told:
            continue
        for felt in coat.felt:
            is_dry = felt.film is Film.DRY
            start = coat.began_at if is_dry else coat.finished_at
            assert start is not None
            hours = (felt.at - start) / HOUR
            share = _tack_free_share(table, coat, hours, is_dry=is_dry)
            if share is None or (share >= 1) is is_dry:
                continue
            words = (
                f"{_where(job)}, coat {coat.number}: {felt.film.value} after {hours:.1f} h, "
                f"at {share * 100:.0f} % of the card's way to tack-free"
            )
            (fast if is_dry else slow).append(_Look(table, share, words))
    return slow, fast


def _changes(
    table: CureTable,
    looks: Sequence[_Look],
    stages: Sequence[Stage],
    worse: Callable[[Iterable[Fraction]], Fraction],
    to_step: Callable[[float], int],
) -> Iterator[Change]:
    """Rows made longer or shorter; none by which the window would vanish."""
    opens, closes = (
        _exact(table.hours.get(stage, ())) for stage in (Stage.RECOAT_OPENS, Stage.RECOAT_CLOSES)
    )
    for stage in stages:
        old = _exact(table.hours.get(stage, ()))
        rows = [old]
        for look in looks:
            seen = look.row(table, stage)
            rows.append(
                tuple(Fraction(max(to_step(h * STEPS_AN_HOUR), 1), STEPS_AN_HOUR) for h in seen)
                or old
            )
        new = tuple(worse(hours) for hours in zip(*rows, strict=True))
        if stage is Stage.RECOAT_OPENS and any(map(gt, new, closes)):
            continue
        if stage is Stage.RECOAT_CLOSES and any(map(lt, new, opens)):
            continue
        if new != old:
            yield Change(f"cure.{stage.value}_h", old, new)


def _exact(row: Sequence[float]) -> tuple[Fraction, ...]:
    return tuple(Fraction(hours).limit_denominator(1000) for hours in row)


def _tack_free_share(
    table: CureTable, coat: CoatRecord, hours: float, *, is_dry: bool
) -> float | None:
    """The share of the way to tack-free by the card; None where it cannot be told."""
    start = coat.began_at if is_dry else coat.finished_at
    if start is None or hours <= 0:
        return None
    history = surface_history(State(conditions=coat.surface_told), start)
    side = Side.EARLY if is_dry else Side.LATE
    try:
        return progress(table, Stage.TACK_FREE, history=history, now_hours=hours, side=side)
    except Refusal:
        return None


# --- findings -----------------------------------------------------------------------------


def _leaning(cups: Sequence[tuple[BatchRecord, CupRecord]]) -> Iterator[Finding]:
    errors = [float(cup.error * 100) for _, cup in cups if cup.error]
    for sign, words in ((1, "too much"), (-1, "too little")):
        same = [error for error in errors if error * sign > 0]
        if len(same) == len(errors) >= LEAST_CUPS_FOR_A_LEANING:
            mean = sum(errors) / len(errors)
            yield Finding(
                f"All {len(errors)} cups have {words} hardener, {mean:+.1f} % on average. Look at "
                "the scale's zero, and at how the pour is stopped."
            )


def _tape(coats: Sequence[tuple[BatchRecord, CoatRecord]]) -> Iterator[Finding]:
    late = [
        f"{_where(job)}, coat {coat.number}: {(coat.tape_off_at - last_at) / MINUTE:.0f} min late"
        for job, coat in coats
        if coat.tape is TapeVerdict.LATE
        and coat.tape_off_at is not None
        and (last_at := coat.tape_last_call_at) is not None
    ]
    if late:
        yield Finding(
            f"{_count(late, 'tape')} pulled after the last call. No value of the card changes "
            "that: pull it at the first.",
            tuple(late),
        )


def _windows(coats: Sequence[tuple[BatchRecord, CoatRecord]]) -> Iterator[Finding]:
    missed = [
        f"{_where(job)}, coat {coat.number}: {coat.window.value}"
        for job, coat in coats
        if coat.window in (WindowVerdict.TOO_EARLY, WindowVerdict.CLOSED)
    ]
    if missed:
        yield Finding(f"{_count(missed, 'coat')} outside the window.", tuple(missed))


def _where(job: BatchRecord) -> str:
    return f"{job.started_at.date()}, job {job.number}"


def _count(found: Sequence[object], name: str) -> str:
    return f"{len(found)} {name}{'' if len(found) == 1 else 's'}"
