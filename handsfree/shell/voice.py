"""Words to sound: a speech engine in a process of its own, with its result checked.

pyttsx3 is never let near a loudspeaker: on Linux it returns before it has spoken, speaks only
the last of several sentences, and cannot be stopped. It renders one file at a time here, in a
worker that is replaced when it hangs; we play the sound ourselves.
"""

import contextlib
import ctypes
import os
import sys
import tempfile
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from handsfree.shell.child import Child

SLOWEST_WPM, FASTEST_WPM = 110, 200
WORDS_PER_MINUTE = 160  # Comfortable for synthetic speech: 150 to 200; slower in noise.
START_TIMEOUT_S = 10.0
RENDER_TIMEOUT_S = 3.0
# Ten thousand characters take 0.1 s; a file still growing after this is a hung engine.
FILE_TIMEOUT_S = 2.0
POLL_S = 0.002
# Rendered speech is checked against a rough estimate: a file cut short must not pass.
SECONDS_PER_WORD = 60 / WORDS_PER_MINUTE
SHORTEST_SHARE, LONGEST_SHARE = 0.3, 4.0


class VoiceLost(Exception):
    """The speech engine is missing, crashed, hung, or rendered too little; says which."""


@dataclass(frozen=True)
class Speech:
    """Sound of one sentence: 16-bit little-endian mono."""

    samples: bytes
    rate_hz: int

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / 2 / self.rate_hz


@dataclass(frozen=True)
class _Failure:
    """What went wrong in the worker."""

    message: str


class Voice:
    """Renders sentences; starts its worker at the first one and replaces it when it fails."""

    def __init__(self) -> None:
        """Starts nothing yet."""
        self._child = Child("speech engine", VoiceLost, _work)
        self._words_per_minute = WORDS_PER_MINUTE

    def __enter__(self) -> "Voice":
        return self

    def __exit__(self, *_exception: object) -> None:
        self.stop()

    @property
    def pid(self) -> int | None:
        """The worker's process id; None when it is not running."""
        return self._child.pid

    def render(self, text: str) -> Speech:
        """The sound of a sentence; a failed worker is replaced once before giving up.

        Args:
            text: words, without digits or symbols.

        Raises:
            VoiceLost: twice in a row the engine gave nothing usable.
        """
        try:
            return self._render_once(text)
        except VoiceLost:
            self.stop()
            return self._render_once(text)

    def change_rate(self, by_words_per_minute: int) -> None:
        """Speaks slower or faster from the next sentence on, within what is understood."""
        wanted = self._words_per_minute + by_words_per_minute
        self._words_per_minute = min(FASTEST_WPM, max(SLOWEST_WPM, wanted))

    def start(self) -> None:
        """Starts the worker ahead of the first sentence.

        Raises:
            VoiceLost: it did not come up.
        """
        if self._child.pid is None:
            self._child.start()
            self._receive(START_TIMEOUT_S)

    def stop(self) -> None:
        """Ends the worker, whatever it is doing."""
        self._child.stop()

    def _render_once(self, text: str) -> Speech:
        self.start()
        self._child.send((text, self._words_per_minute))
        speech = self._receive(RENDER_TIMEOUT_S)
        if speech is None:
            raise VoiceLost("the speech engine gave no sound")
        check_length(speech, text)
        return speech

    def _receive(self, timeout_s: float) -> Speech | None:
        message: Speech | _Failure | None = self._child.receive(timeout_s)
        if isinstance(message, _Failure):
            raise VoiceLost(message.message)
        return message


def check_length(speech: Speech, text: str) -> None:
    """Refuses sound that is far too short or too long for its words.

    Raises:
        VoiceLost: with both lengths.
    """
    expected_s = SECONDS_PER_WORD * max(1, len(text.split()))
    if not SHORTEST_SHARE * expected_s <= speech.duration_s <= LONGEST_SHARE * expected_s:
        raise VoiceLost(
            f"the speech engine made {speech.duration_s:.2f} s of sound for words that take "
            f"about {expected_s:.2f} s"
        )


def _work(pipe: Connection) -> None:
    """The worker's whole life: one sentence in, its sound out."""
    # pyttsx3 prints to stdout, which may be somebody's JSON.
    sys.stdout = open(os.devnull, "w")  # noqa: SIM115
    try:
        engine = _engine()
    except Exception as error:  # The drivers raise whatever their platform does.
        pipe.send(_Failure(f"there is no speech engine: {error}"))
        return
    pipe.send(None)
    with tempfile.TemporaryDirectory(prefix="handsfree-voice-") as folder:
        count = 0
        while True:
            try:
                text, words_per_minute = pipe.recv()
            except (EOFError, KeyboardInterrupt):
                return
            count += 1
            # A new name each time: a late write can then never be taken for this sentence.
            path = Path(folder) / f"{count}.wav"
            try:
                engine.setProperty("rate", words_per_minute)
                pipe.send(_rendered(engine, text, path))
            except Exception as error:
                pipe.send(_Failure(f"the speech engine failed: {error}"))
            path.unlink(missing_ok=True)


def _engine() -> Any:
    """A pyttsx3 engine; on Linux with the library and the voices of the loader package."""
    if sys.platform == "linux":
        import espeakng_loader

        # The library must be loaded before pyttsx3 looks for it, and the data path be set
        # before it starts: otherwise it looks where the library was built and ends the
        # process.
        os.environ["ESPEAK_DATA_PATH"] = str(espeakng_loader.get_data_path())
        ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
    import pyttsx3

    engine = pyttsx3.init()
    if sys.platform == "linux":
        engine.setProperty("voice", "gmw/en-us")
    return engine


def _rendered(engine: Any, text: str, path: Path) -> Speech | None:
    engine.save_to_file(text, str(path))
    engine.runAndWait()
    return _read_when_complete(path)


def _read_when_complete(path: Path) -> Speech | None:
    """The file's sound once it stops growing; the engine writes it from a thread of its own."""
    import soundfile

    give_up_at = time.monotonic() + FILE_TIMEOUT_S
    size = -1
    while time.monotonic() < give_up_at:
        now = path.stat().st_size if path.exists() else 0
        if now and now == size:
            with contextlib.suppress(soundfile.LibsndfileError):
                samples, rate_hz = soundfile.read(path, dtype="int16", always_2d=True)
                if len(samples):
                    return Speech(samples[:, 0].astype("<i2").tobytes(), int(rate_hz))
        size = now
        time.sleep(POLL_S)
    return None
