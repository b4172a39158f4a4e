"""Symmetric elimination of many matrices that share one sparse pattern, side by side.

The pattern of a loom is nearly a tree, so elimination in minimum-degree order costs a few
operations a node; each is done for all variants at once. Node 0 (body) is the reference and left
out. Diagonally dominant matrices need no pivoting. Arrays in, arrays out; knows nothing of wires.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from diag.circuit.network import Floats

__all__ = ["Factors", "Pattern"]


class Pattern:
    """Elimination order and fill of an undirected graph over nodes 1 … size-1."""

    def __init__(self, size: int, edges: Iterable[tuple[int, int]]) -> None:
        self.size = size
        around: list[set[int]] = [set() for _ in range(size)]
        for a, b in edges:
            if a != b and a and b:
                around[a].add(b)
                around[b].add(a)
        left = set(range(1, size))
        self.order: list[int] = []
        self.later: list[np.ndarray] = [np.zeros(0, dtype=int)] * size
        while left:
            pivot = min(left, key=lambda node: (len(around[node]), node))
            left.remove(pivot)
            self.order.append(pivot)
            self.later[pivot] = np.array(sorted(around[pivot]), dtype=int)
            for i in around[pivot]:
                around[i] |= around[pivot]
                around[i] -= {i, pivot}
        self._slot: dict[tuple[int, int], int] = {}
        for pivot in self.order:
            for i in self.later[pivot]:
                self._slot[min(pivot, int(i)), max(pivot, int(i))] = len(self._slot)
        self.edge_slots = [np.array([self.slot(p, int(i)) for i in self.later[p]], dtype=int) for p in range(size)]
        self.pairs: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        for p in range(size):
            later = [int(i) for i in self.later[p]]
            found = [(self.slot(later[x], later[y]), x, y) for x in range(len(later)) for y in range(x + 1, len(later))]
            table = np.array(found, dtype=int).reshape(-1, 3)
            self.pairs.append((table[:, 0], table[:, 1], table[:, 2]))

    @property
    def slots(self) -> int:
        """Number of off-diagonal entries, fill included."""
        return len(self._slot)

    def has(self, a: int, b: int) -> bool:
        """Whether two nodes have an entry."""
        return (min(a, b), max(a, b)) in self._slot

    def slot(self, a: int, b: int) -> int:
        """Where the entry of two nodes lives. Raises KeyError where the pattern has none."""
        return self._slot[min(a, b), max(a, b)]


class Factors:
    """L·D·Lᵀ of F matrices: `diagonal` (size, F) and `off` (slots, F) are overwritten."""

    def __init__(self, pattern: Pattern, diagonal: Floats, off: Floats) -> None:
        self.pattern, self.pivot = pattern, diagonal
        self.lower: list[Floats] = [np.zeros((0, diagonal.shape[1]))] * pattern.size
        for p in pattern.order:
            later = pattern.later[p]
            if not len(later):
                continue
            entries = off[pattern.edge_slots[p]]
            lower = entries / diagonal[p]
            diagonal[later] -= lower * entries
            slots, x, y = pattern.pairs[p]
            if len(slots):
                off[slots] -= lower[x] * entries[y]
            self.lower[p] = lower

    def solve(self, right: Floats) -> Floats:
        """(size, R, F) solutions for right-hand sides of that shape; `right` is overwritten."""
        pattern = self.pattern
        for p in pattern.order:
            for k, i in enumerate(pattern.later[p]):
                right[i] -= self.lower[p][k] * right[p]
        right[0] = 0.0
        for p in reversed(pattern.order):
            right[p] /= self.pivot[p]
            for k, i in enumerate(pattern.later[p]):
                right[p] -= self.lower[p][k] * right[i]
        return right

    def inverse_diagonal(self) -> Floats:
        """(size, F) diagonal of the inverses (Takahashi's recursion over the pattern)."""
        pattern, count = self.pattern, self.pivot.shape[1]
        diagonal, off = np.zeros((pattern.size, count)), np.zeros((pattern.slots, count))
        for p in reversed(pattern.order):
            later, lower = pattern.later[p], self.lower[p]
            diagonal[p] = 1.0 / self.pivot[p]
            if not len(later):
                continue
            found = -lower * diagonal[later]
            slots, x, y = pattern.pairs[p]
            for slot, i, j in zip(slots, x, y, strict=True):
                found[i] -= lower[j] * off[slot]
                found[j] -= lower[i] * off[slot]
            off[pattern.edge_slots[p]] = found
            diagonal[p] -= (lower * found).sum(axis=0)
        return diagonal
