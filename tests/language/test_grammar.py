"""The table of sentences: rows, recognizer words and example phrases agree."""

from random import Random

import pytest

from handsfree.language.grammar import (
    ROWS,
    Row,
    essential_words,
    example_phrases,
    vocabulary,
)
from handsfree.language.parser import Misheard, Reason, parse
from handsfree.shell.model_folder import check_model, known_words, shipped_model


# Words of the grammar that the shipped model was not taught.
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.example)
def test_the_example_is_understood(row: Row) -> None:
    assert not isinstance(parse(row.example.split()), Misheard)


def test_every_phrase_given_to_the_recognizer_has_one_meaning() -> None:
    words = set(vocabulary())
    for phrase in example_phrases(5_000, Random(11).randrange):
        meaning = parse(phrase.split())
        assert not isinstance(meaning, Misheard), (phrase, meaning)
        assert set(phrase.split()) <= words


def test_the_same_seed_gives_the_same_phrases() -> None:
    assert example_phrases(50, Random(1).randrange) == example_phrases(50, Random(1).randrange)


def test_the_shipped_model_knows_what_the_main_job_needs() -> None:
    check_model(shipped_model(), essential_words())
    assert set(essential_words()) <= set(vocabulary())


def test_every_wording_can_be_heard() -> None:
    assert set(vocabulary()) <= known_words(shipped_model())


def test_no_word_order_of_one_sentence_is_another_silently() -> None:
    # The recognizer's list is a bag of words: any order can come out of it.
    pick = Random(5)
    for phrase in example_phrases(300, pick.randrange):
        words = phrase.split()
        pick.shuffle(words)
        meaning = parse(words)
        if isinstance(meaning, Misheard):
            assert meaning.reason is not Reason.SILENCE
