"""The state of many random journals as one digest: the same in every Python.

``python -m tests.shell.replay_digest COUNT`` prints it. It needs nothing but the program's pure
layers, so that any Python with pint can run it.
"""

import hashlib
import sys
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum
from fractions import Fraction
from random import Random
from typing import Any

from handsfree.core.mix import Component
from handsfree.job import events as told
from handsfree.job.event_format import record_from_text, text_of
from handsfree.job.events import Event, Measured
from handsfree.job.state import State, replay
from handsfree.language.intents import Film

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
AREAS = ("", "gate", "left panel")


def events_of(seed: int) -> list[Event]:
    """A random record of 20 to 120 events, in an order that the program could have written."""
    pick = Random(seed)
    made: list[Event] = []
    at = START
    for _ in range(pick.randrange(20, 120)):
        at += timedelta(microseconds=pick.randrange(1, 600_000_000))
        made.append(_event(pick, at, made))
    return made


def _event(pick: Random, at: datetime, made: list[Event]) -> Event:
    cups = replay(made).batches
    if not cups or pick.random() < 0.1:
        return told.BatchOpened(at, len(cups) + 1)
    cup, area = pick.randrange(1, len(cups) + 1), pick.choice(AREAS)
    grams = Fraction(pick.randrange(1, 50_000), pick.choice((1, 10, 100, 3)))
    part = pick.choice(list(Component))
    life = timedelta(seconds=pick.randrange(60, 9000))
    choices: tuple[Event, ...] = (
        told.TotalWanted(at, cup, grams),
        told.ReadingTaken(at, cup, part, grams, grams, Fraction(0), pick.random() < 0.5),
        told.ScaleTared(at, cup, grams),
        told.ClockStarted(at, cup, at, Fraction(pick.randrange(100, 400), 10), life),
        told.CupWarmed(at, cup, None, Fraction(pick.randrange(0, 1000), 1000)),
        told.CupEmptied(at, cup),
        told.CupLeft(at, cup, grams),
        told.ConditionTold(at, pick.choice(list(Measured)), Fraction(pick.randrange(1, 400), 10)),
        told.CoatStarted(at, pick.randrange(1, 4), area),
        told.CoatFinished(at, pick.randrange(1, 4), area),
        told.FilmFelt(at, pick.randrange(1, 4), pick.choice(list(Film)), area),
        told.TapeSet(at, area),
        told.TapePulled(at, area),
        told.TimerSet(at, pick.randrange(1, 9), at + timedelta(minutes=5), "stir"),
        told.Announced(at, f"timer {pick.randrange(1, 9)}"),
        told.Acknowledged(at, f"timer {pick.randrange(1, 9)}"),
        told.PutOff(at, f"timer {pick.randrange(1, 9)}", at + timedelta(minutes=9)),
        told.TakenBack(at),
        told.NoteTaken(at, 1, ("a", "run")),
        told.LotTold(at, part, str(pick.randrange(10_000))),
        told.CoatsPlanned(at, pick.randrange(1, 5), area),
    )
    return pick.choice(choices)


def shown(value: Any) -> str:
    """A value as text that depends on nothing but the value."""
    if is_dataclass(value) and not isinstance(value, type):
        inside = ",".join(f"{f.name}={shown(getattr(value, f.name))}" for f in fields(value))
        return f"{type(value).__name__}({inside})"
    if isinstance(value, tuple):
        return "(" + ",".join(map(shown, value)) + ")"
    if isinstance(value, Enum):
        return f"{type(value).__name__}.{value.name}"
    if hasattr(value, "items"):
        return "{" + ",".join(sorted(f"{shown(k)}:{shown(v)}" for k, v in value.items())) + "}"
    return str(value)


def digest(count: int) -> str:
    """Of the states after so many random records, each read back from its own text."""
    total = hashlib.sha256()
    for seed in range(count):
        texts = [text_of(event) for event in events_of(seed)]
        read: list[Any] = [record_from_text(text, told.Event.__args__) for text in texts]
        state: State = replay(read)
        total.update(shown(state).encode())
    return total.hexdigest()


if __name__ == "__main__":
    print(digest(int(sys.argv[1])))
