"""A card with values changed: the rest of it stays as its writer left it."""

from dataclasses import replace
from fractions import Fraction

import pytest

from handsfree.core.card import Origin, read_card
from handsfree.shell.card_edit import NotEditable, with_values
from handsfree.shell.cards import card_text, shipped_cards

SHORTER = {"pot_life.minutes": (Fraction(21),)}
ROW = {"cure.use_h": tuple(Fraction(h) for h in ("130.5", "80", "50", "40", "33"))}


@pytest.mark.parametrize("name", shipped_cards())
def test_only_what_was_to_change_is_changed(name: str) -> None:
    text = card_text(name)
    old, new = read_card(text), read_card(with_values(text, SHORTER, ["Why."]))
    assert old.pot_life is not None
    assert new.pot_life == replace(old.pot_life, minutes=21.0)
    assert replace(new, pot_life=old.pot_life, origins=old.origins) == old
    assert new.origin_of("pot_life.minutes") is Origin.GUESS
    assert new.origin_of("pot_life.test_g") is old.origin_of("pot_life.test_g")


def test_every_other_line_stays() -> None:
    text = card_text("gate-coat")
    before = text.splitlines()
    after = with_values(text, {**SHORTER, **ROW}, ["Why.", ""]).splitlines()
    assert after[:2] == ["# Why.", "#"]
    differing = [(old, new) for old, new in zip(before, after[2:], strict=True) if old != new]
    assert differing == [
        ("minutes = 25", "minutes = 21  # Was 25."),
        (
            "use_h = [120, 72, 48, 36, 30]",
            "use_h = [130.5, 80, 50, 40, 33]  # Was [120, 72, 48, 36, 30].",
        ),
        (
            'guess = ["pot_life.method"]',
            'guess = ["pot_life.method", "pot_life.minutes", "cure.use_h"]',
        ),
    ]


def test_a_comment_beside_a_value_stays() -> None:
    text = card_text("gate-coat").replace("minutes = 25", "minutes = 25 # from the tin")
    assert "minutes = 21  # Was 25. from the tin" in with_values(text, SHORTER, [])


def test_a_card_without_origins_gets_them() -> None:
    text = card_text("gate-coat").partition("[source]")[0]
    card = read_card(with_values(text, SHORTER, []))
    assert card.origin_of("pot_life.minutes") is Origin.GUESS


def test_a_key_stands_in_one_list_of_origins_only() -> None:
    text = card_text("gate-coat").replace('"pot_life"]', '"pot_life.minutes"]')
    card = read_card(with_values(text, SHORTER, []))
    assert card.origin_of("pot_life.minutes") is Origin.GUESS


@pytest.mark.parametrize(
    ("old", "new"),
    [
        pytest.param("use_h = [120, 72,", "use_h = [120,\n72,", id="over-two-lines"),
        pytest.param("minutes = 25", "minutes = 2_5", id="odd-number"),
    ],
)
def test_what_cannot_be_changed_surely_is_left_to_its_writer(old: str, new: str) -> None:
    text = card_text("gate-coat").replace(old, new)
    with pytest.raises(NotEditable, match="by hand"):
        with_values(text, {**SHORTER, **ROW}, [])


def test_an_outcome_that_is_no_card_is_refused() -> None:
    with pytest.raises(NotEditable, match="would not be valid"):
        with_values(card_text("gate-coat"), {"pot_life.minutes": (Fraction(1),)}, [])
