"""What talk, a radio and machines make it do, and how well its wake phrase is heard.

``python -m tests.bench_attention talk HOURS`` synthesizes talk with numbers and trade words in
it, music and shop noise, and feeds it to the ear awake and asleep: every event it would record
and every false wake is counted. ``... wake`` says the wake phrases in many voices over six made-up
noises at 10 dB. Needs the packages of the extra "models" and the program flite.
"""

import random
import sys
from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import numpy.typing as npt

from handsfree.job.decide import is_awake
from handsfree.language.grammar import WAKE_PHRASES
from handsfree.shell.cards import load_card
from handsfree.shell.ear import Attention, Ear
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import lists_of
from handsfree.shell.model_folder import shipped_model
from handsfree.shell.recognizer import Recognizer
from handsfree.shell.session import Session, setup_of
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16
from handsfree.shell.typed import FIRST_DAY
from models.making.speech import Espeak, flite_voices, pico_voices
from tests.shell.test_tones import shop_noise

Sound = npt.NDArray[np.float32]
SUBJECTS = "he she they the neighbor my brother the shop the radio somebody the driver".split()
FRAMES = (
    "{s} paid {n} dollars for the {t} last {d}",
    "and it is now {n} degrees with {n} percent humidity in the city",
    "the score was {n} to {n} after {n} minutes",
    "{s} said that the {t} weighs {n} grams or more",
    "call us now at {n} {n} {n}",
    "we need {n} of those and a new {t} by {d}",
    "did you mix the {t} yourself or did {s} do it",
    "no that is not right it was {n}",
    "yes yes I know but the {t} is not dry yet",
    "hello again and welcome back to the program on {d}",
    "listen to this song from nineteen {n}",
    "the cup final starts at {n} on {d}",
    "next to the bench there is a {t} and a {t}",
)
THINGS = "resin table coat kitchen floor car cup engine bottle door radio steel wall batch".split()
DAYS = "monday tuesday friday sunday".split()
GAP_S = (0.2, 1.2)


def talk_voices(rng: random.Random) -> Iterator[object]:
    """Voices of three synthesizers in turn, without end."""
    engines = [Espeak().voices(rng), flite_voices(rng), pico_voices(rng)]
    while True:
        for engine in engines:
            yield next(engine)


def sentence(rng: random.Random) -> str:
    """Something that is said in a shop or on a radio, and is no command."""
    said = rng.choice(FRAMES)
    while "{" in said:
        said = said.replace("{n}", str(rng.choice([rng.randint(1, 20), rng.randint(20, 999)])), 1)
        said = said.replace("{t}", rng.choice(THINGS), 1).replace("{d}", rng.choice(DAYS), 1)
        said = said.replace("{s}", rng.choice(SUBJECTS), 1)
    return said


def music(rng: np.random.Generator, length: int) -> Sound:
    """Chords of four voices that change twice a second."""
    out = np.zeros(length, np.float32)
    step = SAMPLE_RATE_HZ // 2
    time_s = np.arange(step) / SAMPLE_RATE_HZ
    for at in range(0, length - step, step):
        root = 110 * 2 ** (rng.integers(0, 24) / 12)
        for interval in (0, 4, 7, 12):
            pitch = root * 2 ** (interval / 12)
            for harmonic in (1, 2, 3):
                wave = np.sin(2 * np.pi * pitch * harmonic * time_s) / harmonic
                out[at : at + step] += (wave * np.exp(-2 * time_s)).astype(np.float32)
    return out / max(1e-6, float(np.sqrt(np.mean(out**2))))


def minutes_of_talk(minutes: float, seed: int) -> Iterator[Sound]:
    """Monologues of about half a minute, over quiet, music or a machine."""
    rng, noise_rng = random.Random(seed), np.random.default_rng(seed)
    voices, made_s = talk_voices(rng), 0.0
    while made_s < minutes * 60:
        voice = next(voices)
        parts: list[Sound] = []
        while sum(map(len, parts)) < 30 * SAMPLE_RATE_HZ:
            said = voice.say(sentence(rng) + ".")  # type: ignore[attr-defined]
            gap = np.zeros(int(rng.uniform(*GAP_S) * SAMPLE_RATE_HZ), np.float32)
            parts += [said / max(1e-3, float(np.abs(said).max())), gap]
        sound = np.concatenate(parts) * rng.uniform(0.05, 0.5)
        over = rng.choice(["quiet", "music", "machine"])
        if over != "quiet":
            other = music if over == "music" else shop_noise
            power = float(np.sqrt(np.mean(sound**2))) * 10 ** (-rng.uniform(0, 20) / 20)
            sound = sound + other(noise_rng, len(sound)) * power
        made_s += len(sound) / SAMPLE_RATE_HZ
        yield (sound / max(1.0, float(np.abs(sound).max()))).astype(np.float32)


def talk(hours: float) -> None:
    """Counts what hours of talk make it do."""
    recognizer, lists = Recognizer(shipped_model()), lists_of(shipped_model())
    always = Session(setup_of(load_card("gate-coat")))
    attentive = Session(
        setup_of(load_card("gate-coat"), attention=timedelta(minutes=10)),
    )
    heard_s = 0.0
    counts = dict.fromkeys(("events awake", "asked awake", "utterances", "false wakes"), 0)
    events_asleep = 0
    for sound in minutes_of_talk(hours * 60, seed=11):
        data = pcm16(sound)
        for session, attention in ((always, Attention.ALL), (attentive, Attention.WAKE)):
            ear = Ear(recognizer, lists)
            for utterance in (*ear.hear(data, attention), *ear.finish()):
                now = FIRST_DAY + timedelta(seconds=heard_s + utterance.end_s)
                decision = session.step(heard_of(utterance), now)
                if attention is Attention.ALL:
                    counts["utterances"] += 1
                    counts["events awake"] += len(decision.events)
                    counts["asked awake"] += bool(decision.said)
                elif utterance.words in lists.wake | lists.danger:
                    counts["false wakes"] += 1
                    print("false wake:", " ".join(utterance.words), file=sys.stderr)
                if attention is Attention.ALL and decision.events:
                    print("event:", " ".join(utterance.words), decision.events, file=sys.stderr)
        heard_s += len(sound) / SAMPLE_RATE_HZ
        events_asleep = len(attentive.state.log)
    assert is_awake(always.setup, always.state, always.talk, FIRST_DAY)
    awake = f"{counts['events awake']} events recorded always awake, something said "
    awake += f"{counts['asked awake']} times"
    print(
        f"| {heard_s / 3600:.1f} h of talk, radio and machines, {counts['utterances']} "
        f"utterances | "
        f"{awake}; {events_asleep} events asleep, {counts['false wakes']} false wakes |"
    )


def wake() -> None:
    """How often the wake phrases are heard."""
    recognizer, lists = Recognizer(shipped_model()), lists_of(shipped_model())
    rng, noise_rng = random.Random(12), np.random.default_rng(12)
    voices = talk_voices(rng)
    for name, snr_db in (("clean", None), ("shop noise at 10 dB", 10.0)):
        heard = tries = 0
        for _ in range(100):
            voice = next(voices)
            for phrase in WAKE_PHRASES:
                said = voice.say(phrase.capitalize() + ".")  # type: ignore[attr-defined]
                sound = np.pad(said / max(1e-3, float(np.abs(said).max())) * 0.3, SAMPLE_RATE_HZ)
                loud = sound[np.abs(sound) > 0.02 * np.abs(sound).max()]
                if snr_db is not None:
                    power = float(np.sqrt(np.mean(loud**2))) * 10 ** (-snr_db / 20)
                    sound = sound + shop_noise(noise_rng, len(sound)) * power
                ear = Ear(recognizer, lists)
                data = pcm16(sound.astype(np.float32))
                found = [*ear.hear(data, Attention.WAKE), *ear.finish()]
                heard += any(" ".join(one.words) == phrase for one in found)
                tries += 1
        print(f"| wake phrase, {name} | {heard} of {tries} ({heard / tries:.1%}) |", flush=True)


if __name__ == "__main__":
    print("| what | came out |\n| --- | --- |")
    if sys.argv[1:2] == ["talk"]:
        talk(float(sys.argv[2]))
    else:
        wake()
