"""``handsfree words``: a user's own words, added to the speech model without training it anew."""

import argparse
import json
import os
import re
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from handsfree.language.numbers import NUMBER_WORDS, POINT_WORDS
from handsfree.shell import word_graph
from handsfree.shell.model_folder import SHIPPED_MODEL, ModelUnusable, shipped_model

LEXICON, GRAPH_SETTINGS = "lexicon.txt", "graph.json"
# Judgement: "fort" and "four" differ in one phone of four, and a wrong number is the worst error
# there is. Two phones and more than a third of the longer word must differ.
LEAST_PHONES_APART = 2
LEAST_SHARE_APART = 0.34

Pronunciations = dict[str, list[tuple[str, ...]]]


class WordRefused(ValueError):
    """The word cannot be added; the message says why and what to do."""


def own_model() -> Path:
    """Where the model with the user's own words lives; the shipped one is never changed.

    Source: XDG Base Directory Specification 0.8, XDG_DATA_HOME.
    """
    data = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(data) / "handsfree" / SHIPPED_MODEL


def read_lexicon(folder: Path) -> Pronunciations:
    """The model's words and how they are pronounced.

    Raises:
        ModelUnusable: the model has no lexicon, or a line of it is damaged.
    """
    path = folder / LEXICON
    if not path.is_file() or not (folder / GRAPH_SETTINGS).is_file():
        raise ModelUnusable(
            f"The model at {folder} takes no more words: it has no {LEXICON} and {GRAPH_SETTINGS}."
        )
    prons: Pronunciations = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        word, _, phones = line.partition("\t")
        if not word or not phones.split():
            raise ModelUnusable(f"{path} is damaged in line {number}. Install the program again.")
        prons.setdefault(word, []).append(tuple(phones.split()))
    return prons


def pronunciation(spelling: str, lexicon: Pronunciations, phones: Sequence[str]) -> tuple[str, ...]:
    """The phones of "like this": known words in lower case, phones in capitals, in any mix.

    Raises:
        WordRefused: a part is neither, or there is none.
    """
    said: list[str] = []
    for part in spelling.split():
        if part in phones:
            said.append(part)
        elif part.lower() in lexicon:
            said += lexicon[part.lower()][0]
        else:
            raise WordRefused(
                f"I do not know how {part!r} sounds. Use common English words, or phones in "
                f"capitals: {' '.join(phones)}."
            )
    if len(said) < 2:
        raise WordRefused("A word needs at least two phones, or noise sounds like it.")
    return tuple(said)


def phones_apart(one: Sequence[str], other: Sequence[str]) -> int:
    """Fewest phones to insert, delete or replace to make one out of the other."""
    row = list(range(len(other) + 1))
    for i, phone in enumerate(one, 1):
        corner, row[0] = row[0], i
        for j, against in enumerate(other, 1):
            corner, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, corner + (phone != against))
    return row[-1]


def number_like(pron: Sequence[str], lexicon: Pronunciations) -> str | None:
    """A number word that the phones could be taken for, or None."""
    for word in sorted({*NUMBER_WORDS, *POINT_WORDS}):
        for number in lexicon.get(word, []):
            apart = phones_apart(pron, number)
            share = apart / max(len(pron), len(number))
            if apart < LEAST_PHONES_APART or share < LEAST_SHARE_APART:
                return word
    return None


def add_word(name: str, spelling: str, source: Path, target: Path) -> None:
    """Write a model with one more word; source and target may be the same folder of the user.

    Args:
        name: the word as it will be written, one word.
        spelling: how it sounds; see pronunciation.
        source: a model folder with a lexicon.
        target: the folder to write, put in place in one step.

    Raises:
        WordRefused: the word is no word, known already, unpronounceable, or like a number.
        ModelUnusable: the source takes no words.
    """
    if not re.fullmatch(r"[a-z][a-z']*", name):
        raise WordRefused(f"{name!r} is no word: use small letters a to z, no blanks or digits.")
    lexicon = read_lexicon(source)
    if name in lexicon:
        raise WordRefused(f"The model knows {name!r} already.")
    settings: dict[str, Any] = json.loads((source / GRAPH_SETTINGS).read_text(encoding="utf-8"))
    labels: list[str] = settings["labels"]
    pron = pronunciation(spelling, lexicon, labels[1:])
    number = number_like(pron, lexicon)
    if number is not None:
        raise WordRefused(
            f"{name!r} said {' '.join(pron)} could be taken for {number!r}. "
            "Choose another name, or say it with a second word."
        )
    lexicon[name] = [pron]
    fresh = target.with_name(target.name + ".new")
    shutil.rmtree(fresh, ignore_errors=True)
    shutil.copytree(source, fresh)
    word_graph.write(fresh / "graph", lexicon, labels, word_graph.Costs(**settings["costs"]))
    lines = [f"{word}\t{' '.join(p)}\n" for word in sorted(lexicon) for p in lexicon[word]]
    (fresh / LEXICON).write_text("".join(lines), encoding="utf-8")
    word_graph.write_sums(fresh)
    shutil.rmtree(target, ignore_errors=True)
    fresh.replace(target)


def own_words(target: Path) -> Pronunciations:
    """Words of the user's model that the shipped one lacks."""
    shipped = read_lexicon(shipped_model())
    return {word: prons for word, prons in read_lexicon(target).items() if word not in shipped}


def add_commands(subparsers: Any) -> None:
    """Registers ``words add`` and ``words list``."""
    words = subparsers.add_parser("words", help="your own words, such as product names")
    actions = words.add_subparsers(metavar="ACTION", required=True)
    add = actions.add_parser("add", help="teach the model a word, in seconds")
    add.add_argument("name", metavar="NAME", help="the word as written")
    add.add_argument("sounds", metavar="LIKE", help='how it sounds, such as "seek a door"')
    listed = actions.add_parser("list", help="the words you added")
    for action, run in ((add, _add), (listed, _list)):
        action.add_argument(
            "--into", type=Path, metavar="FOLDER", help=f"your model (default {own_model()})"
        )
        action.set_defaults(run=run)


def _add(args: argparse.Namespace) -> int:
    target: Path = args.into or own_model()
    try:
        source = target if target.is_dir() else shipped_model()
        target.parent.mkdir(parents=True, exist_ok=True)
        add_word(args.name, args.sounds, source, target)
    except (WordRefused, ModelUnusable, OSError) as refusal:
        print(refusal, file=sys.stderr)
        return 1
    print(f"Added {args.name!r}. Use it with --model {target}")
    return 0


def _list(args: argparse.Namespace) -> int:
    target: Path = args.into or own_model()
    if not target.is_dir():
        print("You have added no words.")
        return 0
    try:
        for word, prons in sorted(own_words(target).items()):
            print(f"{word}: {' '.join(prons[0])}")
    except ModelUnusable as refusal:
        print(refusal, file=sys.stderr)
        return 1
    return 0
