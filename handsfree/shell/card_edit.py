"""A product card's text with some values changed, everything else as its writer left it."""

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction

from handsfree.core.card import Origin, read_card
from handsfree.core.card_fields import KEY_LINE, SECTION_LINE
from handsfree.core.errors import Refusal

_VALUE_LINE = re.compile(r"(\s*[A-Za-z0-9_.-]+\s*=\s*)(\[[^\]#]*\]|[0-9.]+)\s*(#.*)?")


class NotEditable(Exception):
    """The card cannot be changed by the program; the message says why."""


def with_values(text: str, changes: Mapping[str, Sequence[Fraction]], head: Sequence[str]) -> str:
    """The card with new values, and with their origin set to a guess.

    Args:
        text: a valid card, TOML.
        changes: by the card's full key: one number, or a row.
        head: lines of comment that go before everything.

    Raises:
        NotEditable: a value does not stand on one line, or the outcome is no valid card.
    """
    left = dict(changes)
    out: list[str] = []
    section = ""
    for line in text.splitlines():
        if found := SECTION_LINE.match(line):
            section = found[1] + "."
        key = f"{section}{found[1]}" if (found := KEY_LINE.match(line)) else ""
        if key in left:
            out.append(_changed(line, left.pop(key)))
        elif section == "source." or key.startswith("source."):
            out.append(_without(line, key, changes))
        else:
            out.append(line)
    if left:
        raise NotEditable(
            f"The card has no line of its own for {', '.join(left)}. Change it by hand."
        )
    _add_guesses(out, tuple(changes))
    new = "\n".join([*(f"# {line}".rstrip() for line in head), *out, ""])
    _check(new, changes)
    return new


def _changed(line: str, values: Sequence[Fraction]) -> str:
    found = _VALUE_LINE.fullmatch(line)
    if found is None:
        raise NotEditable(f"The card's line {line.strip()!r} is no plain value. Change it by hand.")
    texts = [f"{float(value):g}" for value in values]
    is_row = found[2].startswith("[")
    value = f"[{', '.join(texts)}]" if is_row else texts[0]
    rest = f" {found[3].lstrip('# ')}" if found[3] else ""
    return f"{found[1]}{value}  # Was {found[2]}.{rest}"


def _without(line: str, key: str, changes: Mapping[str, Sequence[Fraction]]) -> str:
    """A line of the origins without the keys that are guesses from now on."""
    if key == f"source.{Origin.GUESS.value}":
        return line
    for changed in changes:
        line = re.sub(rf"\"{re.escape(changed)}\"\s*,?\s*", "", line)
    return line


def _add_guesses(lines: list[str], keys: Sequence[str]) -> None:
    pattern = re.compile(r"(\s*(?:source\.)?guess\s*=\s*\[)([^\]#]*)\](.*)")
    quoted = [f'"{key}"' for key in keys]
    section = ""
    for place, line in enumerate(lines):
        if found := SECTION_LINE.match(line):
            section = found[1]
        found = pattern.fullmatch(line)
        if found and (section == "source" or "source." in found[1]):
            there = [entry.strip() for entry in found[2].split(",") if entry.strip()]
            entries = [*there, *(entry for entry in quoted if entry not in there)]
            lines[place] = f"{found[1]}{', '.join(entries)}]{found[3]}"
            return
    new = f"guess = [{', '.join(quoted)}]"
    for place, line in enumerate(lines):
        if (found := SECTION_LINE.match(line)) and found[1] == "source":
            lines.insert(place + 1, new)
            return
    lines += ["", "[source]", new]


def _check(text: str, changes: Mapping[str, Sequence[Fraction]]) -> None:
    try:
        card = read_card(text)
    except Refusal as refusal:
        raise NotEditable(f"The card would not be valid. {refusal} Change it by hand.") from refusal
    for key, values in changes.items():
        section, _, name = key.partition(".")
        if section == "pot_life" and card.pot_life is not None:
            kept: Sequence[float] = (getattr(card.pot_life, name),)
        elif section == "cure" and card.cure is not None:
            kept = next(row for stage, row in card.cure.hours.items() if f"{stage.value}_h" == name)
        else:
            raise NotEditable(f"{key} cannot be changed by the program.")
        if tuple(kept) != tuple(float(value) for value in values):
            raise NotEditable(f"{key} would not become what was proposed. Change it by hand.")
