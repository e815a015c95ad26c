"""The shop's noise: its end is noticed, speech and single blows are not."""

import numpy as np
import pytest

from handsfree.shell.capture import BLOCK_S
from handsfree.shell.noise import NoiseWatch
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16

FRAMES = int(BLOCK_S * SAMPLE_RATE_HZ)


def falls(levels: list[float]) -> list[float]:
    """The seconds at which a fall is told, of a noise with these amplitudes, ten a second."""
    pick = np.random.default_rng(9)
    watch = NoiseWatch()
    told = []
    for number, level in enumerate(np.repeat(levels, round(0.1 / BLOCK_S))):
        block = pcm16((pick.standard_normal(FRAMES) * level).astype(np.float32))
        if watch.has_fallen(block):
            told.append(round((number + 1) * BLOCK_S, 1))
    return told


def test_a_machine_that_stops_is_told_once_within_two_seconds() -> None:
    (second,) = falls([0.1] * 100 + [0.003] * 100)
    assert 10.0 < second <= 12.0


def test_silence_after_a_machine_is_a_fall_too() -> None:
    assert len(falls([0.1] * 100 + [0.0] * 50)) == 1


def test_neither_a_steady_noise_nor_a_small_change_is_a_fall() -> None:
    assert falls([0.1] * 300) == []
    assert falls([0.1] * 100 + [0.05] * 100) == []
    assert falls([0.0] * 100) == []


def test_a_blow_or_a_word_in_a_quiet_shop_is_no_fall() -> None:
    assert falls([0.003] * 50 + [0.3] * 2 + [0.003] * 50) == []
    assert falls([0.003] * 50 + [0.1] * 10 + [0.003] * 50) == []


@pytest.mark.slow
def test_a_machine_that_stops_is_told_200_times() -> None:
    pick = np.random.default_rng(10)
    for _ in range(200):
        loud = pick.uniform(0.02, 0.3)
        quiet = loud / pick.uniform(4.0, 100.0)
        (second,) = falls([loud] * 100 + [quiet] * 60)
        assert 10.0 < second <= 12.0
