"""The board's words: figures with units, for the eye."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest

from handsfree.core.mix import Component
from handsfree.language import replies
from handsfree.language.board_wording import (
    ahead_text,
    called_text,
    name_text,
    number_text,
    question_text,
    time_text,
)
from handsfree.language.replies import Called
from handsfree.language.wording import wording

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)  # A Monday, by the calendar.
G = Fraction


@pytest.mark.parametrize(
    ("after", "text"),
    [
        (timedelta(minutes=5), "12:05"),
        (timedelta(hours=12), "tomorrow 00:00"),
        (timedelta(days=2), "Wed 12:00"),
        (timedelta(days=8), "10 Mar 12:00"),
        (timedelta(days=-1), "01 Mar 12:00"),
    ],
)
def test_a_time_names_its_day_where_that_is_not_today(after: timedelta, text: str) -> None:
    assert time_text(NOW + after, NOW) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(G(856), "856"), (G("12.5"), "12.5"), (G("0.001"), "0.001"), (G(100000), "100000")],
)
def test_a_number_is_shown_as_a_scale_shows_it(value: Fraction, text: str) -> None:
    assert number_text(value) == text


QUESTIONS = [
    (replies.ReadBack(Component.RESIN, G(856)), "Resin 856 g?"),
    (replies.AskComponent(G(856)), "856 g of what?"),
    (replies.AskWhichValue(Component.RESIN, (G(40), G(42))), "40 or 42 g of resin?"),
    (replies.AskRunningTotal(Component.RESIN, G(978)), "978 g together with the resin?"),
    (replies.AskDigits(), "Which number?"),
    (
        replies.AskSure(Component.RESIN, G(86), G(860)),
        "Resin 86 g? About 860 g was expected.",
    ),
    (
        replies.AskFinal(Component.HARDENER, G(124), False, G(2)),
        "Hardener 124 g, 2 g over, inside the tolerance?",
    ),
    (replies.AskOverPour(Component.HARDENER, G(130), G(8)), "Hardener 130 g, 8 g too much?"),
    (
        replies.LessThanBefore(Component.HARDENER, G(100), G(115)),
        "Hardener 100 g? It was 115 g before.",
    ),
    (replies.AskTotalWanted(G(500)), "500 g in all?"),
    (replies.AskCupWeight(G(20)), "Empty cup 20 g?"),
    (replies.AskEmptied(1), "Cup 1 is empty?"),
    (replies.AskTapeOff(), "The tape is off?"),
    (replies.AskJobDone(), "The job is done?"),
    (replies.AskMixTemperature(), "How warm is the mix?"),
]


@pytest.mark.parametrize(("asked", "text"), QUESTIONS, ids=lambda part: type(part).__name__)
def test_a_question_is_shown_in_figures_with_what_answers_it(
    asked: replies.Reply, text: str
) -> None:
    shown, answers = question_text(asked)
    assert shown == text
    assert answers


def test_a_question_without_words_of_its_own_is_shown_as_it_is_said() -> None:
    asked = replies.AskYes()
    assert question_text(asked) == (wording(asked), ())


@pytest.mark.parametrize("called", Called)
def test_everything_that_is_called_has_its_words(called: Called) -> None:
    for percent in (50, 75, 90, 100) if called is Called.POT_LIFE else (0,):
        assert called_text(called, percent)
    assert ahead_text(called)
    assert name_text(called, 3).endswith(" 3")
