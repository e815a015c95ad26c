"""Sentences to train on: scale readings, shop talk, digit strings, single words, other talk."""

from __future__ import annotations

import random
import re

from .lexicon import Vocabulary

DIGITS = "zero one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()

LEADS = (
    "resin|hardener|part a|part b|base|scale reads|scale's at|reading|we are at|it's|total|tare|cup"
    "|add|poured"
).split("|")

PHRASES = (
    """
grams of resin|grams of hardener|two to one|by weight|by volume|scratch that|undo that|yes|no
correction|how much hardener|how long left|how much time is left|tape is off|say again|stop
hello bench|listen bench|what's the forecast|what is the pot life|when can i recoat|set a timer
what's the target|it's stirred|the batch has gelled|it's gelling|it kicked|scrap the batch
scrap that|read the cautions|set a reminder|cancel the timer|cancel the reminder|new batch
start a batch|next step|gate passed|what's left|scale's at|the scale's reading|how thick
recoat window|when is the recoat|what time is it|o'clock|handsfree|what's the humidity
it's too thick|pull the tape|the tape is pulled|dew point|what's the dew point|repeat that
how many coats|second coat|first coat|batch two|end the job|close the job|wake up|go to sleep
""".replace("\n", "|")
    .strip("|")
    .split("|")
)


def below_hundred(n: int) -> str:
    """0 to 99 in words."""
    if n < 10:
        return DIGITS[n]
    if n < 20:
        return TEENS[n - 10]
    return TENS[n // 10 - 2] + ("" if n % 10 == 0 else " " + DIGITS[n % 10])


def cardinal(n: int, *, use_a: bool, joiner: str) -> str:
    """0 to 99,999 as a counted number.

    Args:
        n: 0 to 99,999.
        use_a: "a hundred" for "one hundred".
        joiner: "and" or nothing, before the last two digits.
    """
    said = []
    if n >= 1000:
        said.append(("a" if use_a and n < 2000 else below_hundred(n // 1000)) + " thousand")
        n %= 1000
    if n >= 100:
        said.append(("a" if use_a and n < 200 and not said else DIGITS[n // 100]) + " hundred")
        n %= 100
    if n:
        said.append((joiner + " " if joiner and said else "") + below_hundred(n))
    return " ".join(said) or "zero"


def digit_string(digits: str, zero: str) -> str:
    """Digits one by one, zeros as the word given."""
    return " ".join(zero if digit == "0" else DIGITS[int(digit)] for digit in digits)


class Texts:
    """A seeded source of training sentences over a vocabulary."""

    def __init__(self, vocabulary: Vocabulary, rng: random.Random) -> None:
        self.vocabulary, self.rng = vocabulary, rng
        self.kinds = vocabulary.kinds

    def number(self) -> str:
        """A number in one of the ways people say scale readings."""
        r = self.rng
        n = r.choice([r.randint(0, 99), r.randint(0, 999), r.randint(100, 3999)])
        way = r.random()
        if way < 0.35:
            zero = r.choice(["zero", "zero", "oh", "oh", "nought", "naught"])
            return digit_string(str(r.choice([n, n, r.randint(0, 99999)])), zero)
        if way < 0.60:
            return cardinal(n, use_a=r.random() < 0.3, joiner=r.choice(["", "and"]))
        if way < 0.72:
            tail = r.choice([below_hundred(r.randint(10, 99)), "oh " + r.choice(DIGITS[1:])])
            return below_hundred(r.randint(1, 99)) + " " + tail
        if way < 0.82:
            tail = digit_string(str(r.randint(0, 999)), r.choice(["zero", "oh"]))
            point = r.choice(["point", "point", "decimal"])
            return f"{below_hundred(r.randint(0, 99))} {point} {tail}"
        if way < 0.89:
            whole = cardinal(r.randint(0, 1500), use_a=False, joiner=r.choice(["", "and"]))
            return f"{whole} point {r.choice(DIGITS)}"
        if way < 0.93:
            return " ".join(
                r.choice(["double ", "triple ", ""]) + r.choice(DIGITS)
                for _ in range(r.randint(1, 3))
            )
        pool = [*DIGITS, *TEENS, *TENS, *self.kinds["joiners"], "oh"]
        return " ".join(r.choice(pool) for _ in range(r.randint(2, 6)))

    def shop(self) -> str:
        """A scale reading or a command."""
        r, kinds = self.rng, self.kinds
        unit, way = r.choice(kinds["units"][:12]), r.random()
        if way < 0.32:
            lead = r.choice(LEADS)
            return f"{lead} {self.number()} {r.choice([unit, 'grams', 'grams', 'grams', ''])}"
        if way < 0.42:
            return self.number()
        if way < 0.50:
            return f"{self.number()} {r.choice(kinds['units'])}"
        if way < 0.55:
            return f"{self.number()} {r.choice(['to', 'by'])} {self.number()} by weight"
        if way < 0.68:
            return " ".join(r.choice(PHRASES) for _ in range(r.randint(1, 2)))
        if way < 0.86:
            pools = [kinds["verbs"], kinds["things"], kinds["talk"], kinds["units"]]
            return " ".join(r.choice(r.choice(pools)) for _ in range(r.randint(1, 5)))
        if way < 0.90:
            letters = kinds["letters"]
            return " ".join(r.choice(letters) for _ in range(r.randint(1, 3)))
        pools = [kinds["verbs"], kinds["things"], DIGITS, TEENS, TENS]
        return " ".join(r.choice(r.choice(pools)) for _ in range(r.randint(2, 6)))

    def reading(self) -> str:
        """A scale reading with its part named; "part a eight" is where models stumble."""
        r = self.rng
        lead = r.choice(
            ["part a", "part a", "part a", "part b", "scale reads", "resin", "hardener"]
        )
        number = r.choice([self.number(), "eight " + self.number(), "a hundred " + self.number()])
        way = r.random()
        if way < 0.2:
            return f"poured {self.number()} grams of {r.choice(['resin', 'hardener'])}"
        return f"{lead} {number} {r.choice(['grams', 'grams', ''])}"

    def digits(self) -> str:
        """Two to six digits."""
        r = self.rng
        zero = r.choice(["zero", "zero", "oh"])
        return " ".join(r.choice([zero, *DIGITS[1:]]) for _ in range(r.randint(2, 6)))

    def word(self) -> str:
        """One word: mostly a digit, sometimes another number word, seldom a command."""
        r, way = self.rng, self.rng.random()
        if way < 0.72:
            return r.choice([*DIGITS, *DIGITS, "oh"])
        if way < 0.90:
            return r.choice([*TEENS, *TENS, "hundred", "thousand", "point", "and"])
        return r.choice(r.choice([self.kinds["verbs"], self.kinds["things"]]))

    def toy(self) -> str:
        """One to four words of a toy vocabulary."""
        return " ".join(self.rng.choice(self.kinds["toy"]) for _ in range(self.rng.randint(1, 4)))

    def other(self) -> str:
        """Common words at random: every phone in every neighborhood, and talk to reject."""
        r, common = self.rng, self.vocabulary.common
        pool = common[: r.choice([300, 1500, len(common)])]
        return " ".join(r.choice(pool) for _ in range(r.randint(3, 8)))

    def sample(self, mix: dict[str, float]) -> str:
        """One sentence of a kind drawn by weight: shop, reading, digits, word, other."""
        kind = self.rng.choices(list(mix), list(mix.values()))[0]
        return re.sub(r"\s+", " ", getattr(self, kind)()).strip()
