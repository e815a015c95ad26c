"""The command plan: text, JSON and picture."""

import argparse
import json
import struct
from pathlib import Path

import pytest

from handsfree.shell.clock_words import clock
from handsfree.shell.planner import add_plan_command

GATE = ("card=gate-coat", "area_m2=4.5", "scale_step_g=0.1")
AIR = ("air_c=20", "rh_percent=50", "surface_c=20")


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser(prog="handsfree")
    add_plan_command(parser.add_subparsers(required=True))
    args = parser.parse_args(["plan", *arguments])
    code: int = args.run(args)
    return code


def test_json_carries_cups_times_stock_and_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*GATE, *AIR, "resin_stock_g=5000", "hardener_stock_g=100", "--json") == 0
    made = json.loads(capsys.readouterr().out)
    assert made["product"] == "Gate Coat"
    assert len(made["coats"]) == 2
    assert made["resin_g"] == pytest.approx(2 * made["cups_per_coat"] * made["resin_g_per_cup"])
    assert made["resin_left_g"] == pytest.approx(5000 - made["resin_g"])
    assert made["hardener_left_g"] < 0
    assert "stock short" in made["cautions"]
    # Gate Coat at 20 °C opens after 4 h and closes after 48 h.
    first = made["coats"][0]
    assert first["recoat_opens_h"] == pytest.approx(first["end_h"] + 4)
    assert first["recoat_closes_h"] == pytest.approx(48)
    # 20 °C at 50 % has a dew point of 9.27 °C (ASHRAE).
    assert made["least_dew_margin_c"] == pytest.approx(10.73, abs=0.04)
    assert any("pace of 6" in words for words in made["assumed"])


def test_text_tells_amounts_clock_times_and_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*GATE, *AIR, "start=8:30", "resin_stock_g=9000") == 0
    text = capsys.readouterr().out
    assert "Coat 1: 8:30 to " in text
    assert "after that sand first" in text
    assert "on day 3" in text
    assert "g resin left" in text
    assert "may overheat and smoke" in text
    assert "Assumed, since you did not say" in text
    assert text.splitlines()[-1].startswith("The label, the safety data sheet")


def test_forecast_file_replaces_the_single_reading(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "forecast.csv"
    path.write_text("hours,air_c,rh_percent,surface_c\n0,20,50,20\n12,12,95,11\n", encoding="utf-8")
    assert run(*GATE, f"forecast={path}", "--json") == 0
    made = json.loads(capsys.readouterr().out)
    assert made["first_breach_h"] is not None
    assert "conditions later" in made["cautions"]
    assert run(*GATE, f"forecast={path}") == 0
    assert "Limit not kept: " in capsys.readouterr().out


def test_whole_film_gives_the_coats(capsys: pytest.CaptureFixture[str]) -> None:
    # Gate Coat takes up to 300 µm a coat: 700 µm are three coats of 233.3 µm.
    assert run(*GATE, *AIR, "total_dft_um=700", "--json") == 0
    made = json.loads(capsys.readouterr().out)
    assert len(made["coats"]) == 3
    assert "233.333 µm dry a coat for the whole film" in made["assumed"]


def test_too_cold_says_never(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*GATE, "air_c=12", "rh_percent=40", "surface_c=8") == 0
    text = capsys.readouterr().out
    assert "never at these temperatures" in text
    assert "surface too cold, 8.0 against 10 °C" in text


@pytest.mark.parametrize("extra", [(), ("start=21:40", "coats=1")])
def test_picture_is_a_png_of_some_size(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, extra: tuple[str, ...]
) -> None:
    forecast = tmp_path / "forecast.csv"
    forecast.write_text(
        "hours,air_c,rh_percent,surface_c\n0,20,50,20\n12,12,95,11\n", encoding="utf-8"
    )
    path = tmp_path / "plan.png"
    assert run(*GATE, *extra, f"forecast={forecast}", "--picture", str(path)) == 0
    assert capsys.readouterr().err == ""
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", head[16:24])
    assert width > 1000
    assert height > 400


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        pytest.param(("area_m2=4",), "card is missing", id="card"),
        pytest.param(GATE, "air_c is missing", id="conditions"),
        pytest.param((*GATE[:2], *AIR), "scale_step_g is missing", id="scale"),
        pytest.param((*GATE, *AIR, "coats=1.5"), "whole number", id="half-a-coat"),
        pytest.param((*GATE, *AIR, "dft_um=50"), "150 to 300", id="film"),
        pytest.param((*GATE, *AIR, "start=25:00"), "time of day", id="hour"),
        pytest.param((*GATE, *AIR, "start=8.30"), "time of day", id="dot"),
        pytest.param((*GATE, *AIR, "profile=moon"), "fine blast", id="profile"),
        pytest.param((*GATE, *AIR, "--picture", "plan.txt"), ".png", id="suffix"),
        pytest.param((*GATE, *AIR, "--picture", "/no/such/plan.png"), "written", id="folder"),
    ],
)
def test_bad_input_is_one_clear_sentence(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    assert run(*arguments) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert words in output.err
    assert output.err.count("\n") == 1


@pytest.mark.parametrize(
    ("hours", "start", "words"),
    [
        (0.0, None, "+0:00 h"),
        (26.5, None, "+26:30 h"),
        (0.999, None, "+1:00 h"),
        (1.5, 8 * 60, "9:30"),
        (16.0, 8 * 60, "0:00 on day 2"),
        (None, 8 * 60, "never at these temperatures"),
    ],
)
def test_clock(hours: float | None, start: int | None, words: str) -> None:
    assert clock(hours, start) == words
