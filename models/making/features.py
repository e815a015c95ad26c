"""Kaldi's MFCC in plain numpy: 16 kHz, frames of 25 ms every 10 ms, 40 mel bands, 40 cepstra."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

CEPSTRA = 40


def mel(hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Mel of a frequency in Hz (Kaldi src/feat/mel-computations.h, MelScale)."""
    return np.asarray(1127.0 * np.log(1.0 + np.asarray(hz, np.float64) / 700.0))


class Mfcc:
    """MFCC as Kaldi computes them with the settings of conf().

    Source:
        Kaldi src/feat/feature-window.cc (frames without padding, mean taken off, pre-emphasis
        0.97 whose first sample is its own predecessor, window "povey": Hann to the power 0.85),
        mel-computations.cc (triangles even in mel, on the bins below Nyquist) and
        feature-mfcc.cc (orthonormal DCT, lifter 22).
    """

    rate = 16000  # Samples a second.
    low_hz, high_hz = 20.0, 7600.0
    preemphasis = 0.97
    lifter = 22.0
    floor = np.finfo(np.float32).eps  # Under the energies before the logarithm.

    def __init__(self, bands: int = CEPSTRA) -> None:
        self.length, self.shift = self.rate * 25 // 1000, self.rate * 10 // 1000
        self.fft = 512
        n = np.arange(self.length)
        self.window = (0.5 - 0.5 * np.cos(2 * np.pi * n / (self.length - 1))) ** 0.85
        edges = np.linspace(mel(self.low_hz), mel(self.high_hz), bands + 2)
        bins = mel(np.arange(self.fft // 2) * (self.rate / self.fft))
        left, center, right = edges[:-2, None], edges[1:-1, None], edges[2:, None]
        weights = np.where(
            bins <= center, (bins - left) / (center - left), (right - bins) / (right - center)
        )
        self.mel = np.where((bins > left) & (bins < right), weights, 0.0)
        k = np.arange(bands)[:, None]
        dct = np.sqrt(2.0 / bands) * np.cos(np.pi / bands * (np.arange(bands) + 0.5) * k)
        dct[0] = np.sqrt(1.0 / bands)
        lift = 1.0 + 0.5 * self.lifter * np.sin(np.pi * np.arange(bands) / self.lifter)
        self.dct = dct * lift[:, None]

    def __call__(self, sound: npt.ArrayLike) -> npt.NDArray[np.float32]:
        """Rows of CEPSTRA, one a frame, of a sound of 16-bit scale; none below 25 ms."""
        x = np.asarray(sound, np.float64)
        if len(x) < self.length:
            return np.zeros((0, len(self.dct)), np.float32)
        frames = np.lib.stride_tricks.sliding_window_view(x, self.length)[:: self.shift]
        frames = frames - frames.mean(axis=1, keepdims=True)
        before = np.concatenate([frames[:, :1], frames[:, :-1]], axis=1)
        frames = (frames - self.preemphasis * before) * self.window
        spectrum = np.fft.rfft(frames, self.fft)[:, : self.fft // 2]
        energies = np.maximum(np.abs(spectrum) ** 2 @ self.mel.T, self.floor)
        return np.asarray(np.log(energies) @ self.dct.T, np.float32)


def conf() -> str:
    """The matching conf/mfcc.conf of a Vosk folder.

    allow-upsample lets sound of 8 kHz in; dither must be off, or results change from run to run.
    """
    return (
        f"--sample-frequency={Mfcc.rate}\n--frame-length=25\n--frame-shift=10\n"
        f"--use-energy=false\n--num-mel-bins={CEPSTRA}\n--num-ceps={CEPSTRA}\n"
        f"--low-freq={Mfcc.low_hz:g}\n--high-freq={Mfcc.high_hz:g}\n--dither=0\n"
        "--allow-upsample=true\n"
    )
