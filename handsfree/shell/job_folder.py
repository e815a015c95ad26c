"""The data folder of a job: opened, read back, and what there is to say about that."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Generic, Protocol, TypeVar

from platformdirs import user_data_path

from handsfree.job.boundary import Effect, Priority, Say
from handsfree.job.restart import replay_parts, resume
from handsfree.job.state import State
from handsfree.job.step import Setup, Step
from handsfree.language import replies
from handsfree.language.wording import Level
from handsfree.shell.clock import ClockDoubt, Stamp
from handsfree.shell.journal import Journal
from handsfree.shell.journal_entries import Contents, NotSaved
from handsfree.shell.session import Keeping, Session


class ProductDiffers(Exception):
    """The folder's job goes on with another product; the message names it."""


class JobClock(Protocol):
    """What a job needs of a clock."""

    doubt: ClockDoubt | None
    is_wall_credible: bool

    def now(self) -> datetime:
        """The present moment, UTC."""

    def stamp(self, at: datetime) -> Stamp:
        """A moment with what the other clocks show."""


AnyClock = TypeVar("AnyClock", bound=JobClock)


@dataclass(frozen=True)
class Reopened(Generic[AnyClock]):
    """A job that goes on."""

    session: Session
    clock: AnyClock
    effects: tuple[Effect, ...]  # What is said first, the worst first.


def default_folder() -> Path:
    """Where a person's jobs are kept when no folder is named."""
    return user_data_path("handsfree", appauthor=False)


def reopen(
    journal: Journal,
    setup: Setup,
    clock_after: Callable[[Stamp | None], AnyClock],
    level: Level = Level.NORMAL,
) -> Reopened[AnyClock]:
    """The job that the journal holds, gone on with.

    Args:
        journal: not opened yet.
        setup: product and scale.
        clock_after: the clock that goes on from the newest stamp, None in an empty journal.
        level: how much is said.

    Raises:
        ProductDiffers: the journal is of a job with another product.
        JournalBusy, JournalUnreadable: from the journal.
    """
    contents = journal.open()
    state, _ = replay_parts(contents.parts)
    if contents.product not in (None, setup.card.name) and state != State():
        journal.close()
        raise ProductDiffers(
            f"{journal.folder} holds a job with {contents.product}, not {setup.card.name}. "
            "Go on with that product, or name another folder with --data."
        )
    named = {state.product, *(coat.product for coat in state.coats)}
    missing = sorted(product for product in named if not setup.shelf.has(product))
    if missing:
        journal.close()
        raise ProductDiffers(
            f"The job in {journal.folder} also goes by the card of {', '.join(missing)}. "
            "Name that card too, with one more --product."
        )
    clock = clock_after(contents.last_stamp)
    now = clock.now()
    is_saved = True
    try:
        journal.begin(clock.stamp(now), setup.card.name)
    except NotSaved:
        is_saved = False
    session = Session(setup, level, state=state, keeping=Keeping(journal, clock.stamp))
    step = Step(setup.at(state), state, session.talk, now)
    found = resume(step, is_time_in_doubt=clock.doubt is not None)
    decision = session.take(found, now)
    effects = (*_of_record(contents, is_saved=is_saved), *decision.effects)
    if not clock.is_wall_credible:
        effects = (*effects, Say(replies.WallClockWrong(), Priority.CALL))
    return Reopened(session, clock, tuple(dict.fromkeys(effects)))


def _of_record(contents: Contents, *, is_saved: bool) -> tuple[Effect, ...]:
    found: list[replies.Reply] = []
    if contents.damage:
        lost = (damage.lost for damage in contents.damage if damage.lost is not None)
        found.append(replies.RecordDamaged(sum(gap.last_seq - gap.seq + 1 for gap in lost)))
    elif contents.tail:
        found.append(replies.RecordCutOff())
    if contents.newer_version is not None:
        found.append(replies.RecordIsNewer())
    elif not is_saved:
        found.append(replies.NotSaved())
    return tuple(Say(reply, Priority.ALARM) for reply in found)
