"""A stream of sound to utterances: end of speech, then recognition."""

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from enum import Enum

import numpy as np

from handsfree.language.patience import SHORTEST, patience
from handsfree.shell.endpoint import (
    CHUNK_BYTES,
    CHUNK_SAMPLES,
    LEAD_IN_CHUNKS,
    Sound,
    SpeechMarker,
)
from handsfree.shell.recognizer import Recognizer, UtteranceDecoder, WordList
from handsfree.shell.sound_format import BYTES_PER_SAMPLE, SAMPLE_RATE_HZ

LONGEST_UTTERANCE = timedelta(seconds=8)
FEED_CHUNKS = 3  # About 100 ms: smaller feeds cost more, larger ones delay the end.
# Common practice, no published source: more than 1 % of samples at the rail is audible.
CLIPPED_SHARE = 0.01
FULL_SCALE = 32_700
SOUNDING_SHARE = 0.02  # Of the loudest chunk: below it, the pauses within words.
NOISE_SHARE = 0.1  # Of each new chunk in the noise level: it follows within half a second.


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
    snr_db: float  # Speech over the noise before it, as powers; infinite in silence.


class Ear:
    """Turns blocks of sound into utterances; the same for a microphone and for a file."""

    def __init__(self, recognizer: Recognizer, words: WordList) -> None:
        self._recognizer = recognizer
        self._words = words
        self._marker = SpeechMarker()
        self._waiting = b""
        self._samples = 0  # Of whole chunks marked so far.
        self._open: _OpenUtterance | None = None
        self._noise_power: float | None = None  # Of quiet chunks, slowly averaged.
        self._late_quiet: deque[float] = deque()  # May hold the first sound of a word.

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
            self._late_quiet.clear()
            self._open = _OpenUtterance(
                self._recognizer.utterance(self._words), start=self._samples - lead_in
            )
        if self._open is None:
            self._note_noise(_power(chunk))
            return None
        self._open.take(marked.samples)
        if marked.sound is not Sound.PAUSE:
            self._open.end = self._samples
            self._open.speech_powers.append(_power(chunk))
        too_long = self._samples - self._open.start > (
            LONGEST_UTTERANCE.total_seconds() * SAMPLE_RATE_HZ
        )
        if too_long or (marked.pause >= SHORTEST and marked.pause >= self._open.patience()):
            utterance = self._open.finish(too_long, self._noise_power)
            self._open = None
            self._marker.end_utterance()
            return utterance
        return None

    def _note_noise(self, newest: float) -> None:
        self._late_quiet.append(newest)
        if len(self._late_quiet) <= LEAD_IN_CHUNKS:
            return
        power = self._late_quiet.popleft()
        old = power if self._noise_power is None else self._noise_power
        self._noise_power = old + NOISE_SHARE * (power - old)


def _power(chunk: bytes) -> float:
    samples = np.frombuffer(chunk, dtype="<i2").astype(np.float64)
    return float(np.mean(samples**2))


class _OpenUtterance:
    """An utterance that is being spoken."""

    def __init__(self, decoder: UtteranceDecoder, start: int) -> None:
        self._decoder = decoder
        self._unfed: list[bytes] = []
        self._clipped = 0
        self._taken = 0
        self.start = start
        self.end = start
        self.speech_powers: list[float] = []

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

    def finish(self, too_long: bool, noise_power: float | None) -> Utterance:
        """The utterance with its words.

        Args:
            too_long: it was cut at the longest length.
            noise_power: mean square of the noise before it; None when nothing was quiet yet,
                which leaves the quietest of the speech itself.
        """
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
            _snr_db(self.speech_powers, noise_power),
        )


def _snr_db(speech_powers: list[float], noise_power: float | None) -> float:
    noise = min(speech_powers) if noise_power is None else noise_power
    if noise <= 0:
        return math.inf
    loud = [power for power in speech_powers if power > SOUNDING_SHARE * max(speech_powers)]
    speech = float(np.mean(loud)) - noise
    return 10 * math.log10(speech / noise) if speech > 0 else -math.inf
