"""Settings from a file, under the command line and over the defaults."""

import argparse
import json
import re
import tomllib
from datetime import time, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from handsfree.job.alarms import QuietHours
from handsfree.shell.cli import _parser, main
from handsfree.shell.config_file import ConfigInvalid, read_config, settle, template, usual_path
from handsfree.shell.preferences import ALL_KEYS, BY_KEY, PREFERENCES, Written

COMMANDS_WITH_JOB = ("run", "type", "hear", "demo", "check", "config")


def usual_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, text: str) -> Path:
    """The person's own file, where the program looks for it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    path = usual_path()
    path.parent.mkdir(parents=True)
    path.write_text(text, encoding="utf-8")
    return path


def settled(*arguments: str) -> argparse.Namespace:
    args = _parser().parse_args(arguments)
    settle(args)
    return args


def commands() -> dict[str, argparse.ArgumentParser]:
    (action,) = (
        action for action in _parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    return dict(action.choices)


def test_it_lies_where_the_xdg_specification_says(monkeypatch: pytest.MonkeyPatch) -> None:
    # XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME, else $HOME/.config.
    monkeypatch.setenv("XDG_CONFIG_HOME", "/elsewhere")
    assert usual_path() == Path("/elsewhere/handsfree/config.toml")
    monkeypatch.delenv("XDG_CONFIG_HOME")
    monkeypatch.setenv("HOME", "/home/somebody")
    assert usual_path() == Path("/home/somebody/.config/handsfree/config.toml")


def test_the_command_line_counts_before_the_file_and_the_file_before_the_default(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert settled("run").scale_step == 1
    usual_file(monkeypatch, tmp_path, "scale_step = 0.1\nkey = true\nattention = 0\n")
    args = settled("run")
    assert (args.scale_step, args.key, args.attention) == (Fraction(1, 10), True, timedelta())
    assert args.scale_capacity == 5000
    args = settled("run", "--scale-step", "0.5", "--no-key", "--attention", "60")
    assert (args.scale_step, args.key) == (Fraction(1, 2), False)
    assert args.attention == timedelta(seconds=60)


def test_no_time_of_attention_can_be_typed_over_the_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    usual_file(monkeypatch, tmp_path, "attention = 900\n")
    assert settled("run", "--attention", "0").attention == timedelta()


def test_every_kind_of_value_comes_out_as_from_the_command_line(tmp_path: Path) -> None:
    path = tmp_path / "my.toml"
    path.write_text(
        'product = ["gate-coat", "mine.toml"]\nwake = "Good evening garage"\n'
        'quiet_hours = "22:00-06:30"\ndata = "jobs"\nmicrophone = "usb"\nwords = "new"\n'
    )
    args = settled("run", "--config", str(path))
    assert args.product == ["gate-coat", str(tmp_path / "mine.toml")]
    assert args.wake == ["good evening garage"]
    assert args.quiet_hours == QuietHours(time(22), time(6, 30))
    assert args.data == tmp_path / "jobs"
    assert (args.microphone, args.words) == ("usb", "new")


@pytest.mark.parametrize("command", ["demo", "hear x.wav", "type --script x.txt"])
def test_what_must_be_the_same_everywhere_does_not_take_a_persons_settings(
    command: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = usual_file(monkeypatch, tmp_path, "scale_step = 0.1\n")
    assert settled(*command.split()).scale_step == 1
    assert settled(*command.split(), "--config", str(path)).scale_step == Fraction(1, 10)


def test_typing_without_a_script_takes_them_and_can_leave_them(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    usual_file(monkeypatch, tmp_path, 'scale_step = 0.1\ndata = "jobs"\n')
    args = settled("type")
    # What is typed is recorded only where that is asked for.
    assert (args.scale_step, args.data) == (Fraction(1, 10), None)
    assert settled("type", "--no-config").scale_step == 1


@pytest.mark.parametrize("command", ["journal verify", "record", "review"])
def test_the_record_is_looked_for_where_it_is_written(
    command: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = usual_file(monkeypatch, tmp_path, 'data = "jobs"\n')
    assert settled(*command.split()).data == path.parent / "jobs"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("scale_stp = 1", "line 1: there is no key scale_stp. Did you mean scale_step?"),
        ("\nscale-step = 1", "line 2: there is no key scale-step. Did you mean scale_step?"),
        ("[scale]\nstep = 1", "line 2: there is no key scale.step. Did you mean scale_step?"),
        ("color = 1", "line 1: there is no key color. The keys are: product, scale_step,"),
        ('scale_step = "1"', "line 1: scale_step is not accepted, it takes a plain number"),
        ("scale_step = 1e3", "line 1: scale_step is not accepted, it takes a plain number"),
        ("scale_step = true", "line 1: scale_step is not accepted, it takes a plain number"),
        ("scale_step = 200", "Allowed is a number of grams from 0.001 to 100, for example"),
        ("scale_step = -1", "a number of grams from 0.001 to 100"),
        ("scale_step = nan", "it takes a plain number"),
        ("key = 1", "line 1: key is not accepted, it takes true or false"),
        ('words = "loud"', "'loud' is not one of brief, normal, new"),
        ('quiet_hours = "late"', "'late' is no span such as 22:00-06:30"),
        ("attention = 1.5", "'1.5' is no number of seconds from 0 to 86400"),
        ("wake = []", "it takes text in quotes, or a list of such"),
        ('wake = ["new cup"]', "'new cup' is a command already"),
        ('microphone = ""', "microphone is not accepted, '' is no name"),
        ("words = normal", "line 1: not TOML"),
        ('words = "new"\nwords = "new"', "not TOML"),
        ("words = [[[[[", "not TOML"),
        ("x" * 500, "500 characters"),
        ("\x00", "not TOML"),
    ],
)  # fmt: skip
def test_what_is_not_allowed_is_refused_with_its_place(
    text: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "config.toml"
    path.write_text(text)
    assert main(["type", "--config", str(path)]) == 2
    error = capsys.readouterr().err
    assert str(path) in error
    assert said in error
    assert path.read_text() == text


def test_everything_wrong_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text('words = "loud"\ncolour = 1\nkey = "yes"\n')
    with pytest.raises(ConfigInvalid) as refused:
        read_config(path)
    assert [line.split(":")[0][-6:] for line in str(refused.value).splitlines()] == [
        "line 1",
        "line 2",
        "line 3",
    ]


@pytest.mark.parametrize("kind", ["missing", "folder", "binary", "huge"])
def test_a_file_that_cannot_be_read_is_told_with_its_name(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "config.toml"
    if kind == "folder":
        path.mkdir()
    elif kind != "missing":
        path.write_bytes(b"\xff\xfe\x00" if kind == "binary" else b"#" * 100_000)
    assert main(["type", "--config", str(path)]) == 2
    assert str(path) in capsys.readouterr().err


def test_a_file_from_another_system_is_read(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_bytes(b"\xef\xbb\xbfscale_step = 0.1\r\n")
    assert read_config(path)["scale_step"].value == Fraction(1, 10)


def test_the_template_explains_every_key_and_changes_nothing() -> None:
    text = template()
    assert tomllib.loads(text) == {}
    keys = re.findall(r"^#([a-z_]+) = ", text, re.MULTILINE)
    assert tuple(keys) == ALL_KEYS
    for preference in PREFERENCES:
        assert f"Default: {preference.default_shown}" in " ".join(
            line.removeprefix("# ") for line in text.splitlines()
        )


def test_every_example_of_the_template_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text(re.sub(r"^#([a-z_]+ = )", r"\1", template(), flags=re.MULTILINE))
    assert set(read_config(path)) == set(ALL_KEYS)


def test_help_states_the_same_defaults_as_the_table() -> None:
    run = " ".join(commands()["run"].format_help().split())
    for key in ALL_KEYS:
        preference = BY_KEY[key]
        assert preference.option in run
        if preference.kind.written is not Written.FLAG:
            shown = " ".join(preference.default_shown.split())
            assert f"(default {shown})" in run.replace("- ", "-"), key


@pytest.mark.parametrize("command", COMMANDS_WITH_JOB)
def test_no_option_of_the_table_has_a_default_of_its_own(command: str) -> None:
    for action in commands()[command]._actions:
        if action.dest in BY_KEY and action.option_strings:
            assert action.default is None, action.dest


def test_init_writes_the_template_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "new"))
    assert main(["config", "init"]) == 0
    assert usual_path().read_text() == template()
    usual_path().write_text("scale_step = 0.1\n")
    assert main(["config", "init"]) == 2
    assert usual_path().read_text() == "scale_step = 0.1\n"
    assert "there already" in capsys.readouterr().err


def test_init_where_nothing_can_be_written_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    assert main(["config", "init", "--config", str(tmp_path / "file" / "config.toml")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_config_shows_what_holds_and_where_it_comes_from(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "config.toml"
    path.write_text("# mine\nscale_step = 0.10\n")
    assert main(["config", "--config", str(path), "--attention", "30", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["file"] == str(path)
    assert shown["settings"]["scale_step"] == {"value": "0.10", "from": "line 2"}
    assert shown["settings"]["attention"] == {"value": "30", "from": "command line"}
    assert shown["settings"]["words"] == {"value": "normal", "from": "default"}
    assert main(["config", "--config", str(path)]) == 0
    assert re.search(r"^  scale_step +0\.10 +line 2$", capsys.readouterr().out, re.MULTILINE)


def test_it_is_shown_what_a_damaged_file_says(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    usual_file(monkeypatch, tmp_path, "scale_step = \n")
    assert main(["config"]) == 2
    assert "line 1: not TOML" in capsys.readouterr().err
    assert main(["config", "--no-config"]) == 0
