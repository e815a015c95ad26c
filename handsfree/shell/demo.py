"""An invented job from shipped recordings, through the real recognizer."""

import argparse
import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import handsfree
from handsfree.job.boundary import Opened, Priority
from handsfree.shell.audio_file import blocks_of
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import Hearing
from handsfree.shell.session import Session
from handsfree.shell.speaker import Speaker
from handsfree.shell.typed import FIRST_DAY, due_before, time_of_day

AFTER_LAST_LINE = timedelta(hours=1)


class DemoMissing(Exception):
    """The recordings did not come with the program."""


@dataclass(frozen=True)
class Line:
    """One line of the demo's output."""

    at: datetime
    who: str
    text: str
    priority: Priority = Priority.ANSWER


def demo_folder() -> Path:
    """The folder of the demo's recordings.

    Raises:
        DemoMissing: neither the installed package nor the source folder has it.
    """
    package = Path(handsfree.__file__).parent
    for folder in (package / "audio_fixtures/demo", package.parent / "audio_fixtures/demo"):
        if folder.is_dir():
            return folder
    raise DemoMissing("The demo's recordings are missing. Install the program again.")


def perform(hearing: Hearing, session: Session) -> Iterator[Line]:
    """The whole job: what was heard, what is answered, and what falls due in between."""
    folder = demo_folder()
    now = FIRST_DAY.replace(hour=14)
    for say in session.step(Opened(), now).said:
        yield Line(now, "handsfree", session.words_of(say.reply), say.priority)
    with (folder / "script.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            now = time_of_day(row["time"], now)
            yield from _announcements(session, now)
            for utterance in hearing.hear_all(blocks_of(folder / row["file"])):
                yield Line(now, "you", " ".join(utterance.words))
                for say in session.step(heard_of(utterance), now).said:
                    yield Line(now, "handsfree", session.words_of(say.reply), say.priority)
    yield from _announcements(session, now + AFTER_LAST_LINE)


def _announcements(session: Session, moment: datetime) -> Iterator[Line]:
    for spoken in due_before(session, moment):
        yield Line(spoken.at, spoken.who, spoken.text, Priority.ALARM)


def run(
    args: argparse.Namespace, hearing: Hearing, session: Session, speaker: Speaker | None
) -> int:
    """The ``demo`` command; returns the exit code."""
    print(f"An invented job with {session.setup.card.name}, a product that does not exist.")
    print("Waiting times are skipped; what you say comes from recordings.\n")
    for line in perform(hearing, session):
        print(f"{line.at:%H:%M:%S}  {line.who + ':':<11} {line.text}", flush=True)
        if speaker is not None and line.who == "handsfree":
            speaker.say(line.text, line.priority)
            speaker.drain()
    if args.wav is not None:
        print(f"\nThe spoken answers are in {args.wav}.")
    return 0
