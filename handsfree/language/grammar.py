"""The sentences and words accepted, as data.

One table of rows gives the parser its expressions, the recognizer its words and example
phrases, and the help its examples.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.language import intents as said
from handsfree.language.intents import Intent
from handsfree.language.numbers import (
    DIGIT_WORDS,
    NUMBER_WORDS,
    say_digits,
    sound_alike_values,
    spoken_forms,
)
from handsfree.language.patterns import (
    Pick,
    Sequence_,
    example_of,
    parse_pattern,
    regex_of,
    words_of,
)
from handsfree.language.quantities import (
    DEGREE_WORDS,
    GRAM_WORDS,
    KILO_WORDS,
    MASS_WORDS,
    SCALE_WORDS,
    TEMPERATURE_WORDS,
    read_mass,
    read_temperature_c,
)

UNKNOWN_WORD = "[unk]"
"""What the recognizer writes for speech outside its list."""

COMPONENT_WORDS: Mapping[str, Component] = {
    "resin": Component.RESIN,
    "base": Component.RESIN,
    "part a": Component.RESIN,
    "hardener": Component.HARDENER,
    "catalyst": Component.HARDENER,
    "part b": Component.HARDENER,
}

CORRECTIONS = (("correction",), ("scratch", "that"), ("no",), ("sorry",))
"""Words that, before a complete reading, say that it replaces what was said last."""


class NotANumber(ValueError):
    """The sentence has the shape of a reading, but its number words make no number.

    Attributes:
        words: the words in the place of the number.
    """

    def __init__(self, words: tuple[str, ...]) -> None:
        super().__init__(f"no number: {' '.join(words)!r}")
        self.words = words


class Topic(Enum):
    """The headings of the help."""

    READINGS = "readings"
    AMOUNTS = "amounts"
    CUPS = "cups"
    ANSWERS = "answers"
    TALK = "talk"


Slots = Mapping[str, str]


def _reading(slots: Slots) -> Intent:
    words = tuple(slots["mass"].split())
    masses = read_mass(words)
    if not masses:
        raise NotANumber(words)
    component = slots.get("component")
    return said.TakeReading(
        COMPONENT_WORDS[component] if component else None,
        masses,
        has_sound_alike=bool(sound_alike_values(_without_units(words))),
    )


def _component(slots: Slots) -> Intent:
    return said.NameComponent(COMPONENT_WORDS[slots["component"]])


def _temperature(slots: Slots) -> Intent:
    words = tuple(slots["temperature"].split())
    celsius = read_temperature_c(words)
    if not celsius:
        raise NotANumber(words)
    return said.TellTemperature(celsius)


def _without_units(words: Sequence[str]) -> tuple[str, ...]:
    return tuple(word for word in words if word not in GRAM_WORDS | KILO_WORDS)


@dataclass(frozen=True)
class Row:
    """One thing that can be said, with its wordings."""

    topic: Topic
    example: str  # Shown in the help, and read by the parser as this row.
    build: Callable[[Slots], Intent]
    patterns: tuple[str, ...]
    weight: int = 2  # Its share among the example phrases given to the recognizer.


def _always(intent: Intent) -> Callable[[Slots], Intent]:
    return lambda _slots: intent


ROWS: tuple[Row, ...] = (
    Row(
        Topic.READINGS,
        "resin eight five six grams",
        _reading,
        (
            "{component} [is] [at] {mass}",
            "{component} reads {mass}",
            "{mass} [of] {component}",
            "(poured|weighed|added|have|got) {mass} [of] {component}",
            "i (poured|weighed|added|have|got) {mass} [of] {component}",
        ),
        weight=60,
    ),
    Row(
        Topic.READINGS,
        "scale reads nine seven eight grams",
        _reading,
        (
            "{mass}",
            "[the] scale (reads|says|shows) {mass}",
            "(it reads|it says|it shows|it's|it is) [at] {mass}",
            "(reading|reads|now|now at|at) {mass}",
            "(we|we are|i am|i'm|we're) at {mass}",
            "(poured|weighed|added) {mass}",
        ),
        weight=40,
    ),
    Row(
        Topic.ANSWERS,
        "hardener",
        _component,
        ("[it is|it's|the] {component}",),
    ),
    Row(
        Topic.CUPS,
        "the mix is two two degrees",
        _temperature,
        (
            "[it is|it's] {temperature}",
            "[the] (mix|cup|temperature) is {temperature}",
            "(mix|cup|temperature) {temperature}",
        ),
        weight=4,
    ),
    Row(
        Topic.AMOUNTS,
        "how much hardener",
        _always(said.AskTarget()),
        (
            "how much (hardener|catalyst|part b) [do i need|do i pour|do we need|in all]",
            "(what is|what's) the [hardener] target",
            "[the] target",
        ),
    ),
    Row(
        Topic.AMOUNTS,
        "how much more",
        _always(said.AskRemaining()),
        (
            "how (much|many) more [grams] [do i need|to go]",
            "how much [is] left to pour",
            "how much [hardener] is missing",
        ),
    ),
    Row(
        Topic.AMOUNTS,
        "what is the total",
        _always(said.AskTotal()),
        ("(what is|what's) the total [weight]", "how much [is it] (in all|all together)", "total"),
    ),
    Row(
        Topic.CUPS,
        "scale is on zero",
        _always(said.TareScale()),
        (
            "tare [the scale]",
            "[the] scale is (on|at|set to) zero",
            "set [the] scale to zero",
        ),
    ),
    Row(
        Topic.CUPS,
        "new cup",
        _always(said.OpenBatch()),
        ("(new|next|another) (cup|batch|pot)", "start a new (cup|batch|pot)"),
    ),
    Row(
        Topic.CUPS,
        "mixed",
        _always(said.StartClock()),
        (
            "[it is|it's] mixed",
            "[i] mixed it",
            "start the (clock|timer)",
            "(mixing|started mixing|start mixing) [now]",
        ),
    ),
    Row(
        Topic.CUPS,
        "how long is left",
        _always(said.AskTimeLeft()),
        (
            "how long [is] left",
            "how (long|much time) (do i have|have i got|is left) [left]",
            "time left",
        ),
    ),
    Row(
        Topic.ANSWERS,
        "yes",
        _always(said.Confirm()),
        ("(yes|yeah|yep|correct|right|okay) [that is right|that's right|that is correct]",),
        weight=4,
    ),
    Row(
        Topic.ANSWERS,
        "no",
        _always(said.Deny()),
        ("(no|nope|wrong|not right) [that is wrong|that's wrong|that is not right]",),
        weight=4,
    ),
    Row(
        Topic.ANSWERS,
        "scratch that",
        _always(said.ScratchThat()),
        ("scratch that", "undo [that]", "take that back", "cancel [that]"),
        weight=4,
    ),
    Row(
        Topic.TALK,
        "status",
        _always(said.AskStatus()),
        ("status", "where are we", "where do we stand", "(what is|what's) the status"),
    ),
    Row(
        Topic.TALK,
        "say again",
        _always(said.AskRepeat()),
        ("say [that] again", "repeat [that]", "again"),
    ),
    Row(
        Topic.TALK,
        "help",
        _always(said.AskHelp()),
        ("help", "what can i say", "what can you do"),
    ),
)

PARSED: tuple[tuple[Row, Sequence_], ...] = tuple(
    (row, parse_pattern(pattern)) for row in ROWS for pattern in row.patterns
)


def _one_of(words: Sequence[str]) -> str:
    return "(?:" + "|".join(f"{word} " for word in sorted(words, key=len, reverse=True)) + ")"


SLOT_EXPRESSIONS: Mapping[str, str] = {
    "component": _one_of(tuple(COMPONENT_WORDS)),
    "mass": _one_of(tuple(MASS_WORDS)) + "+",
    "temperature": (
        f"{_one_of(tuple(NUMBER_WORDS))}+{_one_of(tuple(DEGREE_WORDS))}"
        f"{_one_of(tuple(SCALE_WORDS))}?"
    ),
}


def expressions() -> tuple[tuple[Row, str], ...]:
    """Each row with one regular expression for each of its patterns."""
    return tuple((row, regex_of(pattern, SLOT_EXPRESSIONS)) for row, pattern in PARSED)


def vocabulary() -> tuple[str, ...]:
    """Every word that can be said, in alphabetical order."""
    words = set(MASS_WORDS | TEMPERATURE_WORDS)
    for _, pattern in PARSED:
        words |= set(words_of(pattern))
    for phrase in COMPONENT_WORDS:
        words |= set(phrase.split())
    for correction in CORRECTIONS:
        words |= set(correction)
    return tuple(sorted(words))


def example_phrases(count: int, pick: Pick) -> tuple[str, ...]:
    """Sentences of the grammar, weighted as they are likely to be said.

    The recognizer makes a bigram model of them, so the shares matter: what is rare here is
    heard less easily.

    Args:
        count: how many.
        pick: chooses one of n; the caller seeds it.
    """
    weights = [row.weight for row in ROWS]
    phrases = []
    for _ in range(count):
        row = ROWS[_weighted(weights, pick)]
        pattern = parse_pattern(row.patterns[pick(len(row.patterns))])
        phrases.append(example_of(pattern, SLOT_EXAMPLES, pick))
    return tuple(phrases)


def _weighted(weights: Sequence[int], pick: Pick) -> int:
    left = pick(sum(weights))
    for i, weight in enumerate(weights):
        left -= weight
        if left < 0:
            return i
    raise AssertionError("pick returned a number out of its range")


def _example_component(pick: Pick) -> str:
    # The everyday names are said most.
    names = ("resin", "resin", "resin", "hardener", "hardener", "hardener", "part a", "part b")
    rare = ("base", "catalyst")
    choice = pick(len(names) * 2 + len(rare))
    return names[choice % len(names)] if choice < len(names) * 2 else rare[choice % len(rare)]


def _example_mass(pick: Pick) -> str:
    unit = ("", "", "grams", "grams", "grams", "grams", "grams", "gram")[pick(8)]
    shape = pick(20)
    if shape < 2:
        decimals = " ".join(DIGIT_WORDS[pick(10)] for _ in range(1 + pick(3)))
        kilos = ("kilos", "kilograms", "kilo")[pick(3)]
        return f"{DIGIT_WORDS[pick(10)]} point {decimals} {kilos}"
    # As many hundreds as tens as thousands: cups come in all sizes.
    whole = pick((100, 1000, 1000, 5000)[pick(4)])
    forms = spoken_forms(whole)
    number = say_digits(Fraction(whole)) if pick(3) == 0 else forms[pick(len(forms))]
    if shape < 5:
        number += f" point {DIGIT_WORDS[pick(10)]}"
    return f"{number} {unit}".strip()


def _example_temperature(pick: Pick) -> str:
    forms = spoken_forms(5 + pick(95))
    scale = ("", "", "", "celsius", "fahrenheit")[pick(5)]
    return f"{forms[pick(len(forms))]} degrees {scale}".strip()


SLOT_EXAMPLES: Mapping[str, Callable[[Pick], str]] = {
    "component": _example_component,
    "mass": _example_mass,
    "temperature": _example_temperature,
}
