"""The words of the try-out are for the voice, like all others."""

import re
from typing import get_args

import pytest

from handsfree.language import tryout_wording as wording
from handsfree.language.parser import Misheard, parse
from handsfree.language.tryout_wording import (
    SKIP_PHRASE,
    STOP_PHRASE,
    VOICE_SAMPLE,
    Lesson,
    Remark,
    SoundVerdict,
    say_remark,
)
from handsfree.language.wording import CAUTION
from handsfree.shell.model_folder import known_words, shipped_model

EXAMPLES: list[Remark] = [
    wording.Welcome(),
    wording.AskSilence(),
    wording.AskVoice(),
    *(wording.SoundHeard(verdict) for verdict in SoundVerdict),
    *(
        wording.Instruct(lesson, "resin two zero three grams", is_after_success)
        for lesson in Lesson
        for is_after_success in (True, False)
    ),
    wording.Hint("hello bench"),
    wording.Hint(""),
    wording.OfferSkip("hello bench"),
    wording.Shown(),
    wording.Finished(),
    wording.Stopped(),
]


def test_every_remark_has_an_example_here() -> None:
    assert {type(example) for example in EXAMPLES} == set(get_args(Remark))


@pytest.mark.parametrize("remark", EXAMPLES, ids=lambda remark: type(remark).__name__)
def test_wording_is_plain_words(remark: Remark) -> None:
    text = say_remark(remark)
    # The rule of tests/language/test_replies.py.
    assert re.fullmatch(r"[A-Z][A-Za-z' ,;:.?]*[.?]", text), text
    assert len(re.findall(r"[.?](?: |$)", text)) <= 3, text


@pytest.mark.parametrize("remark", [wording.Finished(), wording.Stopped()])
def test_it_ends_with_the_caution_for_the_real_thing(remark: Remark) -> None:
    assert say_remark(remark).endswith(CAUTION)


def test_the_sentence_for_the_level_is_a_reading() -> None:
    assert not isinstance(parse(VOICE_SAMPLE.split()), Misheard)


@pytest.mark.parametrize("phrase", [SKIP_PHRASE, STOP_PHRASE])
def test_the_guides_own_phrases_can_be_heard_and_are_no_commands(phrase: str) -> None:
    assert set(phrase.split()) <= known_words(shipped_model())
    assert isinstance(parse(phrase.split()), Misheard)
