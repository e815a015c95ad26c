"""The decoding graph against brute force: what CTC allows for a lexicon, and nothing else."""

import itertools
import math
import struct
from pathlib import Path

import pytest

from handsfree.shell import openfst
from handsfree.shell.word_graph import UNKNOWN, Costs, PhoneNumbers, WordGraph, build, joined

State = tuple[int, tuple[int, ...], tuple[int, ...]]  # State, labels, words put out.
Key = tuple[tuple[int, ...], tuple[str, ...]]  # Label of each frame, words put out.

LABELS = ("<blk>", "A", "B")
LEXICON: dict[str, list[tuple[str, ...]]] = {
    "ab": [("A", "B")],
    "aa": [("A", "A")],
    "a": [("A",)],
    "also": [("A",), ("B", "A")],
}
COSTS = Costs(phone=0.5, blank=0.25, word=2.0, unknown=1.0, unknown_phone=3.0)
FRAMES = 5


def label_of(transition: int, phones: PhoneNumbers) -> int:
    """The network output that a transition takes its score from."""
    return phones.scores()[(transition + 1) // 2 - 1]


def accepted(graph: WordGraph, phones: PhoneNumbers, frames: int) -> dict[Key, float]:
    """(label of each frame, words put out) to its least cost, for complete paths so long."""
    paths: dict[State, float] = {(graph.fst.start, (), ()): 0.0}
    for step in range(frames + 1):
        todo = list(paths.items())
        while todo:  # Arcs without a transition take no frame.
            (state, labels, words), cost = todo.pop()
            for into, out, extra, target in graph.fst.arcs[state]:
                if into:
                    continue
                key = (target, labels, words + ((out,) if out else ()))
                if cost + extra < paths.get(key, math.inf):
                    paths[key] = cost + extra
                    todo.append((key, cost + extra))
        if step == frames:
            break
        after: dict[State, float] = {}
        for (state, labels, words), cost in paths.items():
            for into, out, extra, target in graph.fst.arcs[state]:
                if into:
                    key = (
                        target,
                        (*labels, label_of(into, phones)),
                        words + ((out,) if out else ()),
                    )
                    after[key] = min(after.get(key, math.inf), cost + extra)
        paths = after
    found: dict[Key, float] = {}
    for (state, labels, words), cost in paths.items():
        if graph.fst.final[state] < math.inf:
            said = (labels, tuple(graph.words[word] for word in words))
            found[said] = min(found.get(said, math.inf), cost)
    return found


def collapsed(labels: tuple[int, ...]) -> tuple[int, ...]:
    """CTC: repeats are one, blanks are none."""
    return tuple(label for label, _ in itertools.groupby(labels) if label)


def expected(frames: int) -> dict[Key, float]:
    """Every frame sequence of listed words by the definition of CTC, with its least cost."""
    prons = [
        (word, tuple(LABELS.index(phone) for phone in pron))
        for word, choices in LEXICON.items()
        for pron in choices
    ]
    spoken: dict[tuple[int, ...], list[tuple[str, ...]]] = {(): [()]}
    for count in range(1, frames + 1):
        for chosen in itertools.product(prons, repeat=count):
            labels = tuple(label for _, pron in chosen for label in pron)
            if len(labels) <= frames:
                spoken.setdefault(labels, []).append(tuple(word for word, _ in chosen))
    found: dict[Key, float] = {}
    for labels in itertools.product(range(len(LABELS)), repeat=frames):
        said = collapsed(labels)
        for words in spoken.get(said, []):
            cost = COSTS.phone * len(said) + COSTS.blank * labels.count(0)
            found[labels, words] = cost + COSTS.word * len(words)
    return found


@pytest.mark.parametrize("frames", [1, 2, FRAMES])
def test_graph_accepts_exactly_the_lexicons_paths_at_their_costs(frames: int) -> None:
    phones = PhoneNumbers(LABELS)
    graph = build(LEXICON, LABELS, COSTS)
    got = {key: cost for key, cost in accepted(graph, phones, frames).items()
           if UNKNOWN not in key[1]}  # fmt: skip
    want = expected(frames)
    assert set(got) == set(want)
    assert all(got[key] == pytest.approx(want[key]) for key in want)


def test_unknown_takes_two_labels_or_more_and_costs_each() -> None:
    phones = PhoneNumbers(LABELS)
    graph = build(LEXICON, LABELS, COSTS)
    star = phones.any_label
    alone = {
        labels: cost
        for (labels, words), cost in accepted(graph, phones, 3).items()
        if words == (UNKNOWN,)
    }
    want = {}
    for labels in itertools.product((0, star), repeat=3):
        stars = labels.count(star)
        if stars >= 2:
            each = COSTS.phone + COSTS.unknown_phone
            want[labels] = COSTS.unknown + COSTS.word + stars * each + COSTS.blank * labels.count(0)
    assert alone.keys() == want.keys()
    assert all(alone[labels] == pytest.approx(want[labels]) for labels in want)


def test_reach_is_the_set_of_words_that_can_come_next() -> None:
    graph = build(LEXICON, LABELS, COSTS)
    end = len(graph.words)

    def next_words(state: int, seen: set[int]) -> set[int]:
        if state in seen:
            return set()
        seen.add(state)
        out = {end} if graph.fst.final[state] < math.inf else set()
        for _, word, _, target in graph.fst.arcs[state]:
            out |= {word} if word else next_words(target, seen)
        return out

    for state, ranges in enumerate(graph.reach):
        got = {label for begin, stop in ranges for label in range(begin, stop)}
        assert got == next_words(state, set()), state


@pytest.mark.parametrize(
    ("lexicon", "needle"),
    [
        pytest.param({"x": [("Q",)]}, "'x': unknown phones Q", id="unknown-phone"),
        pytest.param({"x": [()]}, "'x': no phones", id="empty"),
        pytest.param({"x": [("<blk>",)]}, "unknown phones <blk>", id="blank-is-no-phone"),
        pytest.param({UNKNOWN: [("A",)]}, "may not be in the lexicon", id="garbage-word"),
    ],
)
def test_a_bad_lexicon_is_refused_by_name(
    lexicon: dict[str, list[tuple[str, ...]]], needle: str
) -> None:
    with pytest.raises(ValueError, match=r".") as refusal:
        build(lexicon, LABELS, COSTS)
    assert needle in str(refusal.value)


def test_joined_ranges_are_in_order_and_apart() -> None:
    assert joined([(5, 6), (1, 3), (3, 4), (2, 3)]) == [[1, 4], [5, 6]]


def test_const_file_has_its_counts_where_openfst_looks(tmp_path: Path) -> None:
    fst = openfst.Fst()
    one, two = fst.state(), fst.state(0.5)
    fst.arc(one, 3, 4, 1.5, two)
    fst.write_const(tmp_path / "x.fst")
    data = (tmp_path / "x.fst").read_bytes()
    assert struct.unpack_from("<i", data)[0] == 2125659606
    head = 4 + 4 + len("const") + 4 + len("standard")
    version, flags, _, start, states, arcs = struct.unpack_from("<iiQqqq", data, head)
    assert (version, flags, start, states, arcs) == (2, 0, 0, 2, 1)
    assert struct.unpack_from("<iifi", data, len(data) - 16) == (3, 4, 1.5, 1)
