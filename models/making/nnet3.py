"""The acoustic model as the Kaldi file am/final.mdl: transitions, network, label priors.

Source of every format fact: Kaldi 5.5, src/base/io-funcs-inl.h (a token is its text and a blank;
numbers carry their size in a byte before them), src/matrix/kaldi-vector.cc, kaldi-matrix.cc and
compressed-matrix.cc (FV, FM, CM2), src/hmm/hmm-topology.cc and transition-model.cc,
src/nnet3/nnet-nnet.cc (configuration lines, then components), nnet-tdnn-component.cc,
nnet-simple-component.cc (nonlinear components' statistics; FixedAffine; Maxpooling) and
am-nnet-simple.cc (contexts and priors).
"""

from __future__ import annotations

import itertools
import math
import re
import struct
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from handsfree.shell.word_graph import PhoneNumbers

Layer = tuple[list[int], bool, npt.NDArray[np.float32], npt.NDArray[np.float32]]


class ExportError(ValueError):
    """Layers or labels that do not fit together; the sentence says which."""


def token(text: str) -> bytes:
    return text.encode() + b" "


def integer(value: int) -> bytes:
    return b"\x04" + struct.pack("<i", value)


def real(value: float) -> bytes:
    return b"\x04" + struct.pack("<f", value)


def integers(values: Sequence[int]) -> bytes:
    return b"\x04" + struct.pack("<i", len(values)) + np.asarray(values, "<i4").tobytes()


def vector(values: npt.ArrayLike) -> bytes:
    data = np.ascontiguousarray(values, "<f4")
    return token("FV") + integer(len(data)) + data.tobytes()


def matrix(values: npt.ArrayLike, *, compress: bool) -> bytes:
    """A matrix of floats; compressed to 16 bits between its least and greatest value, which Kaldi
    reads as floats again."""
    data = np.ascontiguousarray(values, "<f4")
    rows, columns = data.shape
    if not compress:
        return token("FM") + integer(rows) + integer(columns) + data.tobytes()
    low = float(data.min())
    span = max(float(data.max()) - low, 1e-10)
    steps = np.clip(np.rint((data - low) * (65535.0 / span)), 0, 65535).astype("<u2")
    return token("CM2") + struct.pack("<ffii", low, span, rows, columns) + steps.tobytes()


def transition_model(labels: Sequence[str]) -> bytes:
    """One state a phone with equal chances to stay and to leave: costs are the graph's business."""
    phones = PhoneNumbers(tuple(labels))
    count, half = phones.count, math.log(0.5)
    parts = [
        token("<TransitionModel>"),
        token("<Topology>"),
        integers(range(1, count + 1)),
        integers([-1] + [0] * count),
        integer(1),  # Topology entries.
        integer(2),  # States of it.
        *(integer(0), integer(2), integer(0), real(0.5), integer(1), real(0.5)),
        *(integer(-1), integer(0), token("</Topology>")),
        token("<Triples>"),
        integer(count),
    ]
    for phone, score in enumerate(phones.scores(), 1):
        parts += [integer(phone), integer(0), integer(score)]
    parts += [token("</Triples>"), token("<LogProbs>"), vector([0.0] + [half] * (2 * count))]
    parts += [token("</LogProbs>"), token("</TransitionModel>")]
    return b"".join(parts)


def _nonlinear(kind: str, size: int) -> bytes:
    empty = vector([])
    return (
        token(f"<{kind}>")
        + token("<Dim>")
        + integer(size)
        + token("<ValueAvg>")
        + empty
        + token("<DerivAvg>")
        + empty
        + token("<Count>")
        + real(0.0)
        + token(f"</{kind}>")
    )


def _tdnn(layer: Layer, compress: bool) -> bytes:
    offsets, _, weight, bias = layer
    return b"".join(
        [
            token("<TdnnComponent>"),
            token("<LearningRate>") + real(0.0),
            token("<TimeOffsets>") + integers(offsets),
            token("<LinearParams>") + matrix(weight, compress=compress),
            token("<BiasParams>") + vector(bias),
            token("<OrthonormalConstraint>") + real(0.0),
            token("<UseNaturalGradient>") + b"F",
            token("<NumSamplesHistory>") + real(2000.0),
            token("<AlphaInOut>") + real(4.0) + real(4.0),
            token("<RankInOut>") + integer(1) + integer(1),
            token("</TdnnComponent>"),
        ]
    )


def _best_label(size: int, log_prior: npt.NDArray[np.float64]) -> list[tuple[str, bytes]]:
    """Two components: all outputs but the blank with their priors taken off, then the greatest."""
    count = size - 1
    pick = (
        token("<FixedAffineComponent>")
        + token("<LinearParams>")
        + matrix(np.eye(size)[1:], compress=False)
        + token("<BiasParams>")
        + vector(-log_prior[1:])
        + token("</FixedAffineComponent>")
    )
    sizes = {"InputXDim": count, "InputYDim": 1, "InputZDim": 1, "PoolXSize": count}
    sizes |= {"PoolYSize": 1, "PoolZSize": 1, "PoolXStep": count, "PoolYStep": 1, "PoolZStep": 1}
    best = b"".join(token(f"<{name}>") + integer(value) for name, value in sizes.items())
    pooling = token("<MaxpoolingComponent>") + best + token("</MaxpoolingComponent>")
    return [("pick", pick), ("best", pooling)]


def check_layers(layers: Sequence[Layer], inputs: int, outputs: int) -> None:
    """Refuses layers whose sizes do not follow from each other."""
    size = inputs
    for number, (offsets, _, weight, bias) in enumerate(layers):
        if list(offsets) != sorted(set(offsets)):
            raise ExportError(f"layer {number}: offsets {offsets} must grow and not repeat")
        if weight.shape[1] != size * len(offsets):
            raise ExportError(
                f"layer {number}: the matrix has {weight.shape[1]} columns, "
                f"{len(offsets)} offsets of {size} inputs need {size * len(offsets)}"
            )
        if len(bias) != len(weight):
            raise ExportError(f"layer {number}: {len(bias)} biases for {len(weight)} rows")
        if not (np.isfinite(weight).all() and np.isfinite(bias).all()):
            raise ExportError(f"layer {number}: a weight is not a number; train again")
        size = len(weight)
    if size != outputs:
        raise ExportError(f"the last layer has {size} outputs for {outputs} labels")


def acoustic_model(
    layers: Sequence[Layer],
    labels: Sequence[str],
    log_prior: npt.ArrayLike,
    *,
    inputs: int,
    compress: bool = True,
) -> bytes:
    """The whole final.mdl.

    Args:
        layers: offsets, whether ReLU follows, matrix (rows by offsets times inputs), bias.
        labels: CTC labels, the blank first, one for each output of the last layer.
        log_prior: taken off each label's score; zeros for none.
        inputs: features a frame.
        compress: store matrices in 16 bits.

    The last output is the best of all labels but the blank; [unk] is made of it.
    """
    check_layers(layers, inputs, len(labels))
    prior = np.asarray(log_prior, np.float64)
    components: list[tuple[str, bytes]] = []
    config = [f"input-node name=input dim={inputs}"]
    source, left, right = "input", 0, 0

    def add(name: str, data: bytes) -> None:
        nonlocal source
        components.append((name, data))
        config.append(f"component-node name={name} component={name} input={source}")
        source = name

    for number, layer in enumerate(layers):
        left, right = left - min(layer[0]), right + max(layer[0])
        add(f"l{number}", _tdnn(layer, compress))
        if layer[1]:
            add(f"l{number}.relu", _nonlinear("RectifiedLinearComponent", len(layer[3])))
    add("logsoftmax", _nonlinear("LogSoftmaxComponent", len(labels)))
    for name, data in _best_label(len(labels), prior):
        add(name, data)
    config.append("output-node name=output input=Append(logsoftmax, best) objective=linear")
    parts = [
        token("<Nnet3>"),
        b"\n",
        ("\n".join(config) + "\n\n").encode(),
        token("<NumComponents>"),
        integer(len(components)),
    ]
    for name, data in components:
        parts += [token("<ComponentName>"), token(name), data]
    # The best label's own prior is 1: the priors are off before the greatest is taken.
    parts += [
        token("</Nnet3>"),
        token("<LeftContext>") + integer(left),
        token("<RightContext>") + integer(right),
        token("<Priors>") + vector(np.exp(np.append(prior, 0.0))),
    ]
    return b"\0B" + transition_model(labels) + b"".join(parts)


def _read_matrix(data: bytes, at: int) -> npt.NDArray[np.float32]:
    kind = data[at : data.index(b" ", at)]
    at += len(kind) + 1
    if kind == b"FM":
        rows, columns = (struct.unpack_from("<i", data, at + 1 + 5 * n)[0] for n in (0, 1))
        values = np.frombuffer(data, "<f4", rows * columns, at + 10)
        return np.asarray(values.reshape(rows, columns), np.float32)
    if kind == b"CM2":
        low, span, rows, columns = struct.unpack_from("<ffii", data, at)
        steps = np.frombuffer(data, "<u2", rows * columns, at + 16).reshape(rows, columns)
        return np.asarray(low + steps * (span / 65535.0), np.float32)
    raise ExportError(f"a matrix of kind {kind!r} is not one that this program writes")


def read_layers(data: bytes) -> list[Layer]:
    """The layers of a final.mdl that acoustic_model wrote; its rounding to 16 bits stays.

    Raises:
        ExportError: there are none, or a matrix is of another kind.
    """
    layers: list[Layer] = []
    starts = [found.start() for found in re.finditer(b"<TdnnComponent> ", data)]
    for start, end in itertools.pairwise([*starts, len(data)]):
        at = data.index(b"<TimeOffsets> ", start) + len(b"<TimeOffsets> ") + 1
        count = struct.unpack_from("<i", data, at)[0]
        offsets = np.frombuffer(data, "<i4", count, at + 4).tolist()
        weight = _read_matrix(data, data.index(b"<LinearParams> ", start) + len(b"<LinearParams> "))
        at = data.index(b"<BiasParams> FV ", start) + len(b"<BiasParams> FV ")
        bias = np.frombuffer(data, "<f4", struct.unpack_from("<i", data, at + 1)[0], at + 5)
        relu = data.find(b"<RectifiedLinearComponent> ", start, end) >= 0
        layers.append((offsets, relu, weight, bias.astype(np.float32)))
    if not layers:
        raise ExportError("no TDNN layers in this file: it is no model that this program wrote")
    return layers


def forward(
    layers: Sequence[Layer], features: npt.ArrayLike, log_prior: npt.ArrayLike, subsampling: int
) -> npt.NDArray[np.float64]:
    """The exported network in numpy: what Vosk computes, label scores for every third frame.

    Vosk pads with copies of the first and last frame by the sum of the offsets; then come plain
    convolutions.  The last column is the best label but the blank.
    """
    left = -sum(min(layer[0]) for layer in layers)
    right = sum(max(layer[0]) for layer in layers)
    frames = np.asarray(features, np.float64)
    place = np.clip(np.arange(-left, len(frames) + right), 0, len(frames) - 1)
    x = frames[place]
    for offsets, relu, weight, bias in layers:
        low = min(offsets)
        count = len(x) - (max(offsets) - low)
        parts = [x[offset - low : offset - low + count] for offset in offsets]
        x = np.concatenate(parts, 1) @ weight.T.astype(np.float64) + bias
        if relu:
            x = np.maximum(x, 0)
    x = x[: len(frames)][::subsampling]
    x = x - x.max(1, keepdims=True)
    x = x - np.log(np.exp(x).sum(1, keepdims=True)) - np.asarray(log_prior, np.float64)
    return np.concatenate([x, x[:, 1:].max(1, keepdims=True)], 1)
