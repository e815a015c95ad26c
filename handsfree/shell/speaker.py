"""Speech to a loudspeaker or a file: one thing at a time, an alarm first."""

import queue
import threading
import time
import wave
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Protocol

import numpy as np
import soxr

from handsfree.job.boundary import Priority
from handsfree.language.intents import Manner
from handsfree.shell.sound_device import NoSoundDevice, find_device
from handsfree.shell.voice import Speech, Voice, VoiceLost

BLOCK_S = 0.02
# The room and the devices still carry the last words for this long (echo tail and latency).
TAIL_S = 0.35
RATE_STEP = 20  # Words a minute; a difference that is noticed.
# Judgement: six seconds of words; twice more would still be said when it is time to say it again.
MOST_WORDS_TWICE = 16
# So long an alarm waits for its words after its tone; then a recording speaks for them.
SPARE_AFTER_S = 1.0
# 4 dB a step. The softest must stay audible: an alarm uses the same voice.
VOLUME_STEP, SOFTEST, LOUDEST = 1.6, 0.25, 2.5
# People raise their voice by about 0.3 to 0.6 dB for each dB of noise (Lombard effect; Lane and
# Tranel 1971, from memory). The start is a quiet room at a usual microphone gain. Judgement.
QUIET_SHOP_DB, LIFT_PER_DB, MOST_LIFT = -50.0, 0.4, 2.5


def _scaled(speech: Speech, volume: float) -> Speech:
    if volume == 1.0:
        return speech
    samples = np.frombuffer(speech.samples, dtype="<i2") * volume
    limited = np.clip(samples, -32768, 32767).astype("<i2")
    return Speech(limited.tobytes(), speech.rate_hz)


class Output(Protocol):
    """Where speech goes."""

    def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:
        """Plays it to its end, or until ``is_cut``; returns whether all of it was played."""

    def close(self) -> None:
        """Releases the device or finishes the file."""


class Loudspeaker:
    """One output device."""

    def __init__(self, library: ModuleType, wanted: str | None = None) -> None:
        """Finds the device.

        Args:
            library: ``sounddevice``.
            wanted: part of the device's name; None: the default device.

        Raises:
            NoSoundDevice: there is none.
        """
        self._library = library
        self._wanted = wanted
        find_device(library, "output", wanted)

    def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:
        """Plays in short blocks, so that an alarm can cut it within one of them."""
        device = self._device()
        rate_hz = int(float(str(device["default_samplerate"])))
        samples = np.frombuffer(speech.samples, dtype="<i2")
        if speech.rate_hz != rate_hz:
            samples = soxr.resample(samples, speech.rate_hz, rate_hz)
        block = int(rate_hz * BLOCK_S)
        with self._library.RawOutputStream(
            device=device["index"], samplerate=rate_hz, channels=1, dtype="int16", latency="low"
        ) as stream:
            for at in range(0, len(samples), block):
                if is_cut():
                    # Silence at once: a plain stop would play out what is buffered.
                    stream.abort()
                    return False
                stream.write(samples[at : at + block].tobytes())
        return True

    def _device(self) -> dict[str, object]:
        """The device as it is now: by its name, since its number changes when others come."""
        try:
            return find_device(self._library, "output", self._wanted)
        except NoSoundDevice:
            # PortAudio lists devices once; this is its author's way to have it look again.
            self._library._terminate()
            self._library._initialize()
            return find_device(self._library, "output", self._wanted)

    def close(self) -> None:
        """Nothing is held between sentences."""


class WaveFile:
    """A WAV file that takes sentence after sentence, a short pause between them."""

    PAUSE_S = 0.4

    def __init__(self, path: Path) -> None:
        """Opens the file at the first sentence, when the voice's rate is known."""
        self._path = path
        self._file: wave.Wave_write | None = None

    def play(self, speech: Speech, is_cut: Callable[[], bool]) -> bool:  # noqa: ARG002
        """Appends the sentence. A file is never cut short: nobody waits for it."""
        if self._file is None:
            self._file = wave.open(str(self._path), "wb")  # noqa: SIM115
            self._file.setnchannels(1)
            self._file.setsampwidth(2)
            self._file.setframerate(speech.rate_hz)
        self._file.writeframes(speech.samples)
        self._file.writeframes(bytes(2 * int(self.PAUSE_S * speech.rate_hz)))
        return True

    def close(self) -> None:
        """Completes the file's header."""
        if self._file is not None:
            self._file.close()


class _Cut(Exception):
    """Something more urgent came before there was anything to play."""


@dataclass(frozen=True)
class _Line:
    """One thing to say."""

    text: str
    tone: Speech | None = None
    spare: Speech | None = None
    times: int = 1
    is_alarm: bool = False


class Speaker:
    """Says sentences in a thread of its own, the most urgent first.

    The text is always printed by the caller; a voice that fails costs only the sound, and
    ``on_trouble`` is told once.
    """

    def __init__(self, voice: Voice, output: Output, on_trouble: Callable[[str], None]) -> None:
        """Starts the thread."""
        self._voice = voice
        self._output = output
        self._on_trouble = on_trouble
        self._waiting: queue.PriorityQueue[tuple[int, int, _Line]] = queue.PriorityQueue()
        self._count = 0
        self._current = 0  # Rank of what is being said.
        self.saying = ""  # Its words, also for a moment afterwards.
        self._told = False
        self._closing = False
        self._volume = 1.0
        self._lift = 1.0  # Over the noise of the shop.
        self._is_cut_short = False
        self._renderer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="voice")
        self._thread = threading.Thread(target=self._run, name="speaker", daemon=True)
        self._thread.start()

    def say(self, text: str, priority: Priority) -> None:
        """Puts a sentence in line; an alarm cuts an answer, which is then said again."""
        self._put(_Line(text), priority)

    def call(self, text: str, priority: Priority, tone: Speech, spare: Speech | None) -> None:
        """Puts an announcement in line: its tone, then its words; of a short alarm twice.

        Args:
            text: what is said.
            priority: an alarm cuts everything else.
            tone: played first, so that it sounds whatever becomes of the words.
            spare: played instead of the words when the voice fails; None: only the tone is.
        """
        is_short = len(text.split()) <= MOST_WORDS_TWICE
        is_alarm = priority is Priority.ALARM
        times = 2 if is_alarm and is_short else 1
        self._put(_Line(text, tone, spare, times, is_alarm), priority)

    def _put(self, line: "_Line", priority: Priority) -> None:
        self._count += 1
        self._waiting.put((list(Priority).index(priority), self._count, line))

    def adjust(self, manner: Manner) -> None:
        """Speaks in another manner from the next sentence on."""
        match manner:
            case Manner.SLOWER | Manner.FASTER:
                self._voice.change_rate(-RATE_STEP if manner is Manner.SLOWER else RATE_STEP)
            case Manner.LOUDER | Manner.QUIETER:
                change = VOLUME_STEP if manner is Manner.LOUDER else 1 / VOLUME_STEP
                self._volume = min(LOUDEST, max(SOFTEST, self._volume * change))

    def follow_noise(self, ambient_db: float) -> None:
        """Speaks up over the noise of the shop, as people do.

        Args:
            ambient_db: the noise at the microphone, in dB of full scale.
        """
        above_db = max(0.0, ambient_db - QUIET_SHOP_DB)
        self._lift = min(MOST_LIFT, 10 ** (LIFT_PER_DB * above_db / 20))

    def cut(self) -> None:
        """Stops what is being said and forgets what waits: somebody wants to speak.

        An alarm that was cut is said again like one that was not heard.
        """
        self._is_cut_short = True
        with self._waiting.mutex:
            dropped = len(self._waiting.queue)
            self._waiting.queue.clear()
        for _ in range(dropped):
            self._waiting.task_done()

    @property
    def is_silent(self) -> bool:
        """Whether nothing is being said or waits to be said."""
        return self._waiting.unfinished_tasks == 0

    def drain(self) -> None:
        """Waits until everything was said."""
        self._waiting.join()

    def close(self) -> None:
        """Stops at once and releases the output."""
        self._closing = True
        self._waiting.put((len(Priority), 0, _Line("")))
        self._thread.join()
        self._renderer.shutdown(cancel_futures=True)
        self._output.close()

    def _is_cut(self) -> bool:
        if self._closing or self._is_cut_short:
            return True
        with self._waiting.mutex:
            waiting = self._waiting.queue
            return bool(waiting) and waiting[0][0] < self._current

    def _run(self) -> None:
        while True:
            rank, count, line = self._waiting.get()
            if self._closing:
                self._waiting.task_done()
                return
            self._current = rank
            self.saying = line.text
            self._is_cut_short = False
            was_said = self._speak(line)
            if not was_said and not self._closing and not self._is_cut_short:
                self._waiting.put((rank, count, line))
            self._waiting.task_done()

    def _speak(self, line: "_Line") -> bool:
        """Whether the line is done with: said in full, or not sayable at all."""
        try:
            # A voice that was made softer for company stays loud enough for a tape pull.
            least = 1.0 if line.is_alarm else 0.0
            # Rendered while the tone sounds, and aside: an engine that hangs may keep itself
            # waiting for seconds, but no alarm that comes meanwhile.
            rendered = self._renderer.submit(self._voice.render, line.text)
            if line.tone is not None and not self._play(line.tone, least):
                return False
            words = self._words(line, rendered)
            return words is None or all(self._play(words, least) for _ in range(line.times))
        except _Cut:
            return False
        except Exception as error:  # A device may raise whatever its driver does.
            self._tell(f"The loudspeaker failed, so this was only printed: {error}.")
        return True

    def _words(self, line: "_Line", rendered: "Future[Speech]") -> Speech | None:
        try:
            late_at = time.monotonic() + SPARE_AFTER_S
            while not wait([rendered], timeout=BLOCK_S).done:
                if self._is_cut():
                    rendered.cancel()
                    raise _Cut
                if line.spare is not None and time.monotonic() > late_at:
                    rendered.cancel()
                    raise VoiceLost("the speech engine is busy with something else")
            return rendered.result()
        except VoiceLost as error:
            how = "only printed" if line.spare is None else "played from a recording"
            self._tell(f"The voice failed, so this was {how}: {error}.")
            return line.spare

    def _play(self, sound: Speech, least_volume: float = 0.0) -> bool:
        volume = max(self._volume * self._lift, least_volume)
        return self._output.play(_scaled(sound, volume), self._is_cut)

    def _tell(self, message: str) -> None:
        if not self._told:
            self._told = True
            self._on_trouble(message)
