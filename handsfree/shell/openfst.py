"""Weighted automata written as the OpenFst files that Vosk reads.

Source of every format fact: OpenFst 1.8, fst/fst.h (FstHeader, its magic number and flags),
fst/const-fst.h (ConstState, version 2), fst/symbol-table.cc, fst/add-on.h and
fst/label-reachable.h (LabelReachableData), fst/properties.h (the property bits).  All numbers are
little-endian; a string is its length in 4 bytes and its bytes.
"""

from __future__ import annotations

import itertools
import math
import struct
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

FST_MAGIC, SYMBOLS_MAGIC, ADDON_MAGIC = 2125659606, 2125658996, 446681434
EXPANDED = 0x1
ACCEPTOR, NOT_ACCEPTOR = 0x10000, 0x20000
EPSILONS, NO_EPSILONS = 0x400000, 0x800000
IN_EPSILONS, NO_IN_EPSILONS = 0x1000000, 0x2000000
OUT_EPSILONS, NO_OUT_EPSILONS = 0x4000000, 0x8000000
IN_SORTED, OUT_SORTED = 0x10000000, 0x40000000
HAS_SYMBOLS = 2  # Flag of the header: output symbols follow it; ours never has input symbols.

Arc = tuple[int, int, float, int]  # Input label, output label, cost, next state.
Ranges = list[list[int]]  # Half-open ranges [begin, end) of labels, in order, apart.


def _text(text: str) -> bytes:
    data = text.encode()
    return struct.pack("<i", len(data)) + data


def symbol_table(symbols: list[str]) -> bytes:
    """A table whose numbers are the places in the list."""
    parts = [
        struct.pack("<i", SYMBOLS_MAGIC),
        _text("words"),
        struct.pack("<qq", len(symbols), len(symbols)),
    ]
    parts += [_text(symbol) + struct.pack("<q", number) for number, symbol in enumerate(symbols)]
    return b"".join(parts)


@dataclass
class Fst:
    """An automaton under construction; state 0 is where it starts unless `start` says other."""

    arcs: list[list[Arc]] = field(default_factory=list)
    final: list[float] = field(default_factory=list)  # Cost of ending there; infinite: not.
    start: int = 0

    def state(self, final: float = math.inf) -> int:
        """A new state's number."""
        self.arcs.append([])
        self.final.append(final)
        return len(self.arcs) - 1

    def arc(self, source: int, label_in: int, label_out: int, cost: float, target: int) -> None:
        """A new arc; label 0 is epsilon."""
        self.arcs[source].append((label_in, label_out, cost, target))

    def arc_count(self) -> int:
        """Number of arcs of all states."""
        return sum(map(len, self.arcs))

    def _properties(self, by_output: bool) -> int:
        every = [arc for row in self.arcs for arc in row]
        acceptor = all(arc[0] == arc[1] for arc in every)
        column = 1 if by_output else 0
        ordered = all(
            one[column] <= two[column] for row in self.arcs for one, two in itertools.pairwise(row)
        )
        bits = EXPANDED | (ACCEPTOR if acceptor else NOT_ACCEPTOR)
        bits |= IN_EPSILONS if any(arc[0] == 0 for arc in every) else NO_IN_EPSILONS
        bits |= OUT_EPSILONS if any(arc[1] == 0 for arc in every) else NO_OUT_EPSILONS
        bits |= EPSILONS if any(arc[0] == arc[1] == 0 for arc in every) else NO_EPSILONS
        if ordered:
            bits |= OUT_SORTED if by_output else IN_SORTED
            if acceptor:
                bits |= IN_SORTED | OUT_SORTED
        return bits

    def _header(self, kind: str, version: int, flags: int, properties: int) -> bytes:
        counts = (self.start, len(self.arcs), self.arc_count())
        head = struct.pack("<i", FST_MAGIC) + _text(kind) + _text("standard")
        return head + struct.pack("<iiQqqq", version, flags, properties, *counts)

    def _const(self, properties: int, symbols: list[str] | None) -> bytes:
        states = np.zeros(
            len(self.arcs),
            [("final", "<f4"), ("first", "<u4"), ("arcs", "<u4"), ("ins", "<u4"), ("outs", "<u4")],
        )
        arcs = np.zeros(
            self.arc_count(), [("in", "<i4"), ("out", "<i4"), ("cost", "<f4"), ("to", "<i4")]
        )
        at = 0
        for number, row in enumerate(self.arcs):
            ins, outs = sum(arc[0] == 0 for arc in row), sum(arc[1] == 0 for arc in row)
            states[number] = (self.final[number], at, len(row), ins, outs)
            for arc in row:
                arcs[at] = arc
                at += 1
        flags = 0 if symbols is None else HAS_SYMBOLS
        table = b"" if symbols is None else symbol_table(symbols)
        return (
            self._header("const", 2, flags, properties) + table + states.tobytes() + arcs.tobytes()
        )

    def write_const(self, path: Path, symbols: list[str] | None = None) -> None:
        """Write a ConstFst, arcs in the order they were added."""
        path.write_bytes(self._const(self._properties(by_output=False), symbols))

    def write_lookahead(self, path: Path, reach: list[Ranges], end_label: int) -> None:
        """Write an olabel_lookahead automaton, which Vosk composes with the word list's model.

        Args:
            reach: for each state the output labels that can be the next one put out from there.
            end_label: stands in `reach` for ending without another output label.
        """
        for row in self.arcs:
            row.sort(key=lambda arc: (arc[1], arc[0]))
        properties = self._properties(by_output=True)
        parts = [
            self._header("olabel_lookahead", 1, 0, properties),
            struct.pack("<i", ADDON_MAGIC),
            self._const(properties, None),
            b"\x01",  # There is an add-on:
            b"\x00",  # nothing for input labels,
            b"\x01\x00\x00",  # output labels, kept, without a table that renames them.
            struct.pack("<iq", end_label, len(reach)),
        ]
        for ranges in reach:
            parts.append(struct.pack("<q", len(ranges)))
            parts += [struct.pack("<ii", begin, end) for begin, end in ranges]
            parts.append(struct.pack("<i", sum(end - begin for begin, end in ranges)))
        path.write_bytes(b"".join(parts))
