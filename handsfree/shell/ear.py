"""A stream of sound to utterances: end of speech, then recognition."""

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import Enum

import numpy as np

from handsfree.language.grammar import UNKNOWN_WORD
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
# Of wake phrases in shop noise at 10 dB two in three lie above it, of talk taken for one hardly
# any (tests/bench_attention.py).
SPOTTED_SURELY = 0.9
_NOTHING_SURE = (UNKNOWN_WORD,)
NOISE_SHARE = 0.1  # Of each new chunk in the noise level: it follows within half a second.


class Attention(Enum):
    """What is listened for."""

    ALL = "every sentence"
    WAKE = "the wake phrase and danger"  # Asleep.
    CUT = "the wake phrase, over the program's own voice"


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
    sound: bytes = b""  # 16-bit mono at 16 kHz; empty unless the ear was told to keep it.


@dataclass(frozen=True)
class Lists:
    """What may be said, awake and asleep."""

    full: WordList
    spotting: WordList  # The phrases below, and what may be taken for them.
    wake: frozenset[tuple[str, ...]]
    danger: frozenset[tuple[str, ...]]  # Sentences that are listened to asleep.


class Ear:
    """Turns blocks of sound into utterances; the same for a microphone and for a file."""

    def __init__(self, recognizer: Recognizer, lists: Lists, *, keeps_sound: bool = False) -> None:
        """Hears nothing yet.

        Args:
            recognizer: with the model loaded.
            lists: what may be said.
            keeps_sound: whether an utterance carries its sound.
        """
        self._recognizer = recognizer
        self._lists = lists
        self._keeps_sound = keeps_sound
        self._attention = Attention.ALL
        self._spotter: _Spotter | None = None
        self._marker = SpeechMarker()
        self._waiting = b""
        self._samples = 0  # Of whole chunks marked so far.
        self._open: _OpenUtterance | None = None
        self._noise_power: float | None = None  # Of quiet chunks, slowly averaged.
        self._late_quiet: deque[float] = deque()  # May hold the first sound of a word.

    def hear(self, block: bytes, attention: Attention = Attention.ALL) -> list[Utterance]:
        """Takes the next block and returns the utterances that ended in it.

        Args:
            block: 16-bit little-endian mono sound at 16 kHz, of any length.
            attention: what is listened for; an utterance is decoded as it began.
        """
        if attention is Attention.CUT:
            return self._spot(block)
        self._spotter = None
        self._attention = attention
        self._waiting += block
        ended = []
        for chunk in self._chunks():
            utterance = self._hear_chunk(chunk)
            if utterance is not None:
                ended.append(utterance)
        return ended

    def _spot(self, block: bytes) -> list[Utterance]:
        """Sound in which the program itself speaks: only the wake phrase is looked for."""
        if self._spotter is None:
            self._spotter = _Spotter(self._recognizer, self._lists)
        at_s = round(self._samples / SAMPLE_RATE_HZ, 3)
        phrase = self._spotter.hear(block)
        if not phrase:
            return []
        return [Utterance(at_s, at_s, phrase, (1.0,) * len(phrase), None, math.inf)]

    def finish(self) -> list[Utterance]:
        """The stream has ended: ends an utterance that is still open."""
        # Silence completes the last chunk and the longest pause.
        silence = bytes(2 * SAMPLE_RATE_HZ * BYTES_PER_SAMPLE)
        ended = self.hear(silence, self._attention)
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
            is_asleep = self._attention is Attention.WAKE
            self._open = _OpenUtterance(
                self._recognizer.utterance(self._lists.spotting if is_asleep else self._lists.full),
                start=self._samples - lead_in,
                is_asleep=is_asleep,
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
            if self._open.is_asleep:
                utterance = self._verified(utterance)
            self._open = None
            self._marker.end_utterance()
            return utterance if self._keeps_sound else replace(utterance, sound=b"")
        return None

    def _verified(self, utterance: Utterance) -> Utterance:
        """What was spotted asleep; unless it was sure, heard again among all sentences.

        A short list takes much for its few phrases, a long one little: both must agree.
        """
        if utterance.words not in self._lists.wake | self._lists.danger:
            return replace(utterance, words=_NOTHING_SURE, confidences=(0.0,))
        if min(utterance.confidences) >= SPOTTED_SURELY:
            return utterance
        decoder = self._recognizer.utterance(self._lists.full)
        decoder.feed(utterance.sound)
        again = decoder.finish()
        if again.words != utterance.words:
            return replace(utterance, words=_NOTHING_SURE, confidences=(0.0,))
        both = zip(utterance.confidences, again.confidences, strict=True)
        return replace(utterance, confidences=tuple(min(pair) for pair in both))

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


class _Spotter:
    """Looks for the wake phrase in sound that has no pauses to go by."""

    def __init__(self, recognizer: Recognizer, lists: Lists) -> None:
        self._recognizer = recognizer
        self._lists = lists
        self._unfed = b""
        self._fed_bytes = 0
        self._decoder = recognizer.utterance(lists.spotting)

    def hear(self, block: bytes) -> tuple[str, ...]:
        """The wake phrase, where it was the last that was said; else nothing."""
        self._unfed += block
        if len(self._unfed) < FEED_CHUNKS * CHUNK_BYTES:
            return ()
        self._decoder.feed(self._unfed)
        self._fed_bytes += len(self._unfed)
        self._unfed = b""
        words = self._decoder.partial()
        found = next((p for p in self._lists.wake if words[-len(p) :] == p), ())
        too_long = self._fed_bytes > (
            LONGEST_UTTERANCE.total_seconds() * SAMPLE_RATE_HZ * BYTES_PER_SAMPLE
        )
        if found or too_long:
            self._decoder = self._recognizer.utterance(self._lists.spotting)
            self._fed_bytes = 0
        return found


class _OpenUtterance:
    """An utterance that is being spoken."""

    def __init__(self, decoder: UtteranceDecoder, start: int, *, is_asleep: bool) -> None:
        self.is_asleep = is_asleep
        self._decoder = decoder
        self._sound: list[bytes] = []
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
        self._sound.append(samples)
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
            b"".join(self._sound),
        )


def _snr_db(speech_powers: list[float], noise_power: float | None) -> float:
    noise = min(speech_powers) if noise_power is None else noise_power
    if noise <= 0:
        return math.inf
    loud = [power for power in speech_powers if power > SOUNDING_SHARE * max(speech_powers)]
    speech = float(np.mean(loud)) - noise
    return 10 * math.log10(speech / noise) if speech > 0 else -math.inf
