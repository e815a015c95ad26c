"""Training: cached speech in, a checkpoint out; resumable, seeded, on one GPU or the CPU."""

from __future__ import annotations

import random
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch.nn import functional

from .augment import Augmenter
from .network import (
    MfccBank,
    Shape,
    Tdnn,
    learning_rate,
    load,
    outputs_of,
    save,
    settle_identity,
    unfolded,
    widened,
)
from .nnet3 import read_layers
from .speech import RATE, SpeechError, read_cache

SECONDS_SHORTEST, SECONDS_LONGEST = 0.2, 9.0


@dataclass(frozen=True)
class Plan:
    """How to train."""

    seconds: float  # Wall-clock time for the steps.
    shape: Shape
    steps: int = 0  # When above 0, so many steps instead, however long they take.
    augment: bool = True  # False: level and a little noise only (toy models).
    peak: float = 1.5e-3  # Highest learning rate.
    batch_samples: int = 12_000_000  # Utterances times the longest: what fills the device.
    batch_most: int = 256  # Utterances.
    joined: float = 0.35  # Share of utterances joined from single words.
    held_back: int = 200  # Utterances kept for the phone error rate.
    noise_only: float = 0.02  # Share of utterances without any speech: noise is no phone.
    report_every: float = 60.0  # Seconds between phone error rates.
    telephone: float = 0.35  # Share of utterances cut at about 4 kHz.
    dropout: float = 0.1
    noises: int = 384
    settle: int = 200  # Batches that the norms' final statistics are averaged over.
    seed: int = 1


@dataclass(frozen=True)
class Piece:
    """A stretch of the sound pool."""

    first: int  # Sample in the pool.
    count: int  # Samples.
    lead: int  # Samples before the speech starts.
    tail: int  # Samples after it ends.
    labels: tuple[int, ...]
    voice: str


class Pool:
    """All training sound in one row on the device, and where each utterance lies in it."""

    def __init__(self, folders: Iterable[Path], device: torch.device) -> None:
        sounds: list[npt.NDArray[np.int16]] = []
        self.sentences: list[Piece] = []
        self.words: list[Piece] = []
        at = 0
        folders = list(folders)
        with ThreadPoolExecutor() as threads:  # Decoding Opus is slow but lets threads run.
            caches = list(threads.map(lambda folder: list(read_cache(folder)), folders))
        for folder, cache in zip(folders, caches, strict=True):
            for task, sound in cache:
                if not SECONDS_SHORTEST < len(sound) / RATE < SECONDS_LONGEST:
                    continue
                loud = np.flatnonzero(np.abs(sound.astype(np.int32)) > 900)
                if not len(loud):
                    continue
                piece = Piece(
                    at,
                    len(sound),
                    int(loud[0]),
                    int(len(sound) - 1 - loud[-1]),
                    tuple(task["p"]),
                    str(folder.name[0]) + str(task.get("v")),
                )
                (self.words if " " not in task["t"] else self.sentences).append(piece)
                sounds.append(sound)
                at += len(sound)
        if not sounds:
            raise SpeechError("no cached speech in the folders given: make the cache first")
        self.sound = torch.from_numpy(np.concatenate(sounds)).to(device)
        self.hours = at / RATE / 3600
        self.by_voice: dict[str, list[Piece]] = {}
        for word in self.words:
            self.by_voice.setdefault(word.voice, []).append(word)
        self.voices = [voice for voice, words in self.by_voice.items() if len(words) >= 5]


@dataclass(frozen=True)
class Placed:
    """One piece of an utterance to be put together."""

    at: int  # Where it starts in the utterance, samples.
    source: int  # Where it starts in the pool.
    count: int  # Samples taken from the pool.
    rate: float  # Pool samples for each sample of the utterance.
    gain: float


Recipe = tuple[list[Placed], int, tuple[int, ...]]  # Pieces, length in samples, labels.


def plain_recipe(piece: Piece, rng: random.Random) -> Recipe:
    """One utterance as it was spoken, faster or slower, with quiet around it."""
    rate = float(np.exp(rng.uniform(-0.2, 0.2)))
    lead = rng.randint(0, 400) if rng.random() < 0.15 else rng.randint(800, 9600)
    length = lead + int(piece.count / rate) + rng.randint(800, 9600)
    return [Placed(lead, piece.first, piece.count, rate, 1.0)], length, piece.labels


def joined_recipe(pool: Pool, how_many: int, rng: random.Random) -> Recipe:
    """Single words in a row, mostly of one voice, cut close and with uneven pauses and levels."""
    voice = rng.choice(pool.voices)
    words = pool.by_voice[voice]
    rate = float(np.exp(rng.uniform(-0.2, 0.2)))
    pace, spread_db = rng.choice([200, 1500, 4000, 8000]), rng.uniform(0, 5)
    cut = rng.choice([0, 0, 200, 500])
    placed: list[Placed] = []
    labels: list[int] = []
    at = rng.randint(0, 8000)
    for _ in range(how_many):
        word = rng.choice(words if rng.random() < 0.95 else pool.words)
        # Recordings of single words are often cut into the first or last sound.
        first = max(0, word.lead - rng.randint(-cut, 800))
        last = max(first + 800, word.count - max(0, word.tail - rng.randint(-cut, 1600)))
        own = rate * float(np.exp(rng.uniform(-0.06, 0.06)))
        gain = 10 ** (rng.uniform(-spread_db, spread_db) / 20)
        count = min(last, word.count) - first
        placed.append(Placed(at, word.first + first, count, own, gain))
        labels += word.labels
        at += int(count / own) + rng.randint(0, pace)
    return placed, at + rng.randint(0, 9600), tuple(labels)


def put_together(
    recipes: Sequence[Recipe], pool: Pool, device: torch.device
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Sounds (16-bit scale), marks of speech, and lengths in samples, of a batch of recipes."""
    # Whole quarters of a second: a Fourier transform of an odd length is slow, and so is planning
    # a new one at every step.
    longest = -(-max(length for _, length, _ in recipes) // 4000) * 4000
    count = len(recipes)
    time_axis = torch.arange(longest, device=device)[None].float()
    sound = torch.zeros(count, longest, device=device)
    active = torch.zeros(count, longest, device=device)
    for slot in range(max(len(placed) for placed, _, _ in recipes)):
        rows = [row for row, (placed, _, _) in enumerate(recipes) if len(placed) > slot]
        pieces = [recipes[row][0][slot] for row in rows]
        table = torch.tensor(
            [[p.at, p.source, p.count, p.rate, p.gain] for p in pieces],
            dtype=torch.float64,
            device=device,
        )
        place = (time_axis - table[:, 0:1].float()) * table[:, 3:4].float()
        inside = (place >= 0) & (place < table[:, 2:3].float() - 1)
        place = place.clamp(min=0)
        low = place.floor()
        part = place - low
        source = (table[:, 1:2].long() + low.long()).clamp(max=len(pool.sound) - 2)
        value = pool.sound[source].float() * (1 - part) + pool.sound[source + 1].float() * part
        index = torch.tensor(rows, device=device)
        sound[index] += value * inside * table[:, 4:5].float()
        active[index] += inside.float()
    lengths = torch.tensor([length for _, length, _ in recipes], device=device)
    return sound, active.clamp(max=1), lengths


def phone_errors(said: Sequence[int], heard: Sequence[int]) -> int:
    """Fewest insertions, deletions and substitutions that turn one into the other."""
    row = list(range(len(heard) + 1))
    for i, label in enumerate(said, 1):
        corner, row[0] = row[0], i
        for j, other in enumerate(heard, 1):
            corner, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, corner + (label != other))
    return row[-1]


def best_path(scores: torch.Tensor) -> list[int]:
    """Labels of the best frame-wise path, repeats and blanks taken out."""
    best = scores.argmax(-1).tolist()
    return [now for now, before in zip(best, [0, *best[:-1]], strict=True) if now and now != before]


class Trainer:
    """Training state; `run` takes the steps and writes checkpoints."""

    def __init__(self, plan: Plan, folders: Iterable[Path], resume: Path | None) -> None:
        torch.manual_seed(plan.seed)
        self.plan, self.rng = plan, random.Random(plan.seed)
        self.device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
        if self.device.type == "cuda":
            torch.backends.cuda.matmul.allow_tf32 = True
            torch.backends.cudnn.allow_tf32 = True
        self.pool = Pool(folders, self.device)
        self.rng.shuffle(self.pool.sentences)
        everything = [*self.pool.sentences, *self.pool.words]
        self.held = self.pool.sentences[: plan.held_back]
        kept = self.pool.sentences[plan.held_back :] or everything
        self.pool.sentences = sorted([*kept, *self.pool.words], key=lambda piece: piece.count)
        self.net = self._network(resume).to(self.device)
        self.net.dropout = plan.dropout
        self.features = MfccBank(self.device)
        self.augment = (
            Augmenter(
                self.device, clips=plan.noises, talk=self.pool.sound, telephone=plan.telephone
            )
            if plan.augment
            else None
        )
        self.optimizer = torch.optim.AdamW(self.net.parameters(), lr=plan.peak, weight_decay=1e-3)
        self.log_prior = np.zeros(plan.shape.outputs, np.float32)
        if resume is not None and resume.is_dir():
            with torch.no_grad():
                settle_identity(self.net, [self.features(self.batch()[0]) for _ in range(20)])

    def _network(self, resume: Path | None) -> Tdnn:
        if resume is None:
            return Tdnn(self.plan.shape)
        if resume.is_dir():
            return unfolded(read_layers((resume / "am" / "final.mdl").read_bytes()))
        net, _ = load(str(resume))
        if net.shape == self.plan.shape:
            return net
        return widened(net, self.plan.shape, torch.Generator().manual_seed(self.plan.seed))

    def batch(self) -> tuple[torch.Tensor, torch.Tensor, list[tuple[int, ...]]]:
        """Changed sound of a random batch of like lengths, output counts, labels."""
        plan, rng, sentences = self.plan, self.rng, self.pool.sentences
        start = rng.randrange(len(sentences))
        longest = sentences[min(start + plan.batch_most, len(sentences)) - 1].count * 1.1 + 12000
        count = max(4, min(plan.batch_most, int(plan.batch_samples / longest)))
        start = min(start, max(0, len(sentences) - count))
        recipes: list[Recipe] = []
        for piece in sentences[start : start + count]:
            if self.pool.voices and rng.random() < plan.joined:
                most = max(1, round(piece.count / RATE / 0.6))
                recipes.append(joined_recipe(self.pool, rng.randint((most + 1) // 2, most), rng))
            else:
                recipes.append(plain_recipe(piece, rng))
        sound, active, lengths = put_together(recipes, self.pool, self.device)
        labels = [recipe[2] for recipe in recipes]
        for row in range(len(labels)):
            if rng.random() < plan.noise_only:
                sound[row] *= 1e-3  # Too quiet beside the noise to be heard.
                labels[row] = ()
        if self.augment is None:
            level = 10 ** (-torch.rand(len(sound), 1, device=self.device))
            sound = sound * level + 10 * torch.randn_like(sound)
        else:
            sound = self.augment(sound, active)
        return sound, outputs_of(lengths), labels

    def step(self, rate: float) -> torch.Tensor:
        """One step; returns the loss a label, still on the device."""
        for group in self.optimizer.param_groups:
            group["lr"] = rate
        sound, outputs, labels = self.batch()
        warp = torch.exp(torch.randn(len(sound), device=self.device).clamp(-2, 2) * 0.06)
        features = self.features(sound, warp)
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            scores = self.net(features)
        log_probs = functional.log_softmax(scores.float(), -1).transpose(0, 1)
        targets = torch.tensor([label for row in labels for label in row], device=self.device)
        counts = torch.tensor([len(row) for row in labels], device=self.device)
        loss = functional.ctc_loss(
            log_probs,
            targets,
            outputs.clamp(max=len(log_probs)),
            counts,
            zero_infinity=True,
            reduction="sum",
        ) / max(1, len(targets))
        self.optimizer.zero_grad()
        loss.backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 5.0)
        self.optimizer.step()
        return loss.detach()

    @torch.no_grad()
    def phone_error_rate(self) -> float:
        """On the sentences held back, unchanged but for quiet around them."""
        self.net.eval()
        errors = labels = 0
        for first in range(0, len(self.held), 100):
            recipes: list[Recipe] = [
                ([Placed(3200, p.first, p.count, 1.0, 1.0)], p.count + 9600, p.labels)
                for p in self.held[first : first + 100]
            ]
            sound, _, lengths = put_together(recipes, self.pool, self.device)
            scores = self.net(self.features(sound * 0.3)).cpu()
            for row, (_, _, said) in enumerate(recipes):
                heard = best_path(scores[row, : int(outputs_of(lengths[row : row + 1]))])
                errors += phone_errors(said, heard)
                labels += len(said)
        self.net.train()
        return errors / max(1, labels)

    @torch.no_grad()
    def settle_norms(self, batches: int) -> None:
        """Average the norms' statistics over many batches, without dropout.

        While training they follow the last ten batches, and those may all be of single words.
        """
        self.net.train()
        dropout, self.net.dropout = self.net.dropout, 0.0
        for norm in [self.net.input_norm, *self.net.norms]:
            assert isinstance(norm, torch.nn.BatchNorm1d)
            norm.reset_running_stats()
            norm.momentum = None  # A plain average.
        for _ in range(batches):
            sound, _, _ = self.batch()
            self.net(self.features(sound))
        for norm in [self.net.input_norm, *self.net.norms]:
            norm.momentum = 0.1
        self.net.dropout = dropout

    @torch.no_grad()
    def priors(self, batches: int = 12) -> npt.NDArray[np.float32]:
        """Log of the average share of each label, on changed sound."""
        self.net.eval()
        total = torch.zeros(self.plan.shape.outputs, device=self.device)
        for _ in range(batches):
            sound, outputs, _ = self.batch()
            shares = self.net(self.features(sound)).softmax(-1)
            inside = torch.arange(shares.shape[1], device=self.device)[None] < outputs[:, None]
            total += (shares * inside[..., None]).sum((0, 1))
        self.net.train()
        return np.asarray(torch.log(total / total.sum() + 1e-8).cpu().numpy(), np.float32)

    def _share_done(self, steps: int, seconds: float) -> float:
        if self.plan.steps:
            return steps / self.plan.steps
        return seconds / self.plan.seconds if self.plan.seconds > 0 else 1.0

    def run(self, out: Path) -> dict[str, Any]:
        """Train for the planned time; a checkpoint at each report, so a cut run is not lost."""
        out.parent.mkdir(parents=True, exist_ok=True)
        begin = last_report = time.monotonic()
        steps, losses = 0, []
        self.net.train()
        while (done := self._share_done(steps, time.monotonic() - begin)) < 1:
            losses.append(self.step(learning_rate(done, self.plan.peak)))
            steps, now = steps + 1, time.monotonic()
            if now - last_report > self.plan.report_every:
                last_report = now
                save(str(out), self.net, self.log_prior)
                print(
                    f"{now - begin:.0f} s, {steps} steps, loss {torch.stack(losses).mean():.3f}, "
                    f"phone errors {self.phone_error_rate():.4f}",
                    flush=True,
                )
                losses = []
        self.settle_norms(self.plan.settle)
        self.log_prior = self.priors()
        save(str(out), self.net, self.log_prior)
        report = {
            "hours": round(self.pool.hours, 2),
            "utterances": len(self.pool.sentences),
            "steps": steps,
            "seconds": round(time.monotonic() - begin),
            "phone_error_rate": round(self.phone_error_rate(), 4),
            "device": torch.cuda.get_device_name() if self.device.type == "cuda" else "cpu",
        }
        print(report, flush=True)
        return report
