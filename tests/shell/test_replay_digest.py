"""A record means the same whatever the hash seed, and in another Python."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.shell.replay_digest import digest

ROOT = Path(__file__).parents[2]
OTHER = os.environ.get("HANDSFREE_OTHER_PYTHON", "")


def digest_in(python: str, count: int, hash_seed: str) -> str:
    done = subprocess.run(
        [python, "-m", "tests.shell.replay_digest", str(count)],
        cwd=ROOT,
        env=os.environ | {"PYTHONHASHSEED": hash_seed, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_the_hash_seed_changes_nothing() -> None:
    assert {digest_in(sys.executable, 20, seed) for seed in "12"} == {digest(20)}


def test_another_record_is_another_digest() -> None:
    assert digest(2) != digest(3)


@pytest.mark.slow
@pytest.mark.skipif(not OTHER, reason="HANDSFREE_OTHER_PYTHON names no second Python with pint")
def test_another_python_gives_the_same_thousand_states() -> None:
    here = {digest_in(sys.executable, 1000, seed) for seed in "123"}
    there = {digest_in(OTHER, 1000, seed) for seed in "123"}
    assert here == there
    assert len(here) == 1
