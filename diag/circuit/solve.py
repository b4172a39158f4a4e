"""The DC solution of many variants of one network at once.

The linear part is assembled afresh for every variant, so that opens never come from subtracting a
conductance, and factored; then Newton on the lamp ports only. Arrays and names in, volts and amps
out; knows nothing of faults, switches or people.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from diag.circuit.factor import Factors, Pattern
from diag.circuit.network import LEAK_S, Floats, Network

__all__ = ["Solution", "Solver", "Variants", "filament_current"]

_CURVE = -0.225
_FLOOR = 1.6e-5
_TOLERANCE_V = 1e-10
_ROUNDS = 80
_FEW = 16
"""Below so many variants dense factoring is quicker than walking the pattern."""


def filament_current(ratio: Floats, rated_a: Floats) -> tuple[Floats, Floats]:
    """Current in A and its slope per unit of `ratio` = V / test volts, for lamps of `rated_a` at ratio 1.

    I = I0·k·(k² + 1.6e-5)^-0.225: the handbook power law I ~ V^0.55 (Fink & Beaty, Standard Handbook
    for Electrical Engineers) within its range, and a cold filament of a twelfth of the hot resistance
    near zero, where the bare law has no finite slope.
    """
    base = ratio * ratio + _FLOOR
    power = base**_CURVE
    return rated_a * ratio * power, rated_a * power * (1 + 2 * _CURVE * ratio * ratio / base)


@dataclass(frozen=True)
class Variants:
    """What differs between variants; F of them over B branches, L filaments, S sources, K extras."""

    branch_s: Floats
    """(F, B) siemens."""
    ends: np.ndarray
    """(F, B, 2) node indices: swapped wires end elsewhere."""
    extra: np.ndarray
    """(F, K, 2) node indices."""
    extra_s: Floats
    """(F, K) siemens, 0 where unused."""
    scale: Floats
    """(F, L) factor on each filament's current."""
    led: Floats
    """(F, L) 0 a filament, 1 an LED in its place the right way round, -1 reversed."""
    valve: Floats
    """(F, D) 1 a sound diode, 0 an open one, -1 a reversed one."""
    emf_v: Floats
    """(F, S)."""
    source_s: Floats
    """(F, S) siemens of each source's inner resistance."""

    def subset(self, rows: np.ndarray) -> Variants:
        """Those rows only."""
        return Variants(
            self.branch_s[rows],
            self.ends[rows],
            self.extra[rows],
            self.extra_s[rows],
            self.scale[rows],
            self.led[rows],
            self.valve[rows],
            self.emf_v[rows],
            self.source_s[rows],
        )


@dataclass(frozen=True)
class Solution:
    """volts (F, nodes) against body; lamp_v, lamp_a (F, L); inner_ohm (F, nodes): what a small load
    at a node sees towards body; branch_a (F, B) from end 0 to end 1; source_a (F, S) out of plus; diode_a (F, D) from its end a to its end b."""

    volts: Floats
    lamp_v: Floats
    lamp_a: Floats
    inner_ohm: Floats
    branch_a: Floats
    source_a: Floats
    diode_a: Floats


class Solver:
    """Solves variants of one network.

    Wires in their places go through one sparse pattern, wires swapped in one of the ways that `swaps`
    (pairs of nodes) announces through a wider one; anything else through dense factoring.
    """

    def __init__(self, network: Network, swaps: Iterable[tuple[int, int]] = ()) -> None:
        self.network = network
        self._ends = np.array([[branch.a, branch.b] for branch in network.branches])
        edges = [(branch.a, branch.b) for branch in network.branches] + [(s.a, s.b) for s in network.sources]
        self._pattern = Pattern(len(network.nodes), edges)
        moved = [
            (right if a == left else left if a == right else a, right if b == left else left if b == right else b)
            for left, right in swaps
            for a, b in (
                (network.branches[w].a, network.branches[w].b)
                for w in {*network.wires_at(left), *network.wires_at(right)}
            )
        ]
        self._wide = Pattern(len(network.nodes), edges + moved) if moved else self._pattern
        self._a = np.array([lamp.a for lamp in network.filaments], dtype=int)
        self._b = np.array([lamp.b for lamp in network.filaments], dtype=int)
        self._test_v = np.array([lamp.test_v for lamp in network.filaments])
        self._rated = np.array([lamp.test_w / lamp.test_v for lamp in network.filaments])
        self._plus = np.array([source.a for source in network.sources], dtype=int)
        self._minus = np.array([source.b for source in network.sources], dtype=int)

    def solve(self, variants: Variants, *, dense: bool = False) -> Solution:
        """Node voltages of every variant. `dense` forces the plain way (the reference for tests).

        Raises ArithmeticError where Newton does not settle.
        """
        count, size, lamps = len(variants.branch_s), len(self.network.nodes), len(self._a)
        free, across = np.empty((count, size)), np.empty((count, size, lamps))
        diagonal = np.empty((count, size))
        way = self._ways(variants) if not dense else np.full(count, 2)
        for number in np.unique(way):
            rows = np.nonzero(way == number)[0]
            chosen = variants.subset(rows)
            number = 2 if len(rows) < _FEW else number
            free[rows], across[rows], diagonal[rows] = (
                self._dense(chosen) if number == 2 else self._sparse(chosen, self._wide if number else self._pattern)
            )
        return self._settle(variants, free, across, diagonal)

    def _ways(self, variants: Variants) -> np.ndarray:
        """0, 1 or 2 for each variant: pattern in place, wide pattern, dense."""
        moved = variants.ends != self._ends
        way: np.ndarray = moved.any(axis=(1, 2)).astype(int)
        for row, branch in zip(*np.nonzero(moved.any(axis=2)), strict=True):
            a, b = (int(end) for end in variants.ends[row, branch])
            if a and b and a != b and not self._wide.has(a, b):
                way[row] = 2
        apart = ((variants.extra_s > 0) & (variants.extra > 0).all(axis=2)).any(axis=1)
        way[apart] = 2
        return way

    def _injected(self, variants: Variants) -> Floats:
        injected = np.zeros((len(variants.emf_v), len(self.network.nodes)))
        for i in range(len(self._plus)):
            amps = variants.source_s[:, i] * variants.emf_v[:, i]
            injected[:, self._plus[i]] += amps
            injected[:, self._minus[i]] -= amps
        return injected

    def _sparse(self, variants: Variants, pattern: Pattern) -> tuple[Floats, Floats, Floats]:
        count = len(variants.branch_s)
        diagonal, off = np.full((pattern.size, count), LEAK_S), np.zeros((pattern.slots, count))
        links = [
            (a, b, variants.branch_s[:, i] * here)
            for i in range(variants.ends.shape[1])
            for (a, b), here in self._places(variants, i, pattern)
        ]
        links += [
            (int(a), int(b), variants.source_s[:, i])
            for i, (a, b) in enumerate(zip(self._plus, self._minus, strict=True))
        ]
        for a, b, siemens in links:
            if a == b:
                continue  # both ends of a swapped wire on one node
            diagonal[a] += siemens
            diagonal[b] += siemens
            if a and b:
                off[pattern.slot(a, b)] -= siemens
        rows = np.arange(count)
        for k in range(variants.extra_s.shape[1]):
            for end in (0, 1):
                diagonal[variants.extra[:, k, end], rows] += variants.extra_s[:, k]
        factors = Factors(pattern, diagonal, off)
        right = np.zeros((pattern.size, 1 + len(self._a), count))
        right[:, 0, :] = self._injected(variants).T
        lamps = np.arange(len(self._a))
        right[self._a, 1 + lamps, :] += 1.0
        right[self._b, 1 + lamps, :] -= 1.0
        found = factors.solve(right)
        return found[:, 0, :].T, found[:, 1:, :].transpose(2, 0, 1), factors.inverse_diagonal().T

    def _places(
        self, variants: Variants, branch: int, pattern: Pattern
    ) -> list[tuple[tuple[int, int], np.ndarray | float]]:
        """Where a branch lies; only variants in the wide pattern have wires that moved."""
        if pattern is self._pattern and self._wide is not self._pattern:
            return [((int(self._ends[branch, 0]), int(self._ends[branch, 1])), 1.0)]
        return _by_ends(variants.ends[:, branch])

    def _dense(self, variants: Variants) -> tuple[Floats, Floats, Floats]:
        count, size = len(variants.branch_s), len(self.network.nodes)
        matrix = np.zeros((count, size, size))
        rows, nodes = np.arange(count), np.arange(size)
        matrix[:, nodes, nodes] = LEAK_S

        def stamp(a: np.ndarray, b: np.ndarray, siemens: Floats) -> None:
            where = np.broadcast_to(rows[:, None], siemens.shape)
            for one, other, sign in ((a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)):
                np.add.at(matrix, (where, one, other), sign * siemens)

        stamp(variants.ends[:, :, 0], variants.ends[:, :, 1], variants.branch_s)
        stamp(variants.extra[:, :, 0], variants.extra[:, :, 1], variants.extra_s)
        shape = variants.source_s.shape
        stamp(np.broadcast_to(self._plus, shape), np.broadcast_to(self._minus, shape), variants.source_s)
        inverse = np.zeros_like(matrix)
        inverse[:, 1:, 1:] = np.linalg.inv(matrix[:, 1:, 1:])  # body is the reference
        free = np.matmul(inverse, self._injected(variants)[:, :, None])[:, :, 0]
        return free, inverse[:, :, self._a] - inverse[:, :, self._b], inverse[:, nodes, nodes]

    def _settle(self, variants: Variants, free: Floats, across: Floats, diagonal: Floats) -> Solution:
        rated = self._rated * variants.scale
        port_ohm = across[:, self._a, :] - across[:, self._b, :]
        free_v = free[:, self._a] - free[:, self._b]
        lamp_v = _lamp_volts(port_ohm, free_v, rated, self._test_v)
        lamp_a, slope = filament_current(lamp_v / self._test_v, rated)
        volts = free - np.matmul(across, lamp_a[:, :, None])[:, :, 0]
        slope_s = slope / self._test_v
        # solved, not inverted: ports that float on the meter's leak are of the order of 1e7 ohm
        inner = np.linalg.solve(np.eye(len(self._a)) + port_ohm * slope_s[:, None, :], across.transpose(0, 2, 1))
        inner_ohm = diagonal - (across * slope_s[:, None, :] * inner.transpose(0, 2, 1)).sum(axis=2)
        ends = variants.ends
        branch_a = variants.branch_s * (
            np.take_along_axis(volts, ends[:, :, 0], 1) - np.take_along_axis(volts, ends[:, :, 1], 1)
        )
        source_a = variants.source_s * (variants.emf_v - volts[:, self._plus] + volts[:, self._minus])
        return Solution(
            volts, lamp_v, lamp_a, np.maximum(inner_ohm, 0.0), branch_a, source_a, np.zeros_like(variants.valve)
        )


def _by_ends(ends: np.ndarray) -> list[tuple[tuple[int, int], np.ndarray | float]]:
    """The different places of one branch over the variants, each with a mask (1.0 where it is the only one)."""
    if (ends == ends[0]).all():
        return [((int(ends[0, 0]), int(ends[0, 1])), 1.0)]
    return [((int(a), int(b)), (ends == (a, b)).all(axis=1)) for a, b in np.unique(ends, axis=0)]


def _lamp_volts(port_ohm: Floats, free_v: Floats, rated: Floats, test_v: Floats) -> Floats:
    """Newton on v = free_v - port_ohm · i(v); starts from the secant at the open-circuit volts."""
    count, lamps = free_v.shape
    if lamps == 0:
        return free_v
    eye = np.eye(lamps)
    current, _ = filament_current(np.maximum(np.abs(free_v), 1e-6) / test_v, rated)
    secant = current / np.maximum(np.abs(free_v), 1e-6)
    volts = np.asarray(
        np.linalg.solve(eye + port_ohm * secant[:, None, :], free_v[:, :, None])[:, :, 0], dtype=np.float64
    )
    open_rows = np.arange(count)
    for _ in range(_ROUNDS):
        here = volts[open_rows]
        amps, slope = filament_current(here / test_v, rated[open_rows])
        miss = here - free_v[open_rows] + np.einsum("fij,fj->fi", port_ohm[open_rows], amps)
        jacobian = eye + port_ohm[open_rows] * (slope / test_v)[:, None, :]
        step = np.linalg.solve(jacobian, miss[:, :, None])[:, :, 0]
        volts[open_rows] = here - np.clip(step, -8.0, 8.0)
        moving = np.abs(step).max(axis=1) > _TOLERANCE_V
        open_rows = open_rows[moving]
        if not len(open_rows):
            return volts
    worst = float(np.abs(step).max())
    if worst > 1e-6:
        raise ArithmeticError(f"the lamps of {len(open_rows)} variants did not settle (last step {worst:.2g} V)")
    return volts
