"""Words to an intent: the whole utterance, or nothing."""

from datetime import timedelta
from fractions import Fraction

import pytest

from handsfree.core.mix import Component
from handsfree.language import intents as said
from handsfree.language.intents import Intent
from handsfree.language.parser import Misheard, Reason, parse


def meaning(text: str) -> Intent | Misheard:
    return parse(text.split())


def reading(text: str) -> tuple[Component | None, list[Fraction]]:
    intent = meaning(text)
    assert isinstance(intent, said.TakeReading), intent
    return intent.component, [mass.grams for mass in intent.masses]


@pytest.mark.parametrize(
    ("text", "component", "grams"),
    [
        ("resin eight five six grams", Component.RESIN, 856),
        ("part a a thousand six hundred and forty eight", Component.RESIN, 1648),
        ("hardener is at one one five", Component.HARDENER, 115),
        ("three hundred grams of hardener", Component.HARDENER, 300),
        ("poured thirty seven eighty five grams of resin", Component.RESIN, 3785),
        ("i weighed two kilos of part b", Component.HARDENER, 2000),
        ("the scale says nine seven eight", None, 978),
        ("we are at thirty two oh eight grams", None, 3208),
        ("seven", None, 7),
    ],
)
def test_readings(text: str, component: Component | None, grams: int) -> None:
    assert reading(text) == (component, [Fraction(grams)])


@pytest.mark.parametrize(
    ("text", "intent"),
    [
        ("yes", said.Confirm()),
        ("yes that is right", said.Confirm()),
        ("yes please", said.Confirm()),
        ("that's not right", said.Deny()),
        ("okay it's mixed now", said.StartClock()),
        ("no", said.Deny()),
        ("scratch that", said.ScratchThat()),
        ("undo", said.ScratchThat()),
        ("how much hardener do i need", said.AskTarget()),
        ("how much more", said.AskRemaining()),
        ("what's the total", said.AskTotal()),
        ("new cup", said.OpenBatch()),
        ("tare the scale", said.TareScale()),
        ("scale is at zero", said.TareScale()),
        ("it's mixed", said.StartClock()),
        ("how long have i got left", said.AskTimeLeft(None)),
        ("where are we", said.AskStatus()),
        ("say that again", said.AskRepeat()),
        ("what can i say", said.AskHelp()),
        ("hardener", said.NameComponent(Component.HARDENER)),
        ("how long left on cup two", said.AskTimeLeft(2)),
        (
            "the steel is one nine degrees",
            said.TellTemperature(said.Place.SURFACE, (Fraction(19),)),
        ),
        ("humidity is six five percent", said.TellHumidity((Fraction(65),))),
        ("cup two is empty", said.EmptyCup(2)),
        ("i poured it out", said.EmptyCup(None)),
        ("it is getting warm", said.ReportCup(said.CupSign.WARM, None)),
        ("cup one is smoking", said.ReportCup(said.CupSign.SMOKING, 1)),
        ("it's thickening", said.ReportCup(said.CupSign.THICK, None)),
        ("second coat is on", said.FinishCoat()),
        ("i pulled the tape", said.PullTape()),
        ("it is still sticky", said.FeelFilm(said.Film.TACKY)),
        ("dry to touch", said.FeelFilm(said.Film.DRY)),
        ("remind me in half an hour", said.SetTimer((timedelta(minutes=30),))),
        ("timer one and a half hours", said.SetTimer((timedelta(minutes=90),))),
        ("ten more minutes", said.PutOff((timedelta(minutes=10),))),
        ("not now", said.PutOff((timedelta(minutes=10),))),
        ("got it", said.Acknowledge()),
        ("speak slower", said.ChangeVoice(said.Manner.SLOWER)),
        ("hello bench", said.WakeUp()),
        ("it's two two degrees", said.TellTemperature(None, (Fraction(22),))),
    ],
)
def test_other_sentences(text: str, intent: Intent) -> None:
    assert meaning(text) == intent


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", Reason.SILENCE),
        ("resin [unk] five grams", Reason.UNKNOWN_WORDS),
        ("resin eight five six grams friend", Reason.NO_SENTENCE),
        ("resin", None),
        ("resin hardener", Reason.NO_SENTENCE),
        ("yes no", Reason.NO_SENTENCE),
        # "that is not right", "stop listening" and "no thanks" with a word lost or added.
        ("that is right", Reason.NO_SENTENCE),
        ("stop", Reason.NO_SENTENCE),
        ("please now", Reason.NO_SENTENCE),
        ("grams eight resin", Reason.NOT_A_NUMBER),
        ("resin one point", Reason.NUMBER_CUT_OFF),
        ("resin twenty one two", Reason.NOT_A_NUMBER),
        ("resin minus two grams", Reason.NOT_A_NUMBER),
        ("part a thousand six hundred", Reason.NOT_A_NUMBER),
        ("one two " * 13, Reason.TOO_LONG),
    ],
)
def test_what_is_not_understood_says_why(text: str, reason: Reason | None) -> None:
    result = meaning(text)
    assert (result.reason if isinstance(result, Misheard) else None) is reason


def test_a_misheard_sentence_tells_what_stood_out() -> None:
    result = meaning("resin eight [unk] grams")
    assert isinstance(result, Misheard)
    assert result.has_number
    assert result.has_component


@pytest.mark.parametrize(
    "text",
    [
        "no resin eight six five",
        "correction resin eight six five",
        "scratch that resin eight six five",
        "resin eight five six correction resin eight six five",
    ],
)
def test_a_correction_counts_only_what_follows_it(text: str) -> None:
    intent = meaning(text)
    assert isinstance(intent, said.TakeReading)
    assert intent.is_correction
    assert [mass.grams for mass in intent.masses] == [865]


def test_a_correction_must_be_a_whole_sentence_by_itself() -> None:
    assert isinstance(meaning("resin eight five six correction eight [unk]"), Misheard)
    assert isinstance(meaning("resin eight five six correction"), Misheard)
    assert isinstance(meaning("no yes"), Misheard)
