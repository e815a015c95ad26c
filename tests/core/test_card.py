"""Product cards: what is read, and what is refused with its key, line and limits."""

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

import handsfree
from handsfree.core.card import Feature, Origin, missing_for, read_card
from handsfree.core.cure import Stage
from handsfree.core.errors import CardInvalid
from handsfree.core.mix import Basis, Tolerance
from handsfree.core.potlife import LabelPotLife, Method

CARDS = Path(handsfree.__file__).parent / "cards"
GATE = (CARDS / "gate-coat.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", sorted(CARDS.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_card_is_valid_and_says_that_it_is_invented(path: Path) -> None:
    card = read_card(path.read_text(encoding="utf-8"))
    assert card.invented
    assert "invented" in card.note.lower()
    assert card.pot_life is not None
    assert card.cure is not None


def test_gate_coat_is_read_in_full() -> None:
    card = read_card(GATE)
    assert card.name == "Gate Coat"
    assert card.ratio.resin_parts == 7
    assert card.ratio.hardener_parts == 1
    assert card.ratio.basis is Basis.WEIGHT
    assert card.resin_g_per_ml == Fraction(115, 100)
    assert card.tolerance == Tolerance()
    assert card.pot_life == LabelPotLife(25.0, 100.0, 25.0, Method.CUP_IN_AIR)
    assert card.cure is not None
    assert card.cure.hours[Stage.RECOAT_OPENS][2] == 4.0


def test_origin_is_the_key_then_the_section_then_unknown() -> None:
    card = read_card(GATE)
    assert card.origin_of("pot_life.minutes") is Origin.LABEL
    assert card.origin_of("pot_life.method") is Origin.GUESS
    assert card.origin_of("cure.use_h") is Origin.DATA_SHEET
    assert card.origin_of("mix.tolerance_percent") is None


# One line of the gate's card replaced: the key named, and what the message must say.
BAD_LINES = [
    pytest.param('ratio = "7:1"', 'ratio = "70:1"', "mix.ratio", "20:1", id="ratio-range"),
    pytest.param('ratio = "7:1"', "ratio = 7", "mix.ratio", '"7:1"', id="ratio-type"),
    pytest.param('by = "weight"', 'by = "eye"', "mix.by", "volume", id="basis"),
    pytest.param("minutes = 25", "minutes = true", "pot_life.minutes", "240", id="bool-no-int"),
    pytest.param("minutes = 25", "minutes = nan", "pot_life.minutes", "240", id="nan"),
    pytest.param("minutes = 25", "minutes = inf", "pot_life.minutes", "240", id="infinity"),
    pytest.param("minutes = 25", "minutes = 1e3", "pot_life.minutes", "plain", id="exponent"),
    pytest.param("minutes = 25", "minutes = 0", "pot_life.minutes", "2 to", id="zero"),
    pytest.param("minutes = 25", "minutes = -25", "pot_life.minutes", "2 to", id="negative"),
    pytest.param("minutes = 25", 'minutes = "25"', "pot_life.minutes", "plain", id="text"),
    pytest.param('method = "cup in air"', "", "pot_life.method", "water bath", id="missing"),
    pytest.param("invented = true", "invented = 1", "invented", "true or false", id="flag"),
    pytest.param('name = "Gate Coat"', 'name = "Gate\\u0007"', "name", "letters", id="bell"),
    pytest.param('name = "Gate Coat"', 'name = "7 coat"', "name", "letters", id="name"),
    pytest.param("format = 1", "format = 2", "format", "1", id="version"),
    pytest.param("coats = 2", "coats = 1.5", "film.coats", "whole", id="half-a-coat"),
    pytest.param("coats = 2", "coatz = 2", "film.coatz", "template", id="unknown-key"),
    pytest.param("dft_um = [150, 300]", "dft_um = [300, 150]", "film.dft_um", "first", id="order"),
    pytest.param("dft_um = [150, 300]", "dft_um = [150]", "film.dft_um", "list of 2", id="count"),
    pytest.param("use_h = [120, 72,", "use_h = [120, 720,", "cure.use_h", "not rise", id="rises"),
    pytest.param(
        "recoat_closes_h = [72, 60, 48, 36, 24]",
        "recoat_closes_h = [9, 6, 3, 2, 1]",
        "cure.recoat_closes_h",
        "recoat_opens_h",
        id="closes-before-it-opens",
    ),
    pytest.param(
        "surface_c = [10, 15,", "surface_c = [10, 10,", "cure.surface_c", "rise", id="flat"
    ),
    pytest.param(
        'guess = ["pot_life.method"]', 'guess = ["cure"]', "source.guess", "one", id="twice"
    ),
]


@pytest.mark.parametrize(("old", "new", "key", "allowed"), BAD_LINES)
def test_bad_line_is_refused_by_key_line_and_limit(
    old: str, new: str, key: str, allowed: str
) -> None:
    assert GATE.count(old) == 1
    text = GATE.replace(old, new)
    with pytest.raises(CardInvalid) as refusal:
        read_card(text)
    assert refusal.value.key == key
    assert allowed in refusal.value.allowed
    if new:
        line = next(n for n, row in enumerate(text.splitlines(), 1) if row.startswith(new[:30]))
        assert refusal.value.line == line
        assert f"Line {line}" in str(refusal.value)


HOSTILE = [
    pytest.param("", id="empty"),
    pytest.param("=", id="no-toml"),
    pytest.param("x" * 70_000, id="large"),
    pytest.param("a." * 20_000 + "a = 1", id="dotted-key"),
    pytest.param("a = " + "[\n" * 30_000, id="nesting"),
    pytest.param("a = " + "9" * 300, id="long-integer"),
    pytest.param("\n".join(f"k{i} = 1" for i in range(60)), id="many-keys"),
    pytest.param("[a.b.c.d.e]\nf = 1", id="deep"),
    pytest.param("format = 1\nformat = 1", id="twice"),
    pytest.param("\ud800", id="surrogate"),
]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_card_is_refused(text: str) -> None:
    with pytest.raises(CardInvalid):
        read_card(text)


def test_syntax_error_names_its_line() -> None:
    with pytest.raises(CardInvalid) as refusal:
        read_card("format = 1\nname = \n")
    assert refusal.value.line == 2


def test_short_card_has_what_it_says_and_no_more() -> None:
    card = read_card('format = 1\nname = "A"\ninvented = true\n[mix]\nratio = "2:1"\nby = "weight"')
    assert card.pot_life is None
    assert card.film is None
    assert card.limits is None
    assert card.cure is None
    assert card.note == ""


def test_missing_keys_are_told_by_the_feature_that_needs_them() -> None:
    assert missing_for(read_card(GATE)) == {}
    without_rows = GATE.replace("use_h = [120, 72, 48, 36, 30]\n", "").replace(
        "tack_free_h = [14, 9, 6, 4, 3]\n", ""
    )
    assert missing_for(read_card(without_rows)) == {
        Feature.TAPE: ("cure.tack_free_h",),
        Feature.READY: ("cure.use_h",),
    }
    by_volume = (
        GATE.replace('by = "weight"', 'by = "volume"')
        .replace("hardener_g_per_ml = 0.97\n", "")
        .replace('"mix.hardener_g_per_ml", ', "")
    )
    assert missing_for(read_card(by_volume)) == {
        Feature.WEIGH: ("mix.hardener_g_per_ml",),
        Feature.LITERS: ("mix.hardener_g_per_ml",),
    }
    bare = 'format = 1\nname = "A"\ninvented = true\n[mix]\nratio = "2:1"\nby = "weight"'
    assert set(missing_for(read_card(bare))) == set(Feature) - {Feature.WEIGH}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("minutes = 25", "minutes = 2"),
        ("minutes = 25", "minutes = 240"),
        ("test_g = 100", "test_g = 5000"),
        ("test_c = 25", "test_c = 40"),
        ("test_c = 25", "test_c = 10"),
        ("coats = 2", "coats = 10"),
        ("coats = 2", "coats = 2.0"),
        ("volume_solids_percent = 100", "volume_solids_percent = 1"),
        ("dft_um = [150, 300]", "dft_um = [5, 5000]"),
        ("dew_margin_k = 3", "dew_margin_k = 20"),
        ("resin_g_per_ml = 1.15", "resin_g_per_ml = 0.5"),
        ('name = "Gate Coat"', f'name = "{"a" * 40}"'),
        ("least_c = 10", "least_c = -10"),
    ],
)
def test_value_at_its_limit_is_read(old: str, new: str) -> None:
    read_card(GATE.replace(old, new, 1))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("minutes = 25", "minutes = 1.999"),
        ("minutes = 25", "minutes = 240.1"),
        ("test_g = 100", "test_g = 5001"),
        ("test_c = 25", "test_c = 41"),
        ("coats = 2", "coats = 11"),
        ("volume_solids_percent = 100", "volume_solids_percent = 100.5"),
        ("dft_um = [150, 300]", "dft_um = [4, 5000]"),
        ("humidity_percent = 80", "humidity_percent = 101"),
        ("dew_margin_k = 3", "dew_margin_k = 0"),
        ("resin_g_per_ml = 1.15", "resin_g_per_ml = 4.1"),
        ('name = "Gate Coat"', f'name = "{"a" * 41}"'),
        ("least_c = 10", "least_c = 61"),
    ],
)
def test_value_just_beyond_its_limit_is_refused(old: str, new: str) -> None:
    with pytest.raises(CardInvalid):
        read_card(GATE.replace(old, new, 1))


# Each number of the gate's card: how it stands there, the least and the largest that is allowed.
NUMBERS = [
    ("minutes = {}", "2", "240"),
    ("test_g = {}", "10", "5000"),
    ("test_c = {}", "10", "40"),
    ("test_c = 25\ninduction_minutes = {}", "0", "240"),
    ("volume_solids_percent = {}", "1", "100"),
    ("coats = {}", "1", "10"),
    ("dft_um = [{}, 5000]", "5", "5000"),
    ("air_c = [{}, 60]", "-20", "60"),
    ("surface_c = [{}, 60]", "-20", "60"),
    ("humidity_percent = {}", "1", "100"),
    ("dew_margin_k = {}", "1", "20"),
    ("least_c = {}", "-10", "60"),
    ("resin_g_per_ml = {}", "0.5", "4"),
    ("hardener_g_per_ml = {}", "0.5", "4"),
    ("full_cure_h = [{0}, {0}, {0}, {0}, {0}]", "336", "10000"),
]


def with_number(line: str, number: str) -> str:
    """The gate's card with one number replaced, in the line that starts with the same key."""
    key = line.splitlines()[0].partition(" = ")[0]
    # Of the two lines for the surface, the first is the limit's.
    return re.sub(rf"^{key} = .*$", line.format(number), GATE, count=1, flags=re.MULTILINE)


@pytest.mark.parametrize(("line", "least", "largest"), NUMBERS)
def test_each_number_is_read_up_to_its_limits_and_no_further(
    line: str, least: str, largest: str
) -> None:
    for number in (least, largest):
        read_card(with_number(line, number))
    for beyond in (Decimal(least) - Decimal("0.01"), Decimal(largest) + Decimal("0.01")):
        if line.startswith("full_cure_h") and beyond < Decimal(largest):
            continue  # Less is refused for another reason: no coat cures before it is used.
        with pytest.raises(CardInvalid) as refusal:
            read_card(with_number(line, str(beyond)))
        assert refusal.value.key.endswith(line.splitlines()[-1].partition(" = ")[0])


def test_a_bare_card_lacks_each_thing_under_its_name() -> None:
    bare = 'format = 1\nname = "A"\ninvented = true\n[mix]\nratio = "2:1"\nby = "weight"'
    assert missing_for(read_card(bare)) == {
        Feature.LITERS: ("mix.resin_g_per_ml", "mix.hardener_g_per_ml"),
        Feature.POT_LIFE: ("pot_life",),
        Feature.AREA: ("film",),
        Feature.CONDITIONS: ("limits",),
        Feature.TAPE: ("cure.tack_free_h",),
        Feature.RECOAT: ("cure.recoat_opens_h", "cure.recoat_closes_h"),
        Feature.READY: ("cure.handle_h", "cure.sand_h", "cure.use_h", "cure.full_cure_h"),
    }


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        ("recoat_opens", "recoat_closes"),
        ("tack_free", "handle"),
        ("handle", "use"),
        ("sand", "full_cure"),
        ("use", "full_cure"),
    ],
)
def test_no_stage_comes_before_the_one_it_follows(earlier: str, later: str) -> None:
    rows: dict[str, float] = {
        "tack_free": 1,
        "recoat_opens": 2,
        "recoat_closes": 4,
        "handle": 3,
        "sand": 5,
    }
    rows |= {"use": 4 if earlier == "sand" else 6, "full_cure": 9}
    rows[later] = rows[earlier]
    read_card(cured(rows))
    with pytest.raises(CardInvalid) as refusal:
        read_card(cured(rows | {later: rows[earlier] - 0.5}))
    assert (refusal.value.key, refusal.value.allowed) == (
        f"cure.{later}_h",
        f"no hours before {earlier}_h",
    )


def cured(hours: Mapping[str, float]) -> str:
    """A card with a cure table of one temperature."""
    lines = [f"{stage}_h = [{hour}]" for stage, hour in hours.items()]
    head = 'format = 1\nname = "A"\ninvented = true\n[mix]\nratio = "2:1"\nby = "weight"\n[cure]\n'
    return head + "surface_c = [20]\nleast_c = 5\n" + "\n".join(lines)


def test_tolerance_of_the_label_replaces_ours() -> None:
    text = GATE.replace('by = "weight"', 'by = "weight"\ntolerance_percent = [1, 3, 7.5]')
    assert read_card(text).tolerance == Tolerance(
        Fraction(1, 100), Fraction(3, 100), Fraction(75, 1000)
    )
    for bad in ("[3, 1, 7]", "[1, 3]", "[0, 3, 7]", "[1, 3, 51]", "[1, 3, true]", "5"):
        with pytest.raises(CardInvalid) as refusal:
            read_card(text.replace("[1, 3, 7.5]", bad))
        assert refusal.value.key == "mix.tolerance_percent"


def test_card_carries_every_section() -> None:
    card = read_card(GATE.replace("test_c = 25", "test_c = 25\ninduction_minutes = 10"))
    assert card.pot_life is not None
    assert card.pot_life.induction_minutes == 10.0
    assert card.film is not None
    assert (card.film.least_dft_um, card.film.largest_dft_um, card.film.coats) == (150, 300, 2)
    assert card.film.volume_solids_percent == 100.0
    assert card.limits is not None
    assert (card.limits.least_air_c, card.limits.largest_air_c) == (10, 35)
    assert (card.limits.least_surface_c, card.limits.largest_surface_c) == (10, 35)
    assert (card.limits.largest_humidity_percent, card.limits.dew_margin_k) == (80, 3)
    assert card.cure is not None
    assert card.cure.surface_c == (10, 15, 20, 25, 30)
    assert card.cure.least_c == 10
    assert list(card.cure.hours) == list(Stage)
