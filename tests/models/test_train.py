"""Training's parts that need no training: joining words, errors, going on from a model folder."""

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("torch", reason="pip install 'handsfree[models]'")

from models.making import features, nnet3
from models.making.network import Shape, Tdnn, folded, settle_identity, unfolded
from models.making.train import (
    Piece,
    Placed,
    Pool,
    best_path,
    joined_recipe,
    phone_errors,
    put_together,
)

ENGLISH_SHOP = Path(__file__).parents[2] / "models" / "english-shop"


def pool_of(torch: Any, words: list[Piece], sound: Any) -> Pool:
    pool = Pool.__new__(Pool)
    pool.sound = torch.tensor(sound, dtype=torch.int16)
    pool.words = words
    pool.by_voice = {"one": words}
    pool.voices = ["one"]
    return pool


def test_joined_words_follow_each_other_and_bring_their_labels(torch: Any) -> None:
    words = [Piece(n * 9000, 9000, 1600, 1600, (n + 1, n + 2), "one") for n in range(8)]
    pool = pool_of(torch, words, np.ones(72000))
    for seed in range(30):
        placed, length, labels = joined_recipe(pool, 4, random.Random(seed))
        assert len(placed) == 4
        assert len(labels) == 8
        for piece, labelled in zip(
            placed, zip(labels[::2], labels[1::2], strict=True), strict=True
        ):
            assert labelled == words[piece.source // 9000].labels
        ends = [piece.at + int(piece.count / piece.rate) for piece in placed]
        assert all(a <= b.at for a, b in zip(ends, placed[1:], strict=False))
        assert ends[-1] <= length


def test_put_together_places_stretches_and_scales(torch: Any) -> None:
    pool = pool_of(torch, [], np.arange(1000))
    recipe = ([Placed(100, 200, 101, 0.5, 2.0)], 400, (1,))
    sound, active, lengths = put_together([recipe], pool, torch.device("cpu"))
    assert sound.shape[1] % 4000 == 0
    assert lengths.tolist() == [400]
    assert sound[0, 99] == 0
    # Half a pool sample for each sample, from number 200 on, twice as loud.
    assert torch.allclose(sound[0, 100:104], torch.tensor([400.0, 401.0, 402.0, 403.0]))
    assert active[0].sum() == 200


@pytest.mark.parametrize(
    ("said", "heard", "errors"),
    [
        pytest.param([1, 2, 3], [1, 2, 3], 0, id="same"),
        pytest.param([1, 2, 3], [1, 3], 1, id="lost"),
        pytest.param([1, 2], [1, 2, 2], 1, id="added"),
        pytest.param([1, 2, 3], [1, 4, 3], 1, id="replaced"),
        pytest.param([1, 2], [], 2, id="nothing-heard"),
        pytest.param([], [5], 1, id="nothing-said"),
    ],
)
def test_phone_errors(said: list[int], heard: list[int], errors: int) -> None:
    assert phone_errors(said, heard) == errors


def test_best_path_drops_repeats_and_blanks_but_keeps_doubles(torch: Any) -> None:
    frames = [0, 2, 2, 0, 2, 1, 1, 0]
    assert best_path(torch.eye(3)[frames]) == [2, 2, 1]


def random_net(torch: Any) -> Tdnn:
    torch.manual_seed(8)
    net = Tdnn(Shape(width=24, far=3), dropout=0.0)
    for norm in [net.input_norm, *net.norms]:
        norm.running_mean.normal_()
        norm.running_var.uniform_(0.5, 2)
    net.eval()
    return net


def test_layers_survive_the_model_file(torch: Any) -> None:
    layers = folded(random_net(torch))
    data = nnet3.acoustic_model(
        layers, [f"p{n}" for n in range(40)], np.zeros(40), inputs=features.CEPSTRA, compress=False
    )
    for (one, relu, weight, bias), (two, again, same, also) in zip(
        layers, nnet3.read_layers(data), strict=True
    ):
        assert (one, relu) == (two, again)
        assert np.array_equal(weight, same)
        assert np.array_equal(bias, also)


def test_a_network_from_a_model_folder_says_the_same_in_training_as_in_use(torch: Any) -> None:
    net = random_net(torch)
    frames = torch.randn(6, 90, features.CEPSTRA)
    with torch.no_grad():
        want = net(frames)
        again = unfolded(folded(net))
        again.dropout = 0.0
        settle_identity(again, [frames])
        assert (again.eval()(frames) - want).abs().max() < 1e-3
        # In training the norms use the batch's own statistics: they must fit, too.
        assert (again.train()(frames) - want).abs().max() < 1e-2


def test_the_shipped_model_can_be_trained_on() -> None:
    layers = nnet3.read_layers((ENGLISH_SHOP / "am" / "final.mdl").read_bytes())
    assert unfolded(layers).shape == Shape()


def test_another_file_is_refused() -> None:
    with pytest.raises(nnet3.ExportError, match="no TDNN layers"):
        nnet3.read_layers(b"\0B<Nnet3> ")
