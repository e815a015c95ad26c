"""What a record says of a job: kept, missed, corrected, answered, and what is not known."""

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from handsfree.core.conditions import Fault
from handsfree.core.cure import Stage
from handsfree.core.mix import Band, Component
from handsfree.job.batch_record import (
    AlarmOutcome,
    Entered,
    Pause,
    ShelfSince,
    TapeVerdict,
    WindowVerdict,
    batch_records,
    settled,
)
from handsfree.job.cups import HOT_SHOP_C
from handsfree.job.events import (
    Acknowledged,
    Announced,
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    CupWarmed,
    Event,
    JobEnded,
    JobOpened,
    LotTold,
    Measured,
    ProductChosen,
    PutOff,
    ReadingTaken,
    TakenBack,
    TapePulled,
    TapeSet,
    TimerSet,
)
from handsfree.job.reminders import reminders, subject_of
from handsfree.job.restart import replay_parts
from handsfree.job.shelf import Shelf
from handsfree.job.state import Batch, State, evolve, replay
from handsfree.language.replies import Called
from handsfree.shell.cards import load_card
from tests.job.records import CARD, EIGHT, ZONE, air, at, coat, cup, entered, reading, record

# --- what counts --------------------------------------------------------------------------

FACTS: tuple[Event, ...] = (
    BatchOpened(EIGHT, 1),
    reading(0, 1, Component.RESIN, 700),
    ConditionTold(EIGHT, Measured.AIR_C, Fraction(20)),
    TapeSet(EIGHT),
    Announced(EIGHT, "timer 1"),
    Acknowledged(EIGHT, "timer 1"),
    TimerSet(EIGHT, 1, at(20)),
    CoatFinished(EIGHT, 1),
    TakenBack(EIGHT),
    TakenBack(EIGHT),
)


def copied(event: Event) -> Event:
    """The same fact as another object, as each is when it was read from a journal."""
    return replace(event)


def used(state: State) -> State:
    """The state without its log, and without cups that nothing was told of."""
    batches = tuple(batch for batch in state.batches if batch != Batch(batch.number))
    return replace(state, log=(), batches=batches)


def is_possible(events: list[Event]) -> bool:
    """Whether each reading is of a cup that was opened: only after a gap an opening is lost."""
    state = State()
    for event in events:
        if isinstance(event, ReadingTaken) and not state.batches:
            return False
        state = evolve(state, event)
    return True


@given(st.lists(st.lists(st.sampled_from(FACTS).map(copied), max_size=12), min_size=1, max_size=4))
def test_what_counts_is_what_the_program_itself_goes_on_with(parts: list[list[Event]]) -> None:
    """The second way to the same state: ``replay_parts``, which every restart uses."""
    assume(is_possible(parts[0]))
    log, corrections = settled(
        [Entered(event, ZONE, number) for number, part in enumerate(parts) for event in part]
    )
    state, skipped = replay_parts(parts)
    kept = [
        one.event
        for one in log
        if one.taken_back_at is None and not isinstance(one.event, TakenBack)
    ]
    after = replay_parts((kept,))[0]
    # A cup whose opening is lost is opened in its stead, by one also for a fact taken back later.
    assert used(after) == used(state)
    told = sum(isinstance(event, TakenBack) for part in parts for event in part)
    assert len(corrections) <= told - skipped


def test_moments_are_in_the_zone_they_were_recorded_in() -> None:
    job = record(cup())
    assert job.started_at.isoformat() == "2026-03-02T08:00:00+01:00"
    assert job.cups[0].ends_at is not None
    assert job.cups[0].ends_at.isoformat() == "2026-03-02T08:25:00+01:00"


def test_a_correction_names_what_was_told_instead() -> None:
    wrong, right = (
        reading(1, 1, Component.RESIN, 650),
        reading(2, 1, Component.RESIN, 700),
    )
    job = record([BatchOpened(at(0), 1), wrong, TakenBack(at(2)), right])
    (correction,) = job.corrections
    assert isinstance(correction.fact, ReadingTaken)
    assert correction.fact.grams == 650
    assert correction.replaced_by == right
    assert job.cups[0].resin_g == 700
    assert [one.taken_back_at for one in job.log] == [None, at(2), None, None]


def test_a_job_is_from_its_opening_to_the_next() -> None:
    first = [*cup(1), *coat(1, 5), JobEnded(at(60)), *air(310, 20, 50, 19)]
    second = [JobOpened(at(400), 2), *cup(1, start=401, hardener_g=99), *coat(1, 402)]
    found = batch_records(entered([*first, *second]), [ShelfSince(EIGHT, Shelf(CARD))])
    assert [job.number for job in found] == [1, 2]
    assert [job.ended_at for job in found] == [at(60), None]
    # Each counts its cups and coats from one.
    assert [[made.number for made in job.cups] for job in found] == [[1], [1]]
    assert [job.cups[0].hardener_g for job in found] == [100, 99]
    assert [len(job.coats) for job in found] == [1, 1]
    assert found[1].coats[0].window is WindowVerdict.FIRST
    # What was read shortly before the work began is what it began with.
    assert [look.at for look in found[1].looks] == [at(310)]


def test_an_opening_that_was_taken_back_opens_nothing() -> None:
    events = [*cup(1), JobOpened(at(60), 2), TakenBack(at(61)), *cup(2, start=70)]
    assert len(record(events).cups) == 2


def test_a_job_is_held_to_the_card_it_was_done_with() -> None:
    assert CARD.limits is not None
    stricter = replace(CARD, limits=replace(CARD.limits, dew_margin_k=10.0))
    events = [*air(0, 20, 55, 19), JobOpened(at(400), 2), *air(401, 20, 55, 19)]
    shelves = [ShelfSince(at(0), Shelf(CARD)), ShelfSince(at(390), Shelf(stricter))]
    first, second = batch_records(entered(events), shelves)
    assert first.looks[0].faults == ()
    assert second.looks[0].faults == (Fault.TOO_CLOSE_TO_DEW,)


def test_each_cup_has_the_product_and_the_lots_it_was_poured_from() -> None:
    other = load_card("cold-bond")  # 100:44, so 700 g take 308 g.
    events: list[Event] = [
        LotTold(at(0), Component.RESIN, "4712"),
        *cup(1),
        ProductChosen(at(30), other.name),
        LotTold(at(31), Component.HARDENER, "105"),
        *cup(2, start=40, hardener_g=308),
    ]
    shelf = Shelf(CARD, (other,))
    (job,) = batch_records(entered(events), [ShelfSince(EIGHT, shelf)])
    first, second = job.cups
    assert (first.product, first.resin_lot, first.hardener_lot) == ("Gate Coat", "4712", "")
    # Another product comes in other cans.
    assert (second.product, second.resin_lot, second.hardener_lot) == ("Cold Bond", "", "105")
    assert first.error == second.error == 0
    assert job.products == "Gate Coat and Cold Bond"


def test_an_empty_journal_has_no_record() -> None:
    assert batch_records((), [ShelfSince(EIGHT, Shelf(CARD))]) == ()


# --- cups ---------------------------------------------------------------------------------

# 7:1 by hand: 700 g of resin take 100 g of hardener; error = hardener / 100 - 1.
RATIOS = [
    pytest.param(100, Fraction(0), Band.ON_TARGET, id="exact"),
    pytest.param(102, Fraction(2, 100), Band.ON_TARGET, id="edge-of-good"),
    pytest.param(95, Fraction(-5, 100), Band.WITHIN_TOLERANCE, id="edge-of-tolerated"),
    pytest.param(106, Fraction(6, 100), Band.CORRECT, id="too-much"),
    pytest.param(85, Fraction(-15, 100), Band.STOP, id="far-too-little"),
]


@pytest.mark.parametrize(("hardener_g", "error", "band"), RATIOS)
def test_the_ratio_reached_has_its_verdict(hardener_g: float, error: Fraction, band: Band) -> None:
    (made,) = record(cup(hardener_g=hardener_g)).cups
    assert (made.error, made.band) == (error, band)
    assert made.ratio == Fraction(700) / Fraction(hardener_g)


def test_the_pot_life_used_ends_where_the_clock_ended() -> None:
    (made,) = record(cup(pot_life_min=25, emptied=20)).cups
    assert made.used_share == Fraction(20, 25)
    # Felt warm at ten minutes, 77 % gone: 5.75 of the 25 minutes are left from there.
    warmed = CupWarmed(at(10), 1, None, Fraction(77, 100))
    *before, emptied = cup(pot_life_min=25, emptied=20)
    (made,) = record([*before, warmed, emptied]).cups
    assert made.ends_at == at(15.75)
    assert made.used_share == 1 + Fraction("4.25") / 25


def test_a_cup_that_was_not_told_empty_has_no_share() -> None:
    (made,) = record(cup(emptied=None)).cups
    assert made.used_share is None
    assert made.emptied_at is None


@pytest.mark.parametrize(
    ("told_after_s", "mix_c", "is_assumed"),
    [
        pytest.param(40, HOT_SHOP_C, True, id="no-answer"),
        pytest.param(8, HOT_SHOP_C, False, id="told-at-once"),
        pytest.param(40, 22, False, id="told-late"),
    ],
)
def test_a_temperature_that_nobody_told_is_called_assumed(
    told_after_s: float, mix_c: float, is_assumed: bool
) -> None:
    started = ClockStarted(
        at(0) + timedelta(seconds=told_after_s), 1, at(0), Fraction(mix_c), timedelta(minutes=20)
    )
    (made,) = record([*cup()[:3], started]).cups
    assert made.is_mix_c_assumed is is_assumed


def test_a_stretch_of_unknown_length_puts_a_cup_in_doubt() -> None:
    pause = Pause(at(5), at(10))
    first, second = record([*cup(1), *cup(2, start=20)], pauses=[pause]).cups
    assert first.is_time_in_doubt
    assert not second.is_time_in_doubt


def test_a_cup_whose_opening_is_lost_is_still_told_of() -> None:
    (made,) = record(cup()[1:]).cups
    assert made.opened_at is None
    assert made.resin_g == 700


# --- air and surface ----------------------------------------------------------------------


def test_readings_told_together_are_one_look() -> None:
    events = [*air(0, 20, 55, 19), *air(60, 21, 60, 19)]
    events.append(ConditionTold(at(120), Measured.HUMIDITY_PERCENT, Fraction(90)))
    looks = record(events).looks
    assert [look.at for look in looks] == [at(0), at(60), at(120)]
    # The humidity alone was told anew: the others stand, and their age is told.
    assert looks[2].air_c == 21
    assert looks[2].oldest_at == at(60)
    assert Fault.TOO_HUMID in looks[2].faults


def test_a_verdict_needs_all_three_readings() -> None:
    (look,) = record([ConditionTold(at(0), Measured.SURFACE_C, Fraction(19))]).looks
    assert not look.is_complete
    assert look.dew_point_c is None


# --- coats --------------------------------------------------------------------------------

# At 20 °C the card says: next coat from 4 h, until 48 h, after the last and the first stroke.
WINDOWS = [
    pytest.param(20 + 239, WindowVerdict.TOO_EARLY, id="too-early"),
    pytest.param(20 + 241, WindowVerdict.KEPT, id="just-open"),
    pytest.param(48 * 60 - 1, WindowVerdict.KEPT, id="still-open"),
    # Judged over the time since the last stroke, as the dialogue does.
    pytest.param(20 + 48 * 60 + 1, WindowVerdict.CLOSED, id="closed"),
]


@pytest.mark.parametrize(("start", "verdict"), WINDOWS)
def test_the_window_of_the_coat_before(start: float, verdict: WindowVerdict) -> None:
    first, second = record([*air(0, 22, 50, 20), *coat(1, 0), *coat(2, start)]).coats
    assert first.window is WindowVerdict.FIRST
    assert second.window is verdict
    assert second.window_opens_at == at(20 + 240)
    assert second.window_closes_at == at(48 * 60)


def test_without_a_surface_temperature_the_window_is_not_known() -> None:
    _, second = record([*coat(1, 0), *coat(2, 300)]).coats
    assert second.window is WindowVerdict.UNKNOWN
    assert second.clock is None


def test_a_window_is_judged_by_what_was_known_then() -> None:
    events = [*air(0, 22, 50, 20), *coat(1, 0), *coat(2, 265), *air(270, 12, 50, 11)]
    assert record(events).coats[1].window is WindowVerdict.KEPT


def test_old_readings_are_called_old() -> None:
    fresh, old = record([*air(0, 22, 50, 20), *coat(1, 30), *coat(2, 400)]).coats
    assert (fresh.is_look_stale, old.is_look_stale) == (False, True)


# Tape at 20 °C: tack-free after 6 h, so the last call is at 3 h.
TAPES = [
    pytest.param([], TapeVerdict.NONE, id="none"),
    pytest.param([TapeSet(at(-5)), TapePulled(at(179))], TapeVerdict.KEPT, id="in-time"),
    pytest.param([TapeSet(at(-5)), TapePulled(at(181))], TapeVerdict.LATE, id="late"),
    pytest.param([TapeSet(at(-5))], TapeVerdict.NOT_PULLED, id="left-on"),
    pytest.param([TapeSet(at(-5)), TapePulled(at(-1))], TapeVerdict.NONE, id="off-before"),
]


@pytest.mark.parametrize(("tape", "verdict"), TAPES)
def test_tape(tape: list[Event], verdict: TapeVerdict) -> None:
    events = [*air(-10, 22, 50, 20), *tape[:1], *coat(1, 0), *tape[1:]]
    if len(tape) == 2 and tape[1].at < at(0):
        events = [*air(-10, 22, 50, 20), *tape, *coat(1, 0)]
    (made,) = record(events).coats
    assert made.tape is verdict
    assert made.tape_last_call_at == at(180)


def test_readiness_is_the_reminders_own() -> None:
    """The same times as the program calls out, found another way."""
    events = [*air(0, 22, 50, 20), *coat(1, 0), *air(120, 20, 50, 16)]
    (made,) = record(events).coats
    called = {
        reminder.called: reminder.due_at for reminder in reminders(Shelf(CARD), replay(events))
    }
    assert made.clock is not None
    assert made.clock.at(Stage.RECOAT_OPENS) == called[Called.RECOAT_OPENS]
    assert made.clock.at(Stage.FULL_CURE) == called[Called.FULL_CURE]


def test_each_area_has_windows_and_tape_of_its_own() -> None:
    events: list[Event] = [
        *air(-5, 22, 50, 20),
        TapeSet(at(-1), "gate"),
        CoatStarted(at(0), 1, "gate"),
        CoatFinished(at(20), 1, "gate"),
        CoatStarted(at(30), 1, "floor"),
        CoatFinished(at(50), 1, "floor"),
        TapePulled(at(181), "gate"),
        CoatStarted(at(265), 2, "gate"),
        CoatStarted(at(266), 2, "floor"),
    ]
    found = {(made.area, made.number): made for made in record(events).coats}
    assert found["gate", 1].window is found["floor", 1].window is WindowVerdict.FIRST
    # Four hours after the last stroke of its own area's coat.
    assert found["gate", 2].window is WindowVerdict.KEPT
    assert found["floor", 2].window is WindowVerdict.TOO_EARLY
    assert found["gate", 1].tape is TapeVerdict.LATE
    assert found["floor", 1].tape is TapeVerdict.NONE


# --- alarms -------------------------------------------------------------------------------


def test_every_key_that_the_program_makes_can_be_read_back() -> None:
    events = [*cup(emptied=None), *air(0, 22, 50, 20), TapeSet(at(0)), *coat(1, 0)]
    events += [CoatFinished(at(0), 2, "fence from the north"), TimerSet(at(0), 7, at(20))]
    found = reminders(Shelf(CARD), replay(events))
    assert {reminder.called for reminder in found} == set(Called)
    for reminder in found:
        subject = subject_of(reminder.key)
        assert (subject.called, subject.number) == (reminder.called, reminder.number)
        assert (subject.percent or 0) == reminder.percent
        assert subject.name == reminder.name
    # Two are of one series for the record exactly where they are for the reminders.
    for one in found:
        for other in found:
            is_same = subject_of(one.key).series == subject_of(other.key).series
            assert is_same is (one.series == other.series)


def test_a_key_of_another_program_is_kept_as_it_is() -> None:
    assert subject_of("something new, 5").called is None


def test_what_became_of_an_announcement() -> None:
    start = at(0).isoformat()
    half, most, end = (f"cup 1 from {start}, {percent}" for percent in (50, 75, 100))
    *mixed, emptied = cup(pot_life_min=20, emptied=18)
    job = record(
        [
            *mixed,
            Announced(at(10), half),
            Acknowledged(at(10.5), half),
            Announced(at(15.5), most),
            emptied,
            TimerSet(at(18), 1, at(19), "stir"),
            Announced(at(19), "timer 1"),
            Acknowledged(at(20), "timer 1"),
            PutOff(at(20), "timer 1", at(30)),
            Announced(at(31), "timer 1"),
            Announced(at(40), end),
        ]
    )
    by_time = {alarm.announced_at: alarm for alarm in job.alarms}
    assert by_time[at(10)].outcome is AlarmOutcome.ANSWERED
    assert by_time[at(10)].delay == timedelta(seconds=30)
    assert by_time[at(15.5)].outcome is AlarmOutcome.ENDED
    assert by_time[at(15.5)].due_at == at(15)
    assert by_time[at(19)].put_off_until == at(30)
    assert by_time[at(19)].subject.name == "stir"
    assert by_time[at(31)].due_at == at(30)
    assert by_time[at(31)].outcome is AlarmOutcome.UNANSWERED


def test_of_a_series_the_next_overtakes() -> None:
    keys = [f"cup 1 from {at(0).isoformat()}, {percent}" for percent in (50, 75)]
    events = [*cup(emptied=None), Announced(at(13), keys[0]), Announced(at(19), keys[1])]
    first, second = record([*events, CupEmptied(at(20), 1)]).alarms
    assert (first.outcome, first.over_at) == (AlarmOutcome.OVERTAKEN, at(19))
    assert (second.outcome, second.over_at) == (AlarmOutcome.ENDED, at(20))
