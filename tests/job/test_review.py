"""What a review proposes, and what it must never propose."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.core.cure import Stage
from handsfree.core.potlife import pot_life
from handsfree.job.batch_record import BatchRecord, Pause
from handsfree.job.events import CupWarmed, Event, FilmFelt, TapePulled, TapeSet
from handsfree.job.review import Proposal, review
from handsfree.language.intents import Film
from tests.job.records import CARD, air, at, coat, cup, record

assert CARD.pot_life is not None
assert CARD.cure is not None
LABEL, CURE = CARD.pot_life, CARD.cure
WARM, THICK = Fraction(77, 100), Fraction(1)


def thick_cup(
    minutes: float, *, hardener_g: float = 100, mix_c: float = 20, share: Fraction = THICK
) -> list[Event]:
    """A cup of 800 g that was called thick, or only warm, so many minutes after its parts met."""
    life = pot_life(LABEL, batch_g=700 + hardener_g, mix_c=mix_c).minutes
    *mixed, emptied = cup(
        hardener_g=hardener_g, mix_c=mix_c, pot_life_min=life, emptied=minutes + 1
    )
    return [*mixed, CupWarmed(at(minutes), 1, None, share), emptied]


def proposals(*jobs: BatchRecord) -> tuple[Proposal, ...]:
    return review(CARD, jobs).proposals


def changed(found: Sequence[Proposal]) -> dict[str, tuple[Fraction, ...]]:
    return {change.key: change.new for proposal in found for change in proposal.changes}


# --- pot life -----------------------------------------------------------------------------


@given(st.floats(8, 60), st.integers(100, 2000), st.integers(10, 35))
def test_a_pot_life_is_only_ever_made_shorter_and_then_short_enough(
    minutes: float, resin_g: int, mix_c: int
) -> None:
    hardener_g = resin_g / 7
    life = pot_life(LABEL, batch_g=resin_g + hardener_g, mix_c=mix_c).minutes
    events = cup(
        resin_g=resin_g, hardener_g=hardener_g, mix_c=mix_c, pot_life_min=life, emptied=None
    )
    job = record([*events, CupWarmed(at(minutes), 1, None, THICK)])
    found = changed(proposals(job))
    if "pot_life.minutes" not in found:
        # In time, or so early that no label explains it: then it is told of.
        assert minutes >= 0.999 * life or review(CARD, (job,)).findings
        return
    (new,) = found["pot_life.minutes"]
    assert new < LABEL.minutes
    shorter = replace(LABEL, minutes=float(new))
    batch_g = float(job.cups[0].resin_g + job.cups[0].hardener_g)
    assert pot_life(shorter, batch_g=batch_g, mix_c=mix_c).minutes <= minutes + 1e-3
    # And no shorter than it has to be.
    longer = replace(LABEL, minutes=float(new + 1))
    assert new + 1 >= LABEL.minutes or (
        pot_life(longer, batch_g=batch_g, mix_c=mix_c).minutes > minutes - 1e-3
    )


def test_the_earliest_cup_decides() -> None:
    both = changed(proposals(record(thick_cup(20)), record(thick_cup(15))))
    assert both == changed(proposals(record(thick_cup(15))))


def test_cups_that_last_longer_never_make_it_longer() -> None:
    jobs = [record(cup(pot_life_min=20, emptied=60)) for _ in range(50)]
    found = review(CARD, jobs)
    assert found.proposals == ()
    (finding,) = found.findings
    assert "no ground for a longer pot life" in finding.sentence
    assert "label and data sheet decide" in finding.sentence
    assert len(finding.evidence) == 50


DOUBTFUL = [
    pytest.param(record(thick_cup(10, hardener_g=112)), id="ratio-off"),
    pytest.param(record(thick_cup(10), pauses=[Pause(at(2), at(9))]), id="time-in-doubt"),
    pytest.param(record(thick_cup(10, share=WARM)), id="only-warm"),
]


@pytest.mark.parametrize("job", DOUBTFUL)
def test_what_says_nothing_about_the_product_changes_nothing(job: BatchRecord) -> None:
    assert proposals(job) == ()


def test_a_cup_that_went_off_at_once_is_no_matter_of_the_label() -> None:
    found = review(CARD, [record(thick_cup(0.5))])
    assert found.proposals == ()
    assert any("no pot life explains it" in finding.sentence for finding in found.findings)


def test_an_accepted_correction_is_not_proposed_again() -> None:
    jobs = [record(thick_cup(15))]
    ((new,),) = changed(review(CARD, jobs).proposals).values()
    mended = replace(CARD, pot_life=replace(LABEL, minutes=float(new)))
    assert review(mended, jobs).proposals == ()


# --- film ---------------------------------------------------------------------------------


def felt(film: Film, hours: float) -> BatchRecord:
    """A coat at 20 °C, tack-free after 6 h by the card, that felt so after its last stroke."""
    return record([*air(0, 22, 50, 20), *coat(1, 0), FilmFelt(at(20 + 60 * hours), 1, film)])


def test_a_slow_coat_makes_everything_that_waits_for_it_later() -> None:
    found = changed(proposals(felt(Film.TACKY, 7.5)))
    # 7.5 h instead of 6 h is a quarter more; the row at 20 °C, by hand: 4, 16, 24, 48, 168 h.
    middle = {key: float(row[2]) for key, row in found.items()}
    assert middle == {
        "cure.recoat_opens_h": 5.0,
        "cure.handle_h": 20.0,
        "cure.sand_h": 30.0,
        "cure.use_h": 60.0,
        "cure.full_cure_h": 210.0,
    }


def test_a_fast_coat_makes_tape_and_the_windows_end_sooner_and_nothing_else() -> None:
    found = changed(proposals(felt(Film.DRY, 3.0 - 1 / 3)))
    # Dry 3 h after the first stroke, half of the card's 6 h.
    middle = {key: float(row[2]) for key, row in found.items()}
    assert middle == {"cure.tack_free_h": 3.0, "cure.recoat_closes_h": 24.0}


@pytest.mark.parametrize(
    ("film", "hours"),
    [
        pytest.param(Film.TACKY, 5.9, id="still-tacky-as-the-card-says"),
        pytest.param(Film.DRY, 7, id="dry-as-the-card-says"),
        pytest.param(Film.WET, 2, id="wet-early"),
    ],
)
def test_a_coat_that_does_as_the_card_says_changes_nothing(film: Film, hours: float) -> None:
    assert proposals(felt(film, hours)) == ()


@given(
    st.lists(st.tuples(st.sampled_from(Film), st.floats(0.2, 40)), min_size=1, max_size=4),
    st.integers(8, 34),
)
def test_no_row_ever_moves_to_the_side_that_could_hurt(
    seen: list[tuple[Film, float]], surface_c: int
) -> None:
    jobs = [
        record(
            [
                *air(0, 22, 50, surface_c),
                *coat(1, 0),
                FilmFelt(at(20 + 60 * hours), 1, film),
            ]
        )
        for film, hours in seen
    ]
    for proposal in review(CARD, jobs).proposals:
        for change in proposal.changes:
            stage = Stage(change.key.removeprefix("cure.").removesuffix("_h"))
            is_limit = stage in (Stage.TACK_FREE, Stage.RECOAT_CLOSES)
            for old, new in zip(change.old, change.new, strict=True):
                assert new <= old if is_limit else new >= old


def test_an_accepted_row_is_not_proposed_again() -> None:
    jobs = [felt(Film.TACKY, 7.5)]
    rows = {
        Stage(key.removeprefix("cure.").removesuffix("_h")): tuple(float(h) for h in row)
        for key, row in changed(review(CARD, jobs).proposals).items()
    }
    mended = replace(CARD, cure=replace(CURE, hours={**CURE.hours, **rows}))
    assert review(mended, jobs).proposals == ()


# --- findings -----------------------------------------------------------------------------


def test_late_tape_is_told_and_changes_no_card() -> None:
    events = [*air(0, 22, 50, 20), TapeSet(at(0)), *coat(1, 0), TapePulled(at(200))]
    found = review(CARD, [record(events)])
    assert found.proposals == ()
    (finding,) = found.findings
    assert finding.evidence == ("2026-03-02, job 1, coat 1: 20 min late",)


def test_a_leaning_needs_more_than_a_few_cups() -> None:
    few = [record(cup(hardener_g=102)) for _ in range(3)]
    assert review(CARD, few).findings == ()
    (finding,) = review(CARD, [*few, record(cup(hardener_g=101))]).findings
    # By hand: (2 + 2 + 2 + 1) / 4 = 1.75.
    assert "All 4 cups have too much hardener, +1.8 % on average" in finding.sentence


def test_a_missed_window_is_told() -> None:
    events = [*air(0, 22, 50, 20), *coat(1, 0), *coat(2, 60)]
    (finding,) = review(CARD, [record(events)]).findings
    assert finding.evidence == ("2026-03-02, job 1, coat 2: too early",)


def test_nothing_seen_gives_nothing() -> None:
    found = review(CARD, ())
    assert (found.cups, found.coats, found.proposals, found.findings) == (0, 0, (), ())
