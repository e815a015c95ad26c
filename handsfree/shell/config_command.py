"""The ``config`` command: what is set, where each value comes from, and a file to start with."""

import argparse
import json
import sys
from pathlib import Path

from handsfree.shell.config_file import file_of, settings_of, template, usual_path
from handsfree.shell.preferences import ALL_KEYS, add_options

BAD_INPUT = 2


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``config`` to the command line."""
    parser = commands.add_parser("config", help="your settings, and where each comes from")
    parser.add_argument(
        "action", nargs="?", choices=["show", "init"], default="show",
        help="init: write a new file with every key explained; never over an old one",
    )  # fmt: skip
    parser.add_argument("--template", action="store_true", help="print that file instead")
    parser.add_argument("--json", action="store_true", help="the settings as one JSON object")
    add_options(parser, ALL_KEYS)
    # It shows what the others would settle.
    parser.set_defaults(run=_run, is_settled=False)


def _run(args: argparse.Namespace) -> int:
    if args.template:
        print(template(), end="")
        return 0
    if args.action == "init":
        return _init(args.config or usual_path())
    return _show(args)


def _init(path: Path) -> int:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(template())
    except OSError as error:
        if not path.exists():
            print(f"{path} cannot be written: {error.strerror or error}.", file=sys.stderr)
            return BAD_INPUT
        print(
            f"{path} is there already and was left as it is. "
            "To see what could be in it: handsfree config --template",
            file=sys.stderr,
        )
        return BAD_INPUT
    print(f"Wrote {path}. It changes nothing until you take away a # in it.")
    return 0


def _show(args: argparse.Namespace) -> int:
    settings = settings_of(args)
    path = file_of(args)
    if args.json:
        values = {
            key: {"value": setting.shown, "from": setting.origin}
            for key, setting in settings.items()
        }
        shown = None if path is None else str(path)
        print(json.dumps({"file": shown, "settings": values}, ensure_ascii=False))
        return 0
    if path is not None:
        print(f"Your file: {path}")
    elif args.no_config:
        print("No file is read.")
    else:
        print(f"You have no file yet. To write {usual_path()}: handsfree config init")
    longest = max(map(len, settings))
    widest = max(len(setting.shown) for setting in settings.values())
    for key, setting in settings.items():
        print(f"  {key:<{longest}}  {setting.shown:<{min(widest, 48)}}  {setting.origin}")
    return 0
