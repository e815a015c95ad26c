"""How well it hears: recordings with known words, in noise, scored by what the dialogue does.

``handsfree bench hearing --speech FOLDER`` takes any folder with an ``index.tsv`` whose
columns are file, voice, words, component and grams; or file, speaker and digits.
"""

import argparse
import statistics
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from functools import lru_cache, partial
from multiprocessing import get_context
from pathlib import Path
from random import Random

import numpy as np

from handsfree.core.mix import Component
from handsfree.job.boundary import Heard
from handsfree.job.step import Outcome
from handsfree.language.grammar import essential_words
from handsfree.language.intents import TakeReading
from handsfree.language.numbers import say_digits
from handsfree.language.quantities import KILO_WORDS, MASS_WORDS, read_mass
from handsfree.shell import sound_format
from handsfree.shell.audio_file import blocks_of
from handsfree.shell.cards import DEFAULT_CARD, load_card
from handsfree.shell.ear import Ear, Utterance
from handsfree.shell.hear import heard_of
from handsfree.shell.hearing import Hearing, lists_of
from handsfree.shell.model_folder import check_model, shipped_model
from handsfree.shell.recognizer import Recognizer
from handsfree.shell.session import Session, setup_of
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, Samples, pcm16
from handsfree.shell.typed import FIRST_DAY

# The scale of the test must not be what refuses a reading.
STEP_G, CAPACITY_G = Fraction(1, 10), Fraction(100_000)
LEAD_IN_S, TAIL_S = 0.3, 0.8
LATENCY_BLOCK_S = 0.02
LATENCY_SAMPLE = 40
# The reading is four fifths of the target: it can only be the progress of a pour.
POUR_SHARE = Fraction(4, 5)


class Score(Enum):
    """What became of a reading."""

    RIGHT = "right"  # The true value, accepted or asked back.
    ASKED_WRONG = "asked, wrong value"  # Read back; a no puts it right.
    ASKED_OTHER = "asked, no value"  # Several values, or digit by digit please.
    REJECTED = "rejected"
    UNHEARD = "unheard"
    SILENTLY_WRONG = "silently wrong"  # A wrong value accepted without a question.


@dataclass(frozen=True)
class Recording:
    """One recording with its truth."""

    path: Path
    voice: str
    words: tuple[str, ...]
    component: Component | None
    grams: Fraction

    @property
    def form(self) -> str:
        """How the number was spoken."""
        number = tuple(word for word in self.words if word in MASS_WORDS)
        if KILO_WORDS & set(number):
            return "kilos"
        masses = read_mass(number)
        if not masses:
            return "with a part's letter"
        if masses[0].grams.denominator != 1:
            return "decimal"
        return masses[0].form.value if len(masses) == 1 else "ambiguous"


@dataclass(frozen=True)
class Result:
    """One recording under one condition."""

    recording: Recording
    condition: str
    heard: tuple[str, ...]
    is_exact: bool
    fresh: Score  # In a dialogue that waits for its first reading.
    in_pour: Score  # In the middle of a pour, where progress is accepted.


def recordings_of(folder: Path) -> tuple[Recording, ...]:
    """The recordings of an indexed folder.

    Raises:
        ValueError: no index, or a row that is neither kind.
    """
    index = folder / "index.tsv"
    if not index.is_file():
        raise ValueError(f"{folder} has no index.tsv; see handsfree bench hearing --help.")
    found = []
    for number, line in enumerate(index.read_text(encoding="utf-8").splitlines(), start=1):
        fields = line.split("\t")
        if fields[0] == "file":
            continue
        path = folder / fields[0]
        if len(fields) == 3 and fields[2].isdecimal():
            value = Fraction(int(fields[2]))
            words = tuple(say_digits(Fraction(digit)) for digit in fields[2])
            found.append(Recording(path, fields[1], words, None, value))
        elif len(fields) == 5:
            component = Component(fields[3]) if fields[3] else None
            words = tuple(fields[2].lower().split())
            found.append(Recording(path, fields[1], words, component, Fraction(fields[4])))
        else:
            raise ValueError(f"{index}, line {number}: expected 3 or 5 columns.")
    return tuple(found)


def samples_of(path: Path) -> Samples:
    """A recording as samples between -1 and 1, quiet before and after it."""
    lead_in = np.zeros(int(LEAD_IN_S * SAMPLE_RATE_HZ), np.float32)
    tail = np.zeros(int(TAIL_S * SAMPLE_RATE_HZ), np.float32)
    padded: Samples = np.concatenate([lead_in, _decoded(path), tail])
    return padded


def _decoded(path: Path) -> Samples:
    return sound_format.samples_of(b"".join(blocks_of(path)))


@lru_cache(maxsize=2)
def _noise(path: Path) -> Samples:
    """A noise, decoded once for all the recordings it is mixed with."""
    return _decoded(path)


def mixed(speech: Samples, noise: Samples, snr_db: float, seed: str) -> Samples:
    """Speech with noise at a ratio of powers, measured where there is speech.

    Args:
        speech, noise: 16 kHz samples.
        snr_db: 10 log10 of speech power over noise power.
        seed: chooses the stretch of noise; the same seed gives the same sound.
    """
    window = 400  # 25 ms.
    energy = np.convolve(speech**2, np.ones(window, np.float32) / window, "same")
    active = speech[energy > 0.02 * energy.max()]
    at = Random(seed).randrange(max(1, len(noise) - len(speech)))
    stretch = np.resize(noise[at:], len(speech))
    wanted = float(np.mean(active**2)) / 10 ** (snr_db / 10)
    total = speech + stretch * np.sqrt(wanted / float(np.mean(stretch**2)))
    louder = max(1.0, 1.02 * float(np.abs(total).max()))
    result: Samples = (total / louder).astype(np.float32)
    return result


@dataclass(frozen=True)
class Condition:
    """Clean, or one noise at one level."""

    noise: Path | None
    snr_db: float

    @property
    def name(self) -> str:
        """As the report names it."""
        return "clean" if self.noise is None else f"{self.noise.stem} {self.snr_db:g} dB"


class Examiner:
    """Decodes and scores; made once in each process."""

    def __init__(self, model: Path) -> None:
        """Loads the model and makes the same word list as the live loop."""
        check_model(model, essential_words())
        self.recognizer = Recognizer(model)
        self.lists = lists_of(model)
        card = load_card(DEFAULT_CARD)
        self.setup = setup_of(card, step_g=STEP_G, capacity_g=CAPACITY_G)

    def examine(self, recording: Recording, condition: Condition) -> Result:
        """The result of one recording under one condition."""
        samples = samples_of(recording.path)
        if condition.noise is not None:
            seed = f"{recording.path.name} {condition.name}"
            samples = mixed(samples, _noise(condition.noise), condition.snr_db, seed)
        ear = Ear(self.recognizer, self.lists)
        utterances = [*ear.hear(pcm16(samples)), *ear.finish()]
        heard = tuple(word for utterance in utterances for word in utterance.words)
        return Result(
            recording,
            condition.name,
            heard,
            is_exact=heard == recording.words,
            fresh=self._score(recording, utterances, Session(self.setup)),
            in_pour=self._score(recording, utterances, self._pouring(recording)),
        )

    def _pouring(self, recording: Recording) -> Session:
        """A dialogue in which the true reading is the progress of a pour."""
        session = Session(self.setup)
        step_g, ratio = STEP_G, self.setup.recipe.resin_per_hardener
        resin_g = (recording.grams / POUR_SHARE * ratio // step_g + 1) * step_g
        for words in (f"resin {say_digits(resin_g)} grams", "yes", "tare"):
            session.step(Heard(tuple(words.split())), FIRST_DAY)
        return session

    def _score(
        self, recording: Recording, utterances: Sequence[Utterance], session: Session
    ) -> Score:
        """The score of the last utterance that the dialogue did not ignore."""
        score = Score.UNHEARD
        for utterance in utterances:
            decision = session.step(heard_of(utterance), FIRST_DAY)
            intent = decision.intent
            if decision.outcome is Outcome.IGNORED:
                continue
            if decision.outcome is Outcome.REJECTED or not isinstance(intent, TakeReading):
                # An answer or a command instead of a reading moves something all the same.
                moved = decision.events or decision.outcome is Outcome.ACCEPTED
                score = Score.SILENTLY_WRONG if moved else Score.REJECTED
                continue
            values = {mass.grams for mass in intent.masses}
            if values != {recording.grams} or intent.component is not recording.component:
                if len(values) > 1:
                    score = Score.ASKED_OTHER
                elif decision.events:
                    score = Score.SILENTLY_WRONG
                else:
                    score = Score.ASKED_WRONG
            else:
                score = Score.RIGHT
        return score


_examiner: Examiner | None = None


def _start_worker(model: Path) -> None:
    global _examiner
    _examiner = Examiner(model)


def _examine(job: tuple[Recording, Condition]) -> Result:
    assert _examiner is not None
    return _examiner.examine(*job)


def examine_all(
    model: Path, recordings: Iterable[Recording], conditions: Sequence[Condition], jobs: int
) -> Iterator[Result]:
    """Every recording under every condition, in several processes."""
    work = [(recording, condition) for condition in conditions for recording in recordings]
    with ProcessPoolExecutor(
        jobs, get_context("spawn"), initializer=partial(_start_worker, model)
    ) as pool:
        yield from pool.map(_examine, work, chunksize=16)


# --- the report ---------------------------------------------------------------------------


def report(results: Sequence[Result], most_confusions: int) -> Iterator[str]:
    """The report as lines of Markdown."""
    yield from _table("condition", results, lambda result: result.condition)
    clean = [result for result in results if result.condition == "clean"]
    if clean:
        yield from _table("voice, clean", clean, lambda result: result.recording.voice)
        yield from _table("form, clean", clean, lambda result: result.recording.form)
    wrong = [r for r in results if r.fresh is not Score.RIGHT][:most_confusions]
    if wrong:
        yield "| said | heard | condition | first reading | in a pour |"
        yield "| --- | --- | --- | --- | --- |"
        for result in wrong:
            said, heard = " ".join(result.recording.words), " ".join(result.heard) or "-"
            yield (
                f"| {said} | {heard} | {result.condition} "
                f"| {result.fresh.value} | {result.in_pour.value} |"
            )
        yield ""


def _table(title: str, results: Iterable[Result], key: Callable[[Result], str]) -> Iterator[str]:
    groups: dict[str, list[Result]] = defaultdict(list)
    for result in results:
        groups[key(result)].append(result)
    yield (
        f"| {title} | n | words exact | right | asked, wrong value | asked, no value | rejected "
        "| unheard | silently wrong | in a pour: right | in a pour: silently wrong |"
    )
    yield "| --- |" + " ---: |" * 10
    for name, group in groups.items():
        counts, pour = Counter(r.fresh for r in group), Counter(r.in_pour for r in group)
        n = len(group)
        cells = [
            name,
            str(n),
            f"{sum(r.is_exact for r in group) / n:.1%}",
            f"{counts[Score.RIGHT] / n:.1%}",
            *(str(counts[score]) for score in list(Score)[1:]),
            f"{pour[Score.RIGHT] / n:.1%}",
            str(pour[Score.SILENTLY_WRONG]),
        ]
        yield f"| {' | '.join(cells)} |"
    yield ""


# --- speed and memory ---------------------------------------------------------------------


def speed(model: Path, recordings: Sequence[Recording]) -> Iterator[str]:
    """Real-time factor, start-up, latency and memory as lines of Markdown."""
    started_s = time.perf_counter()
    with Hearing(model) as hearing:
        start_s = time.perf_counter() - started_s
        for recording in recordings[:LATENCY_SAMPLE]:
            list(hearing.hear_all(blocks_of(recording.path)))
        peak_mb = _peak_mb(hearing.pid)
    examiner = Examiner(model)
    latencies_s, busy_s, sound_s = [], 0.0, 0.0
    for recording in recordings[:LATENCY_SAMPLE]:
        samples = samples_of(recording.path)
        latency_s, took_s = _latency_s(examiner, samples)
        busy_s += took_s
        sound_s += len(samples) / SAMPLE_RATE_HZ
        if latency_s is not None:
            latencies_s.append(latency_s)
    yield "| measure | value |"
    yield "| --- | ---: |"
    yield f"| real-time factor, end of speech and recognition | {busy_s / sound_s:.3f} |"
    yield f"| start of the recognizer process until it listens | {start_s:.2f} s |"
    yield f"| peak memory of the recognizer process | {peak_mb:.0f} MB |"
    if latencies_s:
        ordered = sorted(latencies_s)
        p95 = ordered[int(0.95 * (len(ordered) - 1))]
        yield (
            f"| end of speech to reply text, {len(ordered)} recordings | "
            f"median {statistics.median(ordered):.2f} s, 95th percentile {p95:.2f} s |"
        )
    yield ""


def _latency_s(examiner: Examiner, samples: Samples) -> tuple[float | None, float]:
    """From the last sound of the speech to the reply's text, and the time spent computing."""
    loud = np.flatnonzero(np.abs(samples) > 0.02 * np.abs(samples).max())
    speech_end_s = loud[-1] / SAMPLE_RATE_HZ
    ear = Ear(examiner.recognizer, examiner.lists)
    session = Session(examiner.setup)
    sound = pcm16(np.concatenate([samples, np.zeros(SAMPLE_RATE_HZ, np.float32)]))
    block_bytes = int(LATENCY_BLOCK_S * SAMPLE_RATE_HZ) * 2
    busy_s, latency_s = 0.0, None
    for at in range(0, len(sound), block_bytes):
        started_s = time.perf_counter()
        utterances = ear.hear(sound[at : at + block_bytes])
        for utterance in utterances:
            session.step(heard_of(utterance), FIRST_DAY)
        took_s = time.perf_counter() - started_s
        busy_s += took_s
        if utterances:
            latency_s = (at + block_bytes) / 2 / SAMPLE_RATE_HZ + took_s - speech_end_s
    return latency_s, busy_s


def _peak_mb(pid: int | None) -> float:
    """The most memory a process has had, where the system tells it (Linux)."""
    status = Path(f"/proc/{pid}/status")
    if not status.is_file():
        return float("nan")
    for line in status.read_text(encoding="utf-8").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    return float("nan")


# --- the command --------------------------------------------------------------------------


def run(args: argparse.Namespace) -> int:
    """The ``bench hearing`` command; returns the exit code.

    Raises:
        ValueError: an option or an index cannot be used; the message says why.
    """
    model = args.model or shipped_model()
    recordings = [r for folder in args.speech for r in recordings_of(folder)][:: args.every]
    conditions = [Condition(None, 0.0)]
    if args.noise is not None:
        levels = [float(level) for level in args.snr.split(",")]
        noises = sorted(path for path in args.noise.iterdir() if path.suffix in {".flac", ".wav"})
        conditions += [Condition(noise, level) for noise in noises for level in levels]
    started_s = time.perf_counter()
    results = list(examine_all(model, recordings, conditions, args.jobs))
    lines = [
        f"{len(recordings)} recordings, {len(conditions)} conditions, "
        f"{time.perf_counter() - started_s:.0f} s with {args.jobs} processes.",
        "",
        *report(results, args.confusions),
        *speed(model, recordings),
    ]
    text = "\n".join(lines)
    print(text)
    if args.report is not None:
        args.report.write_text(text + "\n", encoding="utf-8")
    return 0
