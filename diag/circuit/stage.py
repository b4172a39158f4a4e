"""Many variants of one network while contacts move, fuses melt and machines react.

Holds arrays and solution together, so that a contact that moves costs a solution of the rows that
feel it and no more. Knows nothing of why anything moves.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from diag.circuit.arrange import in_series
from diag.circuit.network import Change, Floats, Network
from diag.circuit.solve import Solution, Solver, Variants

__all__ = ["Settled", "Stage", "merged", "picked", "union"]


@dataclass(frozen=True)
class Settled:
    """R variants after everything has reacted, each under its operate.

    `closed`, `open`: the arrays with the flasher contact closed and open, relays, fuses, wires,
    machines and park switches as they then stand; equal rows where nothing flashes. `closed_solution`,
    `open_solution` solve exactly these. `blown`: fuses and wires, by branch index, that went while
    operating. `pulled` (R, K): 0 released, 1 pulled in, 2 chatters. `home` (R, M): True where a motor's
    park switch stands at rest. `could_run` (R, M): True where the motor turned before it was switched off.
    """

    closed: Variants
    open: Variants
    closed_solution: Solution
    open_solution: Solution
    blown: tuple[frozenset[int], ...]
    pulled: np.ndarray
    home: np.ndarray
    could_run: np.ndarray


class Stage:
    """Variants, each under its operate, to be moved by behaviours and solved again where they moved.

    `given_s` (R, S): siemens of each source before anything reacted. `running` (R,): the engine runs.
    """

    def __init__(
        self,
        network: Network,
        solver: Solver,
        operates: Sequence[Mapping[str, str]],
        changes: Sequence[Change],
        variants: Variants,
    ) -> None:
        self.network, self.solver = network, solver
        self.operates, self.changes = operates, changes
        self.variants = variants
        self.given_s = variants.source_s.copy()
        self.blown: list[set[int]] = [set() for _ in changes]
        self.pulled = np.zeros((len(changes), len(network.relays)), dtype=int)
        self.running: np.ndarray = np.zeros(len(changes), dtype=bool)
        self.solution: Solution
        self._index()

    def __len__(self) -> int:
        return len(self.changes)

    def flagged(self, flag: str) -> np.ndarray:
        """(R,) True where a fault carries the flag `part:mode`."""
        out = np.zeros(len(self), dtype=bool)
        out[self._flags.get(flag, [])] = True
        return out

    def _index(self) -> None:
        """Which rows have a fault in a contact, by branch, and which fail in a way that only behaviour knows."""
        self._flags: dict[str, list[int]] = {}
        self._added: dict[int, list[tuple[int, float]]] = {}
        self._held: dict[int, list[int]] = {}
        for row, change in enumerate(self.changes):
            for branch, ohm in change.added_ohm.items():
                self._added.setdefault(branch, []).append((row, ohm))
            for flag in change.flags:
                self._flags.setdefault(flag, []).append(row)
            for branch in change.closed:
                self._held.setdefault(branch, []).append(row)

    def move(self, branch: int, closed: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Puts a contact where `closed` (rows,) says; one that a fault holds closed stays so, and one that a
        fault makes worse closes as badly. Gives the rows in which it did move; the solution is as it was
        until `solve`."""
        held = np.isin(rows, self._held.get(branch, []))
        shut_s = np.full(len(self), 1.0 / self.network.branches[branch].ohm)
        for row, ohm in self._added.get(branch, []):
            shut_s[row] = in_series(shut_s[row], ohm)
        wanted = np.where(closed | held, shut_s[rows], 0.0)
        moved: np.ndarray = rows[wanted != self.variants.branch_s[rows, branch]]
        self.variants.branch_s[rows, branch] = wanted
        return moved

    def solve_all(self, near: Floats | None = None) -> None:
        """The first solution; behaviours may look at it from then on. `near`: volts (R, nodes) to begin at."""
        self.solution = self.solver.solve(self.variants, near=near)

    def solve(self, rows: np.ndarray) -> None:
        """Brings the solution of those rows up to date."""
        if not len(rows):
            return
        fresh = self.solver.solve(self.variants.subset(rows), near=self.solution.volts[rows])
        for f in fields(Solution):
            getattr(self.solution, f.name)[rows] = getattr(fresh, f.name)

    def part(self, rows: np.ndarray) -> Stage:
        """A copy of those rows that moves on its own."""
        out = object.__new__(Stage)
        out.network, out.solver = self.network, self.solver
        out.operates = [self.operates[row] for row in rows.tolist()]
        out.changes = [self.changes[row] for row in rows.tolist()]
        out.variants = self.variants.subset(rows)
        out.given_s, out.running = self.given_s[rows], self.running[rows]
        out.blown = [set(self.blown[row]) for row in rows.tolist()]
        out.pulled = self.pulled[rows].copy()
        out.solution = picked(self.solution, rows)
        out._index()
        return out

    def take(self, rows: np.ndarray, other: Stage) -> None:
        """Puts the rows of `other` in the places `rows` of this."""
        for f in fields(Variants):
            getattr(self.variants, f.name)[rows] = getattr(other.variants, f.name)
        for found in fields(Solution):
            getattr(self.solution, found.name)[rows] = getattr(other.solution, found.name)
        self.pulled[rows] = other.pulled
        for row, gone in zip(rows.tolist(), other.blown, strict=True):
            self.blown[row] = set(gone)


def merged(solution: Solution, rows: np.ndarray, fresh: Solution) -> Solution:
    """The solution with some rows replaced."""
    out = {}
    for f in fields(Solution):
        whole = getattr(solution, f.name).copy()
        whole[rows] = getattr(fresh, f.name)
        out[f.name] = whole
    return Solution(**out)


def picked(solution: Solution, rows: np.ndarray) -> Solution:
    """Those rows of a solution."""
    return Solution(*(getattr(solution, f.name)[rows] for f in fields(Solution)))


def union(sets: Iterable[np.ndarray]) -> np.ndarray:
    """Row numbers that any of them holds, in order."""
    found = [one for one in sets if len(one)]
    return np.unique(np.concatenate(found)) if found else np.zeros(0, dtype=int)
