"""``handsfree tryout``: five guided minutes with water, by voice or typed.

The dialogue is the real one, with an invented card and no record. The guide of
``job/tryout.py`` watches it and says what comes next.
"""

import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from importlib import resources
from pathlib import Path

from handsfree.core.card import ProductCard
from handsfree.job.boundary import Effect, Heard, Input, Say, TimePassed
from handsfree.job.step import Decision
from handsfree.job.tryout import Guide, follow, instruction, sentences_for, skipped
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.language.tryout_wording import (
    SKIP_WORDS,
    STOP_WORDS,
    Lesson,
    Remark,
    Shown,
    Stopped,
    Welcome,
    say_remark,
)
from handsfree.language.wording import Level
from handsfree.shell.cards import card_from
from handsfree.shell.session import Session, setup_of
from handsfree.shell.typed import FIRST_DAY, ScriptInvalid, due_before, lines_of

BAD_INPUT = 2


def water_card() -> ProductCard:
    """The card of the try-out. It is no shipped product and cannot be chosen for a job."""
    card = resources.files("handsfree") / "cards" / "tryout" / "water.toml"
    return card_from(card.read_text("utf-8"), "of the try-out")


@dataclass(frozen=True)
class Turn:
    """What is said, in this order: the dialogue's answer, then the guide's words."""

    effects: tuple[Effect, ...] = ()
    remarks: tuple[Remark, ...] = ()
    you: str = ""  # What the guide said in the person's place, before all this.


class Tryout:
    """The dialogue and its guide."""

    def __init__(
        self,
        step_g: Fraction,
        capacity_g: Fraction,
        wake_phrases: tuple[str, ...] = WAKE_PHRASES,
        level: Level = Level.NORMAL,
    ) -> None:
        """Starts asleep, so that the wake phrase is learned first."""
        setup = setup_of(
            water_card(), step_g=step_g, capacity_g=capacity_g, wake_phrases=wake_phrases
        )
        self.session = Session(setup, level)
        self.session.talk = replace(self.session.talk, is_asleep=True)
        self.guide = Guide()
        self.is_over = False

    def begin(self) -> Remark:
        """The first lesson."""
        return instruction(self.guide, self.session.setup, self.session.state, is_first=True)

    def take(self, incoming: Input, now: datetime) -> Iterator[Turn]:
        """What follows from an input.

        Args:
            incoming: what happened.
            now: the moment of it, UTC.
        """
        if isinstance(incoming, Heard):
            words = " ".join(incoming.words)
            if words in STOP_WORDS:
                self.is_over = True
                yield Turn(remarks=(Stopped(),))
                return
            if words in SKIP_WORDS:
                yield from self._skip(now)
                return
        decision = self.session.step(incoming, now)
        remarks = self._follow(incoming, decision)
        yield Turn(decision.effects, remarks)

    def _follow(self, incoming: Input, decision: Decision) -> tuple[Remark, ...]:
        self.guide, remarks = follow(
            self.guide, incoming, decision, self.session.setup, self.session.state
        )
        self.is_over = self.guide.lesson is None
        return remarks

    def _skip(self, now: datetime) -> Iterator[Turn]:
        """Says it in the person's place, so that the next lesson finds what it needs."""
        lesson, setup = self.guide.lesson, self.session.setup
        assert lesson is not None
        sentences = sentences_for(lesson, setup, self.session.state)
        if sentences:
            yield Turn(remarks=(Shown(),))
        for sentence in sentences:
            decision = self.session.step(Heard(tuple(sentence.split())), now)
            yield Turn(decision.effects, you=sentence)
        self.guide, remark = skipped(self.guide, setup, self.session.state)
        self.is_over = self.guide.lesson is None
        yield Turn(remarks=(remark,))


def run_typed(tryout: Tryout, text: Iterable[str], *, echoes: bool) -> int:
    """The try-out in text, on a simulated clock; returns the exit code.

    Args:
        tryout: at its start.
        text: what is typed, as ``typed.lines_of`` takes it.
        echoes: whether what was typed is shown, since it comes from no keyboard.
    """
    session = tryout.session
    if not echoes:
        print("Type what you would say, numbers in words. No clock is waited for.\n")
    for remark in (Welcome(), tryout.begin()):
        show("handsfree", say_remark(remark))
    try:
        for line in lines_of(text, FIRST_DAY):
            for spoken in due_before(session, line.at):
                show(spoken.who, spoken.text)
            if echoes:
                show("you", " ".join(line.words))
            _show_turns(session, tryout.take(Heard(line.words), line.at))
            # Nobody waits for a simulated clock.
            deadline = session.next_deadline()
            while tryout.guide.lesson is Lesson.CALL and deadline is not None:
                _show_turns(session, tryout.take(TimePassed(), deadline))
                deadline = session.next_deadline()
            if tryout.is_over:
                return 0
    except ScriptInvalid as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    show("handsfree", say_remark(Stopped()))
    return 0


def typed_lines(script: Path | None) -> tuple[Iterable[str], bool]:
    """Where the typed words come from, and whether they are to be shown.

    Raises:
        OSError, UnicodeDecodeError: the script cannot be read.
    """
    if script is not None:
        return script.read_text(encoding="utf-8").splitlines(), True
    if sys.stdin.isatty():
        return _from_keyboard(), False
    return sys.stdin, True


def _from_keyboard() -> Iterator[str]:
    while True:
        try:
            yield input(f"{'you:':<11} ")
        except (EOFError, KeyboardInterrupt):
            print()
            return


def _show_turns(session: Session, turns: Iterable[Turn]) -> None:
    for turn in turns:
        if turn.you:
            show("you", turn.you)
        for effect in turn.effects:
            if isinstance(effect, Say):
                show("handsfree", session.words_of(effect.reply))
        for remark in turn.remarks:
            show("handsfree", say_remark(remark))


def show(who: str, text: str) -> None:
    """Prints what somebody said."""
    print(f"{who + ':':<11} {text}", flush=True)
