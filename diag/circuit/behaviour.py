"""What a vehicle does over the DC solution: flasher phases, blown fuses and burnt wires, the dynamo.

One operate, many variants of the network at a time. Knows nothing of causes' names, questions or
beliefs. Thresholds of behaviour are `common practice, no source` unless a line says more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from diag.circuit.network import Change, Extra, Floats, Network
from diag.circuit.solve import Solution, Solver, Variants

__all__ = ["FLASHER_STATES", "Bench", "Shown", "short_to_body"]

FLASHER_STATES = ("idle", "steady", "slow", "flashing", "fast")
"""idle: contact open. steady: contact stays closed. The others are rhythms."""

_FUSE_BLOWS_AT = 2.0
"""Multiple of its rating at which a blade fuse opens within 5 s (ISO 8820-3, 200 % point)."""
_PREECE_COPPER = 80.0
"""Fusing current of copper wire in free air, A = 80 · d^1.5, d in mm (Preece's law)."""
_SHORT_S = 50.0
_UNIT_WORKS_FROM_V, _UNIT_CYCLES_FROM_V, _UNIT_FULL_RATE_FROM_V = 7.0, 9.3, 10.3
_NO_LOAD, _LAMP_OUT = 0.25, 0.80
"""Shares of the rated load below which the unit does not trip, or doubles its rate."""
_HEAVY_UNIT_TRIPS = 1.4
"""The same share for a unit made for twice the lamps: it needs both sides (hazard) to flash."""
_LOAD_A = 0.05
"""Current through the flasher contact below which no lamp hangs on it."""
_FIELD_A = 0.3
"""Field current above which a turning dynamo excites itself."""
_COLLAPSE_A, _BACK_A = 70.0, 0.5
"""Load at which a shunt dynamo loses its field, and current back into it that opens the cut-out."""
_ROUNDS = 6


@dataclass(frozen=True)
class Shown:
    """What R variants show under one operate; arrays have R rows.

    volts (R, nodes): node voltages in the phase with the flasher contact closed, where it closes;
    off_volts (R, nodes): in its open phase.
    lamp_on_v, lamp_off_v (R, lamps): volts on each filament in the closed and the open phase.
    scale (R, lamps): factor on each filament. flasher (R, 5): chance of each of FLASHER_STATES.
    buzzing (R,): 1 where the flasher contact vibrates. inner_ohm (R, nodes). branch_a (R, branches).
    """

    volts: Floats
    off_volts: Floats
    lamp_on_v: Floats
    lamp_off_v: Floats
    scale: Floats
    flasher: Floats
    buzzing: Floats
    inner_ohm: Floats
    branch_a: Floats

    def rows(self, chosen: Sequence[int]) -> Shown:
        """Those rows, in that order."""
        return Shown(*(getattr(self, f.name)[list(chosen)] for f in fields(self)))

    @staticmethod
    def stacked(parts: Sequence[Shown]) -> Shown:
        """All rows of several, one after the other."""
        return Shown(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Shown)))


def _above(found: Floats, limit: float, width: float) -> Floats:
    """Soft step from 0 to 1 round `limit`: real parts differ by about `width`."""
    step: Floats = 0.5 * (1 + np.tanh((found - limit) / (2 * width)))
    return step


class Bench:
    """A network with its behaviour, ready to be operated.

    `rest`: each control's rest position. `fuse_a`: rating in A by fuse id. `section_mm2` by wire id.
    `rated_a`: load in A that each flasher unit is made for.
    `emf_v`: volts of each dynamo while it charges. `swaps`: pairs of nodes whose wires may be swapped.
    """

    def __init__(
        self,
        network: Network,
        rest: Mapping[str, str],
        fuse_a: Mapping[str, float],
        section_mm2: Mapping[str, float],
        rated_a: Mapping[str, float],
        emf_v: Mapping[str, float],
        swaps: Iterable[tuple[int, int]] = (),
    ) -> None:
        self.network = network
        self._solver = Solver(network, swaps)
        self.rest = dict(rest)
        self.rated_a = dict(rated_a)
        self.emf_v = dict(emf_v)
        limit = np.full(len(network.branches), np.inf)
        for fuse, rating in fuse_a.items():
            limit[network.branch(fuse)] = _FUSE_BLOWS_AT * rating
        for wire, section in section_mm2.items():
            limit[network.branch(wire)] = _PREECE_COPPER * (2 * np.sqrt(section / np.pi)) ** 1.5
        self._limit_a = limit
        self._roles = {
            role: [i for i, b in enumerate(network.branches) if b.role == role]
            for role in ("flasher", "tell-tale", "cut-out", "field", "wire")
        }

    # ------------------------------------------------------------ from changes to arrays

    def _variants(self, operate: Mapping[str, str], changes: Sequence[Change]) -> Variants:
        net = self.network
        base_s = net.rest_conductance(operate, self.rest)
        base_ends = np.array([[branch.a, branch.b] for branch in net.branches])
        off_name = operate.get("unplugged")
        off = net.node(off_name) if off_name is not None and net.has(off_name) else -1
        wires = np.array(self._roles["wire"], dtype=int)
        count, most = len(changes), max((len(change.extra) for change in changes), default=0)
        branch_s = np.repeat(base_s[None, :], count, axis=0)
        ends = np.repeat(base_ends[None, :, :], count, axis=0)
        extra, extra_s = np.zeros((count, most, 2), dtype=int), np.zeros((count, most))
        scale, led = np.ones((count, len(net.filaments))), np.zeros((count, len(net.filaments)))
        valve = np.ones((count, len(net.diodes)))
        emf_v = np.repeat(np.array([[s.emf_v for s in net.sources]]), count, axis=0)
        source_s = np.repeat(np.array([[1.0 / s.ohm for s in net.sources]]), count, axis=0)
        for row, change in enumerate(changes):
            for left, right in change.swap:
                was = ends[row, wires]
                ends[row, wires] = np.where(was == left, right, np.where(was == right, left, was))
            for branch in change.closed:
                branch_s[row, branch] = 1.0 / net.branches[branch].ohm
            if off >= 0:
                gone = wires[(ends[row, wires] == off).any(axis=1)]
                branch_s[row, gone] = 0.0
            for branch, ohm in change.added_ohm.items():
                if branch_s[row, branch] > 0:
                    branch_s[row, branch] = 0.0 if np.isinf(ohm) else 1.0 / (1.0 / branch_s[row, branch] + ohm)
            for k, link in enumerate(change.extra):
                extra[row, k] = (link.a, link.b)
                extra_s[row, k] = 0.0 if link.guard == off else link.siemens
            for lamp, factor in change.scale.items():
                scale[row, lamp] = factor
            for lamp, way in change.led.items():
                led[row, lamp] = way
            for diode, way in change.diode.items():
                valve[row, diode] = way
            for source, (volts, ohm) in change.emf.items():
                emf_v[row, source] = volts
                source_s[row, source] = 0.0 if np.isinf(ohm) else 1.0 / ohm
        self._sources(operate, changes, branch_s, emf_v, source_s)
        return Variants(branch_s, ends, extra, extra_s, scale, led, valve, emf_v, source_s)

    def _sources(
        self, operate: Mapping[str, str], changes: Sequence[Change], branch_s: Floats, emf_v: Floats, source_s: Floats
    ) -> None:
        """Battery taken off, dynamo turning, contacts of flasher and cut-out by their flags."""
        net = self.network
        turning = operate.get("engine", self.rest.get("engine")) == "running"
        for i, source in enumerate(net.sources):
            if source.kind == "battery" and operate.get("battery") == "disconnected":
                source_s[:, i] = 0.0
            if source.kind == "dynamo":
                emf_v[:, i] = self.emf_v[source.id] if turning else 0.0
        for row, change in enumerate(changes):
            for i in self._roles["cut-out"]:
                owner = net.branches[i].id.split(":")[0]
                stuck = f"{owner}:cut-out-stuck" in change.flags
                if f"{owner}:cut-out-open" in change.flags or not (turning or stuck):
                    branch_s[row, i] = 0.0
            for role in ("flasher", "tell-tale"):
                for i in self._roles[role]:
                    owner = net.branches[i].id.split(":")[0]
                    dead = f"{owner}:never-closes" in change.flags
                    if dead or (role == "tell-tale" and f"{owner}:tell-tale-contact-open" in change.flags):
                        branch_s[row, i] = 0.0
            if turning:
                for i, source in enumerate(net.sources):
                    if source.kind == "dynamo" and f"{source.id}:no-output" in change.flags:
                        self._stand_still(branch_s, emf_v, row, i, change)

    def draws_nothing(self, shown: Shown) -> bool:
        """Whether the first variant has no lamp on its flasher unit."""
        return bool((np.abs(shown.branch_a[0, self._roles["flasher"]]) < _LOAD_A).all())

    def _stand_still(self, branch_s: Floats, emf_v: Floats, row: int, source: int, change: Change) -> None:
        """A dynamo without field: residual volts only, and the cut-out opens unless it is welded."""
        emf_v[row, source] = 0.3
        self._open_cut_out(branch_s, row, change)

    def _open_cut_out(self, branch_s: Floats, row: int, change: Change) -> None:
        for i in self._roles["cut-out"]:
            if f"{self.network.branches[i].id.split(':')[0]}:cut-out-stuck" not in change.flags:
                branch_s[row, i] = 0.0

    # ------------------------------------------------------------ operating

    def operate(
        self, operate: Mapping[str, str], changes: Sequence[Change], idle: bool = False
    ) -> tuple[Shown, list[frozenset[int]]]:
        """What each variant shows, and the branches (fuses, wires) that blew or burnt while operating it.

        `idle`: most variants are expected to draw nothing through the flasher unit; saves time only.
        """
        variants = self._variants(operate, changes)
        if idle:
            variants.branch_s[:, self._roles["tell-tale"]] = 0.0
        solution = self._solver.solve(variants)
        if operate.get("engine", self.rest.get("engine")) == "running":
            variants, solution = self._excite(variants, solution, changes)
        blown: list[set[int]] = [set() for _ in changes]
        for _ in range(_ROUNDS):
            over = np.abs(solution.branch_a) / self._limit_a
            worst = over.argmax(axis=1)
            rows = np.nonzero(over[np.arange(len(changes)), worst] > 1.0)[0]
            if not len(rows):
                break
            for row in rows:
                blown[row].add(int(worst[row]))
                variants.branch_s[row, worst[row]] = 0.0
            solution = _patched(solution, rows, self._solver.solve(variants.subset(rows)))
        solution = self._tell_tale_needs_load(variants, solution, changes)
        off_v = solution.lamp_v
        idle_feed = self._feed_v(solution)
        contacts = self._roles["flasher"] + self._roles["tell-tale"]
        carrying = np.nonzero((np.abs(solution.branch_a[:, contacts]) > 1e-9).any(axis=1))[0]
        open_solution = solution
        if len(carrying):
            opened = variants.subset(carrying)
            opened.branch_s[:, contacts] = 0.0
            open_solution = _patched(solution, carrying, self._solver.solve(opened))
            off_v = open_solution.lamp_v
            idle_feed = self._feed_v(open_solution)
        flasher, buzzing = self._flasher(solution, idle_feed, changes)
        rests = flasher[:, 0] > 0.5  # the contact never closes: all test points show the open phase
        volts = np.where(rests[:, None], open_solution.volts, solution.volts)
        shown = Shown(
            volts,
            open_solution.volts,
            solution.lamp_v,
            off_v,
            variants.scale,
            flasher,
            buzzing,
            solution.inner_ohm,
            np.where(rests[:, None], open_solution.branch_a, solution.branch_a),
        )
        return shown, [frozenset(found) for found in blown]

    def _tell_tale_needs_load(self, variants: Variants, solution: Solution, changes: Sequence[Change]) -> Solution:
        """The tell-tale contact is worked by the lamps' current; without it C stays dead."""
        for main, side in zip(self._roles["flasher"], self._roles["tell-tale"], strict=True):
            link = self.network.branches[side]
            unit = link.id.split(":")[0]
            dead = {f"{unit}:never-closes", f"{unit}:tell-tale-contact-open"}
            stuck = np.array([f"{unit}:never-opens" in change.flags for change in changes])
            works = np.array([not dead & change.flags for change in changes])
            wanted = works & (stuck | (np.abs(solution.branch_a[:, main]) >= _LOAD_A))
            rows = np.nonzero(wanted != (variants.branch_s[:, side] > 0))[0]
            if len(rows):
                variants.branch_s[rows, side] = np.where(wanted[rows], 1.0 / link.ohm, 0.0)
                solution = _patched(solution, rows, self._solver.solve(variants.subset(rows)))
        return solution

    def _excite(self, variants: Variants, solution: Solution, changes: Sequence[Change]) -> tuple[Variants, Solution]:
        """Dynamos that cannot excite stand still; a cut-out that current flows back through opens."""
        weak = np.zeros(len(changes), dtype=bool)
        for i in self._roles["field"]:
            weak |= np.abs(solution.branch_a[:, i]) < _FIELD_A
        for i, source in enumerate(self.network.sources):
            if source.kind == "dynamo":
                weak |= solution.source_a[:, i] > _COLLAPSE_A
        back = np.zeros(len(changes), dtype=bool)
        for i in self._roles["cut-out"]:
            back |= solution.branch_a[:, i] < -_BACK_A
        for row in np.nonzero(weak)[0].tolist():
            for i, source in enumerate(self.network.sources):
                if source.kind == "dynamo":
                    self._stand_still(variants.branch_s, variants.emf_v, row, i, changes[row])
        for row in np.nonzero(back & ~weak)[0].tolist():
            self._open_cut_out(variants.branch_s, row, changes[row])
        rows = np.nonzero(weak | back)[0]
        if len(rows):
            solution = _patched(solution, rows, self._solver.solve(variants.subset(rows)))
        return variants, solution

    def _units(self) -> list[str]:
        return [self.network.branches[i].id.split(":")[0] for i in self._roles["flasher"]]

    def _feed_v(self, solution: Solution) -> Floats:
        """Volts between 49 and 31 of the flasher unit, (F,)."""
        units = self._units()
        if not units:
            return np.zeros(len(solution.volts))
        unit, net = units[0], self.network
        return solution.volts[:, net.node(f"{unit}.49")] - solution.volts[:, net.node(f"{unit}.31")]

    def _flasher(self, closed: Solution, idle_feed: Floats, changes: Sequence[Change]) -> tuple[Floats, Floats]:
        """Chance of each flasher state (F, 5), and whether the contact buzzes (F,)."""
        count = len(changes)
        states, buzzing = np.zeros((count, len(FLASHER_STATES))), np.zeros(count)
        units = self._units()
        if not units:
            states[:, 0] = 1.0
            return states, buzzing
        unit = units[0]
        feed = np.abs(self._feed_v(closed))
        amps = np.abs(closed.branch_a[:, self._roles["flasher"][0]])
        load = amps / self.rated_a[unit]
        works = _above(np.abs(idle_feed), _UNIT_WORKS_FROM_V, 0.4)
        trips = _above(load, _NO_LOAD, 0.03) * _above(feed, _UNIT_CYCLES_FROM_V, 0.25)
        slow = 1 - _above(feed, _UNIT_FULL_RATE_FROM_V, 0.2)
        fast = 1 - _above(load, _LAMP_OUT, 0.035)
        states[:, 0] = 1 - works
        states[:, 1] = works * (1 - trips)
        states[:, 2] = works * trips * slow
        states[:, 3] = works * trips * (1 - slow) * (1 - fast)
        states[:, 4] = works * trips * (1 - slow) * fast
        for row, change in enumerate(changes):
            if f"{unit}:never-closes" in change.flags:
                states[row] = (1, 0, 0, 0, 0)
            elif f"{unit}:never-opens" in change.flags:
                states[row] = (0, 1, 0, 0, 0)
                buzzing[row] = float(feed[row] > 5.0 and amps[row] > 0.1)
            elif f"{unit}:wrong-rating" in change.flags:
                enough = _above(load[row : row + 1], _HEAVY_UNIT_TRIPS, 0.1)[0] * works[row]
                states[row] = (1 - works[row], works[row] - enough, 0.0, enough, 0.0)
        return states, buzzing


def _patched(solution: Solution, rows: np.ndarray, fresh: Solution) -> Solution:
    """The solution with some rows replaced."""
    out = {}
    for f in fields(Solution):
        whole = getattr(solution, f.name).copy()
        whole[rows] = getattr(fresh, f.name)
        out[f.name] = whole
    return Solution(**out)


def short_to_body(a: int, b: int) -> tuple[Extra, Extra]:
    """A wire between nodes a and b rubbed through to body halfway."""
    return Extra(a, 0, _SHORT_S, a), Extra(b, 0, _SHORT_S, b)
