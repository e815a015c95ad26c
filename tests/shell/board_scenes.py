"""Jobs at the moments that a board has to show: from an invented garden gate."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from handsfree.job.board_view import BoardView
from handsfree.job.boundary import Heard, Input, TimePassed
from handsfree.shell.cards import load_card
from handsfree.shell.session import Session, setup_of
from tests.shell.fake_time import START

SECONDS = timedelta(seconds=1)


class Notebook:
    """A display that keeps what it was shown."""

    def __init__(self) -> None:
        self.views: list[BoardView] = []

    def show(self, view: BoardView, now: datetime) -> None:  # noqa: ARG002
        self.views.append(view)


class Job:
    """A job that is talked through, ten seconds a sentence."""

    def __init__(self, *sentences: str) -> None:
        self.session = Session(setup_of(load_card("gate-coat")))
        self.notebook = Notebook()
        self.session.displays = (self.notebook,)
        self.now = START
        self.session.show(self.now)
        self.say(*sentences)

    @property
    def view(self) -> BoardView:
        """The newest view."""
        return self.notebook.views[-1]

    def say(self, *sentences: str) -> None:
        for sentence in sentences:
            self.now += 10 * SECONDS
            self.give(Heard(tuple(sentence.split())))

    def give(self, incoming: Input) -> None:
        self.session.step(incoming, self.now)

    def wait(self, minutes: float) -> None:
        """Time passes, as in the live loop: every deadline is met."""
        end = self.now + timedelta(minutes=minutes)
        while (deadline := self.session.next_deadline()) is not None and deadline <= end:
            self.now = max(deadline, self.now)
            self.give(TimePassed())
        self.now = end
        self.session.show(self.now)


POURED = ("resin eight five six grams", "yes")
MIXED = (*POURED, "hardener one two two", "yes", "mixed", "two two degrees")
COATED = (
    "tape is on",
    "surface is one nine degrees",
    "starting the coat",
    "coat finished",
)


@dataclass(frozen=True)
class Scene:
    """A moment, and what is dominant in it."""

    name: str
    job: Job
    dominant: str


def scenes() -> tuple[Scene, ...]:
    """The moments a board has to be good at."""
    half = Job(*MIXED, *COATED)
    half.wait(11.5)
    over = Job(*MIXED)
    over.say("new cup", *POURED, "hardener five zero")
    over.wait(30)
    tape = Job(*MIXED, "cup one is empty", "yes", *COATED, "timer two hours")
    tape.wait(65)
    calm = Job(*MIXED, "cup one is empty", "yes", *COATED)
    return (
        Scene("ready", Job(), "Ready"),
        Scene("question", Job("resin eight five six grams"), "Resin 856 g?"),
        Scene("pour", Job(*POURED), "122"),
        Scene("pour-half", Job(*POURED, "hardener eight zero"), "122"),
        Scene("pour-over", Job(*POURED, "hardener one three zero"), "122"),
        Scene("clock", Job(*MIXED, *COATED), "22"),
        Scene("clock-alarm", half, "Half of the pot life is gone"),
        Scene("alarm", over, "Pot life over: do not use the rest"),
        Scene("tape", tape, "Pull the tape now"),
        Scene("coat", calm, "64"),
        Scene("smoke", Job(*MIXED, "the cup is smoking"), "Do not breathe it"),
    )
