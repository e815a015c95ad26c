"""The few shared fixtures."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from handsfree.job.boundary import Heard
from handsfree.job.step import Decision
from handsfree.language.wording import wording
from handsfree.shell.cards import load_card
from handsfree.shell.session import Session, setup_of
from handsfree.shell.typed import FIRST_DAY

# Property tests see the same cases in every run, and no clock.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

# No settings of the person who runs the tests.
os.environ["XDG_CONFIG_HOME"] = str(Path(tempfile.gettempdir()) / "handsfree-has-no-settings")

FIXTURES = Path(__file__).parent.parent / "audio_fixtures"


@pytest.fixture
def session() -> Session:
    """A dialogue at the start, with the invented 7:1 card and a scale of 1 g steps."""
    return Session(setup_of(load_card("gate-coat")))


@pytest.fixture
def say(session: Session) -> Callable[[str], str]:
    """Says a sentence to the session and returns what it answers."""

    def say(text: str, confidence: float = 1.0) -> str:
        decision: Decision = session.step(Heard(tuple(text.split()), confidence), FIRST_DAY)
        return " ".join(wording(say.reply) for say in decision.said)

    return say


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-conversations",
        action="store_true",
        help="write tests/conversations anew from what the program says now",
    )
    parser.addoption(
        "--screenshots",
        type=Path,
        metavar="FOLDER",
        help="keep the pictures of the board's page there",
    )
