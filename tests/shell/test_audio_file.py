"""Recordings of any kind become the same 16 kHz mono sound."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.shell.audio_file import UnreadableSound, blocks_of


def tone(rate_hz: int, channels: int, seconds: float = 1.0) -> np.ndarray:
    time_s = np.arange(int(rate_hz * seconds)) / rate_hz
    return np.repeat(0.5 * np.sin(2 * np.pi * 440 * time_s)[:, None], channels, axis=1)


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg"])
@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000])
@pytest.mark.parametrize("channels", [1, 2])
def test_rate_channels_and_format_do_not_matter(
    tmp_path: Path, suffix: str, rate_hz: int, channels: int
) -> None:
    path = tmp_path / f"tone.{suffix}"
    soundfile.write(path, tone(rate_hz, channels), rate_hz)
    samples = np.frombuffer(b"".join(blocks_of(path)), dtype="<i2") / 32768
    assert len(samples) == pytest.approx(16000, abs=200)
    spectrum = np.abs(np.fft.rfft(samples[1000:15000]))
    assert np.argmax(spectrum) * 16000 / 14000 == pytest.approx(440, abs=2)
    assert np.sqrt(np.mean(samples[1000:15000] ** 2)) == pytest.approx(0.354, abs=0.02)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(UnreadableSound, match=r"no file .*none.wav"):
        list(blocks_of(tmp_path / "none.wav"))


def test_a_text_file_is_no_sound(tmp_path: Path) -> None:
    path = tmp_path / "notes.wav"
    path.write_text("resin eight five six grams")
    with pytest.raises(UnreadableSound, match="not a sound file"):
        list(blocks_of(path))


@pytest.mark.parametrize("seconds", [0.0, 0.05])
def test_empty_and_very_short_sound_is_refused(tmp_path: Path, seconds: float) -> None:
    path = tmp_path / "short.wav"
    soundfile.write(path, tone(16000, 1, seconds), 16000)
    with pytest.raises(UnreadableSound, match="too short for a word"):
        list(blocks_of(path))
