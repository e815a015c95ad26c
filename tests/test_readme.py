"""What README.md shows is what the program does."""

import re
from pathlib import Path

from handsfree.job.boundary import Heard
from handsfree.language.grammar import ROWS, Topic
from handsfree.shell.cards import load_card
from handsfree.shell.cli import _parser
from handsfree.shell.session import Session, setup_of
from handsfree.shell.typed import FIRST_DAY

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_example_dialogue_is_what_is_said() -> None:
    block = re.search(r"```text\n(you: .*?)```", README, re.DOTALL)
    assert block is not None
    session = Session(setup_of(load_card("gate-coat")))
    said: list[str] = []
    for line in block.group(1).splitlines():
        who, _, text = line.partition(":")
        if who == "you":
            assert said == [], "an answer is missing in the README"
            decision = session.step(Heard(tuple(text.split())), FIRST_DAY)
            said = [session.words_of(say.reply) for say in decision.said]
        else:
            assert text.strip() == said.pop(0)
    assert said == []


def sentence_table() -> str:
    """One line per topic, with an example of each thing that can be said."""
    lines = ["| about | you can say, for example |", "| --- | --- |"]
    for topic in Topic:
        examples = "; ".join(f"“{row.example}”" for row in ROWS if row.topic is topic)
        lines.append(f"| {topic.value} | {examples} |")
    return "\n".join(lines)


def test_the_table_of_sentences_is_the_grammars() -> None:
    assert sentence_table() in README, f"put this into README.md:\n{sentence_table()}"


def test_every_command_shown_exists() -> None:
    shown = set(re.findall(r"`handsfree ([a-z]+)", README))
    known = set(_parser()._subparsers._group_actions[0].choices)  # type: ignore[union-attr, arg-type]
    assert shown
    assert shown <= known
    assert known <= shown, "a command is missing in the README"
