"""The command line."""

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import handsfree
from handsfree.core.errors import Refusal
from handsfree.job.boundary import Say
from handsfree.job.step import Setup
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.language.wording import Level
from handsfree.shell import (
    board_options,
    calculator,
    config_command,
    docs,
    journal_command,
    record_command,
    review_command,
    service,
    words,
)
from handsfree.shell.cards import (
    DEFAULT_CARD,
    CardUnusable,
    card_text,
    load_card,
    shipped_cards,
)
from handsfree.shell.config_file import ConfigInvalid, settle
from handsfree.shell.preferences import (
    ALL_KEYS,
    CHECK_KEYS,
    JOB_KEYS,
    TRYOUT_KEYS,
    TYPED_BOARD_KEYS,
    add_options,
)
from handsfree.shell.session import Session, setup_of

if TYPE_CHECKING:
    # Loaded by the commands that need them, so that the others start at once.
    from handsfree.shell.clock import Stamp
    from handsfree.shell.hearing import Hearing
    from handsfree.shell.job_folder import AnyClock, Reopened
    from handsfree.shell.speaker import Speaker

BAD_INPUT = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command.

    Args:
        arguments: the words after the program's name; None takes them from the system.

    Returns:
        The exit code: 0 done, 1 something needed is missing (``check``), 2 bad input.
    """
    args = _parser().parse_args(arguments)
    try:
        if getattr(args, "is_settled", True):
            settle(args)
        code: int = args.run(args)
    except (KnownTrouble, ConfigInvalid) as trouble:
        print(trouble, file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # The reader of our output has gone, as in "handsfree ... | head".
        sys.stderr.close()
        return BAD_INPUT
    return code


class KnownTrouble(Exception):
    """Something the user can put right; the message says how."""


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="handsfree",
        description="Talk a two-part epoxy job through with both hands busy. "
        "The product's label and safety data sheet decide.",
    )
    parser.add_argument("--version", action="version", version=handsfree.__version__)
    parser.set_defaults(run=lambda _args: _no_command(parser))
    commands = parser.add_subparsers(metavar="COMMAND")

    demo = commands.add_parser("demo", help="an invented job from recordings, no microphone needed")
    add_options(demo, JOB_KEYS, reads_file=False)
    demo.add_argument("--wav", type=Path, metavar="FILE", help="write the spoken answers to a file")
    demo.add_argument("--quiet", action="store_true", help="print only, do not speak")
    demo.set_defaults(run=_demo)

    hear = commands.add_parser("hear", help="decode recordings as the live loop would")
    hear.add_argument("files", nargs="+", metavar="FILE", help="wav, flac or ogg")
    hear.add_argument("--json", action="store_true", help="one JSON line per utterance")
    hear.add_argument("--together", action="store_true", help="one dialogue over all files")
    add_options(hear, JOB_KEYS, reads_file=False)
    hear.set_defaults(run=_hear)

    typed = commands.add_parser("type", help="the same dialogue typed, on a simulated clock")
    typed.add_argument("--json", action="store_true", help="one JSON line per thing said")
    typed.add_argument("--script", metavar="FILE", help="lines of: HH:MM:SS words")
    typed.add_argument("--until", metavar="TIME", help="let the clock run on to HH:MM:SS")
    typed.add_argument(
        "--data", type=Path, metavar="FOLDER", help="record the job there, or go on with it"
    )
    board_options.add_host_to(typed)
    add_options(typed, (*JOB_KEYS, *TYPED_BOARD_KEYS))
    typed.set_defaults(run=_type)

    run = commands.add_parser("run", help="listen and speak, live")
    board_options.add_host_to(run)
    add_options(run, ALL_KEYS)
    run.set_defaults(run=_run)

    tryout = commands.add_parser("tryout", help="five guided minutes with water, to learn it")
    tryout.add_argument("--text", action="store_true", help="typed, not spoken")
    tryout.add_argument(
        "--script", type=Path, metavar="FILE", help="typed from a file, as type takes it"
    )
    add_options(tryout, TRYOUT_KEYS)
    tryout.set_defaults(run=_tryout)

    check = commands.add_parser("check", help="what works, what does not, and what to do")
    check.add_argument(
        "--listen", action="store_true", help="also your voice, the noise, and the loudspeaker"
    )
    check.add_argument(
        "--report", type=Path, metavar="FILE", help="also for a bug report, nothing private in it"
    )
    add_options(check, CHECK_KEYS)
    # A damaged file of settings is one of the things it finds.
    check.set_defaults(run=_check, is_settled=False)

    config_command.add_command(commands)
    calculator.add_commands(commands)
    journal_command.add_commands(commands)
    record_command.add_command(commands)
    review_command.add_command(commands)
    words.add_commands(commands)
    served = commands.add_parser("service", help="print a systemd unit that starts it by itself")
    served.add_argument(
        "options",
        nargs="*",
        metavar="-- OPTIONS",
        help="of run, after two dashes: handsfree service -- --board",
    )
    served.set_defaults(run=_service)
    docs.add_command(commands)

    bench = commands.add_parser("bench", help="measure; prints Markdown")
    topics = bench.add_subparsers(metavar="TOPIC", required=True)
    hearing = topics.add_parser("hearing", help="right, asked and wrong on indexed recordings")
    hearing.add_argument("--speech", type=Path, required=True, action="append", metavar="FOLDER")
    hearing.add_argument("--noise", type=Path, metavar="FOLDER", help="recordings of noise")
    hearing.add_argument("--snr", default="20,10,5", metavar="DB,DB", help="default 20,10,5")
    hearing.add_argument("--every", type=int, default=1, metavar="N", help="each Nth recording")
    hearing.add_argument("--confusions", type=int, default=40, metavar="N", help="most to list")
    hearing.add_argument("--jobs", type=int, default=os.cpu_count() or 1, metavar="N")
    hearing.add_argument("--report", type=Path, metavar="FILE", help="also write it to a file")
    hearing.add_argument("--model", type=Path, metavar="FOLDER", help="another Vosk model folder")
    hearing.set_defaults(run=_bench_hearing)
    return parser


def _no_command(parser: argparse.ArgumentParser) -> int:
    """Whoever types the name alone wants to know what there is."""
    parser.print_help()
    print("\nTo see it at work: handsfree demo. To read more: handsfree docs.")
    return BAD_INPUT


def _new_session(args: argparse.Namespace) -> Session:
    return Session(_new_setup(args), Level(args.words))


def _new_setup(args: argparse.Namespace) -> Setup:
    try:
        card, *others = (load_card(name) for name in _products(args))
        setup = setup_of(
            card,
            step_g=args.scale_step,
            capacity_g=args.scale_capacity,
            wake_phrases=tuple(args.wake or WAKE_PHRASES),
            others=tuple(others),
            keeps_note_sound=getattr(args, "keep_notes", False),
            # No time at all stands for always.
            attention=getattr(args, "attention", None) or None,
        )
    except CardUnusable as error:
        raise KnownTrouble(str(error)) from error
    except Refusal as refusal:
        names = " or ".join(_products(args))
        raise KnownTrouble(f"{names} cannot be weighed. {refusal}") from refusal
    return setup


def _products(args: argparse.Namespace) -> tuple[str, ...]:
    """The cards at hand, the one to start with first."""
    if args.product:
        return tuple(args.product)
    return (DEFAULT_CARD, *(name for name in shipped_cards() if name != DEFAULT_CARD))


def _reopened(
    args: argparse.Namespace,
    setup: Setup,
    clock_after: "Callable[[Stamp | None], AnyClock]",
    stack: ExitStack,
    model: Path | None = None,
) -> "Reopened[AnyClock]":
    """The job in the data folder; the model is the one that hears, None where words are typed."""
    from handsfree.shell.job_folder import ProductDiffers, default_folder, reopen
    from handsfree.shell.journal import Journal, JournalBusy, JournalUnreadable
    from handsfree.shell.journal_entries import Equipment
    from handsfree.shell.model_folder import fingerprint

    name, sha256 = ("", "") if model is None else (model.name, fingerprint(model))
    equipment = Equipment(
        tuple(card_text(product) for product in _products(args)), name, sha256, args.scale_step
    )
    journal = Journal(args.data or default_folder())
    stack.callback(journal.close)
    try:
        return reopen(journal, setup, clock_after, Level(args.words), equipment)
    except (JournalBusy, JournalUnreadable, ProductDiffers) as error:
        raise KnownTrouble(str(error)) from error


def _demo(args: argparse.Namespace) -> int:
    from handsfree.shell import demo

    session = _new_session(args)
    with ExitStack() as stack:
        hearing = _hearing(args, session.setup, stack)
        speaker = None if args.quiet else _speaker(args.wav, stack)
        try:
            return demo.run(args, hearing, session, speaker)
        except demo.DemoMissing as error:
            raise KnownTrouble(str(error)) from error


def _hear(args: argparse.Namespace) -> int:
    from handsfree.shell import hear

    session = _new_session(args)
    with ExitStack() as stack:
        hearing = _hearing(args, session.setup, stack)
        return hear.run(args, hearing, lambda: Session(session.setup, session.level))


def _type(args: argparse.Namespace) -> int:
    from handsfree.shell import typed

    with ExitStack() as stack:
        shown = _shown(args, stack, does_tick=False)
        if args.data is None:
            session = _new_session(args)
            session.displays = shown.displays
            return typed.run(args, session)
        job = _reopened(args, _new_setup(args), typed.SimulatedClock, stack)
        job.session.displays = shown.displays
        first = [effect for effect in job.effects if isinstance(effect, Say)]
        return typed.run(args, job.session, start=job.clock.now(), first=first)


def _run(args: argparse.Namespace) -> int:
    from handsfree.shell import live
    from handsfree.shell.clock import Clock
    from handsfree.shell.job_folder import default_folder
    from handsfree.shell.microphone import Microphone
    from handsfree.shell.model_folder import shipped_model
    from handsfree.shell.sound_device import NoSoundDevice, find_device, sound_library

    with ExitStack() as stack:
        try:
            find_device(sound_library(), "input", args.microphone)
        except NoSoundDevice as error:
            raise KnownTrouble(f"{error} Without it, try: handsfree type") from error
        microphone = Microphone(args.microphone)
        setup = _new_setup(args)
        hearing = _hearing(args, setup, stack)
        speaker = _speaker(None, stack, args.loudspeaker)
        shown = _shown(args, stack, does_tick=True)
        # Last: from here on time counts, and what fell due is recorded as announced.
        model = args.model or shipped_model()
        job = _reopened(args, setup, lambda last: Clock(last=last), stack, model)
        job.session.displays = shown.displays
        try:
            return live.run(
                job,
                hearing,
                microphone,
                speaker,
                args.quiet_hours,
                folder=args.data or default_folder(),
                shows_level=args.level,
                listens_to_keys=args.key,
                board=shown.board,
            )
        except NoSoundDevice as error:
            raise KnownTrouble(f"{error} Without it, try: handsfree type") from error


def _shown(args: argparse.Namespace, stack: ExitStack, *, does_tick: bool) -> board_options.Shown:
    try:
        return board_options.opened(args, stack, does_tick=does_tick)
    except board_options.CannotShow as error:
        raise KnownTrouble(str(error)) from error


def _tryout(args: argparse.Namespace) -> int:
    from handsfree.shell.tryout import Tryout, run_typed, typed_lines

    wake_phrases = tuple(args.wake or WAKE_PHRASES)
    tryout = Tryout(args.scale_step, args.scale_capacity, wake_phrases, Level(args.words))
    if args.text or args.script is not None:
        try:
            text, echoes = typed_lines(args.script)
        except (OSError, UnicodeDecodeError) as error:
            raise KnownTrouble(f"The script {args.script} cannot be read: {error}") from error
        return run_typed(tryout, text, echoes=echoes)

    from handsfree.language.tryout_wording import SKIP_PHRASE, STOP_PHRASE
    from handsfree.shell import tryout_live
    from handsfree.shell.microphone import Microphone, MicrophoneLost
    from handsfree.shell.sound_device import NoSoundDevice

    # The guide's own phrases cut its speech, as the wake phrase does.
    args.wake = [*wake_phrases, SKIP_PHRASE, STOP_PHRASE]
    with ExitStack() as stack:
        hearing = _hearing(args, tryout.session.setup, stack)
        speaker = _speaker(None, stack, args.loudspeaker)
        try:
            return tryout_live.run(tryout, hearing, Microphone(args.microphone), speaker)
        except (NoSoundDevice, MicrophoneLost) as error:
            raise KnownTrouble(f"{error} Without it, try: handsfree tryout --text") from error


def _service(args: argparse.Namespace) -> int:
    # Refused here what would be refused at every start of the service.
    run = _parser().parse_args(["run", *args.options])
    settle(run)
    reach = service.Reach.NONE
    if board_options.is_page_wanted(run):
        reach = service.Reach.LOOPBACK
    if run.board_host is not None:
        reach = service.Reach.OTHERS
    return service.print_unit(args.options, reach)


def _check(args: argparse.Namespace) -> int:
    from handsfree.shell import checkup

    return checkup.run(args, _products)


def _bench_hearing(args: argparse.Namespace) -> int:
    from handsfree.shell import bench
    from handsfree.shell.model_folder import ModelUnusable

    try:
        return bench.run(args)
    except (ValueError, ModelUnusable) as error:
        raise KnownTrouble(str(error)) from error


def _hearing(args: argparse.Namespace, setup: Setup, stack: ExitStack) -> "Hearing":
    from handsfree.shell.hearing import Hearing, HearingLost
    from handsfree.shell.model_folder import ModelUnusable, shipped_model

    try:
        hearing = Hearing(
            args.model or shipped_model(),
            tuple(args.wake or ()),
            setup.shelf.spoken_names,
            keeps_sound=setup.keeps_note_sound,
        )
        return stack.enter_context(hearing)
    except (ModelUnusable, HearingLost) as error:
        raise KnownTrouble(str(error)) from error


def _speaker(wav: Path | None, stack: ExitStack, wanted: str | None = None) -> "Speaker | None":
    """A speaker to a file or the loudspeaker; None, with a word why, when there is neither."""
    from handsfree.shell.sound_device import NoSoundDevice, sound_library
    from handsfree.shell.speaker import Loudspeaker, Speaker, WaveFile
    from handsfree.shell.voice import Voice

    def tell(message: str) -> None:
        print(message, file=sys.stderr)

    try:
        output = WaveFile(wav) if wav is not None else Loudspeaker(sound_library(), wanted)
    except NoSoundDevice as error:
        tell(f"{error} What is said is only printed.")
        return None
    speaker = Speaker(stack.enter_context(Voice()), output, tell)
    stack.callback(speaker.close)
    return speaker
