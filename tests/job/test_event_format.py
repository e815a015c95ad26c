"""The record's text: exact there and back, and nothing else is read."""

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.core.mix import Component
from handsfree.job.event_format import (
    FORMAT_VERSION,
    RecordIsNewer,
    RecordUnreadable,
    record_from_text,
    text_of,
)
from handsfree.job.events import BatchOpened, Event, ReadingTaken

EVENTS: tuple[type[Event], ...] = get_args(Event)
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)

st.register_type_strategy(
    datetime, st.datetimes(timezones=st.just(UTC), min_value=datetime(1970, 1, 1))
)
st.register_type_strategy(
    Fraction, st.builds(Fraction, st.integers(-(10**12), 10**12), st.integers(1, 10**6))
)


@pytest.mark.parametrize("kind", EVENTS, ids=lambda kind: kind.__name__)
def test_every_event_is_read_back_as_it_was(kind: type[Event]) -> None:
    @given(st.from_type(kind))
    def check(event: Event) -> None:
        text = text_of(event)
        assert text.isascii()
        assert "\n" not in text
        assert record_from_text(text, EVENTS) == event

    check()


@dataclass(frozen=True)
class Part:
    """Something that an event could hold one day."""

    name: str
    grams: Fraction | None


@dataclass(frozen=True)
class Whole:
    """An event of other kinds of fields than today's."""

    parts: tuple[Part, ...]
    either: Part | BatchOpened
    length: timedelta


def test_a_later_event_needs_nothing_new() -> None:
    whole = Whole(
        (Part("Тест \u2028 \ud800 🙂", Fraction(1, 3)), Part("", None)),
        BatchOpened(NOON, 3),
        timedelta(microseconds=-1),
    )
    assert record_from_text(text_of(whole), (Whole,)) == whole


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Fraction(856), "856"),
        (Fraction("118.5"), "118.5"),
        (Fraction("-0.05"), "-0.05"),
        (Fraction(1, 3), "1/3"),
        (Fraction(0), "0"),
        (Fraction(1, 8), "0.125"),
    ],
)
def test_numbers_are_written_as_people_write_them(value: Fraction, text: str) -> None:
    assert json.loads(text_of(Part("", value)))["grams"] == text


def test_a_moment_is_written_in_utc() -> None:
    summer = datetime(2026, 7, 1, 14, tzinfo=timezone(timedelta(hours=2)))
    assert json.loads(text_of(BatchOpened(summer, 1)))["at"] == "2026-07-01T12:00:00+00:00"


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(RecordUnreadable, match="no time zone"):
        text_of(BatchOpened(NOON.replace(tzinfo=None), 1))


def test_a_newer_version_is_named() -> None:
    with pytest.raises(RecordIsNewer) as refused:
        record_from_text(f'{{"v":{FORMAT_VERSION + 1},"kind":"Dance"}}', EVENTS)
    assert refused.value.version == FORMAT_VERSION + 1


READING = json.loads(
    text_of(ReadingTaken(NOON, 1, Component.RESIN, Fraction(5), Fraction(5), Fraction(0), True))
)


@pytest.mark.parametrize(
    "changed",
    [
        {"v": 0},
        {"v": True},
        {"v": "1"},
        {"kind": "Dance"},
        {"kind": None},
        {"batch": "1"},
        {"batch": 1.0},
        {"batch": True},
        {"batch": None},
        {"is_confirmed": 1},
        {"component": "sand"},
        {"component": ["resin"]},
        {"grams": 5},
        {"grams": "5.0"},
        {"grams": "05"},
        {"grams": "+5"},
        {"grams": "2/4"},
        {"grams": "1/0"},
        {"grams": "0/00"},
        {"grams": "1e3"},
        {"grams": "1_0"},
        {"grams": "\u0665"},
        {"grams": "nan"},
        {"grams": "9" * 5000},
        {"at": "2026-01-05T12:00:00"},
        {"at": "2026-01-05T12:00:00+02:00"},
        {"at": "2026-01-05T12:00:00Z"},
        {"at": "noon"},
        {"at": 5},
        {"extra": 1},
    ],
    ids=repr,
)
def test_what_is_not_in_the_format_is_refused(changed: dict[str, object]) -> None:
    with pytest.raises(RecordUnreadable):
        record_from_text(json.dumps({**READING, **changed}), EVENTS)


@pytest.mark.parametrize(
    "length", ["PT1", "1", "PT1.50S", "PT01S", "PT1.1234567S", "PT-0S", "PT99999999999999S", 5]
)
def test_a_length_of_time_has_one_way_to_be_written(length: object) -> None:
    whole = Whole((), BatchOpened(NOON, 3), timedelta(seconds=1.5))
    found = json.loads(text_of(whole))
    assert found["length"] == "PT1.5S"
    with pytest.raises(RecordUnreadable, match="length"):
        record_from_text(json.dumps({**found, "length": length}), (Whole,))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[]",
        '{"v":1,"kind":"BatchOpened","at":"2026-01-05T12:00:00+00:00"}',
        '{"v":1,"v":1,"kind":"BatchOpened","at":"2026-01-05T12:00:00+00:00","batch":1}',
        '{"v":1,"kind":"BatchOpened","at":"2026-01-05T12:00:00+00:00","batch":NaN}',
        '{"v":1,"kind":"BatchOpened","at":"2026-01-05T12:00:00+00:00","batch":1e2}',
        '{"v":1,"kind":"BatchOpened","at":"2026-01-05T12:00:00+00:00","batch":' + "[" * 10_000,
        '{"v":1,"kind":"BatchOpened","at":"2026-01-05T12:00:00+00:00","batch":' + "9" * 5000 + "}",
    ],
    ids=lambda text: text[-40:],
)
def test_other_json_is_refused(text: str) -> None:
    with pytest.raises(RecordUnreadable):
        record_from_text(text, EVENTS)


def test_a_field_that_would_lose_exactness_is_a_mistake_in_the_program() -> None:
    @dataclass(frozen=True)
    class Rounded:
        """An event with a float in it."""

        value: float

    with pytest.raises(TypeError, match="no exact text"):
        text_of(Rounded(0.1))
