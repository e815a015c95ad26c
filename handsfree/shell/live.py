"""The live loop: microphone and clock in, voice and text out."""

import queue
import threading
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from handsfree.job.alarms import (
    Alarm,
    Memory,
    QuietHours,
    Utterance,
    alarms,
    called,
    next_utterance,
    reply_of,
)
from handsfree.job.boundary import (
    AdjustVoice,
    Effect,
    HearingLost,
    Input,
    Opened,
    Pressed,
    Priority,
    Say,
    TimePassed,
)
from handsfree.job.reminders import Urgency
from handsfree.job.state import State
from handsfree.language.replies import Call, Reply
from handsfree.shell import hearing as hearing_process
from handsfree.shell.clock import Clock
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import Hearing
from handsfree.shell.job_folder import Reopened
from handsfree.shell.microphone import Microphone
from handsfree.shell.noise import NoiseWatch
from handsfree.shell.session import Session
from handsfree.shell.sleep_inhibitor import SleepInhibitor
from handsfree.shell.speaker import TAIL_S, Speaker
from handsfree.shell.tones import spare_of, tone
from handsfree.shell.watch import Watch

if TYPE_CHECKING:
    from handsfree.shell.board import Board  # Loaded only where a board is asked for.

POLL_S = 0.5  # The clock is looked at at least so often, whatever the microphone does.


class Listener:
    """Reads the microphone and the recognizer in a thread, so that neither stops the clock."""

    def __init__(self, microphone: Microphone, hearing: Hearing, speaker: Speaker | None) -> None:
        """Starts the thread."""
        self.inputs: queue.Queue[Input] = queue.Queue()
        self._microphone = microphone
        self._hearing = hearing
        self._speaker = speaker
        self._overruns = microphone.overruns
        self._stopping = threading.Event()
        self._noise = NoiseWatch()
        self._has_noise_fallen = threading.Event()
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)
        self._thread.start()

    def has_noise_fallen(self) -> bool:
        """Whether a loud stretch has ended since this was last asked."""
        has_fallen = self._has_noise_fallen.is_set()
        self._has_noise_fallen.clear()
        return has_fallen

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
        if self._microphone.overruns != self._overruns:
            # Sound was lost: a number with a hole in it must not be understood.
            self._overruns = self._microphone.overruns
            if self._hearing.finish():
                self.inputs.put(HearingLost())
            return
        if self._noise.has_fallen(block):
            self._has_noise_fallen.set()
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


class Caller:
    """Says what is due, and says it again until it is answered."""

    def __init__(
        self, session: Session, quiet_hours: QuietHours | None, told_at: datetime | None = None
    ) -> None:
        """Has called nothing yet.

        Args:
            session: the job in hand.
            quiet_hours: in which only what would spoil the work is called; None: there are none.
            told_at: when all that was open was told, after a restart; None: it was not.
        """
        self._session = session
        self._quiet_hours = quiet_hours
        self._memory = Memory()
        if told_at is not None:
            found = alarms(session.setup.card, session.state)
            open_now = tuple(alarm.reminder for alarm in found if alarm.half_at is None)
            told = Utterance(Urgency.HIGH, open_now, 0, is_missed=False)
            self._memory = called(self._memory, told, told_at)
        self._found: tuple[State | None, tuple[Alarm, ...]] = (None, ())

    def due(
        self, now: datetime, *, has_noise_fallen: bool = False, is_speaking: bool = False
    ) -> tuple[Reply, Urgency] | None:
        """What is to be called now, with the urgency of its tone; None: nothing.

        Args:
            now: the moment, UTC.
            has_noise_fallen: a loud stretch has just ended.
            is_speaking: something is being said.
        """
        setup, state = self._session.setup, self._session.state
        local = now.astimezone(setup.zone)
        if self._found[0] is not state:
            self._found = (state, alarms(setup.card, state))
        said, self._memory = next_utterance(
            self._found[1],
            self._memory,
            now,
            is_quiet=self._quiet_hours is not None and self._quiet_hours.has(local),
            has_noise_fallen=has_noise_fallen,
            is_speaking=is_speaking,
        )
        if said is None:
            return None
        self._session.note_called(said.named[0].key)
        return reply_of(said, now), said.urgency


def run(
    job: Reopened[Clock],
    hearing: Hearing,
    microphone: Microphone,
    speaker: Speaker | None,
    quiet_hours: QuietHours | None,
    board: "Board | None" = None,
) -> int:
    """The ``run`` command, until interrupted; returns the exit code."""
    session, clock = job.session, job.clock
    session.setup = replace(session.setup, zone=clock.listener_zone())
    caller = Caller(session, quiet_hours, clock.now())
    inhibitor = SleepInhibitor()
    watch = Watch(session, clock, inhibitor)
    print(f"Listening on {microphone.name}. Stop with Ctrl-C.", flush=True)
    with microphone:
        listener = Listener(microphone, hearing, speaker)
        if board is not None:
            board.on_press(lambda key: listener.inputs.put(Pressed(key)))
        try:
            effects = (*job.effects, *session.step(Opened(), clock.now()).effects)
            while True:
                for effect in effects:
                    _carry_out(effect, session, clock.now(), speaker)
                call = caller.due(
                    clock.now(),
                    has_noise_fallen=listener.has_noise_fallen(),
                    is_speaking=speaker is not None and not speaker.is_silent,
                )
                if call is not None:
                    _call(*call, session, clock.now(), speaker)
                incoming = _next_input(listener, session, clock)
                session.setup = replace(session.setup, zone=clock.listener_zone())
                now = clock.now()
                effects = (*_step(session, incoming, now), *watch.look(now))
                session.show(now)
        except KeyboardInterrupt:
            print()
        finally:
            listener.stop()
            inhibitor.release()
    return 0


def _step(session: Session, incoming: Input, now: datetime) -> tuple[Effect, ...]:
    """What follows from the input, but for what falls due: the caller says that.

    It says it together with what else is due, and again.
    """
    if not isinstance(incoming, TimePassed):
        return session.step(incoming, now).effects
    deadline = session.next_deadline()
    if deadline is None or now < deadline:
        return ()
    effects = session.step(incoming, now).effects
    return tuple(e for e in effects if not (isinstance(e, Say) and isinstance(e.reply, Call)))


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
    match effect:
        case AdjustVoice(manner):
            if speaker is not None:
                speaker.adjust(manner)
        case Say(reply, Priority.ALARM):
            _call(reply, Urgency.HIGH, session, now, speaker)
        case Say(reply, priority):
            text = _shown(reply, session, now)
            if speaker is not None:
                speaker.say(text, priority)


def _call(
    reply: Reply, urgency: Urgency, session: Session, now: datetime, speaker: Speaker | None
) -> None:
    """An announcement: its tone, then its words; on the screen in any case."""
    text = _shown(reply, session, now)
    if speaker is None:
        print("\a", end="", flush=True)  # The terminal's bell is all the sound there is.
        return
    is_high = urgency is Urgency.HIGH
    priority = Priority.ALARM if is_high else Priority.CALL
    speaker.call(text, priority, tone(urgency), spare_of(reply) if is_high else None)


def _shown(reply: Reply, session: Session, now: datetime) -> str:
    """The reply's words, after they were put on the screen."""
    text = session.words_of(reply)
    print(f"{now.astimezone(session.setup.zone):%H:%M:%S}  {text}", flush=True)
    return text
