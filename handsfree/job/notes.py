"""Notes: what a person wants to be found again in the record."""

from dataclasses import replace

from handsfree.job.dialogue import TellNote
from handsfree.job.events import NoteTaken
from handsfree.job.step import Decision, Outcome, Step, answer
from handsfree.language import replies


def ask_note(step: Step) -> Decision:
    """What is said next is the note."""
    talk = replace(step.talk, question=TellNote())
    return answer(step, replies.AskNote(), Outcome.ASKED, talk=talk)


def take_note(step: Step, words: tuple[str, ...]) -> Decision:
    """Keeps the words as they were understood, and their sound where that was asked for."""
    number = len(step.state.notes) + 1
    sound = ""
    if step.setup.keeps_note_sound:
        sound = f"note-{step.now:%Y%m%dT%H%M%S}-{number}.flac"
    event = NoteTaken(step.now, number, words, sound)
    reply = replies.NoteNoted(words, bool(sound))
    talk = replace(step.talk, question=None)
    return answer(step, reply, Outcome.ACCEPTED, events=(event,), talk=talk)


def read_notes(step: Step) -> Decision:
    """The newest notes first."""
    texts = tuple(note.words for note in reversed(step.state.notes))
    return answer(step, replies.Notes(texts), Outcome.ACCEPTED)
