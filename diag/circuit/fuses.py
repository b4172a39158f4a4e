"""Fuses that melt and wires that burn: what gives way first, and when.

Time-current classes are published tables; a row's current comes from its solution. Knows nothing of
causes or of what hangs on a fuse.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.circuit.network import Floats, Network
from diag.circuit.stage import Stage

__all__ = ["blow", "limits_a"]

_FUSE_BLOWS_AT = 2.0
"""Multiple of its rating at which a blade fuse opens within 5 s (ISO 8820-3, 200 % point)."""
_PREECE_COPPER = 80.0
"""Fusing current of copper wire in free air, A = 80 · d^1.5, d in mm (Preece's law)."""


def limits_a(network: Network, fuse_a: Mapping[str, float], section_mm2: Mapping[str, float]) -> Floats:
    """(branches,) amps at which each fuse melts and each wire burns; infinite for all else."""
    limit = np.full(len(network.branches), np.inf)
    for fuse, rating in fuse_a.items():
        limit[network.branch(fuse)] = _FUSE_BLOWS_AT * rating
    for wire, section in section_mm2.items():
        limit[network.branch(wire)] = _PREECE_COPPER * (2 * np.sqrt(section / np.pi)) ** 1.5
    return limit


def blow(stage: Stage, limit_a: Floats, rows: np.ndarray) -> np.ndarray:
    """The one fuse or wire of each row that is furthest over its limit goes; gives the rows where one did."""
    limit = np.repeat(limit_a[None, :], len(rows), axis=0)
    for i, row in enumerate(rows.tolist()):
        for fuse, factor in stage.changes[row].limit.items():
            limit[i, fuse] *= factor
    over = np.abs(stage.solution.branch_a[rows]) / limit
    worst = over.argmax(axis=1)
    going = over[np.arange(len(rows)), worst] > 1.0
    for row, branch in zip(rows[going].tolist(), worst[going].tolist(), strict=True):
        stage.blown[row].add(branch)
        stage.variants.branch_s[row, branch] = 0.0
    gone: np.ndarray = rows[going]
    stage.solve(gone)
    return gone
