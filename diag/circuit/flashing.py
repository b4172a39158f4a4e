"""Flasher units of a network: whether the contact closes and opens, and when the tell-tale contact works.

How often it then flashes is `calc.flash`'s business. Knows nothing of which lamps hang on the unit. Volts
go with the system's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diag.calc.flash import FLASHER_STATES, Felt, Flasher, rhythm_of, trips_heavy, works_at
from diag.circuit.arrange import owner
from diag.circuit.network import Floats, Network
from diag.circuit.solve import Solution, Variants
from diag.circuit.stage import Stage, union

__all__ = ["FLASHER_STATES", "Flasher", "Flashing", "Rhythm"]

_LOAD_A = 0.05
"""Current through the flasher contact below which no lamp hangs on it."""
_NOTHING_A = 1e-11
"""Current of no contact: a tenth of a millivolt over the meter's own 10 Mohm."""


@dataclass(frozen=True)
class Rhythm:
    """What the unit does, a row a variant: chance of each of FLASHER_STATES (R, 5), whether its contact
    buzzes (R,), and flashes a minute (R,), 0 where it more likely does not flash."""

    states: Floats
    buzzing: Floats
    rate: Floats


class Flashing:
    """The flasher unit of one network; of several only the first gives the rhythm. `system_v`: the
    vehicle's nominal volts."""

    def __init__(self, network: Network, units: Mapping[str, Flasher], system_v: float = 12.0) -> None:
        self.network = network
        roles = [branch.role for branch in network.branches]
        self.contacts = [i for i, role in enumerate(roles) if role == "flasher"]
        self.tell_tales = [i for i, role in enumerate(roles) if role == "tell-tale"]
        self.names = [owner(network.branches[i].id) for i in self.contacts]
        self.units = dict(units)
        self._by_12 = system_v / 12.0
        self._side = {owner(network.branches[i].id): i for i in self.tell_tales}

    # ------------------------------------------------------------ its contacts

    def start(self, stage: Stage, rows: np.ndarray) -> None:
        """Contacts closed, but those of units that never close and those that rest with the battery off;
        tell-tale contacts as they rest."""
        rests = self._battery_off(stage)[rows]
        for unit, main in zip(self.names, self.contacts, strict=True):
            dead = stage.flagged(f"{unit}:never-closes")[rows]
            stage.move(main, ~dead & ~rests, rows)
            if unit in self._side:
                stage.move(self._side[unit], np.zeros(len(rows), dtype=bool), rows)

    def _battery_off(self, stage: Stage) -> np.ndarray:
        """(R,) True where nothing can work a contact, whatever an ohmmeter sends through it."""
        return np.array([operate.get("battery") == "disconnected" for operate in stage.operates], dtype=bool)

    def tell_tale(self, stage: Stage, rows: np.ndarray) -> np.ndarray:
        """The tell-tale contact is worked by the lamps' current; without it C stays dead."""
        moved, rests = [], self._battery_off(stage)[rows]
        for unit, main in zip(self.names, self.contacts, strict=True):
            if unit not in self._side:
                continue
            dead = stage.flagged(f"{unit}:never-closes") | stage.flagged(f"{unit}:tell-tale-contact-open")
            loaded = np.abs(stage.solution.branch_a[rows, main]) >= _LOAD_A
            wanted = ~dead[rows] & ~rests & (stage.flagged(f"{unit}:never-opens")[rows] | loaded)
            moved.append(stage.move(self._side[unit], wanted, rows))
        found = union(moved)
        stage.solve(found)
        return found

    def carrying(self, stage: Stage) -> np.ndarray:
        """Rows in which anything flows through a contact of the unit."""
        amps = np.abs(stage.solution.branch_a[:, self.contacts + self.tell_tales])
        return np.nonzero((amps > _NOTHING_A).any(axis=1))[0]

    def part_contacts(self, variants: Variants) -> None:
        """Contacts open in all rows."""
        variants.branch_s[:, self.contacts + self.tell_tales] = 0.0

    # ------------------------------------------------------------ its rhythm

    def _feed_v(self, solution: Solution, unit: str) -> Floats:
        """Volts that drive the unit: between 49 and 31, or body where it has no earth of its own."""
        net, earth = self.network, f"{unit}.31"
        low = solution.volts[:, net.node(earth)] if net.has(earth) else np.zeros(len(solution.volts))
        return np.abs(solution.volts[:, net.node(f"{unit}.49")] - low) / self._by_12

    def rhythm(self, stage: Stage, closed: Solution, opened: Solution) -> Rhythm:
        """From the solutions of both phases."""
        count = len(stage)
        buzzing = np.zeros(count)
        if not self.names:
            return Rhythm(np.eye(1, len(FLASHER_STATES)).repeat(count, axis=0), buzzing, np.zeros(count))
        name = self.names[0]
        unit = self.units[name]
        amps = np.abs(closed.branch_a[:, self.contacts[0]])
        felt = Felt(self._feed_v(opened, name), self._feed_v(closed, name), amps, amps / unit.rated_a)
        states, rate = rhythm_of(unit, felt)
        never, held = stage.flagged(f"{name}:never-closes"), stage.flagged(f"{name}:never-opens")
        held = held & ~never
        heavy = stage.flagged(f"{name}:wrong-rating") & ~held & ~never
        states[never] = (1, 0, 0, 0, 0)
        states[held] = (0, 1, 0, 0, 0)
        buzzing[held] = ((felt.feed_v > 5.0) & (amps > 0.1))[held]
        works = works_at(felt.idle_v)
        enough = trips_heavy(felt.load) * works
        none = np.zeros(count)
        states[heavy] = np.stack([1 - works, works - enough, none, enough, none], axis=1)[heavy]
        rate = np.where(heavy, unit.rate, rate)
        return Rhythm(states, buzzing, np.where(states[:, 2:].sum(axis=1) > 0.5, rate, 0.0))
