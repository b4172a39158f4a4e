"""Star-mesh elimination of many resistive networks that share one pattern, side by side.

Taking out a node joins its neighbours by conductances that are only ever added and multiplied
(the star-mesh transformation), so that neither an open wire nor a floating end loses digits. The
pattern of a loom is nearly a tree: elimination in minimum-degree order costs a few operations a
node, each done for all variants at once. Arrays in, arrays out; knows nothing of wires.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable

import numpy as np

from diag.circuit.network import Floats

__all__ = ["Mesh", "Pattern"]


class Pattern:
    """Elimination order and fill of an undirected graph over nodes 1 … size-1; node 0 is body.

    Nodes are renamed by their place in that order: `place[node]`. `lively`: nodes at which something
    changes from round to round; `first_lively` is the first place that such a change reaches.
    """

    def __init__(self, size: int, edges: Iterable[tuple[int, int]], lively: Iterable[int] = ()) -> None:
        around: list[set[int]] = [set() for _ in range(size)]
        for a, b in edges:
            if a != b and a and b:
                around[a].add(b)
                around[b].add(a)
        order, later = _minimum_degree(around)
        reached = set(lively)
        for pivot in order:
            if pivot in reached:
                reached.update(later[pivot])
        order = [p for p in order if p not in reached] + [p for p in order if p in reached]
        self.first_lively = sum(p not in reached for p in order)
        self.place = np.zeros(size, dtype=int)
        self.place[order] = np.arange(size - 1)
        self.later = [np.array(sorted(self.place[k] for k in later[p]), dtype=int) for p in order]
        self._slot: dict[tuple[int, int], int] = {}
        for place, after in enumerate(self.later):
            for k in after:
                self._slot[place, int(k)] = len(self._slot)
        self.first_slot = [self._slot[p, int(after[0])] if len(after) else 0 for p, after in enumerate(self.later)]
        self.pairs: list[list[tuple[int, int, int]]] = [
            [
                (self._slot[int(after[x]), int(after[y])], x, y)
                for x in range(len(after))
                for y in range(x + 1, len(after))
            ]
            for after in self.later
        ]

    @property
    def places(self) -> int:
        """Number of places: every node but body."""
        return len(self.later)

    @property
    def slots(self) -> int:
        """Number of node pairs that are ever joined."""
        return sum(len(after) for after in self.later)

    def tail(self, first: int) -> tuple[Pattern, int]:
        """The pattern that is left once the places before `first` are out, places counted from 0 again, and
        the number of slots before it."""
        if first == 0:
            return self, 0
        out = object.__new__(Pattern)
        gone = sum(len(after) for after in self.later[:first])
        out.later = [after - first for after in self.later[first:]]
        out.first_slot = [slot - gone for slot in self.first_slot[first:]]
        out.pairs = [[(slot - gone, x, y) for slot, x, y in found] for found in self.pairs[first:]]
        out.first_lively = 0
        return out, gone

    def slot(self, a: int, b: int) -> int:
        """Where the conductance between two nodes (by their own numbers) lives. Raises KeyError."""
        x, y = int(self.place[a]), int(self.place[b])
        return self._slot[min(x, y), max(x, y)]


def _minimum_degree(around: list[set[int]]) -> tuple[list[int], list[list[int]]]:
    """The order, and for each node its neighbours at the time it is taken out; `around` is used up."""
    queue = [(len(around[node]), node) for node in range(1, len(around))]
    heapq.heapify(queue)
    order: list[int] = []
    later: list[list[int]] = [[] for _ in around]
    done = [False] * len(around)
    while queue:
        degree, pivot = heapq.heappop(queue)
        if done[pivot] or degree != len(around[pivot]):
            continue
        done[pivot] = True
        order.append(pivot)
        later[pivot] = sorted(around[pivot])
        for i in later[pivot]:
            around[i] |= around[pivot]
            around[i] -= {i, pivot}
            heapq.heappush(queue, (len(around[i]), i))
    return order, later


class Mesh:
    """F networks being reduced.

    `pair` (slots, F): siemens between nodes; `node` (places, 1 + R, F), by place: siemens to body,
    then R injected currents. Both are overwritten place by place.
    """

    def __init__(self, pattern: Pattern, pair: Floats, node: Floats) -> None:
        self.pattern, self.pair, self.node = pattern, pair, node
        self._share = np.empty_like(pair)
        self._total = np.empty((pattern.places, pair.shape[1]))

    def eliminate(self, first: int, last: int) -> None:
        """Take out the places first … last-1, in order."""
        pattern, pair, node, share, totals = self.pattern, self.pair, self.node, self._share, self._total
        room = np.empty_like(node[0])
        for p in range(first, last):
            after, here, total = pattern.later[p], node[p], totals[p]
            start = pattern.first_slot[p]
            if len(after) == 0:
                total[:] = here[0]
                continue
            if len(after) == 1:
                np.add(here[0], pair[start], out=total)
                np.divide(pair[start], total, out=share[start])
                np.multiply(here, share[start], out=room)
                node[after[0]] += room
                continue
            end = start + len(after)
            np.add(here[0], pair[start], out=total)
            for row in pair[start + 1 : end]:
                total += row
            np.divide(pair[start:end], total, out=share[start:end])
            for k, i in enumerate(after):
                np.multiply(here, share[start + k], out=room)
                node[i] += room
            for slot, x, y in pattern.pairs[p]:
                np.multiply(pair[start + x], share[start + y], out=room[0])
                pair[slot] += room[0]

    def substitute(self, volts: Floats, first: int) -> None:
        """Fill `volts` (places, R, F) from the last place back to `first`."""
        pattern, share, totals = self.pattern, self._share, self._total
        room = np.empty_like(volts[0])
        for p in range(pattern.places - 1, first - 1, -1):
            np.divide(self.node[p, 1:], totals[p], out=volts[p])
            start = pattern.first_slot[p]
            for k, i in enumerate(pattern.later[p]):
                np.multiply(volts[i], share[start + k], out=room)
                volts[p] += room

    def inner_ohm(self) -> Floats:
        """(places, F) ohms from each place to body: the diagonal of the inverse, by Takahashi's recursion."""
        pattern, share, totals = self.pattern, self._share, self._total
        own, between = np.empty_like(totals), np.empty_like(share)
        for p in range(pattern.places - 1, -1, -1):
            after, start = pattern.later[p], pattern.first_slot[p]
            np.divide(1.0, totals[p], out=own[p])
            if len(after) == 1:
                between[start] = share[start] * own[after[0]]
                own[p] += share[start] * between[start]
                continue
            for k, i in enumerate(after):
                between[start + k] = share[start + k] * own[i]
            for slot, x, y in pattern.pairs[p]:
                between[start + x] += share[start + y] * between[slot]
                between[start + y] += share[start + x] * between[slot]
            for k in range(len(after)):
                own[p] += share[start + k] * between[start + k]
        return own
