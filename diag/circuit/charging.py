"""Machines that charge: whether they excite, what volts they make, when their cut-out opens.

Knows nothing of fuses, lamps or people. Thresholds are `common practice, no source`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.circuit.arrange import owner
from diag.circuit.network import Network
from diag.circuit.stage import Stage

__all__ = ["Charging"]

_FIELD_A = 0.3
"""Field current above which a turning dynamo excites itself."""
_RESIDUAL_V = 0.3
_COLLAPSE_A, _BACK_A = 70.0, 0.5
"""Load at which a shunt dynamo loses its field, and current back into it that opens the cut-out."""


class Charging:
    """The machines of one network. `emf_v`: volts of each dynamo while it charges."""

    def __init__(self, network: Network, emf_v: Mapping[str, float]) -> None:
        self.network = network
        self.emf_v = dict(emf_v)
        self._dynamos = [i for i, source in enumerate(network.sources) if source.kind == "dynamo"]
        self._cut_outs = [i for i, branch in enumerate(network.branches) if branch.role == "cut-out"]
        self._fields = [i for i, branch in enumerate(network.branches) if branch.role == "field"]

    def start(self, stage: Stage, rows: np.ndarray, turning: np.ndarray) -> None:
        """Cut-outs and volts as they are before anything reacts. `turning` (rows,): the engine runs."""
        for i in self._dynamos:
            dead = stage.flagged(f"{self.network.sources[i].id}:no-output")[rows]
            stage.variants.emf_v[rows, i] = (
                np.where(dead, _RESIDUAL_V, self.emf_v[self.network.sources[i].id]) * turning
            )
            self._cut_out(stage, rows[dead & turning], closed=False)
        self._cut_out(stage, rows[turning], closed=True)
        self._cut_out(stage, rows[~turning], closed=False)

    def _cut_out(self, stage: Stage, rows: np.ndarray, *, closed: bool) -> None:
        for i in self._cut_outs:
            part = owner(self.network.branches[i].id)
            never = stage.flagged(f"{part}:cut-out-open")[rows]
            stuck = stage.flagged(f"{part}:cut-out-stuck")[rows]
            stage.move(i, (np.full(len(rows), closed) | stuck) & ~never, rows)

    def settle(self, stage: Stage, rows: np.ndarray) -> np.ndarray:
        """Dynamos that cannot excite stand still; a cut-out that current flows back through opens."""
        if not self._dynamos or not len(rows):
            return np.zeros(0, dtype=int)
        found = stage.solution
        weak, back = np.zeros(len(rows), dtype=bool), np.zeros(len(rows), dtype=bool)
        for i in self._fields:
            weak |= np.abs(found.branch_a[rows, i]) < _FIELD_A
        for i in self._dynamos:
            weak |= found.source_a[rows, i] > _COLLAPSE_A
        for i in self._cut_outs:
            back |= found.branch_a[rows, i] < -_BACK_A
        for i in self._dynamos:
            stage.variants.emf_v[rows[weak], i] = _RESIDUAL_V
        self._cut_out(stage, rows[weak | back], closed=False)
        stage.solve(rows[weak | back])
        return rows[weak | back]
