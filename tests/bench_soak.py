"""Hours of sound through the recognizer's process: memory, and utterances that are lost.

``python -m tests.bench_soak HOURS`` plays the recordings of audio_fixtures in random order, with
shop noise of random loudness between them, faster than real time through the same process and
blocks as the live loop, and prints the memory of the process each hour of sound.
"""

import random
import sys
import time
from pathlib import Path

import numpy as np

from handsfree.shell.audio_file import blocks_of
from handsfree.shell.cards import load_card
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import Hearing
from handsfree.shell.model_folder import shipped_model
from handsfree.shell.session import Session, setup_of
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16, samples_of
from handsfree.shell.typed import FIRST_DAY
from tests.shell.test_tones import shop_noise

BLOCK_BYTES = 640
FIXTURES = Path(__file__).parent.parent / "audio_fixtures"


def resident_mb(pid: int) -> float:
    """What a process holds in memory."""
    status = Path(f"/proc/{pid}/status").read_text()
    (line,) = (line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def main(hours: float) -> None:
    """Plays, counts, and prints."""
    pick, noise_pick = random.Random(8), np.random.default_rng(8)
    sounds = [samples_of(b"".join(blocks_of(path))) for path in sorted(FIXTURES.rglob("*.flac"))]
    session = Session(setup_of(load_card("gate-coat")))
    played_s = played = lost = 0.0
    began, next_report = time.monotonic(), 0.0
    print("| hours of sound | memory of the recognizer, MB | recordings | without an utterance |")
    print("| ---: | ---: | ---: | ---: |")
    with Hearing(shipped_model()) as hearing:
        while played_s < hours * 3600:
            sound = pick.choice(sounds)
            length = len(sound) + int(pick.uniform(1.5, 8.0) * SAMPLE_RATE_HZ)
            level = 10 ** pick.uniform(-4, -2)
            mixed = shop_noise(noise_pick, length) * level
            start = SAMPLE_RATE_HZ // 2
            mixed[start : start + len(sound)] += sound
            data = pcm16(mixed.astype(np.float32))
            found = 0
            for at in range(0, len(data), BLOCK_BYTES):
                for utterance in hearing.hear(data[at : at + BLOCK_BYTES]):
                    found += 1
                    session.step(heard_of(utterance), FIRST_DAY)
            found += len(hearing.finish())
            played, lost = played + 1, lost + (found == 0)
            played_s += length / SAMPLE_RATE_HZ
            if played_s / 3600 >= next_report:
                assert hearing.pid is not None
                size = resident_mb(hearing.pid)
                print(
                    f"| {played_s / 3600:.2f} | {size:.1f} | {played:.0f} | {lost:.0f} |",
                    flush=True,
                )
                next_report += max(0.5, hours / 12)
        print(f"\n{played_s / 3600:.1f} h in {(time.monotonic() - began) / 60:.0f} min.")


if __name__ == "__main__":
    main(float(sys.argv[1]))
