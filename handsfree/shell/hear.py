"""Recordings decoded exactly as the live loop would, one JSON or text line per utterance."""

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path

from handsfree.job.boundary import Heard
from handsfree.job.step import Decision, Outcome
from handsfree.language.intents import Intent, NameComponent, TakeReading
from handsfree.language.replies import NoSpeech
from handsfree.language.wording import wording
from handsfree.shell.audio_file import UnreadableSound, blocks_of
from handsfree.shell.ear import Trouble, Utterance
from handsfree.shell.hearing import Hearing, HearingLost
from handsfree.shell.session import Session
from handsfree.shell.typed import FIRST_DAY

BAD_INPUT = 2
# At 10 dB and below wrong digits come with full confidence, at 20 dB hardly ever (measured with
# bench hearing); speech over noise is also how people judge whether they were heard.
CLEAR_SNR_DB = 15.0


@dataclass(frozen=True)
class Line:
    """What became of one utterance."""

    file: str
    start_s: float
    end_s: float
    words: str
    intent: str | None
    component: str | None
    grams: float | None  # The value understood, also when it is asked back.
    outcome: str
    reply: str


def heard_of(utterance: Utterance) -> Heard:
    """The utterance as the dialogue takes it."""
    return Heard(
        utterance.words,
        confidence=min(utterance.confidences, default=1.0),
        is_noisy=utterance.snr_db < CLEAR_SNR_DB,
        is_clipped=utterance.trouble is Trouble.CLIPPED,
        is_too_long=utterance.trouble is Trouble.TOO_LONG,
    )


def line_of(file: str, utterance: Utterance, decision: Decision, session: Session) -> Line:
    """The output line of one utterance."""
    return Line(
        file,
        utterance.start_s,
        utterance.end_s,
        " ".join(utterance.words),
        type(decision.intent).__name__ if decision.intent is not None else None,
        _component_of(decision.intent),
        _grams_of(decision.intent),
        decision.outcome.value,
        " ".join(session.words_of(say.reply) for say in decision.said),
    )


def _component_of(intent: Intent | None) -> str | None:
    if isinstance(intent, TakeReading | NameComponent) and intent.component is not None:
        return intent.component.value
    return None


def _grams_of(intent: Intent | None) -> float | None:
    if isinstance(intent, TakeReading) and len(intent.masses) == 1:
        return float(intent.masses[0].grams)
    return None


def lines_of(hearing: Hearing, session: Session, path: Path) -> Iterator[Line]:
    """The lines of one recording, in a dialogue that goes on from where it stands.

    Raises:
        UnreadableSound: the file is no recording.
        HearingLost: the recognizer failed.
    """
    found = False
    for utterance in hearing.hear_all(blocks_of(path)):
        found = True
        now = FIRST_DAY + timedelta(seconds=utterance.end_s)
        yield line_of(path.as_posix(), utterance, session.step(heard_of(utterance), now), session)
    if not found:
        reply = wording(NoSpeech())
        ignored = Outcome.IGNORED.value
        yield Line(path.as_posix(), 0.0, 0.0, "", None, None, None, ignored, reply)


def run(args: argparse.Namespace, hearing: Hearing, new_session: Callable[[], Session]) -> int:
    """The ``hear`` command; returns the exit code."""
    code = 0
    session = new_session()
    for name in args.files:
        if not args.together:
            session = new_session()
        try:
            for line in lines_of(hearing, session, Path(name)):
                _show(line, as_json=args.json)
        except UnreadableSound as error:
            _show_error(name, str(error), as_json=args.json)
            code = BAD_INPUT
        except HearingLost as error:
            _show_error(name, f"{name} was not decoded: {error}.", as_json=args.json)
            code = BAD_INPUT
            hearing.start()
    return code


def _show(line: Line, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps(asdict(line)), flush=True)
        return
    print(f"{line.file}  {line.start_s:.2f}-{line.end_s:.2f} s", flush=True)
    print(f"  heard:  {line.words or '-'}")
    print(f"  {line.outcome + ':':<9} {line.reply}", flush=True)


def _show_error(file: str, error: str, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"file": file, "error": error}), flush=True)
    else:
        print(error, file=sys.stderr, flush=True)
