"""The documentation is true: its commands run, its figures are the program's, its links lead."""

import ast
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from handsfree.core import potlife
from handsfree.job import alarms, reminders
from handsfree.job.decide import SURE_CONFIDENCE
from handsfree.language import patience
from handsfree.shell import cli, hear, service
from handsfree.shell.cards import load_card
from handsfree.shell.cli import main
from handsfree.shell.docs import FOLDER, title_of, topics
from handsfree.shell.ear import LONGEST_UTTERANCE
from handsfree.shell.job_folder import default_folder
from handsfree.shell.preferences import DEFAULT_ATTENTION_S
from tests.conftest import FIXTURES
from tests.render_sentences import PAGE, misfits, page

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted(FOLDER.glob("*.md"))]
# Of other programs, which are not run here.
OTHERS = {
    "chromium",
    "journalctl",
    "mkdir",
    "python3.11",
    "sudo",
    "systemctl",
}
# These listen, speak, wait for a person or build a model: their arguments are read, no more.
NOT_RUN = re.compile(r"handsfree (run\b|demo(?! --quiet)|type( --board)?$|words add)")


def commands(path: Path) -> list[str]:
    """The lines of a page's shell blocks."""
    text = path.read_text(encoding="utf-8")
    blocks = re.findall(r"^ *```sh\n(.*?)^ *```", text, re.DOTALL | re.MULTILINE)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


def shown_inline(path: Path) -> list[str]:
    """Whole commands in running text: no bare names, and none with a placeholder in them."""
    found = re.findall(r"`(handsfree [a-z]+ [^`]+)`", path.read_text(encoding="utf-8"))
    return [one for one in found if not re.search(r"[\[A-Z]|\.\.\.|key=value|LIKE", one)]


def arguments_of(command: str) -> list[str]:
    return shlex.split(command.partition(" > ")[0])[1:]


EVERY = [(path, line) for path in PAGES for line in commands(path)]
OURS = [line for _, line in EVERY if line.startswith("handsfree ")]
RUN = sorted({line for line in OURS if not NOT_RUN.match(line)})
INLINE = sorted({line for path in PAGES for line in shown_inline(path)})


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the files that the pages speak of, and a job recorded in the usual place."""
    monkeypatch.chdir(tmp_path)
    # Where Linux keeps a person's data; the job lies in the usual folder below it.
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    shutil.copy(ROOT / "handsfree/cards/template.toml", "my-product.toml")
    shutil.copy(FIXTURES / "demo/02_resin_eight_five_six_grams.flac", "reading.wav")
    Path("surface.csv").write_text("hours,surface_c\n0,20\n8,18\n")
    Path("job.txt").write_text(
        "09:00:00 resin four zero zero grams\n09:00:10 yes\n"
        "09:01:00 hardener one zero zero grams\n09:01:10 yes\n"
    )
    recorded = ["type", "--script", "job.txt", "--product", "my-product.toml", "--data"]
    assert main([*recorded, str(default_folder())]) == 0
    return tmp_path


@pytest.mark.audio
@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("command", RUN)
def test_a_command_of_the_pages_does_what_it_should(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    arguments = [one.replace("/srv/bench", str(default_folder())) for one in arguments_of(command)]
    assert main(arguments) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("command", sorted({*OURS, *INLINE} - set(RUN)))
def test_a_command_that_needs_a_person_has_arguments_that_are_taken(command: str) -> None:
    cli._parser().parse_args(arguments_of(command))


def test_there_are_commands_of_each_kind() -> None:
    assert len(RUN) >= 10
    assert len(INLINE) >= 5


@pytest.mark.parametrize(("path", "line"), EVERY, ids=[line for _, line in EVERY])
def test_what_the_shell_gets_is_well_formed_and_known(path: Path, line: str) -> None:
    assert line.split()[0] in OTHERS | {"handsfree"}, f"{path.name}: {line}"
    assert subprocess.run(["bash", "-n"], input=line, text=True, check=False).returncode == 0


def test_the_page_of_sentences_is_the_grammars() -> None:
    assert misfits() == []
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m tests.render_sentences"


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_links_lead_to_files(path: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8")):
        assert (path.parent / target).exists(), target


def test_every_page_is_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["docs"]) == 0
    listed = capsys.readouterr().out
    readme = PAGES[0].read_text(encoding="utf-8")
    for name, path in topics().items():
        assert f"{name} " in listed
        assert f"(handsfree/docs/{name}.md)" in readme
        assert main(["docs", name]) == 0
        assert title_of(path) in capsys.readouterr().out
    assert main(["docs", "sailing"]) == 2
    assert "There are: alarms, cards" in capsys.readouterr().err


def page_of(name: str) -> str:
    return " ".join((FOLDER / f"{name}.md").read_text(encoding="utf-8").split())


def test_the_figures_on_alarms_are_the_programs() -> None:
    text = page_of("alarms")
    for urgent, later in (
        (alarms.HIGH_EVERY, alarms.HIGH_LATER_EVERY),
        (alarms.MEDIUM_EVERY, alarms.MEDIUM_LATER_EVERY),
    ):
        seconds = int(later.total_seconds())
        after = f"{seconds} s" if seconds < 60 else f"{seconds // 60} minutes"
        assert f"every {urgent.seconds} s, after two minutes every {after}" in text
    assert alarms.LATER_AFTER.total_seconds() == 120
    assert alarms.LOW_AGAIN_AFTER.total_seconds() == 60
    assert (alarms.ESCALATION_SHARE, alarms.LEAST_ESCALATION.seconds) == (5, 300)
    assert (alarms.MOST_NAMED, reminders.MOST_IN_FLOOD) == (3, 10)


def test_the_figures_on_hearing_are_the_programs() -> None:
    text = page_of("hearing")
    for pause, shown in (
        (patience.AFTER_SENTENCE, "| 0.25 s |"),
        (patience.AFTER_OPEN_NUMBER, "| 0.75 s |"),
        (patience.AFTER_UNFINISHED, "| 1 s |"),
    ):
        assert shown in text
        assert shown == f"| {pause.total_seconds():g} s |"
    assert f"less than {hear.CLEAR_SNR_DB:g} dB" in text
    assert f"longer than {LONGEST_UTTERANCE.seconds} seconds" in text
    assert (SURE_CONFIDENCE, DEFAULT_ATTENTION_S) == (0.9, 600)


def test_the_figures_on_pot_life_are_the_programs() -> None:
    text = page_of("pot-life")
    assert f"divided by {potlife.HOTTER_PER_10K:g} for" in text
    assert f"multiplied by {potlife.COLDER_PER_10K:g} for" in text
    assert f"t* / {potlife.NO_LOSS_MINUTES:g} min" in text
    least, largest = potlife.WATER_BATH_FACTORS[-1][1], potlife.WATER_BATH_FACTORS[0][1]
    assert f"only {least:g} to {largest:g} of it" in text
    assert f"read at {potlife.UNKNOWN_METHOD_FACTOR:g} or less" in text
    assert f"Over {potlife.SLOW_MINUTES:g} minutes a quarter" in text
    assert 1 - potlife.SLOW_FACTOR == 0.25
    assert f"over {potlife.SLOWEST_MINUTES:g} minutes nothing" in text


def test_the_unit_on_the_page_is_silent_for_as_long_as_it_says() -> None:
    assert "WatchdogSec=20" in service.UNIT
    assert "after 20 s of silence" in page_of("wall-computer")


def test_what_trouble_is_quoted_is_what_the_program_says() -> None:
    sources = [path.read_text(encoding="utf-8") for path in (ROOT / "handsfree").rglob("*.py")]
    said = {
        node.value
        for source in sources
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    quoted = re.findall("“([^”]+)”", page_of("troubleshooting"))
    assert quoted
    for words in quoted:
        # A device's name is put in where the program speaks of it.
        pattern = words.replace("microphone", "")
        assert any(words in one for one in said) or any(pattern.strip() in one for one in said)


def test_the_card_of_the_pages_is_the_template() -> None:
    assert load_card(str(ROOT / "handsfree/cards/template.toml")).invented
