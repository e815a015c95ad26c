"""What is said around the try-out with water: what to say next, and whether it was understood.

Within a lesson the dialogue itself answers; these words only lead through it.
"""

from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias, assert_never

from handsfree.language.wording import CAUTION


class Lesson(Enum):
    """What is learned, in its order."""

    WAKE = "wake"
    PRACTICE = "practice"  # A reading of nothing, to be denied.
    NO = "no"
    RESIN = "resin"
    YES = "yes"
    TARE = "tare"
    HALF = "half"
    SCRATCH = "scratch"
    POUR = "pour"
    MIXED = "mixed"
    WARMTH = "warmth"
    LEFT = "left"
    TIMER = "timer"
    CALL = "call"  # Nothing is said by the person: the call comes.
    GOT_IT = "got it"


class SoundVerdict(Enum):
    """What is to be said of a microphone's sound."""

    FINE = "fine"
    MUTED = "no sound at all"
    CLIPPED = "too loud"
    TOO_QUIET = "too quiet"
    NOISY = "noise nearly as loud as the voice"


SKIP_PHRASE, STOP_PHRASE = "skip this step", "that is enough"
# Besides the phrases themselves, typed.
SKIP_WORDS = (SKIP_PHRASE, "skip", "skip this")
STOP_WORDS = (STOP_PHRASE, "stop", "enough", "quit")


@dataclass(frozen=True)
class Welcome:
    """The start: what is needed, and how to skip or stop."""


@dataclass(frozen=True)
class AskSilence:
    """Before the noise is measured."""


@dataclass(frozen=True)
class AskVoice:
    """Before the voice is measured."""


@dataclass(frozen=True)
class SoundHeard:
    """What was measured, and what to do."""

    verdict: SoundVerdict


@dataclass(frozen=True)
class Instruct:
    """The next lesson."""

    lesson: Lesson
    example: str  # What to say, where there is something.
    is_after_success: bool


@dataclass(frozen=True)
class Hint:
    """The same lesson again, after words that did not fit."""

    example: str


@dataclass(frozen=True)
class OfferSkip:
    """It does not work out; nobody shall be stuck."""

    example: str


@dataclass(frozen=True)
class Shown:
    """A lesson was skipped: what would have been said is said for the person."""


@dataclass(frozen=True)
class Finished:
    """All lessons are done; the real thing is no water."""


@dataclass(frozen=True)
class Stopped:
    """The person has had enough."""


Remark: TypeAlias = (
    Welcome
    | AskSilence
    | AskVoice
    | SoundHeard
    | Instruct
    | Hint
    | OfferSkip
    | Shown
    | Finished
    | Stopped
)

VOICE_SAMPLE = "resin two zero three grams"


def say_remark(remark: Remark) -> str:
    """The words, ready for the voice: no digits, no symbols, no abbreviations."""
    match remark:
        case Welcome():
            return (
                "This is a trial with water, about five minutes. You need a scale, a cup, and two "
                f"jugs of water. Say {SKIP_PHRASE} to go on, or {STOP_PHRASE} to end."
            )
        case AskSilence():
            return "First I listen to the room. Please say nothing for a moment."
        case AskVoice():
            return f"Now from where you will work, in your usual voice, say {VOICE_SAMPLE}."
        case SoundHeard(verdict):
            return say_sound(verdict)
        case Instruct(lesson, example, is_after_success):
            start = "Good. " if is_after_success else ""
            return f"{start}{_instruction(lesson, example)}"
        case Hint(example):
            return f"Take your time. Say {example}." if example else "Take your time."
        case OfferSkip(example):
            return f"Say {example}, or say {SKIP_PHRASE} and I show you."
        case Shown():
            return "This is how it goes."
        case Finished():
            return (
                "Well done, that was all, and nothing of it was kept. Now dry the cup and the "
                f"scale, since water spoils epoxy. {CAUTION}"
            )
        case Stopped():
            return f"We stop here, and nothing of it was kept. {CAUTION}"
        case _:
            assert_never(remark)


def say_sound(verdict: SoundVerdict) -> str:
    """What is to be done about a microphone's sound."""
    match verdict:
        case SoundVerdict.FINE:
            return "I hear you well."
        case SoundVerdict.MUTED:
            return (
                "The microphone gives no sound at all. Look for a mute switch, on it and in the "
                "sound settings."
            )
        case SoundVerdict.CLIPPED:
            return "You are too loud for the microphone. Turn its gain down, or go further away."
        case SoundVerdict.TOO_QUIET:
            return "I hardly hear you. Come closer to the microphone, or turn its gain up."
        case SoundVerdict.NOISY:
            return (
                "The noise is nearly as loud as you. Come closer, wear a headset, or switch off "
                "what is loud."
            )
        case _:
            assert_never(verdict)


def _instruction(lesson: Lesson, example: str) -> str:
    match lesson:
        case Lesson.WAKE:
            return (
                "After a while I listen only for my name, so that a radio cannot command me. "
                f"Say {example}."
            )
        case Lesson.PRACTICE:
            return (
                "Readings are said digit by digit, with the part and grams. "
                f"For practice, say {example}."
            )
        case Lesson.NO:
            return "I read it back, and only a yes makes it count. This was practice, so say no."
        case Lesson.RESIN:
            return (
                "Put the cup on the scale, press zero, and pour about two hundred grams of water "
                "from the first jug, which plays the resin. "
                f"Say what the scale shows, such as {example}."
            )
        case Lesson.YES:
            return "If that is what the scale shows, say yes. If not, say no."
        case Lesson.TARE:
            return "That is your target. Press tare on the scale, and tell me by saying tare."
        case Lesson.HALF:
            return (
                "The second jug plays the hardener. Pour about half of the target, and say what "
                f"the scale shows, such as {example}."
            )
        case Lesson.SCRATCH:
            return "What was said wrong can be taken back. Try it, and say scratch that."
        case Lesson.POUR:
            return (
                "Pour on to the target, and say what the scale shows now and then. "
                f"You are there at {example}."
            )
        case Lesson.MIXED:
            return "In earnest the clock starts when the two meet. Stir, and say mixed."
        case Lesson.WARMTH:
            return f"Warm epoxy goes off sooner, so I asked. Say {example}."
        case Lesson.LEFT:
            return f"From here you can always ask. Say {example}."
        case Lesson.TIMER:
            return f"I can remind you of anything. Say {example}."
        case Lesson.CALL:
            return "Now wait a moment, until I call."
        case Lesson.GOT_IT:
            return "A call comes again until you answer it. Say understood, or got it."
        case _:
            assert_never(lesson)
