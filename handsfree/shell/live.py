"""The live loop: microphone and clock in, voice and text out."""

import contextlib
import queue
import sys
import threading
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.job.alarms import (
    TROUBLE_EVERY,
    TROUBLE_LATER_AFTER,
    TROUBLE_LATER_EVERY,
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
    KeyPressed,
    MicrophoneChanged,
    MicrophoneState,
    Opened,
    Pressed,
    Priority,
    Say,
    TimePassed,
)
from handsfree.job.events import NoteTaken
from handsfree.job.reminders import Urgency
from handsfree.job.state import State
from handsfree.job.troubles import TROUBLE_KEY
from handsfree.language.replies import Call, Reply
from handsfree.shell import hearing as hearing_process
from handsfree.shell.capture import BLOCK_S
from handsfree.shell.clock import Clock
from handsfree.shell.ear import Attention
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import Hearing
from handsfree.shell.job_folder import Reopened
from handsfree.shell.keys import Keys
from handsfree.shell.meter import Meter
from handsfree.shell.microphone import Microphone, MicrophoneLost
from handsfree.shell.noise import FLOOR_DB, NoiseWatch, level_db
from handsfree.shell.note_sound import SoundNotKept, keep_sound
from handsfree.shell.service import ALIVE, READY, STOPPING, notify, stop_cleanly_when_asked
from handsfree.shell.session import Session
from handsfree.shell.sleep_inhibitor import SleepInhibitor
from handsfree.shell.sound_device import NoSoundDevice
from handsfree.shell.sound_format import BYTES_PER_SAMPLE, SAMPLE_RATE_HZ
from handsfree.shell.speaker import TAIL_S, Speaker
from handsfree.shell.tones import spare_of, tone
from handsfree.shell.watch import Watch

if TYPE_CHECKING:
    from handsfree.shell.board import Board  # Loaded only where a board is asked for.

POLL_S = 0.5  # The clock is looked at at least so often, whatever the microphone does.


# A microphone that works gives noise at least; exact zeros for so long are a mute switch, or a
# device that was pulled out behind a sound server's back.
MUTED_AFTER_S = 2.0
REOPEN_EVERY_S = 1.0
# A recognizer that dies again and again is told of once in a while, not each time.
TELL_LOST_EVERY_S = 60.0


@dataclass(frozen=True)
class Come:
    """An input, and the sound it was heard in where that is kept."""

    incoming: Input
    sound: bytes = b""


class Listener:
    """Reads the microphone and the recognizer in a thread, so that neither stops the clock."""

    def __init__(self, microphone: Microphone, hearing: Hearing, speaker: Speaker | None) -> None:
        """Starts the thread."""
        self.inputs: queue.Queue[Come] = queue.Queue()
        self.is_awake = True  # Set by the loop; False: only the wake phrase is listened for.
        self.level_db = FLOOR_DB  # Of the last block.
        self._microphone = microphone
        self._hearing = hearing
        self._speaker = speaker
        self._overruns = microphone.overruns
        self._stopping = threading.Event()
        self._noise = NoiseWatch()
        self._has_noise_fallen = threading.Event()
        self._zeros_s = 0.0
        self._is_muted = False
        self._told_lost_at = -TELL_LOST_EVERY_S
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
                now = time.monotonic()
                if now - self._told_lost_at >= TELL_LOST_EVERY_S:
                    self._told_lost_at = now
                    self._put(HearingLost())
                self._restart()
            except MicrophoneLost:
                self._put(MicrophoneChanged(MicrophoneState.GONE))
                self._reopen()

    def _put(self, incoming: Input, sound: bytes = b"") -> None:
        self.inputs.put(Come(incoming, sound))

    def _listen_once(self) -> None:
        if self._speaker is not None and not self._speaker.is_silent:
            self._wait_while_speaking(self._speaker)
        block = self._microphone.read(POLL_S)
        if block is None:
            return
        if self._microphone.overruns != self._overruns:
            # Sound was lost: a number with a hole in it must not be understood.
            self._overruns = self._microphone.overruns
            if self._hearing.finish():
                self._put(HearingLost())
            return
        self._look_at(block)
        attention = Attention.ALL if self.is_awake else Attention.WAKE
        for utterance in self._hearing.hear(block, attention):
            self._put(heard_of(utterance), utterance.sound)

    def _look_at(self, block: bytes) -> None:
        """The level, the noise, and whether there is any sound at all."""
        self.level_db = level_db(block)
        if self._noise.has_fallen(block):
            self._has_noise_fallen.set()
        if self._speaker is not None:
            self._speaker.follow_noise(self._noise.ambient_db)
        if any(block):
            self._zeros_s = 0.0
            if self._is_muted:
                self._is_muted = False
                self._put(MicrophoneChanged(MicrophoneState.BACK))
            return
        self._zeros_s += len(block) / BYTES_PER_SAMPLE / SAMPLE_RATE_HZ
        if self._zeros_s >= MUTED_AFTER_S and not self._is_muted:
            self._is_muted = True
            self._put(MicrophoneChanged(MicrophoneState.MUTED))

    def _wait_while_speaking(self, speaker: Speaker) -> None:
        """Half duplex: the program must not hear itself, nor its echo.

        Only the wake phrase is looked for, which cuts it short; where its own voice drowns the
        phrase nothing is found, and nothing else can be.
        """
        self._hearing.finish()
        phrase = None
        while not speaker.is_silent and not self._stopping.is_set():
            block = self._microphone.read(BLOCK_S)
            if block is None:
                continue
            for utterance in self._hearing.hear(block, Attention.CUT):
                if " ".join(utterance.words) in speaker.saying.lower():
                    continue  # It says the phrase itself.
                phrase = utterance
                speaker.cut()
        self._stopping.wait(TAIL_S)
        self._microphone.drop_waiting()
        self._hearing.finish()
        if phrase is not None:
            self._put(heard_of(phrase))

    def _reopen(self) -> None:
        """Tries to have the microphone back, for as long as it takes."""
        with contextlib.suppress(hearing_process.HearingLost):
            self._hearing.finish()  # What was said into the gap is not understood.
        while not self._stopping.wait(REOPEN_EVERY_S):
            try:
                self._microphone.open()
            except NoSoundDevice:
                continue
            self._overruns = self._microphone.overruns
            self._zeros_s, self._is_muted = 0.0, False
            self._put(MicrophoneChanged(MicrophoneState.BACK))
            return

    def _restart(self) -> None:
        while not self._stopping.wait(0.1):
            try:
                self._hearing.start()
            except hearing_process.HearingLost:
                continue
            with contextlib.suppress(MicrophoneLost):
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
            found = alarms(session.setup.shelf, session.state)
            open_now = tuple(alarm.reminder for alarm in found if alarm.half_at is None)
            told = Utterance(Urgency.HIGH, open_now, 0, is_missed=False)
            self._memory = called(self._memory, told, told_at)
        self._found: tuple[State | None, tuple[Alarm, ...]] = (None, ())
        self._troubles: tuple[Reply, ...] = ()
        self._trouble_since = self._trouble_at = datetime.min.replace(tzinfo=UTC)

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
            self._found = (state, alarms(setup.shelf, state))
        said, self._memory = next_utterance(
            self._found[1],
            self._memory,
            now,
            is_quiet=self._session.talk.is_quiet(now)
            or (self._quiet_hours is not None and self._quiet_hours.has(local)),
            has_noise_fallen=has_noise_fallen,
            is_speaking=is_speaking,
        )
        if said is None:
            return self._trouble_due(now, is_speaking=is_speaking)
        self._session.note_called(said.named[0].key, now)
        return reply_of(said, now), said.urgency

    def _trouble_due(self, now: datetime, *, is_speaking: bool) -> tuple[Reply, Urgency] | None:
        """What stays wrong, said again until it is put right or answered."""
        troubles = self._session.talk.troubles
        if troubles != self._troubles:
            # Just said for the first time, or one of them has ended.
            self._troubles, self._trouble_since, self._trouble_at = troubles, now, now
        if not troubles or is_speaking:
            return None
        is_old = now - self._trouble_since >= TROUBLE_LATER_AFTER
        if now - self._trouble_at < (TROUBLE_LATER_EVERY if is_old else TROUBLE_EVERY):
            return None
        self._trouble_at = now
        self._session.note_called(TROUBLE_KEY, now)
        return troubles[-1], Urgency.HIGH


def run(
    job: Reopened[Clock],
    hearing: Hearing,
    microphone: Microphone,
    speaker: Speaker | None,
    quiet_hours: QuietHours | None,
    *,
    folder: Path | None = None,
    shows_level: bool = False,
    listens_to_keys: bool = False,
    board: "Board | None" = None,
) -> int:
    """The ``run`` command, until interrupted; returns the exit code.

    Args:
        job: gone on with.
        hearing: started.
        microphone: not opened yet.
        speaker: None: what is said is only printed.
        quiet_hours: in which only what would spoil the work is called.
        folder: where the sound of notes is kept.
        shows_level: whether the level of the microphone is shown.
        listens_to_keys: whether a key or a pedal serves as the wake phrase.
        board: whose button answers announcements; None: there is none.
    """
    session, clock = job.session, job.clock
    session.setup = replace(session.setup, zone=clock.listener_zone())
    caller = Caller(session, quiet_hours, clock.now())
    inhibitor = SleepInhibitor()
    watch = Watch(session, clock, inhibitor)
    stop_cleanly_when_asked()
    with microphone:
        print(f"Listening on {microphone.name}. Stop with Ctrl-C.", flush=True)
        listener = Listener(microphone, hearing, speaker)
        if board is not None:
            board.on_press(lambda key: listener.inputs.put(Come(Pressed(key))))
        keys = Keys(lambda: _pressed(listener, speaker)) if listens_to_keys else None
        meter = Meter() if shows_level else None
        notify(READY)
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
                come = _next_input(listener, session, clock)
                session.setup = replace(session.setup, zone=clock.listener_zone())
                now = clock.now()
                effects = (*_step(session, come, now, folder), *watch.look(now))
                session.show(now)
                listener.is_awake = session.is_awake(now)
                notify(ALIVE)
                if meter is not None:
                    meter.show(listener.level_db, is_awake=listener.is_awake)
        except KeyboardInterrupt:
            print()
        finally:
            notify(STOPPING)
            if keys is not None:
                keys.stop()
            listener.stop()
            inhibitor.release()
    return 0


def _pressed(listener: Listener, speaker: Speaker | None) -> None:
    if speaker is not None:
        speaker.cut()
    listener.inputs.put(Come(KeyPressed()))


def _step(
    session: Session, come: Come, now: datetime, folder: Path | None = None
) -> tuple[Effect, ...]:
    """What follows from the input, but for what falls due: the caller says that.

    It says it together with what else is due, and again.
    """
    if not isinstance(come.incoming, TimePassed):
        decision = session.step(come.incoming, now)
        for event in decision.events:
            if isinstance(event, NoteTaken) and event.sound and folder is not None:
                try:
                    keep_sound(folder, event.sound, come.sound)
                except SoundNotKept as error:
                    print(f"{error}.", file=sys.stderr, flush=True)
        return decision.effects
    deadline = session.next_deadline()
    if deadline is None or now < deadline:
        return ()
    effects = session.step(come.incoming, now).effects
    return tuple(e for e in effects if not (isinstance(e, Say) and isinstance(e.reply, Call)))


def _next_input(listener: Listener, session: Session, clock: Clock) -> Come:
    """The next thing heard, or the passing of time when something may be due."""
    wait_s = POLL_S
    deadline = session.next_deadline()
    if deadline is not None:
        wait_s = min(wait_s, max(0.0, (deadline - clock.now()).total_seconds()))
    try:
        return listener.inputs.get(timeout=max(wait_s, 0.001))
    except queue.Empty:
        return Come(TimePassed())


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
