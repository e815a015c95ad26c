"""The exported network through the real Vosk against its twins in numpy and PyTorch."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handsfree.shell.openfst import Fst
from handsfree.shell.word_graph import PhoneNumbers, first_frame
from models.making import features, nnet3

LABELS = ("<blk>", "A", "B", "C", "D")
SUBSAMPLING = 3
# Vosk computes in 32-bit floats; measured at most 1e-5 for each output frame without compression.
TOLERANCE_A_FRAME = 1e-4
SCRIPT = """
import sys, numpy, vosk
folder, chunk, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
vosk.SetLogLevel(-1)
recognizer = vosk.KaldiRecognizer(vosk.Model(folder), 16000)
recognizer.SetMaxAlternatives(count)
data = numpy.load(folder + "/sound.npy").tobytes()
for at in range(0, len(data), 2 * chunk):
    recognizer.AcceptWaveform(data[at : at + 2 * chunk])
print(recognizer.FinalResult())
"""


def random_layers(rng: np.random.Generator, width: int = 24) -> list[Any]:
    offsets = [[-1, 0, 1], [-3, 0, 3], [-3, 0, 3], [0]]
    layers, inputs = [], features.CEPSTRA
    for number, near in enumerate(offsets):
        last = number == len(offsets) - 1
        outputs = len(LABELS) if last else width
        scale = 0.05 if number == 0 else 1.0
        weight = scale * rng.normal(size=(outputs, inputs * len(near))) / np.sqrt(inputs)
        layers.append((near, not last, weight.astype("f4"), rng.normal(size=outputs).astype("f4")))
        inputs = outputs
    return layers


def vosk_scores(
    folder: Path, layers: Any, log_prior: Any, sound: Any, paths: list[list[int]], chunk: int
) -> Any:
    """Vosk's total score of each path, a path being a label for every output frame."""
    pytest.importorskip("vosk")
    for name in ("am", "conf", "graph"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    model = nnet3.acoustic_model(layers, LABELS, log_prior, inputs=features.CEPSTRA, compress=False)
    (folder / "am/final.mdl").write_bytes(model)
    (folder / "conf/mfcc.conf").write_text(features.conf())
    (folder / "conf/model.conf").write_text(
        "--min-active=200\n--max-active=1000000\n--beam=1e6\n--lattice-beam=1e6\n"
        "--acoustic-scale=1\n--phone-determinize=false\n--frame-subsampling-factor=3\n"
        "--endpoint.silence-phones=1\n"
    )
    phones, graph = PhoneNumbers(LABELS), Fst()
    transitions = [first_frame(1)]
    transitions += [first_frame(phones.phone(n, "B")) for n in range(1, len(LABELS) + 1)]
    start, end = graph.state(), graph.state(0.0)
    for number, path in enumerate(paths, 1):
        state = start
        for at, label in enumerate(path):
            target = end if at == len(path) - 1 else graph.state()
            graph.arc(state, transitions[label], number if at == 0 else 0, 0.0, target)
            state = target
    words = ["<eps>", *(f"w{number}" for number in range(1, len(paths) + 1))]
    graph.write_const(folder / "graph/HCLG.fst", words)
    np.save(folder / "sound.npy", sound.astype("<i2"))
    # Vosk aborts when one process loads a second model: each case has its own.
    command = [sys.executable, "-c", SCRIPT, str(folder), str(chunk), str(len(paths))]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    heard = {a["text"]: a["confidence"] for a in json.loads(done.stdout)["alternatives"]}
    return np.array([heard[word] for word in words[1:]])


@pytest.mark.parametrize(
    ("samples", "chunk"),
    [
        pytest.param(400, 400, id="one-frame"),
        pytest.param(1200, 333, id="shorter-than-the-context"),
        pytest.param(16077, 3200, id="a-second"),
    ],
)
def test_vosks_scores_equal_the_forward_pass(tmp_path: Path, samples: int, chunk: int) -> None:
    rng = np.random.default_rng(samples)
    layers, log_prior = random_layers(rng), rng.normal(size=len(LABELS))
    sound = np.round(rng.normal(0, 2000, samples))
    want = nnet3.forward(layers, features.Mfcc()(sound), log_prior, SUBSAMPLING)
    # One path at random for each label that could be mixed up, and the "best label" throughout.
    paths = [list(rng.integers(0, len(LABELS) + 1, len(want))) for _ in range(6)]
    paths = [list(path) for path in dict.fromkeys(map(tuple, paths))]
    got = vosk_scores(tmp_path, layers, log_prior, sound, paths, chunk)
    totals = np.array([sum(want[t, label] for t, label in enumerate(path)) for path in paths])
    assert np.abs(got - totals).max() / len(want) < TOLERANCE_A_FRAME


def test_folded_layers_equal_the_trained_network(torch: Any) -> None:
    from models.making.network import Shape, Tdnn, folded

    torch.manual_seed(3)
    net = Tdnn(Shape(width=32, far=3))
    for norm in [net.input_norm, *net.norms]:  # Statistics as after training, not 0 and 1.
        norm.running_mean.normal_()
        norm.running_var.uniform_(0.5, 2)
    frames = torch.randn(1, 100, features.CEPSTRA)
    net.eval()
    with torch.no_grad():
        want = net(frames)[0].log_softmax(-1).numpy()
    got = nnet3.forward(folded(net), frames[0].numpy(), np.zeros(net.shape.outputs), SUBSAMPLING)
    assert np.abs(got[:, :-1] - want).max() < 1e-4
    assert np.allclose(got[:, -1], got[:, 1:-1].max(1))


def test_a_widened_network_says_what_the_old_one_said(torch: Any) -> None:
    from models.making.network import Shape, Tdnn, widened

    torch.manual_seed(4)
    old = Tdnn(Shape(width=32, far=3)).eval()
    new = widened(old, Shape(width=48, far=3), torch.Generator().manual_seed(1)).eval()
    frames = torch.randn(1, 60, features.CEPSTRA)
    with torch.no_grad():
        assert (old(frames) - new(frames)).abs().mean() < 0.1 * old(frames).abs().mean()


@pytest.mark.parametrize(
    ("change", "needle"),
    [
        pytest.param(lambda w: w[0].__setitem__(0, [1, 0]), "offsets", id="offsets"),
        pytest.param(lambda w: w[1].__setitem__(2, w[1][2][:, :-1]), "columns", id="columns"),
        pytest.param(lambda w: w[2].__setitem__(3, w[2][3][:-1]), "biases", id="bias"),
        pytest.param(lambda w: w.pop(), "outputs for 5 labels", id="outputs"),
        pytest.param(lambda w: w[0][2].__setitem__((0, 0), np.nan), "not a number", id="nan"),
    ],
)
def test_damaged_layers_are_refused(change: Callable[[Any], object], needle: str) -> None:
    layers = [list(layer) for layer in random_layers(np.random.default_rng(1))]
    change(layers)
    with pytest.raises(nnet3.ExportError, match=needle):
        nnet3.acoustic_model(
            [tuple(layer) for layer in layers], LABELS, np.zeros(5), inputs=features.CEPSTRA
        )


def test_compression_moves_a_weight_by_less_than_half_a_step() -> None:
    values = np.random.default_rng(2).normal(size=(30, 20)).astype("f4")
    data = nnet3.matrix(values, compress=True)
    assert data.startswith(b"CM2 ")
    low, span = np.frombuffer(data[4:12], "<f4")
    steps = np.frombuffer(data[20:], "<u2").reshape(30, 20)
    assert np.abs(low + steps * (span / 65535) - values).max() <= 0.51 * span / 65535
