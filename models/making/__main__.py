"""Make the speech model: ``python -m models.making STEP``, steps in order or all at once.

speech   synthesize the training speech into WORK/speech (what is there already is kept)
train    train on it, going on from --resume, into WORK/model.pt
export   write the folder that Vosk loads, WORK/model
all      every step
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from . import lexicon, network, speech
from .export import write_model
from .recipe import FULL, TINY, Recipe
from .texts import Texts
from .train import Trainer


def vocabulary_of(recipe: Recipe) -> lexicon.Vocabulary:
    """The recipe's vocabulary: all of it, or its few words as the kind "toy"."""
    vocabulary = lexicon.load()
    if not recipe.words:
        return vocabulary
    prons = {word: vocabulary.prons[word][:1] for word in recipe.words}
    return lexicon.Vocabulary({"toy": list(recipe.words)}, prons, [])


def make_speech(recipe: Recipe, work: Path, voices: Path) -> None:
    """Synthesize every batch that is not cached yet."""
    vocabulary = vocabulary_of(recipe)
    for batch in recipe.batches:
        folder = work / "speech" / batch.name
        if (folder / "tasks.json.gz").exists():
            print(f"{batch.name} is there already")
            continue
        rng = random.Random(batch.seed)
        made = speech.synthesize(
            speech.voices_of(batch.engine, rng, voices),
            Texts(vocabulary, rng),
            batch.mix,
            utterances=batch.utterances,
            a_voice=batch.a_voice,
            bank=batch.bank,
        )
        samples = speech.write_cache(folder, str(batch.seed), made)
        print(f"{batch.name}: {samples / speech.RATE / 3600:.2f} h", flush=True)


def train(recipe: Recipe, work: Path, resume: Path | None, seconds: float | None) -> None:
    """Train on the cached speech."""
    plan = recipe.plan if seconds is None else replace(recipe.plan, seconds=seconds, steps=0)
    folders = [work / "speech" / batch.name for batch in recipe.batches]
    Trainer(plan, folders, resume).run(work / "model.pt")


def export(recipe: Recipe, work: Path) -> None:
    """Write WORK/model from WORK/model.pt."""
    checkpoint = work / "model.pt"
    if not checkpoint.exists():
        raise speech.SpeechError(f"{checkpoint} is missing: run the step train first")
    net, log_prior = network.load(str(checkpoint))
    vocabulary = vocabulary_of(recipe)
    write_model(
        work / "model",
        network.folded(net),
        log_prior,
        lexicon.LABELS,
        lexicon.model_words(vocabulary, recipe.decoys),
        costs=recipe.costs,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("step", choices=["speech", "train", "export", "all"])
    parser.add_argument("--work", type=Path, required=True, help="folder for everything made")
    parser.add_argument("--tiny", action="store_true", help="the toy recipe, a minute on one core")
    parser.add_argument("--voices", type=Path, default=Path("package/voices"),
                        help="voices of kokoro-js, unpacked")  # fmt: skip
    parser.add_argument("--resume", type=Path, help="checkpoint or model folder to go on from")
    parser.add_argument("--seconds", type=float, help="training time instead of the recipe's")
    chosen = parser.parse_args(arguments)
    recipe = TINY if chosen.tiny else FULL
    try:
        if chosen.step in ("speech", "all"):
            make_speech(recipe, chosen.work, chosen.voices)
        if chosen.step in ("train", "all"):
            train(recipe, chosen.work, chosen.resume, chosen.seconds)
        if chosen.step in ("export", "all"):
            export(recipe, chosen.work)
    except (speech.SpeechError, lexicon.LexiconError, ValueError) as refusal:
        print(refusal, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
