"""The acoustic model: a time-delay network trained with CTC, one output every 30 ms."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch import nn
from torch.nn import functional

from .features import CEPSTRA, Mfcc
from .lexicon import LABELS

SUBSAMPLING = 3  # Feature frames (10 ms) for one output.


@dataclass(frozen=True)
class Shape:
    """Size of the network.

    Three layers look at neighbors 10 ms away; the others, from the one that drops two frames of
    three on, at neighbors 30 ms away.
    """

    width: int = 512  # Units of every hidden layer.
    near: int = 3  # Layers at 10 ms.
    far: int = 7  # Layers at 30 ms.
    outputs: int = len(LABELS)

    def offsets(self) -> list[list[int]]:
        """Feature frames each layer looks at, relative to its own."""
        near, far = [-1, 0, 1], [-SUBSAMPLING, 0, SUBSAMPLING]
        return [near] * self.near + [far] * self.far + [[0]]

    def context(self) -> int:
        """Feature frames the output looks back, and as many ahead."""
        return self.near + SUBSAMPLING * self.far


class Tdnn(nn.Module):
    """Convolution, ReLU, batch norm, repeated; a linear layer on top.  Padding is by copies of the
    first and last frame, as Vosk pads."""

    def __init__(self, shape: Shape, dropout: float = 0.1) -> None:
        super().__init__()
        self.shape, self.dropout = shape, dropout
        convs: list[nn.Conv1d] = []
        for at in range(shape.near + shape.far):
            stride = SUBSAMPLING if at == shape.near else 1
            # Behind the stride a step of one is 30 ms already; the striding layer itself needs
            # the dilation.
            dilation = SUBSAMPLING if at == shape.near else 1
            inputs = CEPSTRA if at == 0 else shape.width
            convs.append(nn.Conv1d(inputs, shape.width, 3, stride=stride, dilation=dilation))
        self.convs = nn.ModuleList(convs)
        self.norms = nn.ModuleList([nn.BatchNorm1d(shape.width) for _ in convs])
        self.input_norm = nn.BatchNorm1d(CEPSTRA, affine=False)
        self.output = nn.Conv1d(shape.width, shape.outputs, 1)

    def forward(self, features: torch.Tensor) -> torch.Tensor:
        """Scores before the softmax.

        Args:
            features: utterances, frames, CEPSTRA.

        Returns:
            utterances, ceil(frames / SUBSAMPLING), labels.
        """
        channels = features.shape[-1]
        x = self.input_norm(features.reshape(-1, channels)).view_as(features)
        context = self.shape.context()
        first = x[:, :1].expand(-1, context, -1)
        last = x[:, -1:].expand(-1, context, -1)
        x = torch.cat([first, x, last], 1)
        for at, (conv, norm) in enumerate(zip(self.convs, self.norms, strict=True)):
            y = functional.relu(_convolved(x, conv)).flatten(0, 1)
            x = norm(y).view(len(x), -1, y.shape[-1])
            if at and self.training and self.dropout:
                keep = torch.rand(len(x), 1, x.shape[-1], device=x.device) >= self.dropout
                x = x * keep / (1 - self.dropout)
        return functional.linear(x, self.output.weight[..., 0], self.output.bias)


def _convolved(x: torch.Tensor, conv: nn.Module) -> torch.Tensor:
    """A convolution over the second axis as one matrix product: several times faster in bfloat16
    than the library's, which wants the channels in the middle."""
    assert isinstance(conv, nn.Conv1d)
    step, stride, taps = conv.dilation[0], conv.stride[0], conv.kernel_size[0]
    count = (x.shape[1] - step * (taps - 1) - 1) // stride + 1
    reach = (count - 1) * stride + 1
    parts = [x[:, step * tap : step * tap + reach : stride] for tap in range(taps)]
    weight = conv.weight.permute(0, 2, 1).flatten(1)
    return functional.linear(torch.cat(parts, -1), weight, conv.bias)


class MfccBank:
    """Kaldi's MFCC on a batch of sounds, with the frequency axis stretched at will."""

    def __init__(self, device: torch.device) -> None:
        self.mfcc = Mfcc()
        self.mel = torch.tensor(self.mfcc.mel.T, dtype=torch.float32, device=device)
        self.dct = torch.tensor(self.mfcc.dct.T, dtype=torch.float32, device=device)
        self.window = torch.tensor(self.mfcc.window, dtype=torch.float32, device=device)

    def __call__(self, sound: torch.Tensor, warp: torch.Tensor | None = None) -> torch.Tensor:
        """(utterances, frames, CEPSTRA) of (utterances, samples) (16-bit scale).

        Args:
            warp: one factor for each utterance; bin f takes its energy from bin factor * f, as a
                longer or shorter vocal tract would.
        """
        m = self.mfcc
        frames = sound.unfold(1, m.length, m.shift)
        frames = frames - frames.mean(-1, keepdim=True)
        first = frames[..., :1] * (1 - m.preemphasis)
        frames = torch.cat([first, frames[..., 1:] - m.preemphasis * frames[..., :-1]], -1)
        spectrum = torch.fft.rfft(frames * self.window, m.fft)
        power = spectrum.real.square() + spectrum.imag.square()
        power = power[..., : m.fft // 2]
        if warp is not None:
            bins = power.shape[-1]
            place = torch.arange(bins, device=power.device)[None] * warp[:, None]
            place = place.clamp(max=bins - 1.001)
            low = place.floor().long()
            part = (place - low)[:, None, :]
            low = low[:, None, :].expand(-1, power.shape[1], -1)
            power = power.gather(2, low) * (1 - part) + power.gather(2, low + 1) * part
        return torch.log((power @ self.mel).clamp(min=float(m.floor))) @ self.dct


def frames_of(samples: torch.Tensor) -> torch.Tensor:
    """Feature frames of so many samples (at least one)."""
    m = Mfcc()
    return ((samples - m.length) // m.shift + 1).clamp(min=1)


def outputs_of(samples: torch.Tensor) -> torch.Tensor:
    """Network outputs of so many samples."""
    return (frames_of(samples) - 1) // SUBSAMPLING + 1


DEAD_VARIANCE = 1e-3  # Units that fire have variances above 0.1.

Layer = tuple[list[int], bool, npt.NDArray[np.float32], npt.NDArray[np.float32]]


def folded(net: Tdnn) -> list[Layer]:
    """The network as plain layers (offsets, whether ReLU follows, matrix, bias), norms folded in.

    A norm y = s·x + t before a layer W·y + b gives W' = W·s and b' = b + W·t.
    """
    net = net.double().cpu().eval()
    layers: list[Layer] = []
    norm: Any = net.input_norm
    scale = 1 / torch.sqrt(norm.running_var + norm.eps)
    shift = -norm.running_mean * scale
    modules: list[tuple[Any, Any]] = [
        *zip(net.convs, net.norms, strict=True),
        (net.output, None),
    ]
    for offsets, (conv, after) in zip(net.shape.offsets(), modules, strict=True):
        weight = conv.weight.detach()
        bias = conv.bias.detach() + torch.einsum("oik,i->o", weight, shift)
        weight = (weight * scale[None, :, None]).permute(0, 2, 1).reshape(len(weight), -1)
        layers.append(
            (
                list(offsets),
                after is not None,
                weight.numpy().astype(np.float32),
                bias.numpy().astype(np.float32),
            )
        )
        if after is not None:
            scale = after.weight.detach() / torch.sqrt(after.running_var + after.eps)
            # A unit that never fires is a constant. Its scale would be huge and stand for
            # nothing, and the file keeps 16 bits between the extremes of a matrix.
            scale[after.running_var < DEAD_VARIANCE] = 0.0
            shift = after.bias.detach() - after.running_mean * scale
    net.float()
    return layers


def unfolded(layers: Sequence[Layer]) -> Tdnn:
    """A network to train on from the plain layers of a model folder; the opposite of folded.

    Its norms change nothing yet.  Before training, settle_identity must match them to the data,
    or the first step would rescale every layer.
    """
    near = sum(offsets == [-1, 0, 1] for offsets, _, _, _ in layers)
    shape = Shape(len(layers[0][3]), near, len(layers) - 1 - near, len(layers[-1][3]))
    if [list(layer[0]) for layer in layers] != shape.offsets():
        raise ValueError("the layers' offsets are not those of a network that this program trains")
    net = Tdnn(shape)
    modules: list[Any] = [*net.convs, net.output]
    with torch.no_grad():
        for (offsets, _, weight, bias), module in zip(layers, modules, strict=True):
            taps = torch.from_numpy(weight).reshape(len(weight), len(offsets), -1)
            module.weight.copy_(taps.permute(0, 2, 1))
            module.bias.copy_(torch.from_numpy(bias))
    return net


@torch.no_grad()
def settle_identity(net: Tdnn, batches: Iterable[torch.Tensor]) -> None:
    """Give each norm the mean and deviation of what it gets, and let it put them back on.

    Args:
        net: norms after the layers change nothing yet.
        batches: features, utterances, frames, CEPSTRA.

    The input norm has no scale of its own: its effect goes into the first layer.
    """
    seen: list[list[torch.Tensor]] = [[] for _ in range(len(net.norms) + 1)]
    hooks = [
        norm.register_forward_pre_hook(lambda _m, given, into=into: into.append(given[0].detach()))
        for norm, into in zip([net.input_norm, *net.norms], seen, strict=True)
    ]
    net.eval()
    for features in batches:
        net(features)
    for hook in hooks:
        hook.remove()
    norms: list[Any] = [net.input_norm, *net.norms]
    first: Any = net.convs[0]
    for norm, given in zip(norms, seen, strict=True):
        values = torch.cat([part.reshape(-1, part.shape[-1]) for part in given]).float()
        mean, variance = values.mean(0), values.var(0, unbiased=False)
        if norm is net.input_norm:
            first.bias += torch.einsum("oik,i->o", first.weight, mean)
            first.weight *= torch.sqrt(variance + norm.eps)[None, :, None]
        else:
            norm.weight.copy_(torch.sqrt(variance + norm.eps))
            norm.bias.copy_(mean)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance)
    net.train()


def save(path: str, net: Tdnn, log_prior: npt.NDArray[np.float32]) -> None:
    """Weights (16 bits; norms in 32), shape and label priors in one file."""
    state = {
        name: value.half() if value.ndim > 1 else value.clone()
        for name, value in net.state_dict().items()
    }
    s = net.shape
    shape = {"width": s.width, "near": s.near, "far": s.far, "outputs": s.outputs}
    torch.save({"state": state, "shape": shape, "log_prior": torch.tensor(log_prior)}, path)


def load(path: str) -> tuple[Tdnn, npt.NDArray[np.float32]]:
    """The network and the log priors of a checkpoint."""
    data = torch.load(path, map_location="cpu", weights_only=True)
    net = Tdnn(Shape(**data["shape"]))
    net.load_state_dict(
        {name: value.to(net.state_dict()[name].dtype) for name, value in data["state"].items()}
    )
    return net, data["log_prior"].numpy()


def widened(net: Tdnn, shape: Shape, generator: torch.Generator) -> Tdnn:
    """A wider and perhaps deeper network that goes on from a trained one.

    New units are copies of old ones whose outgoing weights are shared out among the copies, so
    the outputs stay the same but for a little noise that lets the copies part
    (Chen, Goodfellow, Shlens, "Net2Net", 2016).  Additional layers and then the output layer
    start anew.
    """
    big = Tdnn(shape)
    old_width = net.shape.width
    copy_of = torch.cat(
        [
            torch.arange(old_width),
            torch.randint(old_width, (shape.width - old_width,), generator=generator),
        ]
    )
    share = 1 / torch.bincount(copy_of, minlength=old_width).float()[copy_of]
    deeper = shape.far > net.shape.far
    pairs: list[tuple[Any, Any]] = list(zip(net.convs, net.norms, strict=True))
    output: Any = big.output
    with torch.no_grad():
        for at, (conv, norm) in enumerate(pairs):
            weight = conv.weight[copy_of]
            if at:
                weight = weight[:, copy_of] * share[None, :, None]
            noise = torch.randn(weight.shape, generator=generator) * weight.std() * 0.05
            new: Any = big.convs[at]
            new.weight.copy_(weight + noise)
            new.bias.copy_(conv.bias[copy_of])
            after: Any = big.norms[at]
            for name in ("weight", "bias", "running_mean", "running_var"):
                getattr(after, name).copy_(getattr(norm, name)[copy_of])
        big.input_norm.load_state_dict(net.input_norm.state_dict())
        if not deeper:
            output.weight.copy_(net.output.weight[:, copy_of] * share[None, :, None])
            output.bias.copy_(net.output.bias)
    return big


def learning_rate(done: float, peak: float) -> float:
    """A short rise, then half a cosine; `done` is the share of the run, 0 to 1."""
    rise = min(1.0, done / 0.03 + 0.02)
    return peak * rise * 0.5 * (1 + math.cos(math.pi * min(1.0, done))) + 1e-5
