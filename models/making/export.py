"""A checkpoint and a lexicon to the folder that Vosk loads, with its check sums."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np
import numpy.typing as npt

from handsfree.shell import word_graph

from . import features, nnet3
from .lexicon import write_pronunciations
from .network import SUBSAMPLING

# phone-determinize must be off: with [unk] in the list, 10 s of noise else take 60 s.
# acoustic-scale 1 suits CTC, whose scores are true logarithms of probabilities.
MODEL_CONF = """--min-active=200
--max-active=3000
--beam={beam:g}
--lattice-beam={lattice_beam:g}
--acoustic-scale={acoustic_scale:g}
--phone-determinize=false
--frame-subsampling-factor={subsampling}
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.5
--endpoint.rule3.min-trailing-silence=0.75
--endpoint.rule4.min-trailing-silence=1.0
"""


def write_model(
    folder: Path,
    layers: Sequence[nnet3.Layer],
    log_prior: npt.NDArray[np.float32],
    labels: Sequence[str],
    prons: Mapping[str, Sequence[Sequence[str]]],
    *,
    costs: word_graph.Costs,
    prior_scale: float = 0.8,
    beam: float = 12.0,
    lattice_beam: float = 5.0,
    acoustic_scale: float = 1.0,
    compress: bool = True,
) -> None:
    """Write am/, conf/, graph/ and lexicon.txt of a model folder.

    Args:
        prior_scale: how much of the labels' log priors is taken off; 0.8 was best by trial.
        beam, lattice_beam: see Kaldi's decoder; wider is slower.

    Source: Vosk 0.3.45 src/model.cc for the files looked for.
    """
    for name in ("am", "conf", "graph"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    model = nnet3.acoustic_model(
        layers, labels, prior_scale * log_prior, inputs=features.CEPSTRA, compress=compress
    )
    (folder / "am" / "final.mdl").write_bytes(model)
    (folder / "conf" / "mfcc.conf").write_text(features.conf())
    conf = MODEL_CONF.format(
        beam=beam,
        lattice_beam=lattice_beam,
        acoustic_scale=acoustic_scale,
        subsampling=SUBSAMPLING,
    )
    (folder / "conf" / "model.conf").write_text(conf)
    word_graph.write(folder / "graph", prons, labels, costs)
    lexicon = {word: [tuple(pron) for pron in choices] for word, choices in prons.items()}
    write_pronunciations(folder / "lexicon.txt", lexicon)
    # What "handsfree words add" needs beside the lexicon to rebuild the graph.
    (folder / "graph.json").write_text(
        json.dumps({"labels": list(labels), "costs": asdict(costs)}, indent=1) + "\n"
    )
    word_graph.write_sums(folder)
