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
    # The second: the system's list of libraries still names one that was removed.
    if b"PortAudio library not found" in probe.stderr or b"libportaudio" in probe.stderr:
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


NAMES = {"input": "microphone", "output": "loudspeaker"}


def find_device(library: ModuleType, kind: str, wanted: str | None) -> dict[str, object]:
    """A device of a kind, "input" or "output", as the library describes it.

    Args:
        library: ``sounddevice``.
        kind: which.
        wanted: part of the device's name in any case; None: the default device. Never a
            number: after a device was pulled out, the numbers are others.

    Raises:
        NoSoundDevice: there is none of that name, or several, or no device at all.
    """
    if wanted is None:
        try:
            device: dict[str, object] = library.query_devices(kind=kind)
        except (ValueError, library.PortAudioError) as error:
            raise NoSoundDevice(
                f"There is no {NAMES[kind]}: plug one in and start again."
            ) from error
        return device
    found = [d for d in devices(library, kind) if wanted.lower() in str(d["name"]).lower()]
    exact = [d for d in found if str(d["name"]).lower() == wanted.lower()]
    found = exact or found
    if len({str(d["name"]) for d in found}) == 1:
        return found[0]
    every = "; ".join(str(d["name"]) for d in devices(library, kind)) or "none"
    how_many = "several are" if found else "none is"
    raise NoSoundDevice(f"Of the {NAMES[kind]}s {how_many} called {wanted!r}. There are: {every}.")


def devices(library: ModuleType, kind: str) -> list[dict[str, object]]:
    """All devices of a kind; the same device may be there by several ways."""
    every: list[dict[str, object]] = list(library.query_devices())
    return [d for d in every if int(str(d[f"max_{kind}_channels"])) > 0]
