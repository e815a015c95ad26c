"""How fast an alarm cuts in, and how well its words come through the shop; prints a table.

``python -m tests.bench_alarms words`` renders spoken alarms, mixes them into shop noise at 12 dB
and has them recognized. ``... cut [N]`` plays N alarms over running speech on the null-sink rig
(tests/shell/rig.py) and finds their tone in what comes out of the loudspeaker.
"""

import itertools
import os
import random
import statistics
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soxr

from handsfree.job.boundary import Priority
from handsfree.job.reminders import Urgency
from handsfree.language.replies import Call, Called
from handsfree.language.wording import wording
from handsfree.shell.model_folder import known_words, shipped_model
from handsfree.shell.recognizer import Recognizer, WordList, word_list
from handsfree.shell.sound_device import sound_library
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16
from handsfree.shell.speaker import Loudspeaker, Speaker
from handsfree.shell.tones import PULSES, tone
from handsfree.shell.voice import Voice
from tests.shell.rig import rigged
from tests.shell.test_tones import shop_noise

RENDERINGS, SNR_DB = 500, 12.0
# What must come through: the thing, and what to do with it.
KEY_WORDS = {
    Called.TAPE_INSIST: {"tape", "off"},
    Called.TAPE_LAST_CALL: {"tape", "pull"},
    Called.POT_LIFE: {"cup", "life"},
}


def spoken_words(reply: Call) -> list[str]:
    """The words of an alarm, lower case."""
    return "".join(c if c.isalpha() or c == "'" else " " for c in wording(reply).lower()).split()


def words() -> None:
    """Spoken alarms in shop noise, recognized back."""
    pick, noise_pick = random.Random(5), np.random.default_rng(5)
    known = known_words(shipped_model())
    recognizer = Recognizer(shipped_model())
    calls = [
        Call(called, number, percent, minutes, 0)
        for called, number, minutes in itertools.product(KEY_WORDS, range(1, 10), range(1, 20))
        for percent in ((50, 75, 90, 100) if called is Called.POT_LIFE else (0,))
    ]
    listed = sorted({word for call in calls for word in spoken_words(call) if word in known})
    sentences = sorted({" ".join(w for w in spoken_words(c) if w in known) for c in calls})
    allowed = word_list(listed, sentences)
    whole = twice = 0
    with Voice() as voice:
        for _ in range(RENDERINGS):
            call = pick.choice(calls)
            speech = voice.render(wording(call))
            sound = np.frombuffer(speech.samples, "<i2").astype(np.float32) / np.float32(32768)
            sound = soxr.resample(sound, speech.rate_hz, SAMPLE_RATE_HZ)
            sound = np.pad(sound, SAMPLE_RATE_HZ // 2)
            heard = [_heard_in_noise(recognizer, allowed, sound, noise_pick) for _ in range(2)]
            whole += KEY_WORDS[call.called] <= heard[0]
            # As it is said: an alarm this short comes twice.
            twice += KEY_WORDS[call.called] <= heard[0] | heard[1]
    print(
        f"| all key words of a spoken alarm at {SNR_DB:g} dB of speech over shop noise | "
        f"{RENDERINGS} | said once {whole / RENDERINGS:.1%}, as it is, twice "
        f"{twice / RENDERINGS:.1%} |"
    )


def _heard_in_noise(
    recognizer: Recognizer,
    allowed: WordList,
    sound: npt.NDArray[np.float32],
    pick: np.random.Generator,
) -> set[str]:
    """The words recognized in a sound with shop noise of its own."""
    loud = sound[np.abs(sound) > 0.02 * np.abs(sound).max()]
    gain = np.sqrt(np.mean(loud**2)) * 10 ** (-SNR_DB / 20)
    mixed = (sound + shop_noise(pick, len(sound)) * gain).astype(np.float32)
    decoder = recognizer.utterance(allowed)
    decoder.feed(pcm16(mixed / max(1.0, float(np.abs(mixed).max()))))
    return set(decoder.finish().words)


def cut(times: int) -> None:
    """The tone of an alarm over running speech, in what comes out of the loudspeaker."""
    with rigged() as rig:
        os.environ.update(rig.environment)
        command = ["parec", "--device=spk.monitor", f"--rate={SAMPLE_RATE_HZ}", "--channels=1",
                   "--format=s16le", "--latency-msec=10"]  # fmt: skip
        heard: list[tuple[float, bytes]] = []
        with subprocess.Popen(command, stdout=subprocess.PIPE) as recorder:
            assert recorder.stdout is not None
            stream = recorder.stdout

            def listen() -> None:
                while block := stream.read(320):
                    heard.append((time.monotonic(), block))

            listener = threading.Thread(target=listen, daemon=True)
            listener.start()
            with Voice() as voice:
                voice.start()
                speaker = Speaker(voice, Loudspeaker(sound_library()), print)
                pick, waits = random.Random(6), []
                for _ in range(times):
                    speaker.say("Coat one. It can be handled with care. " * 2, Priority.CALL)
                    time.sleep(pick.uniform(0.4, 0.9))
                    called_at = time.monotonic()
                    seen = len(heard)
                    speaker.call("Tape.", Priority.ALARM, tone(Urgency.HIGH), None)
                    waits.append(_tone_after(heard, seen, called_at))
                    speaker.cut()
                    while not speaker.is_silent:
                        time.sleep(0.01)
                speaker.close()
            recorder.terminate()
            listener.join()
    missed = sum(wait is None for wait in waits)
    found = sorted(wait for wait in waits if wait is not None)
    late = sum(wait > 0.5 for wait in found)
    print(
        f"| HIGH over running speech: its tone at the loudspeaker | {times} | "
        f"median {statistics.median(found):.2f} s, longest {found[-1]:.2f} s, "
        f"{late} after 0.5 s, {missed} never |"
    )


def _tone_after(heard: list[tuple[float, bytes]], seen: int, called_at: float) -> float | None:
    """Seconds until the tone's pitches stand out in 40 ms of sound; None: not within two."""
    pitches = sorted({pitch for _, _, pitch in PULSES[Urgency.HIGH]})
    while time.monotonic() - called_at < 2.0:
        while len(heard) - seen >= 4:
            moment = heard[seen + 3][0]
            block = b"".join(part for _, part in heard[seen : seen + 4])
            seen += 1
            samples = np.frombuffer(block, "<i2").astype(float)
            power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
            hertz = np.fft.rfftfreq(len(samples), 1 / SAMPLE_RATE_HZ)
            near = sum(power[np.abs(hertz - pitch) < 60].sum() for pitch in pitches)
            if power.sum() > 1e9 and near > 0.7 * power.sum():
                return moment - called_at
        time.sleep(0.005)
    return None


def main() -> None:
    """Runs what is named."""
    print("| what | tries | came out |\n| --- | --- | --- |")
    if sys.argv[1:2] == ["words"]:
        words()
    else:
        cut(int(sys.argv[2]) if len(sys.argv) > 2 else 100)


if __name__ == "__main__":
    assert Path("tests").is_dir(), "run it from the repository's root"
    main()
