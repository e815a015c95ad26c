"""What a model is made of: the full recipe and the tiny one that tests run."""

from __future__ import annotations

from dataclasses import dataclass, field

from handsfree.shell.word_graph import Costs

from .network import Shape
from .train import Plan


@dataclass(frozen=True)
class Batch:
    """Speech of one synthesizer."""

    name: str  # Cache folder.
    engine: str  # espeak, flite, pico, piper, kokoro.
    seed: int
    utterances: int
    a_voice: int  # Sentences of one voice in a row.
    bank: int  # Number words each voice says singly, beside the digits; 0 for none.
    mix: dict[str, float]  # Weights of the kinds of sentences.


MIXED = {"shop": 0.5, "digits": 0.25, "word": 0.1, "other": 0.15}
READINGS = {"reading": 0.7, "digits": 0.3}


@dataclass(frozen=True)
class Recipe:
    """Everything that decides what model comes out, but the synthesizers' versions."""

    batches: tuple[Batch, ...]
    plan: Plan
    decoys: int = 3000
    words: tuple[str, ...] = ()  # When not empty, the only words of the graph and of the texts.
    costs: Costs = field(default_factory=lambda: Costs(phone=0.4, unknown_phone=1.5))


FULL = Recipe(
    batches=(
        Batch("kokoro1", "kokoro", 100, 9000, 10, 5, MIXED),
        Batch("kokoro2", "kokoro", 141, 2000, 6, 0, READINGS),
        Batch("piper1", "piper", 302, 3000, 15, 12, MIXED),
        Batch("piper2", "piper", 310, 1500, 15, 0, READINGS),
        Batch("flite1", "flite", 300, 1800, 20, 14, MIXED),
        Batch("flite2", "flite", 312, 350, 10, 0, READINGS),
        Batch("pico1", "pico", 306, 2100, 30, 8, MIXED),
        Batch("pico2", "pico", 311, 350, 4, 0, READINGS),
        Batch("espeak1", "espeak", 303, 2200, 4, 4, MIXED),
        Batch("espeak2", "espeak", 313, 300, 2, 0, READINGS),
    ),
    plan=Plan(seconds=570, shape=Shape()),
)

# Learns six words from one synthesizer in one to two minutes on one core.
TINY = Recipe(
    batches=(Batch("espeak", "espeak", 1, 420, 6, 0, {"toy": 1.0}),),
    plan=Plan(
        seconds=0,
        steps=900,
        shape=Shape(width=96, far=3),
        peak=4e-3,
        batch_samples=700_000,
        batch_most=16,
        joined=0.0,
        held_back=40,
        noise_only=0.0,
        augment=False,
        dropout=0.0,
        settle=20,
        report_every=20.0,
    ),
    decoys=0,
    words=("resin", "hardener", "grams", "seven", "four", "stop"),
    costs=Costs(unknown_phone=4.0),
)
