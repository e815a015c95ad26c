"""Sentences that were written without sight of the grammar.

``paraphrases.tsv`` holds what a person would say and what was meant. It is never tuned: a
sentence that is not understood stays in the list, so the share says how far the grammar
reaches beyond the wordings that its authors thought of.
"""

from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import get_args

from handsfree.language import intents
from handsfree.language.parser import Misheard, parse

SENTENCES = Path(__file__).with_name("paraphrases.tsv")
NOTHING = "nothing"
"""The meaning of talk that is not for the assistant."""

# The first score, with the grammar as it stood before anyone compared it with the list, on
# 2026-11-25: 163 of 300 understood as meant (54.3 %), 73 of the 114 readings; 0 understood
# as something else, and all 20 sentences of other talk were ignored. The target is 90 %.
# The same day the grammar was widened by whole classes of wording (contractions, words without
# meaning at both ends, how a weight is told): 271 of 300 (90.3 %), 0 as something else. Since
# the classes were seen in this list, 54 % is what to expect of a stranger's first sentence until
# another list, written unseen, says better.
FLOOR_PERCENT = 90
"""The share reached, rounded down. Raise it when the grammar reaches further."""

# Written later, without sight of the grammar and of the first list; never fitted to. Its score on
# 2026-11-25 is its first: 185 of 300 (61.7 %), 77 of the 100 readings; 0 as something else.
SECOND = Path(__file__).with_name("paraphrases_second.tsv")
SECOND_FLOOR_PERCENT = 61

ADDED_LATER = frozenset(
    "TellCupWeight OpenJob ChooseProduct AskProducts TellScale PlanCoats TellLot TellLeft AskLeft "
    "TakeNote ReadNotes Hush CancelTimer AskTimers".split()
)
"""Intents younger than the list, which is not edited for them."""


@dataclass(frozen=True)
class Heard:
    """One sentence, what was meant, and every meaning that it was given."""

    words: str
    meant: str
    meanings: frozenset[str]  # Several where the dialogue asks which number was said.

    @property
    def is_right(self) -> bool:
        return self.meant in self.meanings

    @property
    def is_harmful(self) -> bool:
        """Understood as something else, and not as a mere question."""
        return not self.is_right and any(
            meaning != NOTHING and not meaning.startswith("Ask") for meaning in self.meanings
        )

    def __str__(self) -> str:
        return f"{self.words!r}: meant {self.meant}, heard {' or '.join(sorted(self.meanings))}"


def _number(value: Fraction) -> str:
    return str(value) if value.denominator == 1 else str(float(value))


def _seconds(length: timedelta) -> str:
    return _number(Fraction(length // timedelta(seconds=1)))


def meanings_of(intent: intents.Intent | Misheard) -> frozenset[str]:
    """The compact text forms of an intent, one for each value that it carries.

    The name of the intent comes first, then its part, place, sign, film or manner, then the
    number: grams, degrees Celsius, percent, seconds or the number of a cup. "bare" is a
    reading of no named part, "none" a temperature of no named place.
    """
    name = type(intent).__name__
    match intent:
        case Misheard():
            return frozenset({NOTHING})
        case intents.TakeReading(component, masses, _, is_correction):
            part = "bare" if component is None else component.value
            end = " correction" if is_correction else ""
            return frozenset(f"{name} {part} {_number(mass.grams)}{end}" for mass in masses)
        case intents.NameComponent(component):
            return frozenset({f"{name} {component.value}"})
        case intents.TellTemperature(place, celsius):
            where = "none" if place is None else place.value
            return frozenset(f"{name} {where} {_number(value)}" for value in celsius)
        case intents.TellHumidity(percents):
            return frozenset(f"{name} {_number(value)}" for value in percents)
        case intents.WantTotal(masses):
            return frozenset(f"{name} {_number(mass.grams)}" for mass in masses)
        case intents.ReportCup(sign, batch):
            return frozenset({f"{name} {sign.value}{_cup(batch)}"})
        case intents.EmptyCup(batch) | intents.AskTimeLeft(batch):
            return frozenset({f"{name}{_cup(batch)}"})
        case intents.FeelFilm(film):
            return frozenset({f"{name} {film.value}"})
        case intents.SetTimer(lengths) | intents.PutOff(lengths):
            return frozenset(f"{name} {_seconds(length)}" for length in lengths)
        case intents.ChangeVoice(manner):
            return frozenset({f"{name} {manner.value}"})
        case _:
            return frozenset({name})


def _cup(batch: int | None) -> str:
    return "" if batch is None else f" {batch}"


@lru_cache(maxsize=2)
def heard(path: Path = SENTENCES) -> tuple[Heard, ...]:
    rows = [line.split("\t") for line in path.read_text(encoding="utf-8").splitlines()]
    return tuple(Heard(words, meant, meanings_of(parse(words.split()))) for words, meant in rows)


def _listed(sentences: list[Heard]) -> str:
    return "\n" + "\n".join(map(str, sentences))


def test_there_are_three_hundred_sentences_and_they_cover_every_intent() -> None:
    named = {sentence.meant.split()[0] for sentence in heard()}
    assert len({sentence.words for sentence in heard()}) == 300
    kinds = {kind.__name__ for kind in get_args(intents.Intent)}
    assert named - {NOTHING} <= kinds
    assert kinds - named <= ADDED_LATER


def test_the_share_understood_as_meant_does_not_fall() -> None:
    wrong = [sentence for sentence in heard() if not sentence.is_right]
    right = len(heard()) - len(wrong)
    share = f"{right} of {len(heard())} understood as meant"
    assert 100 * right >= FLOOR_PERCENT * len(heard()), f"{share}, wrong:{_listed(wrong)}"


def test_no_sentence_is_understood_as_something_else_that_changes_state() -> None:
    harmful = [sentence for sentence in heard() if sentence.is_harmful]
    assert not harmful, f"{len(harmful)} understood as something else:{_listed(harmful)}"


def test_the_second_list_was_never_fitted_to_and_does_no_harm() -> None:
    sentences = heard(SECOND)
    assert len({sentence.words for sentence in sentences}) == 300
    kinds = {kind.__name__ for kind in get_args(intents.Intent)}
    assert {sentence.meant.split()[0] for sentence in sentences} - {NOTHING} == kinds
    right = sum(sentence.is_right for sentence in sentences)
    assert 100 * right >= SECOND_FLOOR_PERCENT * len(sentences)
    harmful = [sentence for sentence in sentences if sentence.is_harmful]
    assert not harmful, _listed(harmful)


def test_only_a_question_in_place_of_what_was_meant_is_harmless() -> None:
    def heard_as(meant: str, *meanings: str) -> Heard:
        return Heard("words", meant, frozenset(meanings))

    assert not heard_as("AskTarget", "AskRemaining").is_right
    assert not heard_as("AskTarget", "AskRemaining").is_harmful
    assert not heard_as("Confirm", NOTHING).is_right
    assert not heard_as("Confirm", NOTHING).is_harmful
    assert heard_as(NOTHING, "Confirm").is_harmful
    assert heard_as("TakeReading resin 15", "TakeReading resin 50").is_harmful
    assert not heard_as(
        "TakeReading resin 15", "TakeReading resin 15", "TakeReading resin 50"
    ).is_harmful


def test_a_meaning_carries_what_the_words_said() -> None:
    def meanings(words: str) -> frozenset[str]:
        return meanings_of(parse(words.split()))

    assert meanings("resin one hundred point five") == {"TakeReading resin 100.5"}
    assert meanings("one kilo fifty") == {"TakeReading bare 1050", "TakeReading bare 1500"}
    assert meanings("remind me in ten minutes") == {"SetTimer 600"}
    assert meanings("did you watch the game last night") == {NOTHING}
