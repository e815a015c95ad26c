"""The longer documentation, which comes with the program and is read without a network."""

import argparse
import sys
from pathlib import Path

import handsfree

FOLDER = Path(handsfree.__file__).parent / "docs"
BAD_INPUT = 2


def topics() -> dict[str, Path]:
    """The pages by name, in alphabetical order."""
    return {path.stem: path for path in sorted(FOLDER.glob("*.md"))}


def title_of(path: Path) -> str:
    """A page's first heading."""
    with path.open(encoding="utf-8") as file:
        return file.readline().removeprefix("# ").strip()


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds ``docs`` to the command line."""
    parser = commands.add_parser("docs", help="read more: hearing, pot life, alarms, trouble ...")
    parser.add_argument("topic", nargs="?", metavar="TOPIC", help="default: list them")
    parser.set_defaults(run=lambda args: _show(args.topic))


def _show(topic: str | None) -> int:
    pages = topics()
    if topic is None:
        for name, path in pages.items():
            print(f"{name:<16} {title_of(path)}")
        return 0
    if topic not in pages:
        print(f"There is no page {topic}. There are: {', '.join(pages)}.", file=sys.stderr)
        return BAD_INPUT
    print(pages[topic].read_text(encoding="utf-8"), end="")
    return 0
