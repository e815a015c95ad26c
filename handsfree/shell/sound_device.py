"""The sound library, found or missed without harm."""

import subprocess
import sys
from types import ModuleType

PROBE_TIMEOUT_S = 10.0


class NoSoundDevice(Exception):
    """There is no live sound; the message says what to install or to plug in."""


def sound_library() -> ModuleType:
    """The ``sounddevice`` module.

    A broken sound configuration ends the interpreter inside PortAudio, so the first import
    is tried in a child.

    Raises:
        NoSoundDevice: PortAudio is missing, or its start ends the process.
    """
    probe = subprocess.run(
        [sys.executable, "-c", "import sounddevice"],
        capture_output=True,
        timeout=PROBE_TIMEOUT_S,
        check=False,
    )
    if b"PortAudio library not found" in probe.stderr:
        raise NoSoundDevice(
            "There is no live sound: the PortAudio library is missing. "
            "On Debian and Ubuntu install the package libportaudio2."
        )
    if probe.returncode != 0:
        raise NoSoundDevice(
            "There is no live sound: the sound system fails to start. "
            "Check the ALSA configuration (ALSA_CONFIG_PATH, ~/.asoundrc)."
        )
    import sounddevice

    return sounddevice  # type: ignore[no-any-return]


def require_device(library: ModuleType, kind: str) -> dict[str, object]:
    """The default device of a kind, "input" or "output", as the library describes it.

    Raises:
        NoSoundDevice: there is none.
    """
    try:
        device: dict[str, object] = library.query_devices(kind=kind)
    except (ValueError, library.PortAudioError) as error:
        name = "microphone" if kind == "input" else "loudspeaker"
        raise NoSoundDevice(f"There is no {name}: plug one in and start again.") from error
    return device
