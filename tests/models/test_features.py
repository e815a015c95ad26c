"""Our features against Kaldi's own code, which kaldi-native-fbank carries."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from models.making.features import CEPSTRA, Mfcc, conf

# Kaldi computes in 32-bit floats: a relative rounding of 6e-8 on energies near 1e9, through a
# logarithm and a sum of 40 bands times a lifter of 12, stays below this.
TOLERANCE = 0.01


def sounds() -> Iterator[Any]:
    rng = np.random.default_rng(5)
    t = np.arange(16000) / 16000
    yield pytest.param(rng.normal(0, 3000, 16000), id="noise")
    yield pytest.param(9000 * np.sin(2 * np.pi * 440 * t) + rng.normal(0, 1, 16000), id="tone")
    yield pytest.param(np.round(rng.normal(0, 1.5, 8000)), id="nearly-silent")
    yield pytest.param(rng.normal(0, 3000, 400), id="one-frame")


@pytest.mark.parametrize("sound", list(sounds()))
def test_mfcc_equal_kaldis(sound: Any) -> None:
    knf = pytest.importorskip("kaldi_native_fbank", reason="pip install kaldi-native-fbank")
    options = knf.MfccOptions()
    options.frame_opts.dither = 0
    options.frame_opts.snip_edges = True
    options.frame_opts.samp_freq = 16000
    options.mel_opts.num_bins = options.num_ceps = CEPSTRA
    options.mel_opts.low_freq, options.mel_opts.high_freq = 20, 7600
    options.use_energy = False
    kaldi = knf.OnlineMfcc(options)
    kaldi.accept_waveform(16000, sound.tolist())
    kaldi.input_finished()
    want = np.array([kaldi.get_frame(n) for n in range(kaldi.num_frames_ready)])
    got = Mfcc()(sound)
    assert got.shape == want.shape
    assert np.abs(got - want).max() < TOLERANCE


def test_training_features_equal_the_reference(torch: Any) -> None:
    from models.making.network import MfccBank

    sound = np.random.default_rng(6).normal(0, 2000, 12000)
    got = MfccBank(torch.device("cpu"))(torch.tensor(sound, dtype=torch.float32)[None])[0]
    assert np.abs(got.numpy() - Mfcc()(sound)).max() < TOLERANCE


def test_a_warp_of_one_changes_nothing_and_another_moves_energy_down(torch: Any) -> None:
    from models.making.network import MfccBank

    bank = MfccBank(torch.device("cpu"))
    tone = 8000 * torch.sin(2 * torch.pi * 2000 * torch.arange(8000) / 16000)[None]
    plain = bank(tone)
    assert torch.allclose(bank(tone, torch.ones(1)), plain, atol=1e-3)
    lower = bank(0.5 * tone + 0, torch.full((1,), 1.2))
    same_pitch = bank(
        8000 * torch.sin(2 * torch.pi * 2000 / 1.2 * torch.arange(8000) / 16000)[None]
    )
    assert (lower - same_pitch)[..., 1:6].abs().mean() < (lower - plain)[..., 1:6].abs().mean()


def test_less_than_a_frame_gives_no_features() -> None:
    assert Mfcc()(np.zeros(399)).shape == (0, CEPSTRA)


def test_conf_turns_dither_off() -> None:
    assert "--dither=0\n" in conf()
