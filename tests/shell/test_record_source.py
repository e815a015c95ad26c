"""A journal read for its record: what was worked with, and where the time is not simply known."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

import handsfree
from handsfree.job.events import BatchOpened
from handsfree.shell.cards import card_text
from handsfree.shell.cli import main
from handsfree.shell.clock import Clock
from handsfree.shell.journal import JOURNAL_NAME, Journal
from handsfree.shell.journal_entries import Equipment, Equipped, contents_of
from handsfree.shell.model_folder import fingerprint, shipped_model
from handsfree.shell.record_source import ClockNote, read_source
from tests.shell.fake_time import START, FakeTime
from tests.shell.journal_faults import UnsyncedFiles

GATE = Equipment((card_text("gate-coat"),), "model", "0" * 64, Fraction(1))
DEAD_BATTERY = datetime(1970, 1, 1, tzinfo=UTC)


def run(folder: Path, source: FakeTime, equipment: Equipment | None = None) -> None:
    """The program starts, opens a cup, and stops."""
    journal = Journal(folder, UnsyncedFiles())
    contents = journal.open()
    clock = Clock(source, contents.last_stamp)
    journal.begin(clock.stamp(clock.now()), "Gate Coat")
    if equipment is not None and equipment != contents.equipment:
        journal.equip(clock.stamp(clock.now()), equipment)
    journal.append((BatchOpened(clock.now(), 1),), clock.stamp(clock.now()))
    source.advance(timedelta(minutes=1))
    journal.append((), clock.stamp(clock.now()))
    journal.close()


def kept(folder: Path) -> list[Equipment]:
    """What was written down in a journal of what was worked with."""
    contents = contents_of((folder / JOURNAL_NAME).read_bytes())
    return [entry.equipment for entry in contents.entries if isinstance(entry, Equipped)]


# --- the clock ----------------------------------------------------------------------------


def off_for_an_hour(source: FakeTime) -> None:
    source.reboot(timedelta(hours=1))


def dead_battery(source: FakeTime) -> None:
    source.reboot(timedelta(hours=1), DEAD_BATTERY)


def program_only(source: FakeTime) -> None:
    source.advance(timedelta(hours=1))


STARTS = [
    pytest.param(program_only, {ClockNote.COUNTED}, False, id="the-machine-was-on"),
    pytest.param(off_for_an_hour, {ClockNote.BY_WALL}, False, id="off"),
    pytest.param(
        dead_battery, {ClockNote.IN_DOUBT, ClockNote.WALL_NOT_SET}, True, id="dead-battery"
    ),
]


@pytest.mark.parametrize(("between", "notes", "is_doubtful"), STARTS)
def test_a_start_says_how_its_time_is_known(
    tmp_path: Path, between: Callable[[FakeTime], None], notes: set[ClockNote], is_doubtful: bool
) -> None:
    source = FakeTime()
    run(tmp_path, source)
    between(source)
    run(tmp_path, source)
    found = read_source(tmp_path)
    assert {event.note for event in found.clock} == notes
    assert bool(found.jobs[0].pauses) is is_doubtful


def test_a_wall_clock_that_is_set_moves_nothing(tmp_path: Path) -> None:
    source = FakeTime()
    clock = Clock(source)
    journal = Journal(tmp_path, UnsyncedFiles())
    journal.open()
    journal.begin(clock.stamp(clock.now()), "Gate Coat")
    source.set_wall(timedelta(hours=-2))
    journal.append((BatchOpened(clock.now(), 1),), clock.stamp(clock.now()))
    journal.close()
    (event,) = read_source(tmp_path).clock
    assert (event.note, event.wall_passed) == (ClockNote.WALL_SET, timedelta(hours=-2))
    assert event.at == START


def test_each_event_is_in_the_zone_of_its_own_moment(tmp_path: Path) -> None:
    """Europe/Berlin, 2026-03-29: summer time begins, as the tz database has it."""
    source = FakeTime()
    source.advance(datetime(2026, 3, 28, 12, tzinfo=UTC) - source.true_at)
    run(tmp_path, source)
    source.advance(timedelta(days=1))
    run(tmp_path, source)
    (job,) = read_source(tmp_path).jobs
    offsets = [one.event.at.utcoffset() for one in job.log]
    assert offsets == [timedelta(hours=1), timedelta(hours=2)]


# --- what was worked with -----------------------------------------------------------------


def test_what_is_worked_with_is_written_down_once_for_each_change(tmp_path: Path) -> None:
    source = FakeTime()
    finer = Equipment(GATE.cards, GATE.model, GATE.model_sha256, Fraction(1, 10))
    for equipment in (GATE, GATE, finer, finer):
        run(tmp_path, source, equipment)
    assert kept(tmp_path) == [GATE, finer]
    found = read_source(tmp_path)
    used = [one.equipment for one in found.during(found.jobs[0])]
    assert used == [GATE, finer]
    assert {one.program for one in found.used} == {handsfree.__version__}
    assert found.is_card_recorded


def test_the_card_in_the_journal_counts_and_not_the_one_there_is_now(tmp_path: Path) -> None:
    changed = GATE.cards[0].replace("dew_margin_k = 3", "dew_margin_k = 5")
    run(tmp_path, FakeTime(), Equipment((changed,), "", "", Fraction(1)))
    (job,) = read_source(tmp_path, ["gate-coat"]).jobs
    assert job.card.limits is not None
    assert job.card.limits.dew_margin_k == 5


def test_a_typed_job_writes_its_card_down(tmp_path: Path) -> None:
    script = tmp_path / "script"
    script.write_text("new cup\n")
    for _ in range(2):
        words = ["type", "--script", str(script), "--data", str(tmp_path), "--scale-step", "0.1"]
        assert main(words) == 0
    names = ("gate-coat", "cold-bond", "floor-seal")  # The first, and those that may be named.
    cards = tuple(card_text(name) for name in names)
    assert kept(tmp_path) == [Equipment(cards, "", "", Fraction(1, 10))]


def test_a_journal_of_a_product_nobody_knows_asks_for_its_card(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = FakeTime()
    clock = Clock(source)
    journal = Journal(tmp_path, UnsyncedFiles())
    journal.open()
    journal.begin(clock.stamp(clock.now()), "Own Brew")
    journal.append((BatchOpened(clock.now(), 1),), clock.stamp(clock.now()))
    journal.close()
    assert main(["record", "--data", str(tmp_path)]) == 2
    assert "does not hold the card of Own Brew. Name it with --product." in capsys.readouterr().err
    card = tmp_path / "own.toml"
    card.write_text(card_text("gate-coat").replace("Gate Coat", "Own Brew"))
    words = ["record", "--data", str(tmp_path), "--out", str(tmp_path), "--product", str(card)]
    assert main(words) == 0


def test_a_model_without_a_list_of_checksums_has_a_fingerprint_too(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("one")
    first = fingerprint(tmp_path)
    (tmp_path / "a").write_text("two")
    assert fingerprint(tmp_path) != first
    assert len(fingerprint(shipped_model())) == 64
