"""The commands calc and card, through an argument parser as the program builds it."""

import argparse
import json
from pathlib import Path

import pytest

from handsfree.shell.calculator import TOPICS, add_commands


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser(prog="handsfree")
    add_commands(parser.add_subparsers(required=True))
    args = parser.parse_args(arguments)
    code: int = args.run(args)
    return code


def found(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, object]:
    assert run(*arguments, "--json") == 0
    output = capsys.readouterr()
    assert output.err == ""
    loaded: dict[str, object] = json.loads(output.out)
    return loaded


@pytest.fixture
def steady_history(tmp_path: Path) -> Path:
    path = tmp_path / "steady.csv"
    path.write_text("hours,surface_c\n0,20\n5,20\n", encoding="utf-8")
    return path


# 1191 / 7 = 170.142857; 170.142857 x 7 = 1191; 1361.142857 / 8 = 170.142857. Hand arithmetic.
@pytest.mark.parametrize(
    "amount", ["resin_g=1191", "hardener_g=170.142857142857", "total_g=1361.142857142857"]
)
def test_mix_from_any_amount(capsys: pytest.CaptureFixture[str], amount: str) -> None:
    mix = found(capsys, "calc", "mix", "ratio=7:1", "by=weight", amount)
    assert mix["resin_g"] == pytest.approx(1191)
    assert mix["hardener_g"] == pytest.approx(170.142857)
    assert mix["total_g"] == pytest.approx(1361.142857)


def test_mix_by_volume_needs_densities(capsys: pytest.CaptureFixture[str]) -> None:
    given = ("calc", "mix", "ratio=7:1", "by=volume", "resin_g=1000")
    assert run(*given) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert "by volume" in output.err
    assert output.err.count("\n") == 1
    mix = found(capsys, *given, "resin_density=1.15", "hardener_density=0.97")
    assert mix["hardener_g"] == pytest.approx(120.4969, abs=0.0001)


def test_mix_from_area_and_film(capsys: pytest.CaptureFixture[str]) -> None:
    # 4.5 m² at 250 µm, 100 % solids, 15 % loss: 1.3235 l of 1.12393 g/ml. Hand arithmetic.
    mix = found(
        capsys,
        *("calc", "mix", "ratio=7:1", "by=weight", "resin_density=1.15", "hardener_density=0.97"),
        *("area_m2=4.5", "dft_um=250", "solids_volume_percent=100", "loss_percent=15"),
    )
    assert mix["total_g"] == pytest.approx(1487.6, abs=0.1)
    assert mix["resin_g"] == pytest.approx(1301.6, abs=0.1)


def test_mix_on_a_scale_says_where_to_stop(capsys: pytest.CaptureFixture[str]) -> None:
    mix = found(
        capsys, "calc", "mix", "ratio=7:1", "by=weight", "resin_g=1000", "step_g=1", "cup_g=35"
    )
    assert (mix["hardener_shown_g"], mix["running_total_g"]) == (143, 1178)
    filled = found(
        capsys, "calc", "mix", "ratio=4:1", "by=weight", "resin_g=400", "addition_percent=5"
    )
    assert filled["addition_g"] == 25
    assert run("calc", "mix", "ratio=7:1", "by=weight", "resin_g=100", "step_g=1") == 2
    assert "at least 140 g" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("hardener_g", "key", "grams", "percent", "verdict"),
    [
        (154, "add_resin_g", 78, 7.8, "correct"),
        (148, "add_resin_g", 36, 3.6, "within tolerance"),
        (134, "add_hardener_g", 8.857, -6.2, "correct"),
        (143, "add_resin_g", 1, 0.1, "on target"),
        (160, "add_resin_g", 120, 12.0, "stop"),
    ],
)
def test_overpour(
    capsys: pytest.CaptureFixture[str],
    hardener_g: int,
    key: str,
    grams: float,
    percent: float,
    verdict: str,
) -> None:
    answer = found(
        capsys, "calc", "overpour", "ratio=7:1", "resin_g=1000", f"hardener_g={hardener_g}"
    )
    assert answer[key] == pytest.approx(grams, abs=0.001)
    assert answer["ratio_error_percent"] == pytest.approx(percent)
    assert answer["verdict"] == verdict


def test_overpour_is_capped_by_cup_and_time(capsys: pytest.CaptureFixture[str]) -> None:
    given = ("calc", "overpour", "ratio=7:1", "resin_g=1000", "hardener_g=154")
    assert run(*given, "cup_g=1200") == 2
    assert "does not fit" in capsys.readouterr().err
    assert run(*given, "stood_min=8", "potlife_min=25") == 2
    assert "has stood" in capsys.readouterr().err
    assert run(*given, "stood_min=8") == 2
    assert "potlife_min is missing" in capsys.readouterr().err
    assert run(*given, "stood_min=5", "potlife_min=25") == 0


LABEL = ("calc", "potlife", "label_min=25", "label_g=100", "label_c=25")


def test_potlife(capsys: pytest.CaptureFixture[str]) -> None:
    life = found(capsys, *LABEL, "grams=1191", "cup_c=20")
    # 32.6 (0.580 + 0.420 (100 / 1191)^(1/3)) = 24.9, hand arithmetic on the rule.
    assert life["minutes"] == pytest.approx(24.9, abs=0.05)
    assert "mass" in str(life["why"])
    assert "cup in air" in str(life["why"])
    # A cup of more than a kilogram, left standing: see the values of the heat balance.
    assert life["smoke"] == "expect it"
    unknown = found(capsys, *LABEL, "grams=100", "cup_c=25", "method=unknown")
    assert unknown["minutes"] == pytest.approx(15)
    tray = found(capsys, *LABEL, "grams=500", "cup_c=25", "depth_mm=10")
    assert tray["minutes"] == pytest.approx(25)


def test_potlife_clock(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # At the label's own test: 10 of 25 minutes.
    now = found(capsys, *LABEL, "grams=100", "cup_c=25", "now_min=10")
    assert now["used_percent"] == pytest.approx(40)
    assert now["minutes_left"] == pytest.approx(15)
    # 10 K warmer than when it was mixed: at worst 77 % are gone.
    warm = found(capsys, *LABEL, "grams=100", "cup_c=25", "now_min=10", "cup_now_c=35")
    assert warm["used_percent"] == pytest.approx(77)
    # 5 minutes at 35 °C use 5 / 10.870, 5 more at 25 °C use 5 / 25.
    path = tmp_path / "air.csv"
    path.write_text("minutes,mix_c\n0,35\n5,35\n5.001,25\n", encoding="utf-8")
    hot = found(capsys, *LABEL, "grams=100", "cup_c=25", "now_min=10", f"history={path}")
    assert hot["used_percent"] == pytest.approx(100 * (5 / 10.870 + 5 / 25), abs=0.1)
    over = found(capsys, *LABEL, "grams=100", "cup_c=25", "now_min=60")
    assert over["minutes_left"] == 0
    assert run(*LABEL, "grams=100", "cup_c=25", "now_min=10") == 0
    assert "Of it 40 % is gone, 15 min left." in capsys.readouterr().out


def test_dewpoint(capsys: pytest.CaptureFixture[str]) -> None:
    dew = found(capsys, "calc", "dewpoint", "air_c=20", "rh_percent=60", "surface_c=15.5")
    # 12.007 °C by the ASHRAE formulation.
    assert dew["dew_point_c"] == pytest.approx(12.007, abs=0.04)
    assert dew["margin_c"] == pytest.approx(3.493, abs=0.04)
    assert dew["verdict"] == "thin margin"
    assert list(found(capsys, "calc", "dewpoint", "air_c=20", "rh_percent=60")) == ["dew_point_c"]


def test_coverage_in_metric_and_us_units(capsys: pytest.CaptureFixture[str]) -> None:
    metric = found(
        capsys,
        *("calc", "coverage", "area_m2=10", "dft_um=125"),
        *("solids_volume_percent=65", "loss_percent=0"),
    )
    assert metric["liters"] == pytest.approx(1.923, abs=0.0005)
    combed = found(
        capsys,
        *("calc", "coverage", "area_m2=10", "dft_um=125", "solids_volume_percent=65"),
        *("loss_percent=0", "comb_wet_um=180", "comb_dry_um=200"),
    )
    assert combed["dry_film_um"] == pytest.approx([117, 130])
    # 208.5 ft²/gal at 65 % and 5 mil (a trade note): 208.5 ft² take one gallon.
    customary = found(
        capsys,
        *("calc", "coverage", "area_ft2=208.5", "dft_mil=5"),
        *("solids_volume_percent=65", "loss_percent=0", "profile=smooth"),
    )
    assert customary["us_gallons"] == pytest.approx(1.0, abs=0.0005)


def test_film(capsys: pytest.CaptureFixture[str], steady_history: Path) -> None:
    film = found(capsys, "calc", "film", "card=gate-coat", f"history={steady_history}")
    # Gate Coat's row at 20 °C: 6, 4, 48, 16, 24, 48, 168 h; tape at 1, 2, 3 h.
    for key, hours in (
        ("tape_ask_h", 1),
        ("tape_insist_h", 2),
        ("tape_last_call_h", 3),
        ("tack_free_h", 6),
        ("recoat_opens_h", 4),
        ("recoat_closes_h", 48),
        ("handle_h", 16),
        ("sand_h", 24),
        ("use_h", 48),
        ("full_cure_h", 168),
    ):
        assert film[key] == pytest.approx(hours), key
    assert film["recoat_now"] == "open"
    assert "recoat_opens_h" not in str(film["forecast"])
    assert "use_h" in str(film["forecast"])


def test_film_of_a_coat_that_is_slow(
    capsys: pytest.CaptureFixture[str], steady_history: Path
) -> None:
    film = found(
        capsys,
        *("calc", "film", "card=gate-coat", f"history={steady_history}"),
        *("still_tacky_h=9", "now_h=5"),
    )
    # 9 h / 6 h x 1.1 = 1.65; the end of the window stays.
    assert film["use_h"] == pytest.approx(48 * 1.65)
    assert film["recoat_closes_h"] == pytest.approx(48)
    assert film["recoat_now"] == "too early"


def test_text_answers_end_with_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("calc", "mix", "ratio=7:1", "by=weight", "resin_g=1191") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Resin 1191 g, hardener 170.1 g, together 1361.1 g."
    assert "label" in lines[-1]


REFUSED = [
    pytest.param(("mix", "ratio=7:1", "resin_g=100"), "by is missing", id="basis"),
    pytest.param(("mix", "ratio=7:1", "by=eye", "resin_g=1"), "by is 'eye'", id="bad-basis"),
    pytest.param(("mix", "by=weight", "resin_g=100"), "ratio is missing", id="ratio"),
    pytest.param(("mix", "ratio=70:1", "by=weight", "resin_g=1"), "ratio is 70", id="far"),
    pytest.param(("mix", "ratio=7:1", "by=weight"), "exactly one", id="no-amount"),
    pytest.param(
        ("mix", "ratio=7:1", "by=weight", "resin_g=1", "total_g=2"), "exactly one", id="two"
    ),
    pytest.param(("mix", "ratio=7:1", "by=weight", "resin_g=1,5"), "plain number", id="comma"),
    pytest.param(("mix", "ratio=7:1", "by=weight", "resin_g=1e3"), "plain number", id="exponent"),
    pytest.param(("mix", "ratio=7:1", "by=weight", "resin_g=nan"), "plain number", id="nan"),
    pytest.param(("mix", "ratio=7:1", "by=weight", "resin_g=-1"), "above 0", id="negative"),
    pytest.param(("mix", "ratio=7:1", "by=weight", "resin_g=0"), "above 0", id="zero"),
    pytest.param(("mix", "ratio=7:1", "by=weight", "total_g=0"), "above 0", id="zero-total"),
    pytest.param(
        ("mix", "ratio=7:1", "by=weight", "resin_g=1", "step_g=0"), "step is 0", id="zero-step"
    ),
    pytest.param(("mix", "resin=1"), "key is 'resin'", id="unknown-key"),
    pytest.param(("mix", "ratio"), "key=value", id="no-value"),
    pytest.param(("mix", "ratio=7:1", "ratio=8:1"), "one value", id="twice"),
    pytest.param(("potlife", "label_min=25"), "label_g is missing", id="label"),
    pytest.param(("dewpoint", "air_c=20"), "rh_percent is missing", id="humidity"),
    pytest.param(("dewpoint", "air_c=99", "rh_percent=50"), "-40 to 50", id="hot"),
    pytest.param(("coverage", "area_m2=1", "dft_um=100"), "solids", id="solids"),
    pytest.param(
        ("coverage", "area_m2=1", "dft_um=100", "solids_volume_percent=50", "loss_percent=95"),
        "0 to 90",
        id="loss",
    ),
    pytest.param(("film", "card=no-such-card", "history=x"), "gate-coat", id="no-card"),
    pytest.param(("film", "card=gate-coat", "history=nowhere.csv"), "CSV", id="no-history"),
]


@pytest.mark.parametrize(("arguments", "words"), REFUSED)
def test_bad_input_is_one_clear_sentence(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    assert run("calc", *arguments) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert words in output.err
    assert output.err.count("\n") == 1


def test_film_needs_a_cure_table(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, steady_history: Path
) -> None:
    short = tmp_path / "short.toml"
    short.write_text(
        'format = 1\nname = "Short"\ninvented = true\n[mix]\nratio = "2:1"\nby = "volume"\n',
        encoding="utf-8",
    )
    assert run("calc", "film", f"card={short}", f"history={steady_history}") == 2
    assert "cure is missing" in capsys.readouterr().err
    assert run("card", str(short)) == 0
    text = capsys.readouterr().out
    assert "Missing for weighing the hardener: mix.resin_g_per_ml" in text
    assert "Missing for the recoat window: cure.recoat_opens_h, cure.recoat_closes_h." in text
    assert "Missing for the pot life clock: pot_life." in text
    assert "Not said where it comes from: mix.ratio." in text


def test_card_says_what_it_contains(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("card", "gate-coat") == 0
    text = capsys.readouterr().out
    assert "7:1 by weight" in text
    assert "invented and does not exist" in text
    assert "From the label: mix.ratio, mix.by, pot_life." in text
    assert "guessed: pot_life.method" in text
    assert "Nothing is missing." in text
    assert "Not said" not in text
    described = found(capsys, "card", "floor-seal")
    assert (described["ratio"], described["by"]) == ("2:1", "volume")
    assert described["tolerance_percent"] == [2, 4, 8]
    assert described["missing"] == {}


def test_bad_card_names_key_line_and_limits(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(
        'format = 1\nname = "Bad"\ninvented = "yes"\n[mix]\nratio = "2:1"\nby = "weight"\n',
        encoding="utf-8",
    )
    assert run("card", str(bad)) == 2
    error = capsys.readouterr().err
    for words in ("Line 3", "invented", "'yes'", "true or false"):
        assert words in error


def test_every_topic_is_offered(capsys: pytest.CaptureFixture[str]) -> None:
    assert list(TOPICS) == ["mix", "overpour", "potlife", "dewpoint", "coverage", "film"]
    with pytest.raises(SystemExit):
        run("calc", "weather")
    assert "dewpoint" in capsys.readouterr().err
