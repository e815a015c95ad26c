"""Writes handsfree/docs/sentences.md: ``python -m tests.render_sentences``."""

import re

from handsfree.language.grammar import (
    CORRECTIONS,
    DANGER_SENTENCES,
    ROWS,
    SLOT_EXPRESSIONS,
    WAKE_PHRASES,
    Topic,
)
from handsfree.shell.docs import FOLDER

PAGE = FOLDER / "sentences.md"

# What may stand in each slot; every example is held to the grammar by a test.
SLOTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "area": ("a place that is coated", ("gate", "left panel", "area two")),
    "bare": ("a number without its unit", ("one nine",)),
    "component": ("one of the two parts", ("resin", "base", "part a", "hardener", "part b")),
    "count": ("one to nine", ("two",)),
    "cup": ("a cup's number, one to nine", ("one",)),
    "digits": ("two to twelve digits", ("four seven one two",)),
    "duration": ("minutes or hours", ("ten minutes", "half an hour", "two hours")),
    "film": ("how the film feels", ("wet", "tacky", "sticky", "dry")),
    "mass": ("grams, or kilograms", ("eight five six grams", "eighty five point five", "one kilo")),
    "more": ("a number of minutes", ("ten",)),
    "ordinal": ("first to ninth", ("second",)),
    "percent": ("a number and percent", ("six five percent",)),
    "place": ("where it was measured", ("air", "room", "surface", "steel", "mix")),
    "product": ("the name on a product card", ("gate coat",)),
    "task": ("what a timer is for", ("check the tape", "stir", "turn off the heater")),
    "temperature": ("degrees", ("one nine degrees", "seven zero degrees fahrenheit")),
}

HEAD = """\
# Every sentence it understands

This page is made from the table that the program itself listens by. Words in `[brackets]` may be
left out, `(this|that)` is one of, and `{{mass}}` stands for something from the last section. Say
"it's" or "it is", as you like. {wake} wake it; a sentence may follow in the same breath.

These words before a reading replace the last one, as in "no, hardener one one five grams":
{corrections}. "Note," and any words is a note.

Even asleep it listens to danger: {danger}.
"""


def quoted(sentences: list[str]) -> str:
    """The sentences in a row."""
    return ", ".join(f"“{sentence}”" for sentence in sentences)


def page() -> str:
    """The page as it has to be now."""
    head = HEAD.format(
        wake=" and ".join(f"“{phrase}”" for phrase in WAKE_PHRASES),
        corrections=quoted([" ".join(words) for words in CORRECTIONS]),
        danger=quoted(list(DANGER_SENTENCES)),
    )
    parts = [head]
    for topic in Topic:
        parts.append(f"\n## {topic.value[0].upper()}{topic.value[1:]}\n")
        for row in ROWS:
            if row.topic is topic:
                lines = "\n".join(row.patterns)
                parts.append(f"\n“{row.example}”\n\n```text\n{lines}\n```\n")
    parts.append("\n## What stands in the braces\n\n| in braces | what | for example |\n")
    parts.append("| --- | --- | --- |\n")
    used = {name for row in ROWS for one in row.patterns for name in re.findall(r"{(\w+)}", one)}
    for name in sorted(used):
        what, examples = SLOTS[name]
        parts.append(f"| `{name}` | {what} | {quoted(list(examples))} |\n")
    return "".join(parts)


def misfits() -> list[str]:
    """Examples that the grammar would not take, and slots that are not explained."""
    found = [name for name in SLOT_EXPRESSIONS if name not in SLOTS]
    for name, (_, examples) in SLOTS.items():
        expression = re.compile(SLOT_EXPRESSIONS[name])
        found += [one for one in examples if not expression.fullmatch(f"{one} ")]
    return found


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
