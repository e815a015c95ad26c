"""The part of the check that listens: which microphone, the voice, the noise, the loudspeaker."""

from collections.abc import Callable, Iterator

from handsfree.language.tryout_wording import VOICE_SAMPLE, SoundVerdict, say_sound
from handsfree.shell.config_file import FILE_NAME
from handsfree.shell.finding import Finding, note, ok
from handsfree.shell.microphone import Microphone, MicrophoneLost
from handsfree.shell.sound_check import (
    SILENCE_S,
    VOICE_S,
    Levels,
    hear_alarm_tone,
    levels_of,
    record,
)
from handsfree.shell.sound_device import NoSoundDevice, devices, sound_library
from handsfree.shell.speaker import Loudspeaker

COMPARED_S = 2.0
BEST = "best microphone"


def findings(microphone: str | None, loudspeaker: str | None) -> Iterator[Finding]:
    """Asks for silence and for a sentence, and plays the alarm's tone.

    Args:
        microphone: part of its name; None: where there are several, the loudest is looked for.
        loudspeaker: part of its name; None: the system's.
    """
    try:
        library = sound_library()
        names = list(dict.fromkeys(str(device["name"]) for device in devices(library, "input")))
        if microphone is None and len(names) > 1:
            found = compared(names, Microphone)
            yield from (finding for _, finding in found)
            best = next((name for name, finding in found if finding.name == BEST), None)
            microphone = best
        with Microphone(microphone) as opened:
            yield _voice(opened)
            yield _loudspeaker(opened, Loudspeaker(library, loudspeaker))
    except (NoSoundDevice, MicrophoneLost) as error:
        yield note("listening", str(error), type(error).__name__)


def compared(
    names: list[str], open_microphone: Callable[[str], Microphone]
) -> list[tuple[str, Finding]]:
    """How loud a person is on each microphone, one after another, and which to choose.

    Args:
        names: of the microphones.
        open_microphone: makes one, by its name.
    """
    print(f"There are {len(names)} microphones. Talk on and on, from where you will work.")
    found: list[tuple[str, Finding]] = []
    best: tuple[float, str] | None = None
    for number, name in enumerate(names, 1):
        title = f"microphone {number}, heard"
        try:
            with open_microphone(name) as microphone:
                sound = record(microphone, COMPARED_S)
        except (NoSoundDevice, MicrophoneLost) as error:
            found.append((name, note(title, f"{name}: {error}", type(error).__name__)))
            continue
        levels = levels_of(sound, sound)
        shown = "no sound at all" if levels.is_muted else f"{levels.speech_db:.0f} dB"
        is_bad = levels.verdict in (SoundVerdict.MUTED, SoundVerdict.CLIPPED)
        clipped = ", too loud" if levels.verdict is SoundVerdict.CLIPPED else ""
        found.append((name, ok(title, f"{name}, {shown}{clipped}", f"{shown}{clipped}")))
        if not is_bad and (best is None or levels.speech_db > best[0]):
            best = (levels.speech_db, name)
    if best is not None:
        text = f'{best[1]}. To keep it: --microphone "{best[1]}", or microphone in {FILE_NAME}'
        found.append((best[1], ok(BEST, text, "found")))
    return found


def _voice(microphone: Microphone) -> Finding:
    quiet = f"Please say nothing for {SILENCE_S:.0f} seconds."
    speak = f'Now from where you will work, in your usual voice: "{VOICE_SAMPLE}".'
    silence = record(microphone, SILENCE_S, lambda: print(quiet, flush=True))
    voice = record(microphone, VOICE_S, lambda: print(speak, flush=True))
    return voice_finding(levels_of(silence, voice))


def voice_finding(levels: Levels) -> Finding:
    """The levels, and what to do about them."""
    text = f"{levels.shown}. {say_sound(levels.verdict)}"
    make = ok if levels.verdict is SoundVerdict.FINE else note
    return make("your voice", text, f"{levels.shown}; {levels.verdict.value}")


def _loudspeaker(microphone: Microphone, loudspeaker: Loudspeaker) -> Finding:
    print("Now the tone of an urgent alarm.", flush=True)
    troubles: list[str] = []
    tone = hear_alarm_tone(microphone, loudspeaker, troubles.append)
    name = "loudspeaker, heard"
    if troubles:
        return note(name, f"It cannot play: {troubles[0]}.", "cannot play")
    heard = f"{tone.ratio:.1f} times above all else"
    if tone.is_heard:
        return ok(name, f"The microphone hears the alarm, {heard}.", heard)
    return note(
        name,
        "The microphone did not hear the alarm's tone. Did you? If not, turn the loudspeaker up, "
        "or choose another with --loudspeaker. With a headset this is as it should be.",
        f"not heard, {heard}",
    )
