"""What crosses the boundary of the pure program: inputs in, effects out."""

from dataclasses import dataclass
from enum import Enum

from handsfree.language.intents import Manner
from handsfree.language.replies import Reply


@dataclass(frozen=True)
class Heard:
    """Words from the recognizer or the keyboard, and what was wrong with their sound."""

    words: tuple[str, ...]
    confidence: float = 1.0  # Of the word recognized least surely, 0 to 1; typed words are sure.
    is_noisy: bool = False  # The words barely stood out of the noise.
    is_clipped: bool = False
    is_too_long: bool = False


@dataclass(frozen=True)
class TimePassed:
    """Nothing was said; something may be due."""


@dataclass(frozen=True)
class HearingLost:
    """The recognizer failed and was started again."""


class MicrophoneState(Enum):
    """What has become of the microphone."""

    GONE = "gone"  # Pulled out, or taken away by the system.
    MUTED = "muted"  # It gives no sound at all, not even noise.
    BACK = "back"


@dataclass(frozen=True)
class MicrophoneChanged:
    """The microphone went, or came back."""

    state: MicrophoneState


@dataclass(frozen=True)
class KeyPressed:
    """A key or a pedal in place of the wake phrase."""


@dataclass(frozen=True)
class Opened:
    """A session begins: somebody is there to be told the usual caution."""


@dataclass(frozen=True)
class Pressed:
    """The button of an announcement was pressed on the board."""

    key: str  # Of the reminder.


Input = Heard | TimePassed | HearingLost | MicrophoneChanged | KeyPressed | Opened | Pressed


class Priority(Enum):
    """Which speech goes first; an alarm cuts an answer short."""

    ALARM = "alarm"
    CALL = "call"
    ANSWER = "answer"


@dataclass(frozen=True)
class Say:
    """Say a reply aloud and print it."""

    reply: Reply
    priority: Priority = Priority.ANSWER


@dataclass(frozen=True)
class AdjustVoice:
    """Speak in another manner from now on."""

    manner: Manner


Effect = Say | AdjustVoice
