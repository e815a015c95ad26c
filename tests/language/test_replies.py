"""Wording: ready for a voice that reads digits and symbols in ways of its own."""

import re
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from random import Random

import pytest

from handsfree.core.mix import Component
from handsfree.language import replies
from handsfree.language.intents import CupSign, Film, Manner
from handsfree.language.parser import Misheard, Reason
from handsfree.language.replies import Call, Called, Reply
from handsfree.language.wording import Level, wording

RESIN, HARDENER = Component.RESIN, Component.HARDENER
F = Fraction
NOW = datetime(2026, 1, 5, 14, 0, tzinfo=UTC)
LATER = NOW + timedelta(hours=20, minutes=7)

EXAMPLES: list[Reply] = [
    replies.ReadBack(RESIN, F(856)),
    replies.AskComponent(F(164)),
    replies.AskWhichValue(RESIN, (F(42), F(4042))),
    replies.AskRunningTotal(RESIN, F(978)),
    replies.AskDigits(),
    replies.AskSure(HARDENER, F(12), F(122)),
    replies.PourTarget(HARDENER, F(122), F(120), F(124), F(978)),
    replies.StillToPour(HARDENER, F(115), F(7)),
    replies.AskFinal(HARDENER, F(122), True, F(0)),
    replies.AskFinal(HARDENER, F(126), False, F(4)),
    replies.AskFinal(HARDENER, F("118.5"), False, F("-3.5")),
    replies.AskOverPour(HARDENER, F(154), F(11)),
    replies.MixComplete(F(978), True),
    replies.MixComplete(F(978), False),
    replies.AddToBalance(RESIN, F(78), F(232), True),
    replies.AddToBalance(RESIN, F(36), F(184), False),
    replies.TotalWeight(F(978), True),
    replies.TotalWeight(F(978), False),
    replies.BatchIsTooSmall(F(140), F(1)),
    replies.NotOnThisScale(F("14.2"), F(1)),
    replies.BeyondCapacity(F(9000), F(5000)),
    replies.NothingOnScale(),
    replies.LessThanBefore(HARDENER, F(90), F(115)),
    replies.Scratched(RESIN, F(856)),
    replies.Scratched(None, None),
    replies.NothingToScratch(),
    replies.SayItAgain(),
    replies.Tared(),
    replies.BatchOpened(2, "Gate Coat"),
    replies.WaitingForReading(),
    replies.NotMixedYet(),
    replies.AskMixTemperature(),
    replies.ClockStarted(1, 23),
    replies.ClockRunsAlready(1),
    replies.ClockUnknown(),
    replies.TimeLeft(1, 11),
    replies.TimeLeft(1, 1),
    replies.TimeLeft(1, 0),
    replies.PotLifeOver(1, 0),
    replies.PotLifeOver(1, 7),
    replies.Balance(1, F(856), None, False, None),
    replies.Balance(1, None, None, False, None),
    replies.Balance(1, F(856), F(122), True, None),
    replies.Balance(1, F(856), F(122), True, 17),
    replies.AskYes(),
    replies.NoQuestion(),
    replies.NothingSaid(),
    replies.WhatCanBeSaid(("resin eight five six grams",)),
    *(
        replies.NotUnderstood(Misheard(reason, (), number, part))
        for reason in Reason
        for number in (True, False)
        for part in (True, False)
    ),
    replies.TooLoud(),
    replies.NoSpeech(),
    replies.HearingRestarted(),
    replies.CallTogether((Call(Called.TAPE_INSIST, 1, 0, 4, 0),), 2, False),
    replies.CallTogether((Call(Called.TIMER, 1, 0, None, 0),), 0, True),
    replies.Resumed((), None, None, 0, (), 0),
    replies.Resumed(((1, 12),), replies.Balance(2, F(856), None, False, None), 1, 2, (), 0),
    replies.Resumed((), replies.Balance(2, None, None, False, None), None, 1, (), 0),
    *(
        replies.Resumed((), None, 1, 0, (Call(called, 1, percent, None, late),), late)
        for called in Called
        for percent in (75, 100)
        for late in (0, 9)
    ),
    replies.TimeInDoubt((), 0),
    *(replies.TimeInDoubt((Call(called, 1, 75, None, 0),), 2) for called in Called),
    replies.WallClockSet(75, True),
    replies.WallClockSet(600, False),
    replies.WallClockWrong(),
    replies.ZoneChanged(),
    replies.NotSaved(),
    replies.SavedAgain(),
    replies.RecordIsNewer(),
    replies.RecordCutOff(),
    replies.RecordDamaged(1),
    replies.RecordDamaged(20),
    replies.MaySleep(),
    *(
        Call(called, 1, 50, left, late)
        for called in Called
        for left in (None, 7)
        for late in (0, 9)
    ),
    Call(Called.POT_LIFE, 2, 100, 0, 3),
    replies.Opening("Gate Coat", True),
    replies.Opening("Gate Coat", False),
    replies.AskTotalWanted(F(500)),
    replies.TotalPlan(F(438), F(62)),
    replies.AskWhichTemperature(),
    replies.AskScale(F(68)),
    replies.ConditionNoted("air", F(22), "degrees", ("the surface", "the humidity")),
    replies.ConditionNoted("air", F(22), "degrees", ()),
    replies.ConditionUnlikely("humidity", F(400)),
    replies.MayCoat(F("6.5"), False),
    replies.MayCoat(F("3.2"), True),
    replies.MayNotCoat(("the air is too humid",), F("1.5")),
    replies.ConditionsMissing(("the air", "the surface", "the humidity")),
    replies.TimesMoved(F(25), True, LATER, LATER, NOW),
    replies.TimesMoved(F(15), False, None, LATER, NOW),
    replies.CupAhead(1, 4),
    *(replies.CupWarning(sign, batch) for sign in CupSign for batch in (None, 2)),
    replies.AskCupWeight(F(20)),
    replies.CupWeightNoted(F(20)),
    replies.AskEmptied(1),
    replies.CupDone(1),
    replies.FirstCup(2, 11),
    replies.NoSuchCup(None),
    replies.NoSuchCup(4),
    replies.CoatStartNoted(1, ""),
    replies.CoatStartNoted(2, "it is too early for it by the card"),
    replies.CoatNoted(1, True, LATER, LATER, False, False, NOW),
    replies.CoatNoted(1, False, None, None, True, False, NOW),
    replies.CoatNoted(1, False, None, None, False, False, NOW),
    replies.CoatNoted(1, False, None, None, False, True, NOW),
    replies.TooColdToCure(F(6)),
    replies.TapeNoted(),
    replies.AskTapeOff(),
    replies.TapeOffNoted(),
    replies.NoTape(),
    replies.NoCoat(),
    replies.FilmNoted(Film.TACKY, LATER, NOW),
    replies.FilmNoted(Film.DRY, None, NOW),
    replies.RecoatTooEarly(LATER, NOW),
    replies.RecoatTooEarly(None, NOW),
    replies.RecoatOpen(LATER, False, NOW),
    replies.RecoatOpen(None, True, NOW),
    replies.RecoatClosed(),
    replies.TapeTime(LATER, LATER, NOW),
    replies.TapeTime(LATER, None, NOW),
    replies.ReadyTimes(LATER, LATER, LATER, NOW),
    replies.ReadyTimes(None, None, None, NOW),
    *(replies.FilmUnknown(missing) for missing in ("coat", "surface", "card")),
    replies.TimerNoted(10, LATER, NOW),
    replies.TimerNoted(10, LATER, NOW, "check the heater"),
    replies.TimersLeft(()),
    replies.TimersLeft(((1, "", 4), (2, "stir", 5), (3, "", 6), (4, "", 7))),
    replies.AskTimerCanceled(2, "check the heater"),
    replies.AskTimerCanceled(1, ""),
    replies.AskWhichTimer(()),
    replies.AskWhichTimer((1, 2)),
    replies.TimerOff(1),
    replies.AskNewJob(),
    replies.JobOpened(2, "gate coat"),
    replies.CupsStillRun((1, 2)),
    replies.AskProduct("floor seal"),
    replies.ProductChosen("Floor Seal", True),
    replies.ProductIs("gate coat", ("floor seal",)),
    replies.ProductIs("gate coat", ()),
    replies.NoSuchProduct(("gate coat", "floor seal")),
    replies.CupNotDone(1),
    replies.AskScaleStep(F("0.1")),
    replies.ScaleStepNoted(F("0.1")),
    replies.NoScaleStep(F(7)),
    replies.AskCoatsPlanned(2, "gate"),
    replies.AskCoatsPlanned(1, ""),
    replies.CoatsPlanned(2),
    replies.AskLot(RESIN, "4712"),
    replies.LotNoted(HARDENER),
    replies.CupLeft(1, F(40), 9, True),
    replies.CupLeft(1, F(400), 9, False),
    replies.MoreThanMixed(1, F(500), F(400)),
    replies.AskNote(),
    replies.NoteNoted(("the", "left", "post", "has", "a", "run"), False),
    replies.NoteNoted(("the", "[unk]", "has", "a", "run"), True),
    replies.NoteNoted(("[unk]",), False),
    replies.NoteNoted(("[unk]",), True),
    replies.Notes(()),
    replies.Notes((("a", "run"), ("[unk]",), ("b",), ("c",))),
    replies.Hushed(120),
    replies.Hushed(45),
    replies.HushTooLong(120),
    replies.AskWhichArea(("", "gate")),
    replies.CoatStartNoted(1, "", "gate"),
    replies.TapeNoted("left post"),
    replies.AskTapeOff("gate"),
    replies.FilmNoted(Film.TACKY, LATER, NOW, "gate"),
    Call(Called.TIMER, 1, 0, None, 0, "check the heater"),
    Call(Called.TAPE_ASK, 1, 0, 9, 0, "gate"),
    replies.MicrophoneGone(),
    replies.MicrophoneMuted(),
    replies.MicrophoneBack(),
    replies.AskLength(),
    replies.PutOffNoted(10),
    replies.CannotPutOff(3),
    *(replies.AcknowledgedReply(called) for called in Called),
    replies.NothingToAnswer(),
    replies.Missed((), ()),
    replies.Missed((Call(Called.TIMER, 1, 0, None, 5),) * 4, (replies.AskTapeOff(),)),
    *(replies.VoiceChanged(manner) for manner in Manner),
    replies.Asleep("hello bench"),
    replies.Awake(),
    replies.AskJobDone(),
    replies.JobDone(()),
    replies.JobDone((1, 2)),
    replies.ScratchedFact("the tape"),
    replies.ClockAssumed(1, 9, F(30)),
    replies.RefusedByCard("The mix is too cold for the card."),
]


def test_every_reply_has_an_example_here() -> None:
    assert {type(example) for example in EXAMPLES} == set(Reply.__args__)


@pytest.mark.parametrize("reply", EXAMPLES, ids=lambda reply: type(reply).__name__)
def test_wording_is_plain_words(reply: Reply) -> None:
    text = wording(reply)
    assert re.fullmatch(r"[A-Z][A-Za-z' ,;:.?]*[.?]", text), text
    assert len(re.findall(r"[.?](?: |$)", text)) <= (
        10 if isinstance(reply, replies.Missed) else 3
    ), text


def test_numbers_are_said_digit_by_digit() -> None:
    assert wording(replies.ReadBack(RESIN, F(856))) == (
        "Resin eight five six grams. Is that right?"
    )


def test_a_number_is_never_rounded_by_its_wording() -> None:
    pick = Random(2)
    for _ in range(200):
        value = F(pick.randrange(1, 100_000), 10)
        words = wording(replies.ReadBack(HARDENER, value)).split(" grams")[0].split()[1:]
        names = "zero one two three four five six seven eight nine".split()
        digits = "".join("." if word == "point" else str(names.index(word)) for word in words)
        assert F(digits) == value


@pytest.mark.parametrize("reply", EXAMPLES, ids=lambda reply: type(reply).__name__)
def test_levels_change_how_much_is_said_and_no_number(reply: Reply) -> None:
    normal = wording(reply)
    brief, new = wording(reply, Level.BRIEF), wording(reply, Level.NEW)
    assert normal.startswith(brief.removesuffix("."))
    assert new.startswith(normal)
    assert wording(reply, Level.NORMAL) == normal


def test_an_old_hand_hears_the_target_alone() -> None:
    target = replies.PourTarget(HARDENER, F(122), F(120), F(124), F(978))
    assert wording(target, Level.BRIEF) == (
        "One two two grams of hardener, one two zero to one two four is good."
    )
