"""Which changes are too faint to show at the points that anybody looks at in one state of the sound vehicle.

The state is taken as straight around where it rests (lamps and junctions at their slopes); in that network a
few links more or less are worked out for all changes side by side (Woodbury's identity), without solving any of
them. What would move a point that is looked at by more than the last digit of a meter, or the resistance behind it,
has to be solved properly; the rest shows there what the sound vehicle shows. Knows nothing of causes or checks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.arrange import in_series, owner
from diag.circuit.network import LEAK_S, Change, Diode, Filament, Floats, Network
from diag.circuit.solve import Solution, Variants

__all__ = ["Faint", "State"]

_FAINT_V = 0.01
"""The last digit of a meter on its 20 V range (common practice, no source), and far below what an eye sees."""
_FAINT_OHM, _FAINT_SHARE = 0.01, 0.005
"""Resistance behind a point: what a test lamp or an ohmmeter would just not tell."""
_MINDS = frozenset({"flasher", "tell-tale", "relay", "cut-out", "field", "excited", "motor", "park"})
"""Roles of branches in parts that do something by what flows through them."""
_UNMINDED_V = 0.1
"""What a relay, a flasher unit or a motor that is at work does not mind at its terminals."""
_STILL_A = 1e-6
"""A part whose branches all carry less does nothing."""
_GROUPS = (1, 2, 4, 8, 24)
"""Links that one change may touch; what touches more than the last is solved."""
Links = Sequence[tuple[int, int, float]]
"""(node, node, siemens more or less)."""


@dataclass(frozen=True)
class State:
    """One phase of the sound vehicle under one operate: its arrays, and what they come to, in row `row`."""

    variants: Variants
    solution: Solution
    row: int


class Faint:
    """The links that each of C changes adds or alters, laid out to be weighed in any state."""

    def __init__(self, network: Network, changes: Sequence[Change]) -> None:
        self.network = network
        self._ends = np.array([[branch.a, branch.b] for branch in network.branches], dtype=int).reshape(-1, 2)
        self._wires_at: dict[int, list[int]] = {}
        for i, branch in enumerate(network.branches):
            if branch.role == "wire":
                for end in {branch.a, branch.b}:
                    self._wires_at.setdefault(end, []).append(i)
        self._changes = list(changes)
        self._never = np.array([bool(change.emf or change.diode or change.led) for change in changes], dtype=bool)
        self._moves = np.array([bool(change.swap or change.moved) for change in changes], dtype=bool)
        self._inside: dict[str, list[int]] = {}
        for i, branch in enumerate(network.branches):
            self._inside.setdefault(owner(branch.id), []).append(i)
        minding = {owner(branch.id) for branch in network.branches if branch.role in _MINDS}
        self._minds = {n: owner(network.nodes[n].replace(".", ":")) for n in range(1, len(network.nodes))}
        self._minds = {node: part for node, part in self._minds.items() if part in minding}

    def seen(
        self,
        states: Sequence[State],
        amps: Sequence[Floats],
        points: Sequence[int],
        doubtful: np.ndarray,
        *,
        unplugged: bool = False,
    ) -> np.ndarray:
        """(C,) True where a change may show at one of the nodes `points` in one of the `states`.

        Only those that are `doubtful` (C,) are weighed; the others are given as False. A source or a junction that
        is another is given as True, and so is what changes how a part behaves that carries current in one of the
        states or on the way to them (`amps` of branches), by itself or because
        a wire of it goes elsewhere. `unplugged`: wires are off a terminal, so that of wires
        that changed places others may be off.
        """
        carried = np.abs(np.array([*(s.solution.branch_a[s.row] for s in states), *amps])).max(axis=0) > _STILL_A
        behaves = [
            any(carried[i] for part in self._parts(change) for i in self._inside.get(part, ()))
            for change in self._changes
        ]
        out: np.ndarray = doubtful & (self._never | np.array(behaves, dtype=bool) | (self._moves & unplugged))
        busy = {part for part, inside in self._inside.items() if carried[inside].any()}
        guards = [node for node, part in self._minds.items() if part in busy and node not in points]
        at = np.array([*points, *guards], dtype=int)
        within = np.array([_FAINT_V] * len(points) + [_UNMINDED_V] * len(guards))
        for state in states:
            rows = np.nonzero(doubtful & ~out)[0]
            if len(rows):
                out[rows] |= self._moved(state, at, within, rows)
        return out

    def _moved(self, state: State, at: np.ndarray, within: Floats, rows: np.ndarray) -> np.ndarray:
        inverse = self._inverse(state)
        volts = state.solution.volts[state.row]
        links = [list(self._links(self._changes[row], state)) for row in rows.tolist()]
        out = np.array([len(found) > _GROUPS[-1] for found in links], dtype=bool)
        least = 0
        for most in _GROUPS:  # by how many links they have, so that the many with one are not padded to the few
            group = [i for i, found in enumerate(links) if least < len(found) <= most]
            if group:
                out[group] = _stirred(inverse, volts, at, within, [links[i] for i in group], most)
            least = most
        return out

    # ------------------------------------------------------------ the straight network

    def _inverse(self, state: State) -> Floats:
        """(nodes, nodes) ohms: volts at one node for an ampere into another; body's row and column are zero."""
        net, variants, row = self.network, state.variants, state.row
        size = len(net.nodes)
        matrix = np.diag(np.full(size, LEAK_S))
        bent: list[Filament | Diode] = [*net.filaments, *net.diodes]
        ends = np.concatenate(
            [
                variants.ends[row],
                variants.extra[row].reshape(-1, 2),
                np.array([(s.a, s.b) for s in net.sources], dtype=int).reshape(-1, 2),
                np.array([(e.a, e.b) for e in bent], dtype=int).reshape(-1, 2),
            ]
        )
        slope = self._slope_of(state)
        siemens = np.concatenate([variants.branch_s[row], variants.extra_s[row], variants.source_s[row], slope])
        a, b = ends[:, 0], ends[:, 1]
        np.add.at(matrix, (a, a), siemens)
        np.add.at(matrix, (b, b), siemens)
        np.add.at(matrix, (a, b), -siemens)
        np.add.at(matrix, (b, a), -siemens)
        out = np.zeros_like(matrix)
        out[1:, 1:] = np.linalg.inv(matrix[1:, 1:])
        return out

    def _slope_of(self, state: State) -> Floats:
        """Siemens of lamps and junctions about where they are: current over volts, cold ones as they conduct cold."""
        net, out, solution = self.network, [], state.solution
        volts = solution.volts[state.row]
        bent_a = np.concatenate([solution.lamp_a[state.row], solution.diode_a[state.row]])
        for lamp, amps in zip(net.filaments, bent_a, strict=False):
            across = abs(volts[lamp.a] - volts[lamp.b])
            cold = 12.0 * lamp.test_w / lamp.test_v**2  # a cold filament has a twelfth of its hot resistance
            out.append(abs(amps) / across if across > 0.05 * lamp.test_v else cold)
        for diode, amps in zip(net.diodes, bent_a[len(net.filaments) :], strict=True):
            out.append(1.0 / diode.ohm if abs(amps) > 1e-3 else 1e-6)
        return np.array(out)

    def _parts(self, change: Change) -> set[str]:
        """Parts whose behaviour, whose fuse link, or whose own wires a change alters."""
        nodes = {node for pair in change.swap for node in pair}
        for wire, new in change.moved.items():
            nodes |= {*new, *self._end(wire)}
        return (
            {flag.split(":")[0] for flag in change.flags}
            | {owner(self.network.branches[i].id) for i in change.limit}
            | {self._minds[node] for node in nodes if node in self._minds}
        )

    def _end(self, branch: int) -> tuple[int, int]:
        return int(self._ends[branch, 0]), int(self._ends[branch, 1])

    def _links(self, change: Change, state: State) -> Iterator[tuple[int, int, float]]:
        """(node, node, siemens more or less) of everything that a change does to the links as they stand."""
        branch_s = state.variants.branch_s[state.row]
        for i, ohm in change.added_ohm.items():
            was = float(branch_s[i])
            if was:
                yield (*self._end(i), in_series(was, ohm) - was)
        for i in change.closed:
            if not branch_s[i]:
                yield (*self._end(i), 1.0 / self.network.branches[i].ohm)
        for link in change.extra:
            yield link.a, link.b, link.siemens
        slope = self._slope_of(state) if change.scale else None
        for i, left in change.scale.items():
            lamp = self.network.filaments[i]
            if slope is not None:
                yield lamp.a, lamp.b, (left - 1.0) * float(slope[i])
        moved = {i for pair in change.swap for node in pair for i in self._wires_at.get(node, ())} | change.moved.keys()
        for i in sorted(moved):
            a, b = self._end(i)
            new = change.moved.get(i, (a, b))
            for left, right in change.swap:
                new = (_other(new[0], left, right), _other(new[1], left, right))
            if branch_s[i] and new != (a, b):
                yield a, b, -float(branch_s[i])
                yield (*new, float(branch_s[i]))


def _stirred(
    inverse: Floats, volts: Floats, at: np.ndarray, within: Floats, links: Sequence[Links], most: int
) -> np.ndarray:
    """(C,) whether the links of each change move the volts at the nodes `at` by more than `within`, or the ohms
    behind those that are looked at: Woodbury's identity."""
    ends, siemens = np.zeros((len(links), most, 2), dtype=int), np.zeros((len(links), most))
    for place, found in enumerate(links):
        for k, (near, far, added) in enumerate(found):
            ends[place, k], siemens[place, k] = (near, far), added
    used = siemens != 0.0
    a, b = ends[:, :, 0], ends[:, :, 1]
    to = np.where(used[None], inverse[at][:, a] - inverse[at][:, b], 0.0)  # (P, C, k) ohms from each link to each point
    one, two = (inverse[end[:, :, None], a[:, None, :]] - inverse[end[:, :, None], b[:, None, :]] for end in (a, b))
    loop = np.where(used[:, :, None] & used[:, None, :], one - two, 0.0)
    diagonal = np.arange(most)
    loop[:, diagonal, diagonal] += np.where(used, 1.0 / np.where(used, siemens, 1.0), 1.0)
    across = np.where(used, volts[a] - volts[b], 0.0)
    with np.errstate(all="ignore"):
        try:
            factor = np.linalg.inv(loop)
        except np.linalg.LinAlgError:
            return np.ones(len(links), dtype=bool)
        carried = np.matmul(factor, across[:, :, None])[:, :, 0]
        moved_v = np.abs(np.einsum("pck,ck->pc", to, carried))
        moved_ohm = np.abs(np.einsum("pck,pck->pc", np.einsum("pck,ckl->pcl", to, factor), to))
    most_ohm = np.where(within < _UNMINDED_V, _FAINT_OHM + _FAINT_SHARE * np.diag(inverse)[at], np.inf)
    still = (moved_v <= within[:, None]) & (moved_ohm <= most_ohm[:, None])  # False where it is no number
    moved: np.ndarray = ~still.all(axis=0)
    return moved


def _other(node: int, left: int, right: int) -> int:
    return right if node == left else left if node == right else node
