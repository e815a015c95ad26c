"""The guards around Vosk: what would crash it never reaches it."""

import json

import pytest

from handsfree.shell.recognizer import word_list


@pytest.mark.parametrize(
    ("words", "phrases"),
    [
        ([], []),
        ([""], []),
        (["Resin"], []),
        (["resin  grams"], []),
        (["8"], []),
        (["resin"], ["resin, grams"]),
        (["resin"], [" resin"]),
        (["[unk"], []),
    ],
)
def test_lists_that_crash_or_confuse_vosk_are_refused(words: list[str], phrases: list[str]) -> None:
    # vosk 0.3.45 ends the process on an empty list, and drops what it does not know.
    with pytest.raises(ValueError, match="recognizer"):
        word_list(words, phrases)


def test_a_list_ends_with_the_unknown_word() -> None:
    made = json.loads(word_list(["resin", "it's"], ["resin it's"]).json_text)
    assert made == ["resin it's", "resin", "it's", "[unk]"]
