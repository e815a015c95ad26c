"""The dialogue typed instead of spoken, on a simulated clock."""

import argparse
import json
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from handsfree.job.boundary import Heard, Input, Opened, Say, TimePassed
from handsfree.language.grammar import UNKNOWN_WORD
from handsfree.language.numbers import DIGIT_WORDS
from handsfree.shell.clock import ClockDoubt, Stamp
from handsfree.shell.session import Session

# Any day serves: a script tells only the time of day.
FIRST_DAY = datetime(2026, 1, 5, tzinfo=UTC)
SIMULATED_BOOT = "simulated"
BETWEEN_LINES = timedelta(seconds=5)
_NUMBER = re.compile(r"[0-9]*\.?[0-9]+", re.ASCII)
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")


class ScriptInvalid(ValueError):
    """A script line cannot be read; the message names the line and says what is wrong."""


@dataclass(frozen=True)
class Line:
    """One thing typed, and when."""

    at: datetime
    words: tuple[str, ...]


@dataclass(frozen=True)
class Spoken:
    """One thing said, by whom, and when."""

    at: datetime
    who: str  # "you" or "handsfree".
    text: str


class SimulatedClock:
    """The script's time: it stands still but for the script, and is never in doubt."""

    def __init__(self, last: Stamp | None) -> None:
        """Goes on where the record ended, or on the first day."""
        self.doubt: ClockDoubt | None = None
        self.is_wall_credible = True
        self._at = last.at if last is not None else FIRST_DAY

    def now(self) -> datetime:
        """The moment the script starts at."""
        return self._at

    def stamp(self, at: datetime) -> Stamp:
        """A moment with the same on every clock."""
        return Stamp(at, at, at - FIRST_DAY, SIMULATED_BOOT, "UTC", timedelta())


def time_of_day(text: str, after: datetime) -> datetime:
    """The next moment after ``after`` at which a clock shows that time; at once counts.

    Raises:
        ScriptInvalid: not HH:MM or HH:MM:SS.
    """
    match = _TIME.fullmatch(text)
    if match is None:
        raise ScriptInvalid(f"{text!r} is no time; write HH:MM:SS.")
    hour, minute, second = (int(part or 0) for part in match.groups())
    if hour > 23 or minute > 59 or second > 59:
        raise ScriptInvalid(f"{text!r} is no time of day.")
    moment = after.replace(hour=hour, minute=minute, second=second, microsecond=0)
    return moment if moment >= after else moment + timedelta(days=1)


def lines_of(text: Iterable[str], start: datetime) -> Iterator[Line]:
    """The script's lines with their moments.

    Args:
        text: "HH:MM:SS words" or only words, which then follow five seconds after the line
            before. Blank lines and lines that start with "#" are left out.
        start: the moment the clock starts at.

    Raises:
        ScriptInvalid: a line that is none of these, with its number.
    """
    now = start
    for number, raw in enumerate(text, start=1):
        line = raw.strip()
        if not line or line.startswith("#"):
            continue
        first, _, rest = line.partition(" ")
        try:
            if ":" in first:
                now = time_of_day(first, now)
                words = rest
            else:
                now += BETWEEN_LINES
                words = line
        except ScriptInvalid as error:
            raise ScriptInvalid(f"Line {number}: {error}") from error
        yield Line(now, words_of(words))


def words_of(text: str) -> tuple[str, ...]:
    """Typed text as the recognizer would give it: lower case, no punctuation, digits as words.

    A number is said digit by digit, as it is heard best: "resin 118.5 grams" is "resin one one
    eight point five grams". One with a comma or two points in it may mean several numbers and is
    none.
    """
    words: list[str] = []
    for token in re.findall(r"[a-z']+|[0-9.,]*[0-9][0-9.,]*", text.lower()):
        number = token.rstrip(".,")
        if not number or not number[-1].isdecimal():
            words.append(token)
        elif _NUMBER.fullmatch(number):
            words += ["point" if c == "." else DIGIT_WORDS[int(c)] for c in number]
        else:
            words.append(UNKNOWN_WORD)
    return tuple(words)


def converse(session: Session, lines: Iterable[Line], until: datetime | None) -> Iterator[Spoken]:
    """Everything said, by both sides, and every announcement that falls due in between."""
    for line in lines:
        yield from due_before(session, line.at)
        yield Spoken(line.at, "you", " ".join(line.words))
        yield from _step(session, Heard(line.words), line.at)
    if until is not None:
        yield from due_before(session, until)


def due_before(session: Session, moment: datetime) -> Iterator[Spoken]:
    """What falls due up to a moment."""
    while True:
        deadline = session.next_deadline()
        if deadline is None or deadline > moment:
            return
        # A fact can move a deadline into the past: it is called at once, not earlier.
        yield from _step(session, TimePassed(), max(deadline, session.last_at or deadline))


def _step(session: Session, incoming: Input, now: datetime) -> Iterator[Spoken]:
    for say in session.step(incoming, now).said:
        yield Spoken(now, "handsfree", session.words_of(say.reply))


def run(
    args: argparse.Namespace,
    session: Session,
    *,
    start: datetime = FIRST_DAY,
    first: Iterable[Say] = (),
) -> int:
    """The ``type`` command; returns the exit code.

    Args:
        args: the command's options.
        session: the job in hand.
        start: the moment the script starts at.
        first: what is said before anything is typed.
    """
    if args.script is not None:
        try:
            text: Iterable[str] = Path(args.script).read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            print(f"The script {args.script} cannot be read: {error}", file=sys.stderr)
            return 2
    else:
        text = sys.stdin
    try:
        last = start
        for say in first:
            _show(Spoken(start, "handsfree", session.words_of(say.reply)), as_json=args.json)
        if args.script is None:
            for spoken in _step(session, Opened(), start):
                _show(spoken, as_json=args.json)
        for spoken in converse(session, lines_of(text, start), None):
            _show(spoken, as_json=args.json)
            last = spoken.at
        if args.until is not None:
            for spoken in due_before(session, time_of_day(args.until, last)):
                _show(spoken, as_json=args.json)
    except ScriptInvalid as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def _show(spoken: Spoken, *, as_json: bool) -> None:
    if as_json:
        time = f"{spoken.at:%H:%M:%S}"
        print(json.dumps({"time": time, "who": spoken.who, "text": spoken.text}), flush=True)
    else:
        print(f"{spoken.at:%H:%M:%S}  {spoken.who + ':':<11} {spoken.text}", flush=True)
