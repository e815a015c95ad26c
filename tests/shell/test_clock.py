"""The clock: never early, never lost, and a doubt is a doubt."""

import os
import random
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

import pytest

from handsfree.shell.clock import Clock, Stamp, SystemTime
from tests.shell.fake_time import START, FakeTime

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def stamped(source: FakeTime) -> Stamp:
    """A stamp of a clock that runs and agrees with the true time."""
    clock = Clock(source)
    return clock.stamp(clock.now())


def test_time_asleep_counts_and_a_set_wall_clock_does_not() -> None:
    source = FakeTime()
    clock = Clock(source)
    source.advance(8 * HOUR)
    source.set_wall(-3 * DAY)
    assert clock.now() == START + 8 * HOUR


def test_a_program_that_starts_again_goes_on_by_the_machine_clock() -> None:
    source = FakeTime()
    last = stamped(source)
    source.set_wall(5 * DAY)
    source.advance(HOUR)
    clock = Clock(source, last)
    assert clock.now() == START + HOUR
    assert clock.doubt is None
    assert clock.wall_step() == 5 * DAY


def test_a_machine_that_starts_again_goes_on_by_the_wall_clock() -> None:
    source = FakeTime()
    last = stamped(source)
    source.reboot(off_for=3 * HOUR)
    clock = Clock(source, last)
    assert clock.now() == source.true_at
    assert clock.doubt is None
    assert clock.wall_step() == timedelta()


@pytest.mark.parametrize(
    "wall_at",
    [
        pytest.param(datetime(1970, 1, 1, tzinfo=UTC), id="no battery"),
        pytest.param(START - HOUR, id="behind the record"),
        pytest.param(START + timedelta(seconds=10), id="less than the machine was on for"),
    ],
)
def test_a_wall_clock_that_cannot_be_right_is_doubted(wall_at: datetime) -> None:
    source = FakeTime()
    last = stamped(source)
    source.reboot(off_for=3 * HOUR, wall_at=wall_at)
    clock = Clock(source, last)
    assert clock.doubt is not None
    # The machine was on for thirty seconds: so much has passed, at least.
    assert clock.now() == START + timedelta(seconds=30)
    assert clock.wall_step() == timedelta()


def test_a_thousand_starts_behind_the_record_are_a_thousand_doubts() -> None:
    pick = random.Random(3)
    for _ in range(1000):
        source = FakeTime()
        source.set_wall(timedelta(seconds=pick.randrange(10**8)))
        last = stamped(source)
        behind = timedelta(seconds=pick.randrange(1, 10**9))
        off_for = timedelta(seconds=pick.randrange(10**6))
        source.reboot(off_for, wall_at=last.wall_at - behind)
        clock = Clock(source, last)
        assert clock.doubt is not None
        assert last.at <= clock.now() <= last.at + off_for + timedelta(seconds=30)


def test_a_record_of_an_impossible_date_is_doubted() -> None:
    source = FakeTime()
    source.set_wall(datetime(1970, 1, 1, tzinfo=UTC) - START)
    clock = Clock(source)
    assert not clock.is_wall_credible
    last = clock.stamp(clock.now())
    source.reboot(off_for=HOUR, wall_at=START + HOUR)
    assert Clock(source, last).doubt is not None


def test_durations_are_right_in_1970() -> None:
    source = FakeTime()
    source.set_wall(datetime(1970, 1, 1, tzinfo=UTC) - START)
    clock = Clock(source)
    started_at = clock.now()
    source.advance(HOUR)
    source.set_wall(56 * 365 * DAY)
    assert clock.now() - started_at == HOUR


def test_without_a_boot_name_the_wall_clock_is_asked() -> None:
    class Nameless(FakeTime):
        """A system that does not name its runs."""

        def boot(self) -> str:
            return ""

    source = Nameless()
    last = stamped(source)
    source.advance(HOUR)
    assert Clock(source, last).now() == START + HOUR
    source.set_wall(-DAY)
    assert Clock(source, last).doubt is not None


def test_a_step_of_the_wall_clock_is_told_once_and_drift_never() -> None:
    source = FakeTime()
    clock = Clock(source)
    source.set_wall(timedelta(seconds=4))
    assert clock.wall_step() == timedelta()
    source.set_wall(HOUR)
    assert clock.wall_step() == HOUR + timedelta(seconds=4)
    assert clock.wall_step() == timedelta()


def test_a_new_zone_is_told_once() -> None:
    source = FakeTime()
    clock = Clock(source)
    assert not clock.has_new_zone()
    source.zone_name = "Asia/Tokyo"
    assert clock.has_new_zone()
    assert not clock.has_new_zone()


def test_the_listener_sees_what_the_wall_shows() -> None:
    source = FakeTime()
    clock = Clock(source)
    assert clock.now().astimezone(clock.listener_zone()).hour == 13  # Berlin in winter.
    source.set_wall(timedelta(days=40, hours=2))
    # Forty days on it is summer there: an hour more.
    assert clock.now().astimezone(clock.listener_zone()).hour == 16
    source.set_wall(-timedelta(days=90, hours=20))
    shown = source.wall_at().astimezone(ZoneInfo("Europe/Berlin"))
    assert clock.now().astimezone(clock.listener_zone()).time() == shown.time()


def check_zone(name: str) -> None:
    """Durations do not know of the clock changes of a zone; the time of day does."""
    zone = ZoneInfo(name)
    source = FakeTime()
    source.zone_name = name
    at = datetime(2025, 1, 1, tzinfo=UTC)
    end = datetime(2035, 12, 31, tzinfo=UTC)
    offset = at.astimezone(zone).utcoffset()
    while at < end:
        later = at + 7 * DAY
        if (changed := later.astimezone(zone).utcoffset()) != offset:
            source.true_at = later - DAY * 3.5
            clock = Clock(source)
            for length in (timedelta(minutes=23), 5 * HOUR, 7 * DAY):
                before = clock.now()
                source.advance(length)
                assert clock.now() - before == length
                wall = source.true_at.astimezone(zone)
                assert clock.now().astimezone(clock.listener_zone()) == wall
                assert clock.stamp(clock.now()).utc_offset == wall.utcoffset()
        at, offset = later, changed


@pytest.mark.parametrize(
    "name", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Tokyo"]
)
def test_clock_changes_of_a_zone_change_no_duration(name: str) -> None:
    check_zone(name)


@pytest.mark.slow
def test_clock_changes_of_all_zones_change_no_duration() -> None:
    names = sorted(available_timezones())
    assert len(names) > 400
    for name in names:
        check_zone(name)


def test_the_machine_clocks_can_be_read(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    source = SystemTime()
    clock = Clock(source)
    first = clock.now()
    assert first <= clock.now()
    assert source.since_boot() > timedelta()
    assert clock.stamp(first).at == first
    for name, expected in (("Asia/Tokyo", "Asia/Tokyo"), (":Asia/Tokyo", "Asia/Tokyo")):
        monkeypatch.setenv("TZ", name)
        assert source.zone()[0] == expected
    for broken in ("Nowhere/None", "../etc", str(tmp_path), "EST5EDT4,M3.2.0,M11.1.0"):
        monkeypatch.setenv("TZ", broken)
        assert source.zone()[0] == ""
        assert first.astimezone(source.zone()[1]) == first


@pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="Linux only")
def test_the_machine_names_its_run() -> None:
    assert len(SystemTime().boot()) == 36
    assert os.path.exists("/proc/sys/kernel/random/boot_id")
