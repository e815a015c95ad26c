"""Golden conversations: what is said, by whom and when, as a person has read and approved it.

``pytest tests/test_conversations.py --rewrite-conversations`` writes the files anew from what
the program says now; read every changed line before committing it.
"""

from pathlib import Path

import pytest

from handsfree.shell.cards import load_card
from handsfree.shell.session import Session, setup_of
from handsfree.shell.typed import (
    FIRST_DAY,
    Spoken,
    converse,
    due_before,
    lines_of,
    time_of_day,
    words_of,
)

FOLDER = Path(__file__).parent / "conversations"
FILES = sorted(FOLDER.glob("*.txt"))
LEAST = 40
RESTART = "-- the power fails; the program starts again --"


def performed(text: str) -> str:
    """The same conversation with what the program says now.

    Lines: "# title", "product: CARD", "shelf: CARD CARD", "until: HH:MM:SS", a restart, and
    "HH:MM:SS you: words".
    """
    options = {"product": "gate-coat", "shelf": ""}
    session: Session | None = None
    out, now = [], FIRST_DAY
    for line in text.splitlines():
        if line.startswith("#") or not line.strip():
            out.append(line)
            continue
        name, _, value = line.partition(": ")
        if name in {"product", "shelf", "until"}:
            options[name] = value
            out.append(line)
            continue
        if session is None:
            others = tuple(load_card(name) for name in options["shelf"].split())
            session = Session(setup_of(load_card(options["product"]), others=others))
        if line == RESTART:
            fresh = Session(session.setup)
            fresh.state, fresh.last_at = session.state, session.last_at
            session = fresh
            out.append(line)
            continue
        time, who, words = line.split(maxsplit=2)
        if who != "you:":
            continue
        typed = lines_of([f"{time} {words}"], now)
        for spoken in converse(session, typed, None):
            out.append(shown(spoken))
            now = spoken.at
    if session is not None and "until" in options:
        end = time_of_day(options["until"], now)
        out += [shown(spoken) for spoken in due_before(session, end)]
    return "\n".join(out) + "\n"


def shown(spoken: Spoken) -> str:
    return f"{spoken.at:%H:%M:%S} {spoken.who}: {spoken.text}"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("Resin 118.5 grams.", "resin one one eight point five grams"),
        ("cup 2 is empty, please", "cup two is empty please"),
        ("resin .5 grams", "resin point five grams"),
        ("it's 10,5 grams", "it's [unk] grams"),
        ("1.2.3 grams", "[unk] grams"),
        ("1,000 grams", "[unk] grams"),
        ("how much? now!", "how much now"),
        ("", ""),
    ],
)
def test_typed_numbers_are_words_or_none(typed: str, words: str) -> None:
    assert " ".join(words_of(typed)) == words


def test_there_are_many() -> None:
    assert len(FILES) >= LEAST


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_conversation(path: Path, pytestconfig: pytest.Config) -> None:
    text = path.read_text(encoding="utf-8")
    now = performed(text)
    if pytestconfig.getoption("--rewrite-conversations"):
        path.write_text(now, encoding="utf-8")
    assert now == text
