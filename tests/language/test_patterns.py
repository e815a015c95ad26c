"""The notation for sentences."""

import re
from random import Random

import pytest

from handsfree.language.patterns import example_of, parse_pattern, regex_of, words_of


def test_pattern_accepts_exactly_its_sentences() -> None:
    pattern = parse_pattern("how (much|many) [more] {what}")
    expression = re.compile(regex_of(pattern, {"what": "(?:grams )"}))
    assert expression.fullmatch("how much grams ")
    assert expression.fullmatch("how many more grams ")
    assert not expression.fullmatch("how more grams ")
    assert not expression.fullmatch("how much more ")


def test_words_and_examples_come_from_the_same_pattern() -> None:
    pattern = parse_pattern("[the] (cup|can|) {n}")
    assert set(words_of(pattern)) == {"the", "cup", "can"}
    expression = re.compile(regex_of(pattern, {"n": "(?:one )"}))
    pick = Random(4).randrange
    for _ in range(50):
        sentence = example_of(pattern, {"n": lambda _pick: "one"}, pick)
        assert expression.fullmatch(f"{sentence} "), sentence


@pytest.mark.parametrize("text", ["(a", "a)", "[a)", "a | b", "a $ b", "[a"])
def test_a_wrong_pattern_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="pattern"):
        parse_pattern(text)
