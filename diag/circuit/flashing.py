"""Flasher units: whether the contact closes, opens and how often, and when the tell-tale contact works.

Knows nothing of which lamps hang on the unit. Thresholds are `common practice, no source`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.circuit.arrange import owner
from diag.circuit.network import Floats, Network
from diag.circuit.solve import Solution
from diag.circuit.stage import Stage, union

__all__ = ["FLASHER_STATES", "Flashing"]

FLASHER_STATES = ("idle", "steady", "slow", "flashing", "fast")
"""idle: contact open. steady: contact stays closed. The others are rhythms."""

_UNIT_WORKS_FROM_V, _UNIT_CYCLES_FROM_V, _UNIT_FULL_RATE_FROM_V = 7.0, 9.3, 10.3
_NO_LOAD, _LAMP_OUT = 0.25, 0.80
"""Shares of the rated load below which the unit does not trip, or doubles its rate."""
_HEAVY_UNIT_TRIPS = 1.4
"""The same share for a unit made for twice the lamps: it needs both sides (hazard) to flash."""
_LOAD_A = 0.05
"""Current through the flasher contact below which no lamp hangs on it."""


def _above(found: Floats, limit: float, width: float) -> Floats:
    """Soft step from 0 to 1 round `limit`: real parts differ by about `width`."""
    step: Floats = 0.5 * (1 + np.tanh((found - limit) / (2 * width)))
    return step


class Flashing:
    """The flasher unit of one network. `rated_a`: load in A that each unit is made for."""

    def __init__(self, network: Network, rated_a: Mapping[str, float]) -> None:
        self.network = network
        self.rated_a = dict(rated_a)
        roles = [branch.role for branch in network.branches]
        self.contacts = [i for i, role in enumerate(roles) if role == "flasher"]
        self.tell_tales = [i for i, role in enumerate(roles) if role == "tell-tale"]
        self.units = [owner(network.branches[i].id) for i in self.contacts]

    def start(self, stage: Stage, rows: np.ndarray) -> None:
        """Contacts closed, but those of units that never close."""
        for unit, main, side in zip(self.units, self.contacts, self.tell_tales, strict=True):
            dead = stage.flagged(f"{unit}:never-closes")[rows]
            no_side = dead | stage.flagged(f"{unit}:tell-tale-contact-open")[rows]
            stage.move(main, ~dead, rows)
            stage.move(side, ~no_side, rows)

    def tell_tale(self, stage: Stage, rows: np.ndarray) -> np.ndarray:
        """The tell-tale contact is worked by the lamps' current; without it C stays dead."""
        moved = []
        for unit, main, side in zip(self.units, self.contacts, self.tell_tales, strict=True):
            dead = stage.flagged(f"{unit}:never-closes") | stage.flagged(f"{unit}:tell-tale-contact-open")
            loaded = np.abs(stage.solution.branch_a[rows, main]) >= _LOAD_A
            wanted = ~dead[rows] & (stage.flagged(f"{unit}:never-opens")[rows] | loaded)
            moved.append(stage.move(side, wanted, rows))
        found = union(moved)
        stage.solve(found)
        return found

    def carrying(self, stage: Stage) -> np.ndarray:
        """Rows in which anything flows through a contact of the unit, or could if an ohmmeter sent it there:
        with the battery off the contact rests open."""
        amps = np.abs(stage.solution.branch_a[:, self.contacts + self.tell_tales])
        off = np.array([operate.get("battery") == "disconnected" for operate in stage.operates], dtype=bool)
        return np.nonzero((amps > 1e-9).any(axis=1) | (off & bool(self.contacts)))[0]

    def open(self, stage: Stage) -> None:
        """Contacts open in all rows; the solution is as it was."""
        stage.variants.branch_s[:, self.contacts + self.tell_tales] = 0.0

    def _feed_v(self, solution: Solution) -> Floats:
        """Volts between 49 and 31 of the flasher unit, (R,)."""
        unit, net = self.units[0], self.network
        return solution.volts[:, net.node(f"{unit}.49")] - solution.volts[:, net.node(f"{unit}.31")]

    def states(self, stage: Stage, closed: Solution, opened: Solution) -> tuple[Floats, Floats]:
        """Chance of each flasher state (R, 5), and whether the contact buzzes (R,)."""
        count = len(stage)
        states, buzzing = np.zeros((count, len(FLASHER_STATES))), np.zeros(count)
        if not self.units:
            states[:, 0] = 1.0
            return states, buzzing
        unit = self.units[0]
        feed = np.abs(self._feed_v(closed))
        amps = np.abs(closed.branch_a[:, self.contacts[0]])
        load = amps / self.rated_a[unit]
        works = _above(np.abs(self._feed_v(opened)), _UNIT_WORKS_FROM_V, 0.4)
        trips = _above(load, _NO_LOAD, 0.03) * _above(feed, _UNIT_CYCLES_FROM_V, 0.25)
        slow = 1 - _above(feed, _UNIT_FULL_RATE_FROM_V, 0.2)
        fast = 1 - _above(load, _LAMP_OUT, 0.035)
        states[:, 0] = 1 - works
        states[:, 1] = works * (1 - trips)
        states[:, 2] = works * trips * slow
        states[:, 3] = works * trips * (1 - slow) * (1 - fast)
        states[:, 4] = works * trips * (1 - slow) * fast
        never, held = stage.flagged(f"{unit}:never-closes"), stage.flagged(f"{unit}:never-opens")
        heavy = stage.flagged(f"{unit}:wrong-rating") & ~held & ~never
        states[never] = (1, 0, 0, 0, 0)
        states[held & ~never] = (0, 1, 0, 0, 0)
        buzzing[held & ~never] = ((feed > 5.0) & (amps > 0.1))[held & ~never]
        enough = _above(load, _HEAVY_UNIT_TRIPS, 0.1) * works
        states[heavy] = np.stack([1 - works, works - enough, 0 * works, enough, 0 * works], axis=1)[heavy]
        return states, buzzing
