"""Any journal at all gives a record: nothing that can be recorded may stop it."""

import json
import tempfile
from collections.abc import Sequence
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.core.mix import Component
from handsfree.job.events import (
    Acknowledged,
    Announced,
    BatchOpened,
    ClockStarted,
    CoatFinished,
    CoatsPlanned,
    CoatStarted,
    ConditionTold,
    CupEmptied,
    CupLeft,
    CupWarmed,
    Event,
    FilmFelt,
    JobEnded,
    JobOpened,
    LotTold,
    Measured,
    NoteTaken,
    ProductChosen,
    PutOff,
    ReadingTaken,
    ScaleTared,
    ScaleTold,
    TakenBack,
    TapePulled,
    TapeSet,
    TimerCanceled,
    TimerSet,
    TotalWanted,
)
from handsfree.job.review import review
from handsfree.language.intents import Film
from handsfree.shell.record_command import record_files
from handsfree.shell.record_source import read_source
from tests.job.records import CARD, at
from tests.shell.test_record_command import Page, journal_of

MINUTES = st.integers(0, 5000)
CUPS, COATS = st.integers(1, 3), st.integers(1, 3)
GRAMS = st.sampled_from([Fraction(-20), Fraction(0), Fraction(1, 3), Fraction(85), Fraction(700)])
AREAS = st.sampled_from(["", "gate", "floor from the door"])
KEYS = st.sampled_from(
    [
        f"cup 1 from {at(3).isoformat()}, 50",
        f"coat 1 on the gate from {at(9).isoformat()}, tape",
        "timer 1",
        "<b>, = odd",
    ]
)


@st.composite
def journals(draw: st.DrawFn) -> list[Event]:
    """Events of every kind in any order, in the order of their moments."""
    when = st.builds(at, MINUTES)
    length = st.builds(timedelta, seconds=st.integers(1, 90_000))
    kinds: Sequence[st.SearchStrategy[Event]] = (
        st.builds(BatchOpened, when, CUPS),
        st.builds(TotalWanted, when, CUPS, GRAMS),
        st.builds(
            ReadingTaken,
            when,
            CUPS,
            st.sampled_from(Component),
            GRAMS,
            GRAMS,
            GRAMS,
            st.booleans(),
        ),
        st.builds(ScaleTared, when, CUPS, GRAMS),
        st.builds(ClockStarted, when, CUPS, when, st.sampled_from([Fraction(20)]), length),
        st.builds(CupWarmed, when, CUPS, st.none() | GRAMS, st.sampled_from([Fraction(1, 2)])),
        st.builds(CupLeft, when, CUPS, GRAMS),
        st.builds(CupEmptied, when, CUPS),
        # Beyond what the dialogue accepts, too: another version may have.
        st.builds(
            ConditionTold,
            when,
            st.sampled_from(Measured),
            st.sampled_from([Fraction(n) for n in (-90, 0, 15, 20, 55, 300)]),
        ),
        st.builds(CoatStarted, when, COATS, AREAS),
        st.builds(CoatFinished, when, COATS, AREAS),
        st.builds(FilmFelt, when, COATS, st.sampled_from(Film), AREAS),
        st.builds(TapeSet, when, AREAS),
        st.builds(TapePulled, when, AREAS),
        st.builds(TimerSet, when, CUPS, when, AREAS),
        st.builds(TimerCanceled, when, CUPS),
        st.builds(JobOpened, when, CUPS),
        st.builds(ProductChosen, when, st.sampled_from(["Gate Coat", "Cold Bond"])),
        st.builds(ScaleTold, when, st.sampled_from([Fraction(1, 10)])),
        st.builds(CoatsPlanned, when, COATS, AREAS),
        st.builds(LotTold, when, st.sampled_from(Component), st.sampled_from(["1", "0042"])),
        st.builds(NoteTaken, when, CUPS, st.just(("[unk]", "<i>"))),
        st.builds(Announced, when, KEYS),
        st.builds(Acknowledged, when, KEYS),
        st.builds(PutOff, when, KEYS, when),
        st.builds(TakenBack, when),
        st.builds(JobEnded, when),
    )
    return sorted(draw(st.lists(st.one_of(kinds), min_size=1, max_size=40)), key=lambda e: e.at)


@given(journals())
@settings(max_examples=150)
def test_every_journal_has_a_record_in_sheets_and_data(events: list[Event]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        source = read_source(journal_of(Path(folder), events))
    for job in source.jobs:
        files = dict(record_files(source, job, ("csv", "json")))
        (data,) = (content for name, content in files.items() if name.endswith(".json"))
        json.loads(data)
    assert sum(len(job.log) for job in source.jobs) == len(events)
    review(CARD, source.jobs)


@given(journals())
@settings(max_examples=8)
def test_every_journal_has_a_page_and_a_print(events: list[Event]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        source = read_source(journal_of(Path(folder), events))
    files = dict(record_files(source, source.jobs[-1], ("html", "pdf")))
    page, printed = files.values()
    assert not Page(page.decode()).of("i")
    assert printed.startswith(b"%PDF-")
