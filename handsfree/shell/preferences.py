"""What a person sets more than once: one table, for the command line and for the file.

A row gives the option its type, help and default, the file its key, and the template its lines.
"""

import argparse
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from pathlib import Path

from handsfree.job.alarms import QuietHours
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.language.intents import WakeUp
from handsfree.language.parser import Misheard, parse
from handsfree.language.wording import Level
from handsfree.shell.board_options import HIGHEST_PORT, USUAL_PORT
from handsfree.shell.cards import DEFAULT_CARD, shipped_cards
from handsfree.shell.session import DEFAULT_CAPACITY_G, DEFAULT_STEP_G

LEAST_STEP_G, LARGEST_STEP_G = Fraction(1, 1000), Fraction(100)
LEAST_CAPACITY_G, LARGEST_CAPACITY_G = Fraction(1), Fraction(100_000)
# Long enough for the walk to the other end of a coat and back; a radio is not listened to for
# longer. Judgement.
DEFAULT_ATTENTION_S, LONGEST_ATTENTION_S = 600, 86_400
LONGEST_TEXT = 200


class ValueRefused(ValueError):
    """A value that is not allowed; the message says what it is."""


class Written(Enum):
    """How a value stands in the file."""

    TEXT = "text in quotes"
    NUMBER = "a plain number such as 12 or 0.5"
    FLAG = "true or false"
    LIST = "text in quotes, or a list of such in square brackets"


@dataclass(frozen=True)
class Kind:
    """A kind of value."""

    written: Written
    allowed: str  # What may stand there, for people.
    of_text: Callable[[str], object]  # Raises ValueRefused.
    # Paths in the file are those seen from its folder.
    from_folder: Callable[[str, Path], str] = lambda text, _folder: text

    def of_toml(self, value: object, folder: Path) -> tuple[object, str]:
        """The value of what stands in the file, and how it is shown.

        Raises:
            ValueRefused: it is of another type, or not allowed.
        """
        match self.written, value:
            case Written.FLAG, bool():
                return value, str(value).lower()
            case Written.NUMBER, int() | Decimal() if not isinstance(value, bool):
                text = format(Decimal(value), "f")
                return self.of_text(text), text
            case Written.TEXT, str():
                text = self.from_folder(value, folder)
                return self.of_text(text), text
            case Written.LIST, str():
                return self.of_toml([value], folder)
            case Written.LIST, [*entries] if entries and all(isinstance(e, str) for e in entries):
                texts = [self.from_folder(str(entry), folder) for entry in entries]
                return [self.of_text(text) for text in texts], ", ".join(texts)
            case _:
                raise ValueRefused(f"it takes {self.written.value}")


@dataclass(frozen=True)
class Preference:
    """One thing that can be set."""

    key: str  # In the file; on the command line with hyphens for the underscores.
    kind: Kind
    about: str  # For help and template, without a full stop.
    example: str  # As it stands in the file.
    default: str | None = None  # As typed; None: what ``default_words`` says.
    default_words: str = ""
    metavar: str = ""

    @property
    def option(self) -> str:
        """Its name on the command line."""
        return "--" + self.key.replace("_", "-")

    @property
    def default_value(self) -> object:
        """What holds when nothing is set."""
        if self.kind.written is Written.FLAG:
            return self.default == "true"
        return None if self.default is None else self.kind.of_text(self.default)

    @property
    def default_shown(self) -> str:
        """The same for people."""
        return self.default_words or self.default or ""


def _grams(low: Fraction, high: Fraction) -> Kind:
    allowed = f"a number of grams from {float(low):g} to {float(high):g}"

    def grams(text: str) -> Fraction:
        # A plain decimal only: Fraction would also take "1/3" and "1e9".
        is_plain = text.isascii() and text.replace(".", "", 1).isdecimal()
        if not is_plain or not low <= Fraction(text) <= high:
            raise ValueRefused(f"{text!r} is not {allowed}")
        return Fraction(text)

    return Kind(Written.NUMBER, allowed, grams)


def _quiet_hours(text: str) -> QuietHours:
    try:
        start, end = (datetime.strptime(part, "%H:%M").time() for part in text.split("-"))
    except ValueError:
        raise ValueRefused(f"{text!r} is no span such as 22:00-06:30") from None
    return QuietHours(start, end)


def _attention(text: str) -> timedelta:
    if not text.isdecimal() or not text.isascii() or int(text) > LONGEST_ATTENTION_S:
        raise ValueRefused(f"{text!r} is no number of seconds from 0 to {LONGEST_ATTENTION_S}")
    return timedelta(seconds=int(text))


def _port(text: str) -> int:
    if not text.isdecimal() or not text.isascii() or not int(text) <= HIGHEST_PORT:
        raise ValueRefused(f"{text!r} is no port; 0 to {HIGHEST_PORT}, 0 is any that is free")
    return int(text)


def _wake_phrase(text: str) -> str:
    words = text.lower().split()
    if len(words) < 2 or not all(word.replace("'", "").isalpha() for word in words):
        raise ValueRefused(f"{text!r} is not two or more plain words")
    if not isinstance(parse(words), Misheard | WakeUp):
        raise ValueRefused(f"{text!r} is a command already")
    return " ".join(words)


def _words_level(text: str) -> str:
    if text not in LEVELS:
        raise ValueRefused(f"{text!r} is not one of {', '.join(LEVELS)}")
    return text


def _name(text: str) -> str:
    if not text.strip() or len(text) > LONGEST_TEXT or not text.isprintable():
        raise ValueRefused(f"{text[:40]!r} is no name")
    return text


def _path(text: str) -> Path:
    return Path(_name(text))


def _path_from_folder(text: str, folder: Path) -> str:
    return str(folder / Path(text).expanduser())


def _card_from_folder(text: str, folder: Path) -> str:
    return text if text in shipped_cards() else _path_from_folder(text, folder)


def _flag(text: str) -> bool:
    return text == "true"


LEVELS = tuple(level.value for level in Level)
FLAG = Kind(Written.FLAG, "true or false", _flag)
DEVICE = Kind(Written.TEXT, "a part of its name that no other has", _name)
FOLDER = Kind(Written.TEXT, "a path", _path, _path_from_folder)

PREFERENCES: tuple[Preference, ...] = (
    Preference(
        "product",
        Kind(Written.LIST, "files, or names of shipped cards", _name, _card_from_folder),
        "a product card: a file, or the name of a shipped one; given again, it may be chosen by "
        "voice",
        '["gate-coat", "my-card.toml"]',
        default_words=f"{DEFAULT_CARD}, with the other shipped ones",
        metavar="CARD",
    ),
    Preference(
        "scale_step",
        _grams(LEAST_STEP_G, LARGEST_STEP_G),
        "the scale's smallest step",
        "0.1",
        default=str(DEFAULT_STEP_G),
        metavar="GRAMS",
    ),
    Preference(
        "scale_capacity",
        _grams(LEAST_CAPACITY_G, LARGEST_CAPACITY_G),
        "the most the scale carries",
        "3000",
        default=str(DEFAULT_CAPACITY_G),
        metavar="GRAMS",
    ),
    Preference(
        "wake",
        Kind(Written.LIST, "two or more plain words that are no command", _wake_phrase),
        "a wake phrase of your own; may be given more than once",
        '["good evening garage"]',
        default_words=", ".join(WAKE_PHRASES),
        metavar="PHRASE",
    ),
    Preference(
        "words",
        Kind(Written.TEXT, f"one of {', '.join(LEVELS)}", _words_level),
        "how much is said: an old hand hears less, a new one a hint more",
        '"brief"',
        default=Level.NORMAL.value,
        metavar="LEVEL",
    ),
    Preference(
        "model",
        FOLDER,
        "another Vosk model folder",
        '"my-model"',
        default_words="the one that came with the program",
        metavar="FOLDER",
    ),
    Preference(
        "data",
        FOLDER,
        "the folder that holds the job's record",
        '"~/garage-jobs"',
        default_words="the usual place of this system",
        metavar="FOLDER",
    ),
    Preference(
        "quiet_hours",
        Kind(Written.TEXT, "a span of the day such as 22:00-06:30", _quiet_hours),
        "call only what would spoil the work",
        '"22:00-06:30"',
        default_words="none",
        metavar="HH:MM-HH:MM",
    ),
    Preference(
        "microphone",
        DEVICE,
        "part of its name (see: check)",
        '"headset"',
        default_words="the system's",
        metavar="NAME",
    ),
    Preference(
        "loudspeaker",
        DEVICE,
        "part of its name (see: check)",
        '"speaker"',
        default_words="the system's",
        metavar="NAME",
    ),
    Preference(
        "attention",
        Kind(Written.NUMBER, f"whole seconds from 0 to {LONGEST_ATTENTION_S}", _attention),
        "listen to all for so long after an exchange, then only to the wake phrase and to danger; "
        "0: always to all",
        "1200",
        default=str(DEFAULT_ATTENTION_S),
        metavar="SECONDS",
    ),
    Preference(
        "key",
        FLAG,
        "any key, or a pedal that types one, serves as the wake phrase",
        "true",
        default="false",
    ),
    Preference("level", FLAG, "show the microphone's level", "true", default="false"),
    Preference(
        "keep_notes",
        FLAG,
        "store the sound of notes; no other sound is ever stored",
        "true",
        default="false",
    ),
    # Letting other devices see the board (--board-host) is typed each time: nobody shall have
    # opened a port years ago and forgotten it.
    Preference("board", FLAG, "show the job on a page, read-only", "true", default="false"),
    Preference(
        "board_port",
        Kind(Written.NUMBER, f"a port from 0 to {HIGHEST_PORT}", _port),
        "the page's port",
        "8428",
        default_words=f"{USUAL_PORT}, or any that is free",
        metavar="PORT",
    ),
    Preference(
        "board_acknowledge",
        FLAG,
        "a button on the page that answers an announcement",
        "true",
        default="false",
    ),
    Preference(
        "board_terminal", FLAG, "show the job in this terminal, large", "true", default="false"
    ),
)
BY_KEY: Mapping[str, Preference] = {preference.key: preference for preference in PREFERENCES}
ALL_KEYS = tuple(BY_KEY)
BOARD_KEYS = tuple(key for key in ALL_KEYS if key.startswith("board"))
TYPED_BOARD_KEYS = tuple(key for key in BOARD_KEYS if key != "board_acknowledge")
CHECK_KEYS = tuple(key for key in ALL_KEYS if key not in BOARD_KEYS)
JOB_KEYS = ("product", "model", "scale_step", "scale_capacity", "wake", "words")
TRYOUT_KEYS = (*(key for key in JOB_KEYS if key != "product"), "microphone", "loudspeaker")


def add_options(
    parser: argparse.ArgumentParser, keys: Iterable[str], *, reads_file: bool = True
) -> None:
    """Adds options to a command; ``config_file.settle`` fills in those that were not typed.

    Args:
        parser: of the command.
        keys: of the table.
        reads_file: whether the person's usual file counts; otherwise only one that is named.
    """
    keys = tuple(keys)
    for key in keys:
        preference = BY_KEY[key]
        about = preference.about.replace("%", "%%")
        if preference.kind.written is Written.FLAG:
            parser.add_argument(
                preference.option,
                dest=key,
                action=argparse.BooleanOptionalAction,
                default=None,
                help=about,
            )
            continue
        parser.add_argument(
            preference.option,
            dest=key,
            action="append" if preference.kind.written is Written.LIST else "store",
            type=_option_type(preference.kind),
            metavar=preference.metavar,
            help=f"{about} (default {preference.default_shown})",
        )
    take_from_file(parser, keys, reads_file=reads_file)


def take_from_file(
    parser: argparse.ArgumentParser, keys: tuple[str, ...], *, reads_file: bool = True
) -> None:
    """Lets a command have settings from the file; the arguments are those of ``add_options``."""
    file = parser.add_mutually_exclusive_group()
    file.add_argument("--config", type=Path, metavar="FILE", help="settings from this file")
    file.add_argument("--no-config", action="store_true", help="no settings from any file")
    parser.set_defaults(preferences=keys, reads_file=reads_file, **dict.fromkeys(keys))


def _option_type(kind: Kind) -> Callable[[str], object]:
    def typed(text: str) -> object:
        try:
            return kind.of_text(text)
        except ValueRefused as refused:
            raise argparse.ArgumentTypeError(str(refused)) from None

    return typed
