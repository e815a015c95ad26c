"""The guide follows the real dialogue, wherever the person goes."""

from collections.abc import Iterable
from datetime import timedelta
from fractions import Fraction
from random import Random

import pytest

from handsfree.job.boundary import Heard, TimePassed
from handsfree.job.tryout import LESSONS, example
from handsfree.language import tryout_wording as wording
from handsfree.language.parser import Misheard, parse
from handsfree.language.tryout_wording import Lesson, Remark
from handsfree.shell.tryout import Tryout
from handsfree.shell.typed import FIRST_DAY

TO_THE_POUR = (
    "hello bench", "resin one one one grams", "no", "resin two one zero grams", "yes", "tare",
)  # fmt: skip


def started(step_g: Fraction = Fraction(1)) -> Tryout:
    return Tryout(step_g, Fraction(5000))


def lesson_of(tryout: Tryout) -> Lesson | None:
    return tryout.guide.lesson


def said(tryout: Tryout, sentences: Iterable[str], second: int = 0) -> list[Remark]:
    """What the guide says to the sentences."""
    remarks: list[Remark] = []
    for number, sentence in enumerate(sentences):
        now = FIRST_DAY + timedelta(seconds=second + number)
        for turn in tryout.take(Heard(tuple(sentence.split())), now):
            remarks += turn.remarks
    return remarks


def test_the_straight_way_leads_through_every_lesson() -> None:
    tryout = started()
    way = (
        *TO_THE_POUR, "hardener five zero", "scratch that", "hardener one zero five", "yes",
        "mixed", "two two degrees", "how long is left", "remind me in twenty seconds",
    )  # fmt: skip
    lessons = [r.lesson for r in said(tryout, way) if isinstance(r, wording.Instruct)]
    assert lessons == list(LESSONS[1:14])
    due = tryout.session.next_deadline()
    assert due is not None
    (turn,) = tryout.take(TimePassed(), due)
    assert [r.lesson for r in turn.remarks if isinstance(r, wording.Instruct)] == [Lesson.GOT_IT]
    assert said(tryout, ("got it",), 60) == [wording.Finished()]
    assert tryout.is_over


@pytest.mark.parametrize("step_g", ["0.1", "0.5", "1", "2", "5"])
def test_what_it_tells_to_say_always_leads_on(step_g: str) -> None:
    """Every example, said to the dialogue itself, is the next step, on every scale."""
    tryout = started(Fraction(step_g))
    state = tryout.session.state
    for number in range(40):
        if tryout.is_over:
            break
        lesson = tryout.guide.lesson
        assert lesson is not None
        deadline = tryout.session.next_deadline()
        if lesson is Lesson.CALL:
            assert deadline is not None
            list(tryout.take(TimePassed(), deadline))
            continue
        words = example(lesson, tryout.session.setup, tryout.session.state)
        assert not isinstance(parse(words.split()), Misheard), words
        said(tryout, [words], 2 * number)
        if lesson is Lesson.POUR and tryout.guide.lesson is Lesson.POUR:
            said(tryout, ["yes"], 2 * number + 1)
        assert lesson_of(tryout) is not lesson, (lesson, words)
    assert tryout.is_over
    assert state is not tryout.session.state


def test_a_yes_to_the_practice_counts_and_is_gone_on_from() -> None:
    tryout = started()
    said(tryout, ("hello bench", "resin one one one grams", "yes"))
    assert lesson_of(tryout) is Lesson.TARE
    assert tryout.session.state.batches[0].total_g == 111


def test_a_no_to_the_reading_leads_back_to_it() -> None:
    tryout = started()
    said(tryout, TO_THE_POUR[:4])
    assert lesson_of(tryout) is Lesson.YES
    (remark,) = said(tryout, ["no"])
    assert isinstance(remark, wording.Instruct)
    assert (remark.lesson, remark.is_after_success) == (Lesson.RESIN, False)
    said(tryout, ("resin two zero one grams", "yes"))
    assert lesson_of(tryout) is Lesson.TARE


def test_an_over_pour_is_the_dialogues_to_correct() -> None:
    tryout = started()
    said(tryout, (*TO_THE_POUR, "hardener one two zero", "yes", "yes"))
    assert lesson_of(tryout) in (Lesson.SCRATCH, Lesson.POUR)
    said(tryout, ("resin one five zero grams", "yes"), 20)
    assert lesson_of(tryout) is Lesson.MIXED


def test_who_pours_to_the_target_at_once_skips_what_is_done() -> None:
    tryout = started()
    said(tryout, (*TO_THE_POUR, "hardener one zero five grams", "yes"))
    assert lesson_of(tryout) is Lesson.MIXED


def test_asleep_nothing_but_the_phrase_counts_and_a_hint_comes_at_once() -> None:
    tryout = started()
    assert said(tryout, ["resin one one one grams"]) == [wording.Hint("hello bench")]
    assert lesson_of(tryout) is Lesson.WAKE
    assert not tryout.session.state.batches


def test_words_that_do_not_fit_get_a_hint_and_then_a_way_out() -> None:
    tryout = started()
    said(tryout, ["hello bench"])
    remarks = said(tryout, ["what now"] * 4)
    words = "resin one one one grams"
    assert remarks == [wording.Hint(words), wording.OfferSkip(words)]


def test_a_question_to_the_dialogue_is_no_miss() -> None:
    tryout = started()
    said(tryout, ["hello bench"])
    assert said(tryout, ["help"] * 4) == []
    assert tryout.guide.misses == 0


def test_every_lesson_can_be_skipped() -> None:
    tryout = started()
    count = 0
    while not tryout.is_over:
        said(tryout, ["skip this step"], count)
        count += 1
    assert count == len(LESSONS)
    assert tryout.session.state.batches[0].running_clock is not None


@pytest.mark.parametrize("after", range(0, 12, 3))
def test_it_can_be_stopped_at_any_time(after: int) -> None:
    tryout = started()
    said(tryout, ["skip this step"] * after)
    assert said(tryout, ["that is enough"])[-1] == wording.Stopped()
    assert tryout.is_over


def test_whatever_is_said_it_goes_on_and_comes_to_an_end() -> None:
    """A thousand walks of random sentences; skipping always leads out."""
    pick = Random(10)
    sentences = [
        "yes", "no", "tare", "scratch that", "mixed", "new cup", "resin two zero zero grams",
        "hardener one zero zero grams", "hardener five zero", "two two degrees", "got it", "status",
        "hardener three zero zero", "remind me in twenty seconds", "hello bench", "go to sleep",
        "how long is left", "the cup is smoking", "cup one is empty", "what now", "new job",
        "the job is done", "i need three zero zero grams in all",
    ]  # fmt: skip
    for _ in range(300):
        tryout = started()
        second = 0
        for _ in range(pick.randrange(25)):
            second += 7
            said(tryout, [pick.choice(sentences)], second)
        skips = 0
        while not tryout.is_over:
            skips, second = skips + 1, second + 7
            assert skips <= len(LESSONS)
            said(tryout, ["skip this step"], second)
