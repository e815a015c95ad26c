"""The record as files: a whole day approved by eye, its figures found again by other means."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Sequence
from datetime import datetime, timedelta
from fractions import Fraction
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path
from typing import Any

import pint
import psychrolib
import pypdf
import pytest

import handsfree
from handsfree.job.events import Announced, Event, TimerSet
from handsfree.shell.cards import card_text
from handsfree.shell.cli import main
from handsfree.shell.clock import Stamp
from handsfree.shell.journal import JOURNAL_NAME, Journal
from handsfree.shell.journal_entries import Equipment
from handsfree.shell.record_command import record_files
from handsfree.shell.record_plots import ROLES
from handsfree.shell.record_source import read_source
from tests.job.records import at, cup
from tests.shell.journal_faults import UnsyncedFiles

# A day of two coats, typed by tests/records/garden_gate.txt and kept as it was written then.
FOLDER = Path(__file__).parents[1] / "records"
DAY = "record-2026-01-05-job-1"
ALL = "html,pdf,csv,json"
MARKUP = '<img src=x onerror="alert(1)">&amp;'


@pytest.fixture
def gate(tmp_path: Path) -> Path:
    """The day's data folder."""
    folder = tmp_path / "gate"
    folder.mkdir()
    (folder / JOURNAL_NAME).write_bytes((FOLDER / "garden_gate.log").read_bytes())
    return folder


def made(folder: Path, kind: str) -> dict[str, bytes]:
    """The files of the last job in a folder, by their names."""
    source = read_source(folder)
    return dict(record_files(source, source.jobs[-1], (kind,)))


def journal_of(folder: Path, events: Sequence[Event], equipment: Equipment | None = None) -> Path:
    """A journal with these events, an hour ahead of universal time."""
    journal = Journal(folder, UnsyncedFiles())
    journal.open()

    def stamp(moment: datetime) -> Stamp:
        return Stamp(moment, moment, moment - at(-60), "boot", "Europe/Berlin", timedelta(hours=1))

    journal.begin(stamp(at(0)), "Gate Coat")
    if equipment is not None:
        journal.equip(stamp(at(0)), equipment)
    for event in events:
        journal.append((event,), stamp(event.at))
    journal.close()
    return folder


# --- the day ------------------------------------------------------------------------------


def test_the_record_of_a_day_is_the_approved_one(gate: Path, pytestconfig: pytest.Config) -> None:
    """``pytest --rewrite-conversations`` writes it anew; read every changed line."""
    (text,) = (data.decode() for data in made(gate, "json").values())
    text = text.replace(f"handsfree {handsfree.__version__}", "handsfree VERSION", 1)
    approved = FOLDER / "garden_gate.json"
    if pytestconfig.getoption("--rewrite-conversations"):
        approved.write_text(text, encoding="utf-8")
    assert text == approved.read_text(encoding="utf-8")


def test_the_same_journal_gives_the_same_bytes_anywhere(gate: Path, tmp_path: Path) -> None:
    outcomes = []
    for number, (zone, language) in enumerate((("Asia/Tokyo", "C"), ("America/Lima", "de_DE"))):
        out = tmp_path / str(number)
        environment = {
            **os.environ,
            "PYTHONHASHSEED": str(number + 1),
            "TZ": zone,
            "LC_ALL": language,
            "LANG": language,
            "SOURCE_DATE_EPOCH": str(number * 10**9),
        }
        words = ["record", "--data", str(gate), "--out", str(out), "--format", ALL]
        subprocess.run(
            [sys.executable, "-m", "handsfree", *words],
            check=True,
            env=environment,
            cwd=Path(__file__).parents[2],
            stdout=subprocess.DEVNULL,
        )
        outcomes.append({path.name: path.read_bytes() for path in sorted(out.iterdir())})
    assert len(outcomes[0]) == 16
    assert outcomes[0] == outcomes[1]


def test_the_ratio_errors_are_those_of_exact_arithmetic(gate: Path) -> None:
    """By the card's 7:1, with pint's quantities instead of our own fractions."""
    units: pint.UnitRegistry[float] = pint.UnitRegistry()
    for row in _sheet(made(gate, "csv"), "cups"):
        resin = units.Quantity(float(row["resin_g"]), "gram")
        hardener = units.Quantity(float(row["hardener_g"]), "gram")
        error = (hardener / (resin / 7) - 1).to("percent").magnitude
        assert float(row["error_percent"]) == pytest.approx(error, abs=1e-5)
        ratio = (resin / hardener).to("").magnitude
        assert float(row["ratio_reached"]) == pytest.approx(ratio, abs=1e-6)


def test_the_dew_margins_are_those_of_another_library(gate: Path) -> None:
    """PsychroLib (ASHRAE Handbook Fundamentals 2017, chapter 1), within 0.1 °C above freezing."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    files = made(gate, "csv")
    rows = [*_sheet(files, "air"), *_sheet(files, "coats")]
    assert len(rows) == 5
    for row in rows:
        dew_c = psychrolib.GetTDewPointFromRelHum(
            float(row["air_c"]), float(row["humidity_percent"]) / 100
        )
        assert float(row["dew_point_c"]) == pytest.approx(dew_c, abs=0.1)
        assert float(row["margin_k"]) == pytest.approx(float(row["surface_c"]) - dew_c, abs=0.1)


def test_pot_lives_and_delays_are_differences_of_the_times_shown(gate: Path) -> None:
    files = made(gate, "csv")
    for row in _sheet(files, "pot-life"):
        mixed, ends, empty = (
            datetime.fromisoformat(row[name]) for name in ("mixed", "ends", "empty")
        )
        minutes = (ends - mixed).total_seconds() / 60
        assert float(row["pot_life_min"]) == pytest.approx(minutes, abs=1e-5)
        used = 100 * (empty - mixed) / (ends - mixed)
        assert float(row["used_percent"]) == pytest.approx(used, abs=1e-4)
    answered = [row for row in _sheet(files, "alarms") if row["delay_s"]]
    assert answered
    for row in answered:
        passed = datetime.fromisoformat(row["over"]) - datetime.fromisoformat(row["announced"])
        assert float(row["delay_s"]) == pytest.approx(passed.total_seconds(), abs=1e-5)


def _sheet(files: dict[str, bytes], name: str) -> list[dict[str, str]]:
    (data,) = (data for file, data in files.items() if file.endswith(f"-{name}.csv"))
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"))))


def test_sheets_and_data_say_the_same(gate: Path) -> None:
    sheets = made(gate, "csv")
    (data,) = made(gate, "json").values()
    tables: dict[str, list[dict[str, Any]]] = json.loads(data)["tables"]
    for key, rows in tables.items():
        sheet = _sheet(sheets, key.replace("_", "-"))
        assert len(sheet) == len(rows)
        for as_text, row in zip(sheet, rows, strict=True):
            plain = {name: "" if value is None else str(value) for name, value in row.items()}
            assert as_text == plain


def test_every_event_of_the_journal_is_in_it(
    gate: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["journal", "show", "--data", str(gate), "--json"]) == 0
    shown = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    rows = _sheet(made(gate, "csv"), "events")
    assert [datetime.fromisoformat(row["at"]) for row in rows] == [
        datetime.fromisoformat(event["at"]) for event in shown
    ]


# --- the page -----------------------------------------------------------------------------


class Page(HTMLParser):
    """What a page is made of, and whether its elements close in order."""

    VOID = frozenset({"meta", "br", "img", "link", "input", "hr"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == [], "elements are left open"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(dict(attrs)) == len(attrs), f"{tag} has an attribute twice"
        self.elements.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.texts.append(data.strip())

    def of(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of every element of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]


def page_of(folder: Path) -> tuple[str, Page]:
    (data,) = made(folder, "html").values()
    text = data.decode("utf-8")
    return text, Page(text)


def test_the_page_loads_nothing_and_runs_nothing(gate: Path) -> None:
    text, page = page_of(gate)
    kinds = {tag for tag, _ in page.elements}
    assert not kinds & {"script", "link", "iframe", "object", "embed", "form", "img", "base"}
    for tag, attributes in page.elements:
        assert "src" not in attributes
        assert not any(name.startswith("on") for name in attributes)
        for name in ("href", "xlink:href"):
            target = attributes.get(name)
            assert target is None or target.startswith("#"), f"{tag} leads to {target}"
    # The names of the SVG format are the only addresses in it, and nothing fetches them.
    for address in re.findall(r"https?://[^\"'\s)]*", text):
        assert address.startswith("http://www.w3.org/")
    assert "@import" not in text
    assert re.findall(r"url\((?!#)", text) == []
    (policy,) = (
        meta["content"]
        for meta in page.of("meta")
        if meta.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    assert policy.startswith("default-src 'none'")


def test_the_page_can_be_read_without_seeing_it(gate: Path) -> None:
    _, page = page_of(gate)
    assert page.of("html") == [{"lang": "en"}]
    assert len(page.of("title")) == len(page.of("h1")) == len(page.of("main")) == 1
    assert len(page.of("caption")) == len(page.of("table")) > 0
    assert all(head.get("scope") in ("col", "row") for head in page.of("th"))
    pictures = [a for _, a in page.elements if a.get("role") == "img"]
    assert pictures
    assert all(attributes.get("aria-label") for attributes in pictures)
    assert len(page.of("figure")) == len(page.of("figcaption")) == 4
    # What scrolls can be reached by keyboard, and has a name.
    for attributes in page.of("div"):
        if attributes.get("class") in ("wide", "plot"):
            assert attributes.get("tabindex") == "0"
            assert attributes.get("aria-label")
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in page.elements:
        named = attributes.get("aria-labelledby")
        assert named is None or named in ids


def test_the_colors_of_text_stand_out_in_both_looks() -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; its own formula for contrast, from memory."""
    style = (resources.files("handsfree") / "shell" / "record.css").read_text("utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", style, re.DOTALL)[:2]
    for look in (light, dark):
        colors = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6});", look))
        assert set(ROLES.values()) <= set(colors)
        for text in ("ink", "muted", "seam"):
            for ground in ("paper", "sheet"):
                assert _contrast(colors[text], colors[ground]) >= 4.5, (text, ground)
        # What is no text, but means something: 1.4.11, 3 to 1.
        for mark in ("good", "look", "bad", "surface", "dew"):
            assert _contrast(colors[mark], colors["sheet"]) >= 3.0, mark


def _contrast(one: str, other: str) -> float:
    def luminance(color: str) -> float:
        parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_page_says_what_was_not_kept(gate: Path) -> None:
    _, page = page_of(gate)
    text = " ".join(page.texts)
    assert "Cup 2: pot life used 124 %." in text
    assert "air too humid, surface too close to the dew point" in text
    assert "timer 1, check the heater, outcome: no answer." in text
    assert "typed, not spoken" in text
    assert "note 1: the left post has a run" in text
    assert "coats planned on the gate: 2" in text


def test_names_with_markup_are_shown_as_text(tmp_path: Path) -> None:
    card = card_text("gate-coat").replace("Invented for examples", "<script>alert(2)</script>")
    events = [*cup(), Announced(at(20), MARKUP), TimerSet(at(21), 1, at(30))]
    equipment = Equipment((card,), MARKUP, "0" * 64, Fraction(1))
    text, page = page_of(journal_of(tmp_path, events, equipment))
    assert not page.of("script")
    assert not page.of("img")
    assert any(MARKUP in shown for shown in page.texts)
    assert "<script>" in " ".join(page.texts)
    assert "<script>" not in text
    (data,) = made(tmp_path, "pdf").values()
    assert "onerror" in _pdf_text(data)


# --- the print and the sheets -------------------------------------------------------------


def _pdf_text(data: bytes) -> str:
    reader = pypdf.PdfReader(io.BytesIO(data))
    return " ".join(page.extract_text() for page in reader.pages)


def test_the_print_holds_the_figures_of_the_page(gate: Path) -> None:
    (data,) = made(gate, "pdf").values()
    text = " ".join(_pdf_text(data).split())
    for words in (
        "Gate Coat, job 1",
        "Cup 2: pot life used 124 %.",
        "263.0",
        "4712",
        "coat 1 on the gate: tape",
        "note 1: the left post has a run",
        "+1.14",
        "surface too close to the dew point",
        "page 1",
    ):
        assert words in text
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert reader.metadata is not None
    assert reader.metadata.title == "Gate Coat, job 1, 2026-01-05: batch record"
    # Four pictures, as on the page.
    assert sum(len(page.images) for page in reader.pages) == 4


def test_a_long_table_loses_no_row_where_pages_break(tmp_path: Path) -> None:
    events = [event for n in range(1, 201) for event in cup(n, start=n, hardener_g=90.003 + n / 10)]
    journal_of(tmp_path, sorted(events, key=lambda event: event.at))
    rows = _sheet(made(tmp_path, "csv"), "cups")
    (data,) = made(tmp_path, "pdf").values()
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    wanted = [f"{float(row['error_percent']):+.2f}".replace("-", "−") for row in rows]
    text = " ".join(pages)
    assert all(figure in text for figure in wanted if figure != "+0.00")
    # Each page of the table has the names of its columns.
    assert all("wanted" in page for page in pages if "2026-03-02 +01:00 — 700.0" in page)


def test_a_text_longer_than_a_page_is_cut_in_print_and_whole_elsewhere(tmp_path: Path) -> None:
    key = " ".join(f"word{number}" for number in range(3000))
    journal_of(tmp_path, [*cup(), Announced(at(20), key)])
    (data,) = made(tmp_path, "pdf").values()
    assert "the rest is in page and sheets" in " ".join(_pdf_text(data).split())
    (row,) = _sheet(made(tmp_path, "csv"), "alarms")
    assert row["what"] == key


def test_many_alike_are_counted_and_not_all_listed(tmp_path: Path) -> None:
    events = [event for n in range(1, 31) for event in cup(n, start=n, emptied=40)]
    _, page = page_of(journal_of(tmp_path, sorted(events, key=lambda event: event.at)))
    assert page.texts.count("And 22 more of these: see “Pot life”.") == 1
    assert page.texts[page.texts.index("not kept") + 1] == "30"


def test_no_cell_is_taken_for_a_formula(tmp_path: Path) -> None:
    events = [*cup(), Announced(at(20), "=1+1"), Announced(at(21), "@SUM(A1)")]
    files = made(journal_of(tmp_path, events), "csv")
    assert [row["what"] for row in _sheet(files, "alarms")] == ["'=1+1", "'@SUM(A1)"]
    # A number below 0 stays a number.
    (row,) = _sheet(made(journal_of(tmp_path / "less", cup(hardener_g=99)), "csv"), "cups")
    assert row["error_percent"] == "-1"


# --- the command --------------------------------------------------------------------------


def test_the_command_writes_what_is_asked_for(
    gate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new" / "folder"
    words = ["record", "--data", str(gate), "--out", str(out)]
    assert main([*words, "--format", "html,json"]) == 0
    assert capsys.readouterr().out.split() == [str(out / f"{DAY}.{e}") for e in ("html", "json")]
    assert main([*words, "1"]) == 0
    assert (out / f"{DAY}.html").stat().st_size < 200_000
    assert not list(out.glob(".*"))


def test_the_jobs_are_listed(gate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["record", "--data", str(gate), "--list"]) == 0
    assert capsys.readouterr().out == (
        "1  2026-01-05 07:30:00 +00:00 to 2026-01-05 17:00:00 +00:00  Gate Coat, "
        "cups: 2, coats: 2\n"
    )


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        pytest.param(["--data", "nowhere"], "No job is recorded in nowhere", id="no-job"),
        pytest.param(["7"], "There is no job 7; jobs are numbered from 1 to 1", id="unknown"),
        pytest.param(["gate"], "There is no job gate", id="no-number"),
        pytest.param(["--out", "in-the-way"], "Name another folder with --out", id="no-folder"),
    ],
)
def test_what_cannot_be_done_is_said(
    gate: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    error: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("in-the-way").write_text("a file")
    assert main(["record", "--data", str(gate), *arguments]) == 2
    assert error in capsys.readouterr().err
    assert not list(tmp_path.glob("record-*"))


def test_an_unknown_form_is_refused(gate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["record", "--data", str(gate), "--format", "docx"])
    assert left.value.code == 2
    assert "'docx' is none of html, pdf, csv, json" in capsys.readouterr().err


def test_an_empty_journal_is_no_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / JOURNAL_NAME).write_bytes(b"")
    assert main(["record", "--data", str(tmp_path)]) == 2
    assert "Nothing of a job can be read" in capsys.readouterr().err


def test_a_damaged_journal_gives_a_record_that_says_so(
    gate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = gate / JOURNAL_NAME
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:6], lines[6].upper(), *lines[7:], b"half"]))
    before = path.read_bytes()
    assert main(["record", "--data", str(gate), "--out", str(tmp_path)]) == 0
    assert "Entries 7 to 7 are lost." in capsys.readouterr().err
    _, page = page_of(gate)
    assert "Entries 7 to 7 are lost." in " ".join(page.texts)
    assert path.read_bytes() == before


def test_a_journal_without_its_card_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal_of(tmp_path, cup())
    _, page = page_of(tmp_path)
    assert "The journal holds no product card" in " ".join(page.texts)
    words = ["record", "--data", str(tmp_path), "--out", str(tmp_path)]
    assert main([*words, "--product", "no-such-card"]) == 2
    assert "There is no product card no-such-card." in capsys.readouterr().err


def test_a_person_in_a_zone_ahead_reads_their_own_times(tmp_path: Path) -> None:
    text, _ = page_of(journal_of(tmp_path, cup()))
    assert '<time datetime="2026-03-02T08:00:00+01:00"><b>08:00:00</b>' in text


# --- review -------------------------------------------------------------------------------


@pytest.fixture
def early(tmp_path: Path) -> Path:
    """A job whose cup went off early."""
    folder = tmp_path / "early"
    script = tmp_path / "script"
    script.write_text(
        "08:00:00 resin seven zero zero grams\n08:00:05 yes\n08:00:10 hardener one zero zero\n"
        "08:00:15 yes\n08:01:00 mixed\n08:01:05 two zero degrees\n08:12:00 it is getting thick\n"
    )
    assert main(["type", "--script", str(script), "--data", str(folder)]) == 0
    return folder


def test_a_review_alone_changes_nothing(
    early: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(tmp_path.rglob("*"))
    capsys.readouterr()
    assert main(["review", "--data", str(early)]) == 0
    out = capsys.readouterr().out
    assert "1. 1 of 1 cups went off before" in out
    assert "Nothing was changed." in out
    assert "label" in out.splitlines()[-1]
    assert sorted(tmp_path.rglob("*")) == before


def test_an_accepted_correction_makes_a_new_card_and_keeps_the_old(
    early: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card = tmp_path / "mine.toml"
    card.write_text(card_text("gate-coat"))
    new = tmp_path / "mine-2.toml"
    words = ["review", "--data", str(early), "--product", str(card)]
    assert main([*words, "--accept", "1", "--out", str(new)]) == 0
    assert f"handsfree run --product {new}" in capsys.readouterr().out
    assert card.read_text() == card_text("gate-coat")
    assert "from the card with the SHA-256" in new.read_text()
    assert main(["card", str(new)]) == 0
    # It is worked with, and then there is nothing more to correct.
    capsys.readouterr()
    assert main(["review", "--data", str(early), "--product", str(new)]) == 0
    assert "Nothing to correct was found." in capsys.readouterr().out


def test_an_own_card_goes_among_a_persons_own_and_replaces_none(
    early: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    for _ in range(2):
        assert main(["review", "--data", str(early), "--accept", "1"]) == 0
    capsys.readouterr()
    names = [path.name for path in sorted((tmp_path / "home").rglob("*.toml"))]
    assert names == ["gate-coat-2.toml", "gate-coat-3.toml"]
    taken = tmp_path / "home" / "handsfree" / "cards" / names[0]
    words = ["review", "--data", str(early), "--accept", "1", "--out", str(taken)]
    assert main(words) == 2
    assert "is there already and stays" in capsys.readouterr().err


def test_an_unknown_correction_is_refused(
    early: Path, gate: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["review", "--data", str(early), "--accept", "2"]) == 2
    assert "There is no correction 2: there are 1." in capsys.readouterr().err
    assert main(["review", "--data", str(gate), "--accept", "1"]) == 2
    assert "There is no correction 1: there is none." in capsys.readouterr().err
    assert main(["review", "--data", "nowhere"]) == 2
    assert "No job is recorded" in capsys.readouterr().err
