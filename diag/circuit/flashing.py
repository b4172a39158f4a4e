"""Flasher units: whether the contact closes, opens and how often, and when the tell-tale contact works.

Knows nothing of which lamps hang on the unit. Volts are given for a 12 V vehicle and go with the
system's. Thresholds are `common practice, no source` unless a line says more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from diag.circuit.arrange import owner
from diag.circuit.network import Floats, Network
from diag.circuit.solve import Solution, Variants
from diag.circuit.stage import Stage, union

__all__ = ["FLASHER_STATES", "LEGAL_RATE", "Flasher", "Flashing", "Rhythm"]

FLASHER_STATES = ("idle", "steady", "slow", "flashing", "fast")
"""idle: contact open. steady: contact stays closed. The others are rhythms."""
LEGAL_RATE = (60.0, 120.0)
"""Flashes a minute between which a rhythm is called flashing, 90 ± 30 (UN R48, 6.5)."""

_WORKS_FROM_V, _CYCLES_FROM_V, _FULL_RATE_FROM_V = 7.0, 9.3, 10.3
_LOW_VOLTS_RATE = 0.55
"""Share of its rate that a unit keeps below the volts of its full rate."""
_NO_LOAD, _LAMP_OUT, _LAMP_OUT_RATE = 0.25, 0.80, 2.0
"""Shares of the rated load below which an electronic unit does not trip, or doubles its rate."""
_COLD_LOAD, _NOMINAL_V, _RATE_BY_LOAD, _RATE_BY_VOLTS = 0.45, 12.8, 1.2, 1.5
"""Share of the rated load that no longer heats a thermal unit enough to open; its rate goes with powers of
load and volts, so that a lamp out makes it slow or steady."""
_HEAVY_UNIT_TRIPS = 1.4
"""Share for a unit made for twice the lamps: it needs both sides (hazard) to flash."""
_LOAD_A = 0.05
"""Current through the flasher contact below which no lamp hangs on it."""
_NOTHING_A = 1e-11
"""Current of no contact: a tenth of a millivolt over the meter's own 10 Mohm."""
_RATES_DIFFER = 0.05
"""How far units of one kind differ in rate, as a natural logarithm."""


def _above(found: Floats, limit: float, width: float) -> Floats:
    """Soft step from 0 to 1 round `limit`: real parts differ by about `width`."""
    step: Floats = 0.5 * (1 + np.tanh((found - limit) / (2 * width)))
    return step


@dataclass(frozen=True)
class Flasher:
    """A unit made for `rated_a` amps of lamps, `rate` flashes a minute, thermal or electronic."""

    rated_a: float
    rate: float = 85.0
    thermal: bool = False


@dataclass(frozen=True)
class Rhythm:
    """What the unit does, a row a variant: chance of each of FLASHER_STATES (R, 5), whether its contact
    buzzes (R,), and flashes a minute (R,), 0 where it more likely does not flash."""

    states: Floats
    buzzing: Floats
    rate: Floats


@dataclass(frozen=True)
class _Felt:
    """What a unit feels: volts on it with its contact open and closed, and load as a share of its rating."""

    idle_v: Floats
    feed_v: Floats
    amps: Floats
    load: Floats = field(repr=False)


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
        states, buzzing = np.zeros((count, len(FLASHER_STATES))), np.zeros(count)
        if not self.names:
            states[:, 0] = 1.0
            return Rhythm(states, buzzing, np.zeros(count))
        name = self.names[0]
        unit = self.units[name]
        amps = np.abs(closed.branch_a[:, self.contacts[0]])
        felt = _Felt(self._feed_v(opened, name), self._feed_v(closed, name), amps, amps / unit.rated_a)
        works = _above(felt.idle_v, _WORKS_FROM_V, 0.4)
        trips, rates = _thermal(unit, felt) if unit.thermal else _electronic(unit, felt)
        states[:, 0] = 1 - works
        states[:, 1] = works * (1 - trips)
        for share, each in rates:
            states[:, 2:] += (works * trips * share)[:, None] * _words(each)
        rate = np.choose(np.argmax([share for share, _ in rates], axis=0), [each for _, each in rates])
        never, held = stage.flagged(f"{name}:never-closes"), stage.flagged(f"{name}:never-opens")
        held = held & ~never
        heavy = stage.flagged(f"{name}:wrong-rating") & ~held & ~never
        states[never] = (1, 0, 0, 0, 0)
        states[held] = (0, 1, 0, 0, 0)
        buzzing[held] = ((felt.feed_v > 5.0) & (amps > 0.1))[held]
        enough = _above(felt.load, _HEAVY_UNIT_TRIPS, 0.1) * works
        none = np.zeros(count)
        states[heavy] = np.stack([1 - works, works - enough, none, enough, none], axis=1)[heavy]
        rate = np.where(heavy, unit.rate, rate)
        return Rhythm(states, buzzing, np.where(states[:, 2:].sum(axis=1) > 0.5, rate, 0.0))


def _electronic(unit: Flasher, felt: _Felt) -> tuple[Floats, list[tuple[Floats, Floats]]]:
    """Chance that it opens at all, and its rates with the chance of each: it doubles with a lamp out."""
    trips = _above(felt.load, _NO_LOAD, 0.03) * _above(felt.feed_v, _CYCLES_FROM_V, 0.25)
    low = 1 - _above(felt.feed_v, _FULL_RATE_FROM_V, 0.2)
    out = (1 - _above(felt.load, _LAMP_OUT, 0.035)) * (1 - low)
    whole = np.full(len(low), unit.rate)
    return trips, [(1 - low - out, whole), (out, _LAMP_OUT_RATE * whole), (low, _LOW_VOLTS_RATE * whole)]


def _thermal(unit: Flasher, felt: _Felt) -> tuple[Floats, list[tuple[Floats, Floats]]]:
    """The same for a unit heated by the lamps' own current."""
    trips = _above(felt.load, _COLD_LOAD, 0.05) * _above(felt.feed_v, _CYCLES_FROM_V - 1.3, 0.25)
    rate = unit.rate * felt.load**_RATE_BY_LOAD * (felt.feed_v / _NOMINAL_V) ** _RATE_BY_VOLTS
    return trips, [(np.ones(len(rate)), rate)]


def _words(rate: Floats) -> Floats:
    """(R, 3) chance of slow, flashing and fast."""
    level = np.log(np.maximum(rate, 1e-3))
    past = [_above(level, float(np.log(edge)), _RATES_DIFFER / 2) for edge in LEGAL_RATE]
    out: Floats = np.stack([1 - past[0], past[0] - past[1], past[1]], axis=1)
    return out
