"""Fuses that melt and wires that burn in one network: what gives way first.

How long each takes is `calc.melting`'s business; a row's current comes from its solution. Knows nothing of
causes or of what hangs on a fuse.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.calc.melting import burns_a, burns_in_s, opens_from, usual_s
from diag.circuit.jumper import JUMPER_FUSE_A, JUMPER_LINK
from diag.circuit.network import Floats, Network
from diag.circuit.stage import Stage
from diag.knowledge.bridging import BRIDGED

__all__ = ["Melting"]


class Melting:
    """The fuses and wires of one network. `fuse_a`: rating in A by fuse id; `links`: class of `LINKS` by fuse
    id, blade where left out; `section_mm2` by wire id; `guards`: amps at which any other branch melts, by index."""

    def __init__(
        self,
        network: Network,
        fuse_a: Mapping[str, float],
        links: Mapping[str, str],
        section_mm2: Mapping[str, float],
        guards: Mapping[int, float],
    ) -> None:
        self._fuses = {network.branch(fuse): (rating, links.get(fuse, "blade")) for fuse, rating in fuse_a.items()}
        self._fuses |= {branch: (amps / opens_from("blade"), "blade") for branch, amps in guards.items()}
        self._wires = {network.branch(wire): section for wire, section in section_mm2.items()}
        limit = np.full(len(network.branches), np.inf)
        for branch, (rating, link) in self._fuses.items():
            limit[branch] = rating * opens_from(link)
        for branch, section in self._wires.items():
            limit[branch] = burns_a(section)
        self._limit_a = limit

    def blow(self, stage: Stage, rows: np.ndarray) -> np.ndarray:
        """What gives way first in each row opens; gives the rows where something did.

        Current that pulses is taken as if it flowed all the time. A jumper lead whose fuse goes is as if it
        were not there; it is no part of the vehicle and not among what blew.
        """
        amps = np.abs(stage.solution.branch_a[rows])
        over: np.ndarray = amps > self._limit_of(stage, rows)
        jumper = len(self._limit_a)
        bridged = self._jumper_a(stage, rows)
        if bridged is not None:
            amps = np.concatenate([amps, bridged[:, None]], axis=1)
            over = np.concatenate([over, bridged[:, None] > JUMPER_FUSE_A * opens_from(JUMPER_LINK)], axis=1)
        going = np.nonzero(over.any(axis=1))[0]
        for i in going.tolist():
            row = int(rows[i])
            first = min(np.nonzero(over[i])[0].tolist(), key=lambda b: (self._time_s(stage, row, b, amps[i, b]), b))
            if first == jumper:
                stage.variants.extra_s[row, len(stage.changes[row].extra)] = 0.0
                continue
            stage.blown[row].add(first)
            stage.variants.branch_s[row, first] = 0.0
        gone: np.ndarray = rows[going]
        stage.solve(gone)
        return gone

    def _jumper_a(self, stage: Stage, rows: np.ndarray) -> Floats | None:
        """(rows,) amps through the jumper lead of each row, 0 where it has none; None where no row has one."""
        held = [i for i, row in enumerate(rows.tolist()) if BRIDGED in stage.operates[row]]
        if not held:
            return None
        amps = np.zeros(len(rows))
        at = rows[held]
        link = np.array([len(stage.changes[row].extra) for row in at.tolist()])
        ends, volts = stage.variants.extra[at, link], stage.solution.volts[at]
        across = np.take_along_axis(volts, ends, axis=1)
        amps[held] = np.abs((across[:, 0] - across[:, 1]) * stage.variants.extra_s[at, link])
        return amps

    def _limit_of(self, stage: Stage, rows: np.ndarray) -> Floats:
        limit: Floats = np.repeat(self._limit_a[None, :], len(rows), axis=0)
        for i, row in enumerate(rows.tolist()):
            for fuse, factor in stage.changes[row].limit.items():
                limit[i, fuse] *= factor
        return limit

    def _time_s(self, stage: Stage, row: int, branch: int, amps: float) -> float:
        if branch in self._wires:
            return burns_in_s(float(amps), self._wires[branch])
        if branch == len(self._limit_a):
            return usual_s(float(amps) / JUMPER_FUSE_A, JUMPER_LINK)
        rating, link = self._fuses[branch]
        return usual_s(float(amps) / (rating * stage.changes[row].limit.get(branch, 1.0)), link)
