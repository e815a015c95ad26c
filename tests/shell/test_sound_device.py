"""A machine without sound costs only the sound."""

import subprocess
from collections.abc import Sequence
from types import SimpleNamespace

import pytest

from handsfree.shell.cli import main
from handsfree.shell.sound_device import NoSoundDevice, find_device, sound_library


def probe_that_fails(stderr: bytes, returncode: int):  # type: ignore[no-untyped-def]
    def run(_command: Sequence[str], **_options: object) -> object:
        return SimpleNamespace(stderr=stderr, returncode=returncode)

    return run


@pytest.mark.parametrize(
    "told",
    [
        b"OSError: PortAudio library not found",
        b"OSError: libportaudio.so.2: cannot open shared object file: No such file or directory",
    ],
)
def test_a_missing_library_names_the_package(
    told: bytes, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = probe_that_fails(told, 1)
    monkeypatch.setattr(subprocess, "run", missing)
    with pytest.raises(NoSoundDevice, match="libportaudio2"):
        sound_library()
    assert main(["run"]) == 2
    assert "handsfree type" in capsys.readouterr().err


def test_a_library_that_ends_the_process_is_survived(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(subprocess, "run", probe_that_fails(b"", -6))
    with pytest.raises(NoSoundDevice, match="fails to start"):
        sound_library()


@pytest.mark.parametrize(("kind", "name"), [("input", "microphone"), ("output", "loudspeaker")])
def test_no_device_is_said_in_plain_words(kind: str, name: str) -> None:
    class PortAudioError(Exception):
        pass

    def query_devices(**_options: object) -> object:
        raise PortAudioError("Error querying device -1")

    library = SimpleNamespace(query_devices=query_devices, PortAudioError=PortAudioError)
    with pytest.raises(NoSoundDevice, match=f"There is no {name}"):
        find_device(library, kind, None)  # type: ignore[arg-type]
