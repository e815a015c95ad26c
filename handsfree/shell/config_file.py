"""A person's settings in a file: read, checked, and put under what was typed.

The command line counts before the file, and the file before the default: ``settle`` is the one
place that decides. The file is never written by the program, but for a new one on request.
"""

import argparse
import difflib
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

from platformdirs import user_config_path

from handsfree.core.card_fields import LARGEST_BYTES, Fields, fields_in
from handsfree.core.errors import CardInvalid
from handsfree.job.alarms import QuietHours
from handsfree.shell.preferences import BY_KEY, PREFERENCES, Preference, ValueRefused, Written

FILE_NAME = "config.toml"
DEFAULT, COMMAND_LINE = "default", "command line"


class ConfigInvalid(Exception):
    """The file cannot be used; the message names file, line, key and what is allowed."""


@dataclass(frozen=True)
class Setting:
    """A value that holds, and where it comes from."""

    value: object
    shown: str
    origin: str  # "default", "command line", or "line 3" of the file.


def usual_path() -> Path:
    """Where a person's settings are looked for when no file is named.

    Source: XDG Base Directory Specification 0.8, XDG_CONFIG_HOME; elsewhere the system's place.
    """
    return user_config_path("handsfree", appauthor=False) / FILE_NAME


def read_config(path: Path) -> Mapping[str, Setting]:
    """The settings of a file, by key.

    Raises:
        ConfigInvalid: it cannot be read, or holds anything that is not allowed; one line for
            each thing.
    """
    fields = _fields_of(path)
    found: dict[str, Setting] = {}
    problems = []
    for key, value in fields.values.items():
        line = fields.lines.get(key)
        place = f"{path}, line {line}" if line is not None else str(path)
        preference = BY_KEY.get(key)
        if preference is None:
            problems.append(f"{place}: {_unknown(key)}")
            continue
        try:
            taken, shown = preference.kind.of_toml(value, path.absolute().parent)
        except ValueRefused as refused:
            problems.append(
                f"{place}: {key} is not accepted, {refused}. "
                f"Allowed is {preference.kind.allowed}, for example {key} = {preference.example}"
            )
            continue
        found[key] = Setting(taken, shown, f"line {line}" if line is not None else "file")
    if problems:
        raise ConfigInvalid("\n".join(problems))
    return found


def _fields_of(path: Path) -> Fields:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise ConfigInvalid(f"{path} is larger than any settings ({LARGEST_BYTES} bytes).")
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ConfigInvalid(
            f"There is no file {path}. To write one: handsfree config init --config {path}"
        ) from None
    except UnicodeDecodeError as error:
        raise ConfigInvalid(f"{path} is no text: {error.reason} at byte {error.start}.") from error
    except OSError as error:
        raise ConfigInvalid(f"{path} cannot be read: {error.strerror or error}.") from error
    try:
        return fields_in(text)
    except CardInvalid as invalid:
        place = f"{path}, line {invalid.line}" if invalid.line is not None else str(path)
        what = f"{invalid.key} is {invalid.value}" if invalid.key else invalid.value
        raise ConfigInvalid(
            f"{place}: {what}; allowed is {invalid.allowed}. "
            "The file was not touched. Mend it, or go on without it: --no-config"
        ) from invalid


def _unknown(key: str) -> str:
    # A key in a section, or written as on the command line, is near the right one too.
    plain = key.replace("-", "_").replace(".", "_")
    near = difflib.get_close_matches(plain, BY_KEY, n=1)
    if near:
        return f"there is no key {key[:60]}. Did you mean {near[0]}?"
    return f"there is no key {key[:60]}. The keys are: {', '.join(BY_KEY)}."


def file_of(args: argparse.Namespace) -> Path | None:
    """The file whose settings count for a command; None: none does.

    What must come out the same on every machine, recordings and scripts, takes settings only
    from a file that is named.
    """
    if args.no_config:
        return None
    if args.config is not None:
        named: Path = args.config
        return named
    is_script = getattr(args, "script", None) is not None
    usual = usual_path()
    return usual if args.reads_file and not is_script and usual.exists() else None


def settings_of(args: argparse.Namespace) -> Mapping[str, Setting]:
    """The settings of a command, each from the command line, the file, or the default.

    Raises:
        ConfigInvalid: from the file.
    """
    path = file_of(args)
    from_file = read_config(path) if path is not None else {}
    return {key: _setting(BY_KEY[key], getattr(args, key), from_file) for key in args.preferences}


def settle(args: argparse.Namespace) -> None:
    """Fills in what was not typed; commands without preferences are left alone.

    Raises:
        ConfigInvalid: from the file.
    """
    if hasattr(args, "preferences"):
        for key, setting in settings_of(args).items():
            setattr(args, key, setting.value)


def _setting(preference: Preference, typed: object, file: Mapping[str, Setting]) -> Setting:
    if typed is not None:
        return Setting(typed, _shown(typed), COMMAND_LINE)
    if preference.key in file:
        return file[preference.key]
    return Setting(preference.default_value, preference.default_shown, DEFAULT)


def _shown(typed: object) -> str:
    match typed:
        case bool():
            return str(typed).lower()
        case list():
            return ", ".join(str(entry) for entry in typed)
        case Fraction():
            return f"{float(typed):g}"
        case timedelta():
            return f"{typed.total_seconds():g}"
        case QuietHours(start, end):
            return f"{start:%H:%M}-{end:%H:%M}"
        case _:
            return str(typed)


def template() -> str:
    """A file with every key explained and commented out: as it stands it changes nothing."""
    return "\n".join(_template_lines()) + "\n"


def _template_lines() -> Iterator[str]:
    yield "# Settings of Handsfree. A line that starts with # does nothing: take the # away and"
    yield "# put your own value. What is typed on the command line counts before this file."
    yield "# Paths are seen from the folder of this file. To see what holds: handsfree config"
    for preference in PREFERENCES:
        yield ""
        about = preference.about[:1].upper() + preference.about[1:]
        allowed = preference.kind.allowed
        if preference.kind.written in (Written.TEXT, Written.LIST):
            allowed += f"; {preference.kind.written.value}"
        text = f"{about}. Allowed: {allowed}. Default: {preference.default_shown}."
        yield from (f"# {line}" for line in textwrap.wrap(text, 96))
        yield f"#{preference.key} = {preference.example}"
