"""The recognizer's decoding graph: from pronunciations to the files in a model's graph folder.

The network scores CTC labels: label 0 is the blank, the others are phones.  Kaldi wants phones
with their place in the word, one state each, and transitions numbered by them; all four places of
a label share its score.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.shell.openfst import Fst, Ranges

UNKNOWN = "[unk]"
BETWEEN, INSIDE = 1, 2  # Kaldi phones of the blank between words (silence) and inside a word.
PLACES = "BIES"  # Begin, inside, end, single.


@dataclass(frozen=True)
class Costs:
    """What paths cost beside the network's scores, in natural logarithms."""

    phone: float = 0.0  # Each label of a listed word.
    blank: float = 0.0  # Each blank frame.
    word: float = 0.0  # Each word.
    unknown: float = 0.0  # Entering [unk].
    unknown_phone: float = 2.0  # Each label inside [unk]: high, and less talk is rejected.


@dataclass(frozen=True)
class PhoneNumbers:
    """Kaldi's phones and transitions for CTC labels.

    Phones 1 and 2 are the blank, then each label four times, then four times "any label", whose
    score the network works out as the best of all labels but the blank.  A phone is one state;
    transition 2p is its first frame, 2p - 1 each later one (Kaldi's reordered transitions,
    src/hmm/hmm-utils.cc).

    Args:
        labels: names, the blank first.
    """

    labels: tuple[str, ...]

    @property
    def any_label(self) -> int:
        """The label number that stands for the best of all."""
        return len(self.labels)

    @property
    def count(self) -> int:
        """Kaldi phones."""
        return 2 + 4 * len(self.labels)

    def phone(self, label: int, place: str) -> int:
        """Kaldi phone of a label, 1 or more, at a place of PLACES."""
        return 3 + 4 * (label - 1) + PLACES.index(place)

    def scores(self) -> list[int]:
        """For each Kaldi phone the network output it takes its score from."""
        return [0, 0, *(label for label in range(1, len(self.labels) + 1) for _ in PLACES)]

    def word_boundary(self) -> str:
        """Contents of graph/phones/word_boundary.int; makes word times right to 0.05 s."""
        kinds = ["nonword", "internal"]
        kinds += ["begin", "internal", "end", "singleton"] * len(self.labels)
        return "".join(f"{phone} {kind}\n" for phone, kind in enumerate(kinds, 1))


def first_frame(phone: int) -> int:
    """Transition of a phone's first frame."""
    return 2 * phone


def later_frame(phone: int) -> int:
    """Transition of each further frame."""
    return 2 * phone - 1


def joined(ranges: Iterable[Sequence[int]]) -> Ranges:
    """Ranges in order, touching ones made one."""
    out: Ranges = []
    for begin, end in sorted((r[0], r[1]) for r in ranges):
        if out and begin <= out[-1][1]:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([begin, end])
    return out


class _Node:
    """A node of the pronunciation tree; `words` end with the label that leads here."""

    def __init__(self) -> None:
        self.children: dict[int, _Node] = {}
        self.words: list[str] = []

    def within(self) -> list[str]:
        """Words of this node and all below, in the tree's order."""
        out = list(self.words)
        for label in sorted(self.children):
            out += self.children[label].within()
        return out


@dataclass(frozen=True)
class WordGraph:
    """A decoding graph.

    Args:
        fst: transitions in, word numbers out.
        words: symbol of each number; 0 is epsilon, the last is [unk].
        reach: for each state of fst the word numbers that can come next; len(words) stands for
            the end.
    """

    fst: Fst
    words: list[str]
    reach: list[Ranges]


class _Builder:
    """Lays the arcs of a WordGraph.

    "Free" states are those a word can start from: the start, after a blank, and after each label
    that ends a word.  A tree node is two states, "just said it" (stays on the label) and "blank
    since" (stays on the blank).  Both lead on, but not from "just said p" to p again: CTC needs a
    blank between two equal labels.
    """

    def __init__(
        self, prons: Iterable[tuple[str, tuple[int, ...]]], phones: PhoneNumbers, costs: Costs
    ) -> None:
        self.phones, self.costs = phones, costs
        self.root = _Node()
        for word, labels in sorted(set(prons), key=lambda pron: (pron[1], pron[0])):
            node = self.root
            for label in labels:
                node = node.children.setdefault(label, _Node())
            node.words.append(word)
        self.words = ["<eps>", *dict.fromkeys(self.root.within()), UNKNOWN]
        self.number = {word: number for number, word in enumerate(self.words)}
        self.fst = Fst()
        self.reach: list[Ranges] = []
        self.everything: Ranges = [[1, len(self.words) + 1]]
        self.ends: dict[tuple[int, str], int] = {}
        self.free: list[tuple[int, int]] = []  # State and the label just said (0: none).

    def state(self, reach: Ranges, *, final: bool = False) -> int:
        self.reach.append(reach)
        return self.fst.state(0.0 if final else math.inf)

    def end(self, label: int, place: str) -> int:
        """The state behind a word's last label."""
        if (label, place) not in self.ends:
            state = self.ends[label, place] = self.state(self.everything, final=True)
            if label != self.phones.any_label:
                self.fst.arc(state, later_frame(self.phones.phone(label, place)), 0, 0.0, state)
            self.fst.arc(state, first_frame(BETWEEN), 0, self.costs.blank, self.after_blank)
            self.free.append((state, label))
        return self.ends[label, place]

    def make_ends(self, node: _Node, depth: int) -> None:
        """All word ends there are, before the arcs out of the free states are laid."""
        for label, child in sorted(node.children.items()):
            if child.words:
                self.end(label, "S" if depth == 0 else "E")
            self.make_ends(child, depth + 1)

    def leave(self, node: _Node, sources: list[tuple[int, int]], depth: int) -> Ranges:
        """Arcs from the sources into a node's children; returns the words within reach."""
        fst, phones, costs = self.fst, self.phones, self.costs
        within: list[Sequence[int]] = []
        for label, child in sorted(node.children.items()):
            entries = [state for state, said in sources if said != label]
            if child.words:
                place = "S" if depth == 0 else "E"
                target = self.end(label, place)
                transition = first_frame(phones.phone(label, place))
                for word in child.words:
                    number = self.number[word]
                    within.append((number, number + 1))
                    for source in entries:
                        fst.arc(source, transition, number, costs.phone + costs.word, target)
            if child.children:
                phone = phones.phone(label, "B" if depth == 0 else "I")
                said, blank = self.state([]), self.state([])
                for source in entries:
                    fst.arc(source, first_frame(phone), 0, costs.phone, said)
                fst.arc(said, later_frame(phone), 0, 0.0, said)
                fst.arc(said, first_frame(INSIDE), 0, costs.blank, blank)
                fst.arc(blank, later_frame(INSIDE), 0, costs.blank, blank)
                reach = self.leave(child, [(said, label), (blank, 0)], depth + 1)
                self.reach[said] = self.reach[blank] = reach
                within += reach
        return joined(within)

    def unknown(self) -> None:
        """[unk]: two or more labels of any kind, blanks between at will.

        The word is put out on the way in, so a word list without [unk] never goes in there.
        Every frame that is not blank counts as one label; so there is one path for each pattern
        of blanks, and the search stays small.
        """
        fst, phones, costs = self.fst, self.phones, self.costs
        cost = costs.phone + costs.unknown_phone
        label = phones.any_label
        hub = self.state(self.everything)
        for source, _ in list(self.free):
            fst.arc(source, 0, self.number[UNKNOWN], costs.unknown + costs.word, hub)
        sources = [hub]
        for place in "BI":
            said, blank = self.state(self.everything), self.state(self.everything)
            for source in sources:
                fst.arc(source, first_frame(phones.phone(label, place)), 0, cost, said)
            fst.arc(said, first_frame(INSIDE), 0, costs.blank, blank)
            fst.arc(blank, later_frame(INSIDE), 0, costs.blank, blank)
            # The second label may already be the last: keep the first as a way out.
            sources = [said, blank] if place == "B" else [*sources, said, blank]
        for source in (said, blank):
            fst.arc(source, first_frame(phones.phone(label, "I")), 0, cost, said)
        for source in sources:
            fst.arc(source, first_frame(phones.phone(label, "E")), 0, cost, self.end(label, "E"))

    def build(self) -> WordGraph:
        fst = self.fst
        fst.start = self.state(self.everything, final=True)
        self.after_blank = self.state(self.everything, final=True)
        self.free = [(fst.start, 0), (self.after_blank, 0)]
        silence, cost = first_frame(BETWEEN), self.costs.blank
        fst.arc(fst.start, silence, 0, cost, self.after_blank)
        fst.arc(self.after_blank, later_frame(BETWEEN), 0, cost, self.after_blank)
        self.make_ends(self.root, 0)
        self.end(self.phones.any_label, "E")
        self.leave(self.root, list(self.free), 0)
        self.unknown()
        return WordGraph(fst, self.words, self.reach)


def build(
    prons: Mapping[str, Sequence[Sequence[str]]], labels: Sequence[str], costs: Costs
) -> WordGraph:
    """The decoding graph of a lexicon.

    Args:
        prons: word to its pronunciations, each of one or more names of `labels`.
        labels: CTC labels, the blank first.
        costs: see Costs.

    Raises:
        ValueError: [unk] is a word of the lexicon, or a pronunciation is empty or has an unknown
            phone; the sentence names the word.
    """
    index = {label: number for number, label in enumerate(labels) if number}
    entries = []
    for word, choices in prons.items():
        if word == UNKNOWN:
            raise ValueError(f"{UNKNOWN} is made by the graph and may not be in the lexicon")
        for pron in choices:
            strange = [phone for phone in pron if phone not in index]
            if strange:
                raise ValueError(f"{word!r}: unknown phones {' '.join(strange)}")
            if not pron:
                raise ValueError(f"{word!r}: no phones")
            entries.append((word, tuple(index[phone] for phone in pron)))
    return _Builder(entries, PhoneNumbers(tuple(labels)), costs).build()


def unigram(words: Sequence[str]) -> Fst:
    """Any sequence of the words but [unk], all alike: used when no list is given at run time."""
    fst = Fst()
    state = fst.state(-math.log(0.5))
    cost = -math.log(0.5 / (len(words) - 2))
    for number in range(1, len(words) - 1):
        fst.arc(state, number, number, cost, state)
    return fst


def write_sums(folder: Path) -> None:
    """SHA256SUMS of every file in a model folder, as ``sha256sum -c`` reads it."""
    lines = []
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        if path.name != "SHA256SUMS":
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            lines.append(f"{digest}  ./{path.relative_to(folder).as_posix()}\n")
    (folder / "SHA256SUMS").write_text("".join(lines))


def write(
    folder: Path, prons: Mapping[str, Sequence[Sequence[str]]], labels: Sequence[str], costs: Costs
) -> WordGraph:
    """Write graph/ of a model folder: HCLr.fst, Gr.fst, words.txt and the phone tables.

    Source: Vosk 0.3.45 src/model.cc for the names; HCLr.fst and Gr.fst together make word lists
    possible at run time, and the words are read from Gr.fst's symbols.
    """
    graph = build(prons, labels, costs)
    phones = PhoneNumbers(tuple(labels))
    (folder / "phones").mkdir(parents=True, exist_ok=True)
    graph.fst.write_lookahead(folder / "HCLr.fst", graph.reach, len(graph.words))
    unigram(graph.words).write_const(folder / "Gr.fst", graph.words)
    # A transition number that no arc has: the tree needs no disambiguation symbols.
    (folder / "disambig_tid.int").write_text(f"{2 * phones.count + 1}\n")
    lines = [f"{word} {number}\n" for number, word in enumerate(graph.words)]
    (folder / "words.txt").write_text("".join(lines), encoding="utf-8")
    (folder / "phones" / "word_boundary.int").write_text(phones.word_boundary())
    return graph
