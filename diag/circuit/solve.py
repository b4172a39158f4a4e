"""The DC solution of many variants of one network at once.

Every variant is assembled afresh, so that opens never come from subtracting a conductance; Newton's
rounds run inside the star-mesh elimination, all variants side by side. Links that are not in the
network's own pattern (swapped wires, wires touching) are torn out and closed again over a few
unit currents. Arrays in, volts and amps out; knows nothing of faults, switches or people.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np

from diag.calc.filament import filament_current
from diag.circuit.elements import diode_current, led_current
from diag.circuit.mesh import Mesh, Pattern
from diag.circuit.network import LEAK_S, Diode, Filament, Floats, Network
from diag.texts import t

__all__ = ["Solution", "Solver", "Variants"]

_SETTLED_V = 5e-5
"""Step below which Newton stops; the solution that follows is one more step, so far within a microvolt."""
_STEP_V, _FAR_V = 8.0, 2.0
_ROUNDS = 120
_CELLS = 600_000
"""Nodes times variants solved side by side: so many that numpy's calls cost little beside the numbers, and no
more than the memory of a phone bears."""


@dataclass(frozen=True)
class Variants:
    """What differs between variants; F of them over B branches, L filaments, D diodes, S sources, K extras."""

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
        return Variants(*(getattr(self, f.name)[rows] for f in fields(self)))


@dataclass(frozen=True)
class Solution:
    """volts (F, nodes) against body; lamp_v, lamp_a (F, L); inner_ohm (F, nodes): what a small load
    at a node sees towards body; branch_a (F, B) from end 0 to end 1; source_a (F, S) out of plus;
    diode_a (F, D) from its end a to its end b."""

    volts: Floats
    lamp_v: Floats
    lamp_a: Floats
    inner_ohm: Floats
    branch_a: Floats
    source_a: Floats
    diode_a: Floats


class Solver:
    """Solves variants of one network."""

    def __init__(self, network: Network, swaps: Iterable[tuple[int, int]] = ()) -> None:
        self.network = network
        branches, sources = network.branches, network.sources
        self._ends = np.array([[branch.a, branch.b] for branch in branches], dtype=int).reshape(-1, 2)
        self._plus = np.array([source.a for source in sources], dtype=int)
        self._minus = np.array([source.b for source in sources], dtype=int)
        bent: list[Filament | Diode] = [*network.filaments, *network.diodes]
        self._a = np.array([element.a for element in bent], dtype=int)
        self._b = np.array([element.b for element in bent], dtype=int)
        self._lamps = len(network.filaments)
        self._test_v = np.array([lamp.test_v for lamp in network.filaments])
        self._rated = np.array([lamp.test_w / lamp.test_v for lamp in network.filaments])
        self._on_v = np.array([diode.on_v for diode in network.diodes])
        self._open_s = np.array([1.0 / diode.ohm for diode in network.diodes])
        edges = [(b.a, b.b) for b in branches] + [(s.a, s.b) for s in sources] + [(e.a, e.b) for e in bent]
        pattern = Pattern(len(network.nodes), edges, [node for e in bent for node in (e.a, e.b) if node])
        self._pattern = pattern

        def joined(ends: Iterable[tuple[int, int]]) -> list[tuple[int, int, int]]:
            """(place or -1 for body, place or -1, slot or -1) of every element that joins two nodes."""
            found = []
            for a, b in ends:
                places = (int(pattern.place[a]) if a else -1, int(pattern.place[b]) if b else -1)
                found.append((*places, pattern.slot(a, b) if a and b and a != b else -1))
            return found

        self._branch_at = joined((b.a, b.b) for b in branches)
        self._source_at = joined((s.a, s.b) for s in sources)
        self._bent_at = joined((e.a, e.b) for e in bent)

    # ------------------------------------------------------------ all variants

    def solve(
        self, variants: Variants, *, near: Floats | None = None, dense: bool = False, inner: bool = True
    ) -> Solution:
        """Every variant's volts and amps.

        `near`: volts (F, nodes) to begin at, where known. `dense` forces plain elimination with pivoting (the
        reference for tests). Without `inner` no inner resistances are worked out; they are given as zero.
        Raises ArithmeticError where Newton does not settle.
        """
        count, size = len(variants.branch_s), len(self.network.nodes)
        volts, bent_v = np.zeros((count, size)), np.zeros((count, len(self._a)))
        inner_ohm = np.zeros((count, size))
        if dense:
            for row in range(count):
                one = np.array([row])
                volts[row], bent_v[row], inner_ohm[row] = self._plain(variants.subset(one))
            return self._solution(variants, volts, bent_v, inner_ohm)
        apart = (variants.ends != self._ends).any(axis=(1, 2))
        if variants.extra_s.shape[1]:
            apart |= ((variants.extra_s > 0) & (variants.extra > 0).all(axis=2)).any(axis=1)
        columns = max(64, _CELLS // size)
        driven = (variants.emf_v * variants.source_s).any(axis=1)
        for torn, live in ((False, True), (True, True), (False, False), (True, False)):
            rows = np.nonzero((apart == torn) & (driven == live))[0]
            if not live and not inner:
                continue  # without a source there is nothing but zeros
            for start in range(0, len(rows), columns):
                here = rows[start : start + columns]
                whole = len(here) == count
                guess = None if near is None else (near[here][:, self._a] - near[here][:, self._b]).T
                found = self._columns(variants if whole else variants.subset(here), guess, torn, live, inner)
                for target, values in zip((volts, bent_v, inner_ohm), found, strict=True):
                    target[here] = values
        return self._solution(variants, volts, bent_v, inner_ohm)

    def _solution(self, variants: Variants, volts: Floats, bent_v: Floats, inner_ohm: Floats) -> Solution:
        amps = self._law(variants)(bent_v.T)[0].T
        ends, lamps = variants.ends, self._lamps
        if (ends == self._ends).all():
            across = volts[:, self._ends[:, 0]] - volts[:, self._ends[:, 1]]
        else:
            across = np.take_along_axis(volts, ends[:, :, 0], 1) - np.take_along_axis(volts, ends[:, :, 1], 1)
        source_a = variants.source_s * (variants.emf_v - volts[:, self._plus] + volts[:, self._minus])
        return Solution(
            volts,
            bent_v[:, :lamps],
            amps[:, :lamps],
            inner_ohm,
            variants.branch_s * across,
            source_a,
            amps[:, lamps:],
        )

    # ------------------------------------------------------------ elements that bend

    def _law(self, variants: Variants) -> _Law:
        return _Law(
            (self._rated * variants.scale).T,
            self._test_v[:, None],
            variants.led.T,
            self._on_v[:, None],
            self._open_s[:, None],
            variants.valve.T,
        )

    # ------------------------------------------------------------ side by side

    def _columns(
        self, variants: Variants, guess: Floats | None, torn: bool, live: bool, inner: bool
    ) -> tuple[Floats, Floats, Floats]:
        """volts (F, nodes), volts on bent elements (F, P), inner ohms (F, nodes) of one batch."""
        pattern = self._pattern
        siemens = np.ascontiguousarray(variants.branch_s.T)
        links = _Links.none(siemens.shape[1])
        if torn:
            siemens, links = self._torn(variants, siemens)
        pair, node = self._assembled(variants, siemens, links)
        fixed = 0 if torn else pattern.first_lively
        law = self._law(variants)
        mesh = Mesh(pattern, pair, node)
        mesh.eliminate(0, fixed)
        bent_v = self._newton(mesh, guess, law, links, fixed) if live else np.zeros((len(self._a), len(siemens.T)))
        self._bend(mesh, law, bent_v, self._bent_at)
        mesh.eliminate(fixed, pattern.places)
        found = np.empty((pattern.places, node.shape[1] - 1, node.shape[2]))
        mesh.substitute(found, 0)
        factor = links.close(found, pattern)
        volts = np.zeros((node.shape[2], 1 + pattern.places))
        volts[:, 1:] = found[pattern.place[1:], 0].T
        ohms = np.zeros_like(volts)
        if inner:
            own = mesh.inner_ohm()
            own -= links.relief(found, factor)
            ohms[:, 1:] = np.maximum(own, 0.0)[pattern.place[1:]].T
        return volts, volts[:, self._a] - volts[:, self._b], ohms

    def _assembled(self, variants: Variants, siemens: Floats, links: _Links) -> tuple[Floats, Floats]:
        pattern, count = self._pattern, siemens.shape[1]
        pair = np.zeros((pattern.slots, count))
        node = np.zeros((pattern.places, 2 + links.count, count))
        node[:, 0] = LEAK_S
        for (a, b, slot), row in zip(self._branch_at, siemens, strict=True):
            _join(pair, node, a, b, slot, row)
        for (a, b, slot), row, emf in zip(self._source_at, variants.source_s.T, variants.emf_v.T, strict=True):
            _join(pair, node, a, b, slot, row)
            if a >= 0:
                node[a, 1] += row * emf
            if b >= 0:
                node[b, 1] -= row * emf
        columns = np.arange(count)
        for k in range(variants.extra_s.shape[1]):
            one, other = variants.extra[:, k, 0], variants.extra[:, k, 1]
            for end, far in ((one, other), (other, one)):
                here = (end > 0) & (far == 0)
                np.add.at(node, (pattern.place[end[here]], 0, columns[here]), variants.extra_s[here, k])
        links.inject(node, pattern)
        return pair, node

    def _torn(self, variants: Variants, siemens: Floats) -> tuple[Floats, _Links]:
        """What is left in the network's own places, and the links that lie elsewhere."""
        rows, branches = np.nonzero((variants.ends != self._ends).any(axis=2))
        links = [
            (int(r), int(variants.ends[r, b, 0]), int(variants.ends[r, b, 1]), float(variants.branch_s[r, b]))
            for r, b in zip(rows, branches, strict=True)
        ]
        siemens = siemens.copy()
        siemens[branches, rows] = 0.0
        if variants.extra_s.shape[1]:
            apart = (variants.extra_s > 0) & (variants.extra > 0).all(axis=2)
            links += [
                (int(r), int(variants.extra[r, k, 0]), int(variants.extra[r, k, 1]), float(variants.extra_s[r, k]))
                for r, k in zip(*np.nonzero(apart), strict=True)
            ]
        return siemens, _Links.of([link for link in links if link[3] > 0 and link[1] != link[2]], siemens.shape[1])

    def _bend(
        self, mesh: Mesh, law: _Law, bent_v: Floats, at: list[tuple[int, int, int]], anew: np.ndarray | None = None
    ) -> None:
        """Add every bent element as the tangent at its volts: a conductance and an injected current.

        Columns that begin `anew` take the secant at the rated volts instead.
        """
        amps, slope = law(bent_v)
        rest = amps - slope * bent_v
        if anew is not None and anew.any():
            slope, rest = np.where(anew, law.secant(), slope), np.where(anew, 0.0, rest)
        for (a, b, slot), row, injected in zip(at, slope, rest, strict=True):
            _join(mesh.pair, mesh.node, a, b, slot, row)
            if a >= 0:
                mesh.node[a, 1] -= injected
            if b >= 0:
                mesh.node[b, 1] += injected

    def _newton(self, start: Mesh, guess: Floats | None, law: _Law, links: _Links, fixed: int) -> Floats:
        """(P, F) volts on the bent elements, by Newton from `guess` or from the secant at their rated volts.

        The places before `fixed` are out already and stay so.
        """
        count = start.pair.shape[1]
        out = np.zeros((len(self._a), count))
        if not len(self._a):
            return out
        tail, slots = start.pattern.tail(fixed)
        at = [(max(a - fixed, -1), max(b - fixed, -1), max(slot - slots, -1)) for a, b, slot in self._bent_at]
        a, b = (np.array(ends) for ends in zip(*((x, y) for x, y, _ in at), strict=True))
        on_a, on_b = (a >= 0)[:, None], (b >= 0)[:, None]
        columns, pair, node = np.arange(count), start.pair[slots:], start.node[fixed:]
        volts, anew = (
            (out.copy(), np.ones(count, dtype=bool)) if guess is None else (guess, np.zeros(count, dtype=bool))
        )
        for turn in range(_ROUNDS):
            trial = Mesh(tail, pair.copy(), node.copy())
            self._bend(trial, law, volts, at, anew)
            trial.eliminate(0, tail.places)
            found = np.empty((tail.places, node.shape[1] - 1, len(columns)))
            trial.substitute(found, 0)
            links.close(found, start.pattern)
            step = np.where(on_a, found[a, 0], 0.0) - np.where(on_b, found[b, 0], 0.0) - volts
            size = np.abs(step).max(axis=0)
            moving = anew | (size > _SETTLED_V)
            limit = np.where(anew, np.inf, _STEP_V)
            volts = volts + np.clip(step, -limit, limit)
            anew = (size > _FAR_V) & (turn == 0) & ~anew  # nothing like the guess: better from the secant
            left = int(moving.sum())
            if left <= 0.6 * len(columns):
                out[:, columns] = volts
                if not left:
                    return out
                columns, volts, anew = columns[moving], volts[:, moving], anew[moving]
                pair, node = pair[:, moving], node[:, :, moving]
                law, links = law.columns(moving), links.columns(moving)
        worst = float(np.abs(step).max())
        raise ArithmeticError(
            t("the lamps of {left} variants did not settle (last step {worst:.2g} V)", left=left, worst=worst)
        )

    # ------------------------------------------------------------ one by one, the plain way

    def _plain(self, one: Variants) -> tuple[Floats, Floats, Floats]:
        """volts (nodes,), bent volts (P,), inner ohms (nodes,) of a single variant by numpy's own solver."""
        size, law = len(self.network.nodes), self._law(one)
        matrix = np.diag(np.full(size, LEAK_S))
        injected = np.zeros(size)

        def stamp(into: Floats, a: int, b: int, siemens: float) -> None:
            into[a, a] += siemens
            into[b, b] += siemens
            into[a, b] -= siemens
            into[b, a] -= siemens

        for (a, b), siemens in zip(one.ends[0], one.branch_s[0], strict=True):
            stamp(matrix, a, b, siemens)
        for (a, b), siemens in zip(one.extra[0], one.extra_s[0], strict=True):
            stamp(matrix, a, b, siemens)
        for a, b, siemens, emf in zip(self._plus, self._minus, one.source_s[0], one.emf_v[0], strict=True):
            stamp(matrix, a, b, siemens)
            injected[a] += siemens * emf
            injected[b] -= siemens * emf
        volts, bent_v = np.zeros(size), np.zeros(len(self._a))
        slope, rest = law.secant()[:, 0], np.zeros(len(self._a))
        for turn in range(_ROUNDS):
            bent, pushed = matrix.copy(), injected.copy()
            for a, b, siemens, amps in zip(self._a, self._b, slope, rest, strict=True):
                stamp(bent, a, b, siemens)
                pushed[a] -= amps
                pushed[b] += amps
            volts[1:] = np.linalg.solve(bent[1:, 1:], pushed[1:])
            step = volts[self._a] - volts[self._b] - bent_v
            bent_v = bent_v + np.clip(step, -_STEP_V, _STEP_V)
            if turn and (np.abs(step) < 1e-10).all():
                break
            current, tangent = law(bent_v[:, None])
            slope, rest = tangent[:, 0], (current - tangent * bent_v[:, None])[:, 0]
        else:
            raise ArithmeticError(t("the lamps of a variant did not settle"))
        inner = np.zeros(size)
        inner[1:] = np.diag(np.linalg.inv(bent[1:, 1:]))
        return volts, bent_v, inner


@dataclass(frozen=True)
class _Law:
    """The bent elements of F variants; arrays are (elements, F) or (elements, 1)."""

    rated_a: Floats
    test_v: Floats
    led: Floats
    on_v: Floats
    open_s: Floats
    valve: Floats

    def columns(self, chosen: np.ndarray) -> _Law:
        """Some of the variants."""
        return _Law(
            self.rated_a[:, chosen], self.test_v, self.led[:, chosen], self.on_v, self.open_s, self.valve[:, chosen]
        )

    def __call__(self, volts: Floats) -> tuple[Floats, Floats]:
        """Amps and siemens, lamps first, for volts (P, F)."""
        lamps = len(self.test_v)
        on_lamp = volts[:lamps]
        amps, slope = filament_current(on_lamp / self.test_v, self.rated_a)
        slope = slope / self.test_v
        if self.led.any():
            led_a, led_s = led_current(on_lamp, self.test_v, self.rated_a, self.led)
            amps, slope = np.where(self.led != 0, led_a, amps), np.where(self.led != 0, led_s, slope)
        if not len(self.on_v):
            return amps, slope
        diode_a, diode_s = diode_current(volts[lamps:], self.on_v, self.open_s, self.valve)
        return np.concatenate([amps, diode_a]), np.concatenate([slope, diode_s])

    def secant(self) -> Floats:
        """(P, F) siemens at the rated volts, the first guess."""
        return np.concatenate([self.rated_a / self.test_v, self.open_s * np.abs(self.valve) * 0.5])


@dataclass(frozen=True)
class _Links:
    """Links outside the pattern, at most `count` a variant; unused ones have no siemens.

    ends (count, 2, F) node indices; ohm (count, F), infinite where unused.
    """

    ends: np.ndarray
    ohm: Floats

    @property
    def count(self) -> int:
        """Most links that any variant has."""
        return len(self.ohm)

    @staticmethod
    def none(columns: int) -> _Links:
        """No link at all."""
        return _Links(np.zeros((0, 2, columns), dtype=int), np.zeros((0, columns)))

    @staticmethod
    def of(links: list[tuple[int, int, int, float]], columns: int) -> _Links:
        """From (column, node, node, siemens)."""
        used = [0] * columns
        places = []
        for column, *_ in links:
            places.append(used[column])
            used[column] += 1
        most = max(used, default=0)
        ends, ohm = np.zeros((most, 2, columns), dtype=int), np.full((most, columns), np.inf)
        for k, (column, a, b, siemens) in zip(places, links, strict=True):
            ends[k, :, column] = a, b
            ohm[k, column] = 1.0 / siemens
        return _Links(ends, ohm)

    def columns(self, chosen: np.ndarray) -> _Links:
        """Some of the variants."""
        return _Links(self.ends[:, :, chosen], self.ohm[:, chosen])

    def inject(self, node: Floats, pattern: Pattern) -> None:
        """A unit current along every link, as a right-hand side of its own."""
        for k in range(self.count):
            for end, amps in ((0, 1.0), (1, -1.0)):
                there = np.nonzero(self.ends[k, end] > 0)[0]
                node[pattern.place[self.ends[k, end, there]], 2 + k, there] += amps

    def close(self, found: Floats, pattern: Pattern) -> Floats:
        """Let the links carry their current: corrects found[:, 0] (places, 1 + count, F) in place.

        Returns the (F, count, count) matrix that turns volts across the links into their currents.
        """
        if not self.count:
            return np.zeros((found.shape[2], 0, 0))
        columns = np.arange(found.shape[2])

        def across(k: int) -> Floats:
            (a, b), zero = self.ends[k], np.zeros((found.shape[1], 1))
            at_a = np.where(a > 0, found[pattern.place[a], :, columns].T, zero)
            at_b = np.where(b > 0, found[pattern.place[b], :, columns].T, zero)
            out: Floats = at_a - at_b
            return out

        seen = np.stack([across(k) for k in range(self.count)])  # (count, 1 + count, F)
        loop = seen[:, 1:].transpose(2, 0, 1).copy()
        spare = np.isinf(self.ohm).T
        diagonal = np.arange(self.count)
        loop[:, diagonal, diagonal] += np.where(spare, 1.0, np.where(np.isinf(self.ohm), 0.0, self.ohm).T)
        factor = np.asarray(np.linalg.inv(loop), dtype=np.float64)
        factor[spare] = 0.0
        amps = np.matmul(factor, seen[:, 0].T[:, :, None])[:, :, 0]
        found[:, 0] -= np.einsum("nkf,fk->nf", found[:, 1:], amps)
        return factor

    def relief(self, found: Floats, factor: Floats) -> Floats | float:
        """(places, F) ohms that the links take off every node's inner resistance."""
        if not self.count:
            return 0.0
        out: Floats = np.einsum("nkf,fkl,nlf->nf", found[:, 1:], factor, found[:, 1:])
        return out


def _join(pair: Floats, node: Floats, a: int, b: int, slot: int, siemens: Floats) -> None:
    """Add a conductance between two places (-1 is body)."""
    if slot >= 0:
        pair[slot] += siemens
    elif a >= 0 and b < 0:
        node[a, 0] += siemens
    elif b >= 0 and a < 0:
        node[b, 0] += siemens
