"""The try-out by voice: levels first, then the lessons through the real ear and voice."""

import queue
import time
from collections.abc import Callable

from handsfree.job.boundary import AdjustVoice, Heard, Priority, Say, TimePassed
from handsfree.job.reminders import Urgency
from handsfree.language.replies import Call, Reply
from handsfree.language.tryout_wording import (
    AskSilence,
    AskVoice,
    Remark,
    SoundHeard,
    SoundVerdict,
    Stopped,
    Welcome,
    say_remark,
)
from handsfree.shell.clock import Clock
from handsfree.shell.hearing import Hearing
from handsfree.shell.live import Caller, Come, Listener
from handsfree.shell.microphone import Microphone
from handsfree.shell.sound_check import SILENCE_S, VOICE_S, levels_of, record
from handsfree.shell.speaker import TAIL_S, Speaker
from handsfree.shell.tones import tone
from handsfree.shell.tryout import Tryout, show

TUNINGS = 3  # Then it goes on as it is: the lessons show how well it hears.
POLL_S = 0.2
INDENT = " " * 12  # Under what is said.


class Teacher:
    """The voice of the try-out, on the screen in any case."""

    def __init__(self, speaker: Speaker | None) -> None:
        """With None it only prints."""
        self.speaker = speaker

    @property
    def is_speaking(self) -> bool:
        """Whether something is being said."""
        return self.speaker is not None and not self.speaker.is_silent

    def remark(self, remark: Remark) -> None:
        """Says something of the guide."""
        self.say(say_remark(remark))

    def say(self, text: str) -> None:
        """Says a sentence."""
        show("handsfree", text)
        if self.speaker is not None:
            self.speaker.say(text, Priority.ANSWER)

    def call(self, text: str, urgency: Urgency) -> None:
        """Calls, with the tone of the urgency."""
        show("handsfree", text)
        if self.speaker is not None:
            self.speaker.call(text, Priority.CALL, tone(urgency), None)

    def finish(self) -> None:
        """Waits until all is said and the room is silent again."""
        if self.speaker is not None:
            self.speaker.drain()
            time.sleep(TAIL_S)


def tune(teacher: Teacher, listen: Callable[[float], bytes]) -> SoundVerdict:
    """Measures noise and voice, and says what to do, until it is right or was tried enough.

    Args:
        teacher: says it.
        listen: gives so many seconds of sound, 16-bit mono at 16 kHz.
    """
    verdict = SoundVerdict.FINE
    for _ in range(TUNINGS):
        teacher.remark(AskSilence())
        teacher.finish()
        silence = listen(SILENCE_S)
        teacher.remark(AskVoice())
        teacher.finish()
        levels = levels_of(silence, listen(VOICE_S))
        print(f"{INDENT}{levels.shown}", flush=True)
        verdict = levels.verdict
        teacher.remark(SoundHeard(verdict))
        if verdict is SoundVerdict.FINE:
            break
    return verdict


def _stretch(microphone: Microphone, length_s: float) -> bytes:
    told = f"{INDENT}listening for {length_s:.0f} seconds"
    return record(microphone, length_s, lambda: print(told, flush=True))


def run(tryout: Tryout, hearing: Hearing, microphone: Microphone, speaker: Speaker | None) -> int:
    """The try-out by voice; returns the exit code.

    Raises:
        NoSoundDevice: the microphone cannot be opened.
        MicrophoneLost: it went while the levels were measured.
    """
    teacher = Teacher(speaker)
    with microphone:
        teacher.remark(Welcome())
        try:
            tune(teacher, lambda length_s: _stretch(microphone, length_s))
            teacher.finish()
            listener = Listener(microphone, hearing, speaker)
            listener.is_awake = False
            try:
                _lessons(tryout, listener, Clock(), teacher)
            finally:
                listener.stop()
        except KeyboardInterrupt:
            print()
            show("handsfree", say_remark(Stopped()))
    return 0


def _lessons(tryout: Tryout, listener: Listener, clock: Clock, teacher: Teacher) -> None:
    session = tryout.session
    caller = Caller(session, None)
    teacher.remark(tryout.begin())
    while not tryout.is_over:
        come = _next(listener, tryout, clock)
        now = clock.now()
        remarks: list[Remark] = []
        if isinstance(come.incoming, Heard):
            show("you", " ".join(come.incoming.words) or "-")
        if not isinstance(come.incoming, TimePassed) or _is_due(tryout, clock):
            for turn in tryout.take(come.incoming, now):
                if turn.you:
                    teacher.say(turn.you)
                for effect in turn.effects:
                    if isinstance(effect, AdjustVoice) and teacher.speaker is not None:
                        teacher.speaker.adjust(effect.manner)
                    elif isinstance(effect, Say) and not isinstance(effect.reply, Call):
                        teacher.say(session.words_of(effect.reply))
                remarks += turn.remarks
        # A call goes by the rules of the live loop: with its tone, and again until answered.
        call: tuple[Reply, Urgency] | None = caller.due(now, is_speaking=teacher.is_speaking)
        if call is not None:
            reply, urgency = call
            teacher.call(session.words_of(reply), urgency)
        for remark in remarks:
            teacher.remark(remark)
        listener.is_awake = session.is_awake(now)
    teacher.finish()


def _is_due(tryout: Tryout, clock: Clock) -> bool:
    deadline = tryout.session.next_deadline()
    return deadline is not None and deadline <= clock.now()


def _next(listener: Listener, tryout: Tryout, clock: Clock) -> Come:
    wait_s = POLL_S
    deadline = tryout.session.next_deadline()
    if deadline is not None:
        wait_s = min(wait_s, max(0.001, (deadline - clock.now()).total_seconds()))
    try:
        return listener.inputs.get(timeout=wait_s)
    except queue.Empty:
        return Come(TimePassed())
