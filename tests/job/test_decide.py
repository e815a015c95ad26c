"""The dialogue: what counts, what is asked, and what leaves nothing behind."""

from collections.abc import Callable
from datetime import timedelta
from fractions import Fraction

import pytest

from handsfree.core.mix import Component
from handsfree.job.boundary import Heard, HearingLost, TimePassed
from handsfree.job.state import State, replay
from handsfree.job.step import Outcome
from handsfree.language import replies
from handsfree.language.numbers import say_digits
from handsfree.language.replies import Call, Called
from handsfree.shell.cards import load_card
from handsfree.shell.session import Session, setup_of
from handsfree.shell.typed import FIRST_DAY

Say = Callable[..., str]


def test_the_main_job(say: Say, session: Session) -> None:
    assert say("resin eight five six grams") == "Resin eight five six grams. Is that right?"
    # 856 / 7 = 122.29 g; within 2 % that is 119.8 to 124.7 g: 120 to 124 on a 1 g scale.
    assert say("yes") == (
        "One two two grams of hardener, one two zero to one two four is good. "
        "Without a tare the scale will show nine seven eight."
    )
    assert say("hardener one one five") == "One one five. Seven more."
    assert say("hardener one two two") == ("Hardener one two two grams, on target. Is that right?")
    assert "nine seven eight grams in all" in say("yes").lower()
    batch = session.state.open_batch
    assert batch is not None
    assert batch.grams_of(Component.HARDENER) == 122


def test_a_number_that_sets_a_target_counts_only_after_yes(say: Say, session: Session) -> None:
    say("resin eight five six grams")
    assert session.state == State()
    say("yes")
    assert session.state.open_batch is not None


@pytest.mark.parametrize("refusal", ["no", "scratch that", "undo", "wrong"])
def test_no_leaves_nothing_behind(say: Say, session: Session, refusal: str) -> None:
    say("resin eight five six grams")
    say(refusal)
    assert session.state == State()
    assert session.talk.question is None
    assert say("yes") == "I had no question open."
    assert session.state == State()


def test_the_same_value_is_not_offered_again_after_a_no(say: Say) -> None:
    say("resin eight five six grams")
    say("no")
    assert "one digit at a time" in say("resin eight five six grams")
    assert say("resin eight six five grams") == "Resin eight six five grams. Is that right?"


def test_scratch_that_takes_back_the_last_accepted_reading(say: Say, session: Session) -> None:
    say("resin eight five six grams")
    say("yes")
    say("hardener one one five")
    assert say("scratch that") == "Scratched, hardener one one five grams."
    batch = session.state.open_batch
    assert batch is not None
    assert batch.grams_of(Component.HARDENER) == 0
    assert batch.grams_of(Component.RESIN) == 856


def test_a_correction_replaces_the_open_number(say: Say) -> None:
    say("resin eight five six grams")
    assert say("no resin eight six five grams") == "Resin eight six five grams. Is that right?"


def test_a_correction_replaces_the_last_accepted_reading(say: Say, session: Session) -> None:
    say("resin eight five six grams")
    say("yes")
    say("hardener one one five")
    assert say("no hardener one zero five") == "One zero five. One seven more."
    batch = session.state.open_batch
    assert batch is not None
    assert batch.grams_of(Component.HARDENER) == 105
    # A correction that cannot be is refused, and what it would replace stays.
    say("no hardener one zero five point five")
    assert session.state.open_batch == batch


def test_a_bare_number_needs_its_part(say: Say) -> None:
    assert say("one six four grams") == "One six four grams. Resin or hardener?"
    assert say("yes") == "One six four grams. Resin or hardener?"
    assert say("resin") == "Resin one six four grams. Is that right?"


def test_ambiguous_words_are_asked_never_guessed(say: Say, session: Session) -> None:
    assert say("resin forty forty two grams") == (
        "I heard four two, or four zero four two of resin. Please say it digit by digit."
    )
    assert "four two" in say("yes")
    assert session.state == State()
    assert say("four zero four two grams") == "Resin four zero four two grams. Is that right?"


def test_running_total_is_asked_and_then_kept(say: Say) -> None:
    say("resin eight five six grams")
    say("yes")
    assert say("scale reads nine two zero grams") == (
        "Nine two zero grams. Is that together with the resin?"
    )
    # 920 - 856 = 64 of 122.
    assert say("yes") == "Six four. Five eight more."
    assert say("nine seven eight grams") == (
        "Hardener one two two grams, on target. Is that right?"
    )


def test_told_tare_is_believed(say: Say) -> None:
    say("resin five six zero grams")
    say("yes")
    say("tare the scale")
    # 560 / 7 = 80 g.
    assert say("scale reads six two grams") == "Six two. One eight more."
    assert say("eight zero grams").startswith("Hardener eight zero grams, on target.")


def test_hardener_first_sets_the_resin(say: Say) -> None:
    say("hardener one zero zero grams")
    # 100 g * 7 = 700 g.
    assert say("yes").startswith("Seven zero zero grams of resin")
    # 600 may be of resin alone, or 500 of resin with the hardener in it.
    assert say("resin six zero zero grams").endswith("together with the hardener?")
    assert say("no").startswith("Six zero zero. One zero zero more.")


def test_over_pour_is_balanced_with_the_other_part(say: Say) -> None:
    say("resin one zero zero zero grams")
    say("yes")
    assert "one one too much" in say("hardener one five four grams")
    # 154 * 7 = 1078: 78 g of resin are missing; on a scale tared with the resin in the cup,
    # 154 + 78 = 232 is shown.
    assert say("yes") == (
        "Add seven eight grams of resin to balance it, until the scale shows two three two."
    )
    assert say("scale reads two three two grams") == (
        "Resin one zero seven eight grams, on target. Is that right?"
    )
    assert say("yes").startswith("One two three two grams in all, the mix is complete.")


def test_a_large_over_pour_is_stopped(say: Say) -> None:
    say("resin one zero zero zero grams")
    say("yes")
    say("hardener one eight one grams")
    assert say("yes").startswith("Do not use it like this. Add two six seven grams of resin")


def test_too_little_for_the_scale_is_refused_with_the_least_that_works(say: Say) -> None:
    say("resin one zero zero grams")
    # 7 * 1 g / 5 % = 140 g.
    assert say("yes").endswith("The least that works is one four zero grams of resin.")
    assert "one four zero grams" in say("hardener one four grams")


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("resin zero grams", "I heard zero grams."),
        ("resin one four point two grams", "the scale has steps of one gram"),
        ("resin nine thousand grams", "the scale carries only five zero zero zero grams"),
        ("resin minus two grams", "Please say it digit by digit."),
        ("resin one point", "cut off"),
        ("resin [unk] grams", "I heard which part, but no number."),
        ("resin five [unk] grams", "I heard a part and a number, but not all of it."),
        ("nonsense", "I did not understand that."),
    ],
)
def test_bad_numbers_are_refused_in_clear_words(
    say: Say, session: Session, words: str, answer: str
) -> None:
    assert answer in say(words)
    assert session.state == State()


def test_a_pour_cannot_go_down_silently(say: Say) -> None:
    say("resin eight five six grams")
    say("yes")
    say("hardener one one five")
    assert say("hardener one zero five") == (
        "Hardener one zero five? It was one one five before. Is that right?"
    )


def test_a_number_far_past_the_target_is_asked(say: Say) -> None:
    say("resin eight five six grams")
    say("yes")
    assert "I expected about one two two" in say("hardener five five zero")


def test_out_by_ten_against_the_last_cup_is_asked(say: Say) -> None:
    say("resin eight five six grams")
    say("yes")
    say("new cup")
    assert say("resin eight six grams") == (
        "Resin eight six grams? I expected about eight five six. Is that right?"
    )
    assert say("resin eight six zero grams") == "Resin eight six zero grams. Is that right?"


@pytest.mark.parametrize("words", ["fifteen grams", "fifty grams", "one twenty grams", "five"])
def test_forms_that_are_mistaken_easily_are_asked_even_in_a_pour(
    say: Say, session: Session, words: str
) -> None:
    say("resin one two six zero grams")
    say("yes")
    before = session.state
    assert say(f"hardener {words}").endswith("Is that right?")
    assert session.state == before


def test_an_unsure_progress_is_asked_and_an_unsure_yes_does_not_count(
    say: Say, session: Session
) -> None:
    say("resin eight five six grams")
    assert say("yes", confidence=0.5).startswith("I am not sure I heard a yes.")
    assert session.state == State()
    say("yes")
    before = session.state
    assert say("hardener one one five", confidence=0.5).endswith("Is that right?")
    assert session.state == before


def test_a_progress_in_noise_is_asked_but_a_yes_counts(say: Say, session: Session) -> None:
    say("resin eight five six grams")
    yes = session.step(Heard(("yes",), is_noisy=True), FIRST_DAY)
    assert yes.outcome is Outcome.ACCEPTED
    before = session.state
    words = tuple("hardener one one five".split())
    assert session.step(Heard(words, is_noisy=True), FIRST_DAY).outcome is Outcome.ASKED
    assert session.state == before


def test_a_radio_that_parses_but_never_ends_is_refused(session: Session) -> None:
    words = tuple("resin eight five six grams".split())
    decision = session.step(Heard(words, is_too_long=True), FIRST_DAY)
    assert decision.outcome is Outcome.REJECTED
    assert session.state == State()


def test_clipped_sound_that_is_not_understood_says_so(session: Session) -> None:
    decision = session.step(Heard(("[unk]",), is_clipped=True), FIRST_DAY)
    assert [say.reply for say in decision.said] == [replies.TooLoud()]


def test_silence_is_ignored(session: Session) -> None:
    decision = session.step(Heard(()), FIRST_DAY)
    assert decision.outcome is Outcome.IGNORED
    assert decision.effects == ()


def test_lost_hearing_is_said_and_the_question_stays(say: Say, session: Session) -> None:
    say("resin eight five six grams")
    decision = session.step(HearingLost(), FIRST_DAY)
    assert [say.reply for say in decision.said] == [replies.HearingRestarted()]
    assert say("yes").startswith("One two two grams of hardener")


def test_pot_life_runs_from_the_moment_it_was_mixed(say: Say, session: Session) -> None:
    for words in ("resin eight seven five grams", "yes", "hardener one two five grams", "yes"):
        say(words)
    say("mixed")
    session.step(Heard(tuple("two five degrees".split())), FIRST_DAY + timedelta(seconds=20))
    # trade.md's bounded rule, label 25 min, 100 g, 25 C: 1000 g last 20.2 min.
    batch = session.state.open_batch
    assert batch is not None
    assert batch.clock is not None
    assert batch.clock.met_at == FIRST_DAY
    assert batch.clock.pot_life.total_seconds() / 60 == pytest.approx(20.2, abs=0.05)


def test_warnings_fall_due_once_and_the_latest_only_after_a_gap(say: Say, session: Session) -> None:
    for words in ("resin eight seven five grams", "yes", "hardener one two five grams", "yes"):
        say(words)
    say("mixed")
    say("two five degrees")
    deadline = session.next_deadline()
    assert deadline is not None
    assert not session.step(TimePassed(), deadline - timedelta(seconds=1)).effects
    first = session.step(TimePassed(), deadline)
    assert [say.reply for say in first.said] == [Call(Called.POT_LIFE, 1, 50, 10, 0)]
    assert not session.step(TimePassed(), deadline).effects
    late = session.step(TimePassed(), deadline + timedelta(minutes=15))
    assert [say.reply for say in late.said] == [Call(Called.POT_LIFE, 1, 100, 0, 4)]
    assert session.next_deadline() is None


def test_mixed_before_both_parts_are_in_starts_no_clock(say: Say, session: Session) -> None:
    say("resin eight five six grams")
    say("yes")
    assert "not complete" in say("mixed")
    assert session.next_deadline() is None


def test_repeat_says_the_last_thing_in_the_same_words(say: Say) -> None:
    assert say("say again") == "I have not said anything yet."
    first = say("resin eight five six grams")
    assert say("say again") == first
    assert say("repeat that") == first


def test_replaying_every_prefix_gives_the_live_state(session: Session) -> None:
    events, states = [], [State()]
    script = (
        "resin eight five six grams|yes|hardener one one five|scratch that|tare the scale|"
        "hardener one two two|yes|mixed|two two degrees|new cup|resin five six zero grams|yes"
    )
    for words in script.split("|"):
        for event in session.step(Heard(tuple(words.split())), FIRST_DAY).events:
            events.append(event)
            states.append(replay([event], states[-1]))
    assert session.state == states[-1]
    for count, state in enumerate(states):
        assert replay(events[:count]) == state


def test_targets_equal_an_independent_fraction() -> None:
    # Exact: B = A / r, rounded half away from zero to the scale's step.
    for resin_g in range(140, 5000, 37):
        session = Session(setup_of(load_card("gate-coat")))
        words = f"resin {say_digits(Fraction(resin_g))} grams"
        session.step(Heard(tuple(words.split())), FIRST_DAY)
        reply = session.step(Heard(("yes",)), FIRST_DAY).said[0].reply
        assert isinstance(reply, replies.PourTarget)
        assert abs(reply.target_g - Fraction(resin_g, 7)) <= Fraction(1, 2)
        assert reply.target_g.denominator == 1
        assert reply.running_total_g == resin_g + reply.target_g
        assert Fraction(98, 100) * resin_g / 7 <= reply.low_g or resin_g < 350
