"""The live loop: microphone and clock in, voice and text out."""

import queue
import threading
from datetime import datetime

from handsfree.job.boundary import AdjustVoice, Effect, HearingLost, Input, Opened, TimePassed
from handsfree.shell import hearing as hearing_process
from handsfree.shell.clock import Clock
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import Hearing
from handsfree.shell.microphone import Microphone
from handsfree.shell.session import Session
from handsfree.shell.speaker import TAIL_S, Speaker

POLL_S = 0.5  # The clock is looked at at least so often, whatever the microphone does.


class Listener:
    """Reads the microphone and the recognizer in a thread, so that neither stops the clock."""

    def __init__(self, microphone: Microphone, hearing: Hearing, speaker: Speaker | None) -> None:
        """Starts the thread."""
        self.inputs: queue.Queue[Input] = queue.Queue()
        self._microphone = microphone
        self._hearing = hearing
        self._speaker = speaker
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends the thread."""
        self._stopping.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._listen_once()
            except hearing_process.HearingLost:
                self.inputs.put(HearingLost())
                self._restart()

    def _listen_once(self) -> None:
        if self._speaker is not None and not self._speaker.is_silent:
            # Half duplex: the program must not hear itself, nor its echo.
            while not self._speaker.is_silent and not self._stopping.wait(0.02):
                pass
            self._stopping.wait(TAIL_S)
            self._microphone.drop_waiting()
            self._hearing.finish()
        block = self._microphone.read(POLL_S)
        if block is None:
            return
        for utterance in self._hearing.hear(block):
            self.inputs.put(heard_of(utterance))

    def _restart(self) -> None:
        while not self._stopping.wait(0.1):
            try:
                self._hearing.start()
            except hearing_process.HearingLost:
                continue
            self._microphone.drop_waiting()
            return


def run(session: Session, hearing: Hearing, microphone: Microphone, speaker: Speaker | None) -> int:
    """The ``run`` command, until interrupted; returns the exit code."""
    clock = Clock()
    print(f"Listening on {microphone.name}. Stop with Ctrl-C.", flush=True)
    with microphone:
        for effect in session.step(Opened(), clock.now()).effects:
            _carry_out(effect, session, clock.now(), speaker)
        listener = Listener(microphone, hearing, speaker)
        try:
            while True:
                incoming = _next_input(listener, session, clock)
                for effect in session.step(incoming, clock.now()).effects:
                    _carry_out(effect, session, clock.now(), speaker)
        except KeyboardInterrupt:
            print()
        finally:
            listener.stop()
    return 0


def _next_input(listener: Listener, session: Session, clock: Clock) -> Input:
    """The next thing heard, or the passing of time when something may be due."""
    wait_s = POLL_S
    deadline = session.next_deadline()
    if deadline is not None:
        wait_s = min(wait_s, max(0.0, (deadline - clock.now()).total_seconds()))
    try:
        return listener.inputs.get(timeout=max(wait_s, 0.001))
    except queue.Empty:
        return TimePassed()


def _carry_out(effect: Effect, session: Session, now: datetime, speaker: Speaker | None) -> None:
    if isinstance(effect, AdjustVoice):
        if speaker is not None:
            speaker.adjust(effect.manner)
        return
    text = session.words_of(effect.reply)
    print(f"{now.astimezone():%H:%M:%S}  {text}", flush=True)
    if speaker is not None:
        speaker.say(text, effect.priority)
