"""A stream of sound to utterances: end of speech, then recognition."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from enum import Enum

import numpy as np

from handsfree.language.patience import SHORTEST, patience
from handsfree.shell.endpoint import (
    CHUNK_BYTES,
    CHUNK_SAMPLES,
    SAMPLE_RATE_HZ,
    Sound,
    SpeechMarker,
)
from handsfree.shell.recognizer import BYTES_PER_SAMPLE, Recognizer, UtteranceDecoder, WordList

LONGEST_UTTERANCE = timedelta(seconds=8)
FEED_CHUNKS = 3  # About 100 ms: smaller feeds cost more, larger ones delay the end.
# Common practice, no published source: more than 1 % of samples at the rail is audible.
CLIPPED_SHARE = 0.01
FULL_SCALE = 32_700


class Trouble(Enum):
    """What was wrong with an utterance's sound."""

    TOO_LONG = "longer than any sentence"
    CLIPPED = "too loud for the microphone"


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech and the words recognized in it."""

    start_s: float  # Seconds since the stream began.
    end_s: float  # The end of the last sound that was speech.
    words: tuple[str, ...]
    confidences: tuple[float, ...]  # One per word, 0 to 1.
    trouble: Trouble | None


class Ear:
    """Turns blocks of sound into utterances; the same for a microphone and for a file."""

    def __init__(self, recognizer: Recognizer, words: WordList) -> None:
        self._recognizer = recognizer
        self._words = words
        self._marker = SpeechMarker()
        self._waiting = b""
        self._samples = 0  # Of whole chunks marked so far.
        self._open: _OpenUtterance | None = None

    def hear(self, block: bytes) -> list[Utterance]:
        """Takes the next block and returns the utterances that ended in it.

        Args:
            block: 16-bit little-endian mono sound at 16 kHz, of any length.
        """
        self._waiting += block
        ended = []
        for chunk in self._chunks():
            utterance = self._hear_chunk(chunk)
            if utterance is not None:
                ended.append(utterance)
        return ended

    def finish(self) -> list[Utterance]:
        """The stream has ended: ends an utterance that is still open."""
        # Silence completes the last chunk and the longest pause.
        ended = self.hear(bytes(2 * SAMPLE_RATE_HZ * BYTES_PER_SAMPLE))
        self._waiting = b""
        return ended

    def _chunks(self) -> Iterator[bytes]:
        whole = len(self._waiting) // CHUNK_BYTES * CHUNK_BYTES
        sound, self._waiting = self._waiting[:whole], self._waiting[whole:]
        for at in range(0, whole, CHUNK_BYTES):
            yield sound[at : at + CHUNK_BYTES]

    def _hear_chunk(self, chunk: bytes) -> Utterance | None:
        marked = self._marker.mark(chunk)
        self._samples += CHUNK_SAMPLES
        if marked.sound is Sound.SPEECH_STARTS:
            lead_in = len(marked.samples) // BYTES_PER_SAMPLE
            self._open = _OpenUtterance(
                self._recognizer.utterance(self._words), start=self._samples - lead_in
            )
        if self._open is None:
            return None
        self._open.take(marked.samples)
        if marked.sound is not Sound.PAUSE:
            self._open.end = self._samples
        too_long = self._samples - self._open.start > (
            LONGEST_UTTERANCE.total_seconds() * SAMPLE_RATE_HZ
        )
        if too_long or (marked.pause >= SHORTEST and marked.pause >= self._open.patience()):
            utterance = self._open.finish(too_long)
            self._open = None
            self._marker.end_utterance()
            return utterance
        return None


class _OpenUtterance:
    """An utterance that is being spoken."""

    def __init__(self, decoder: UtteranceDecoder, start: int) -> None:
        self._decoder = decoder
        self._unfed: list[bytes] = []
        self._clipped = 0
        self._taken = 0
        self.start = start
        self.end = start

    def take(self, samples: bytes) -> None:
        """Takes sound, and hands it on in larger pieces."""
        values = np.frombuffer(samples, dtype="<i2")
        self._taken += len(values)
        self._clipped += int(np.count_nonzero(np.abs(values.astype(np.int32)) >= FULL_SCALE))
        self._unfed.append(samples)
        if len(self._unfed) >= FEED_CHUNKS:
            self._feed()

    def _feed(self) -> None:
        if self._unfed:
            self._decoder.feed(b"".join(self._unfed))
            self._unfed = []

    def patience(self) -> timedelta:
        """The pause that ends the utterance as it stands."""
        self._feed()
        return patience(self._decoder.partial())

    def finish(self, too_long: bool) -> Utterance:
        """The utterance with its words."""
        self._feed()
        decoded = self._decoder.finish()
        trouble = None
        if too_long:
            trouble = Trouble.TOO_LONG
        elif self._clipped > CLIPPED_SHARE * self._taken:
            trouble = Trouble.CLIPPED
        return Utterance(
            round(self.start / SAMPLE_RATE_HZ, 3),
            round(self.end / SAMPLE_RATE_HZ, 3),
            decoded.words,
            decoded.confidences,
            trouble,
        )
