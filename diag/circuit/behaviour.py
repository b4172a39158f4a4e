"""What a vehicle does over the DC solution: contacts, fuses, machines and park switches react in turn.

Many variants of the network at a time, each under an operate of its own. Says the order in which things react; how each
reacts is said in its own module. Knows nothing of causes' names, questions or beliefs.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from diag.circuit.arrange import short_to_body, variants_of
from diag.circuit.charging import Charging
from diag.circuit.flashing import FLASHER_STATES, Flashing
from diag.circuit.fuses import blow, limits_a
from diag.circuit.network import Change, Floats, Network
from diag.circuit.relays import settle_relays
from diag.circuit.solve import Solver, Variants
from diag.circuit.stage import Settled, Stage, merged, picked

__all__ = ["FLASHER_STATES", "MOTORS", "Bench", "Operates", "Settled", "Shown", "short_to_body"]

MOTORS = ("still", "slow", "runs", "does-not-park")
"""All that a motor may show, in the order of its columns in `Shown.motor`."""
_ROUNDS = 6
Operates = Mapping[str, str] | Sequence[Mapping[str, str]]


@dataclass(frozen=True)
class Shown:
    """What R variants show, each under its operate; arrays have R rows.

    volts (R, nodes): node voltages in the phase with the flasher contact closed, where it closes;
    off_volts (R, nodes): in its open phase.
    lamp_on_v, lamp_off_v (R, lamps): volts on each filament in the closed and the open phase.
    scale (R, lamps): factor on each filament. flasher (R, 5): chance of each of FLASHER_STATES.
    buzzing (R,): 1 where the flasher contact vibrates. inner_ohm (R, nodes). branch_a (R, branches).
    rate (R,): flashes a minute, 0 where it does not flash. relay (R, relays): 0 released, 1 pulled in,
    2 chatters. motor (R, motors, 4): chance of each of MOTORS.
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
    rate: Floats
    relay: Floats
    motor: Floats

    def rows(self, chosen: Sequence[int]) -> Shown:
        """Those rows, in that order."""
        return Shown(*(getattr(self, f.name)[list(chosen)] for f in fields(self)))

    @staticmethod
    def stacked(parts: Sequence[Shown]) -> Shown:
        """All rows of several, one after the other."""
        return Shown(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Shown)))


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
        self._swaps = tuple(swaps)
        self._solver = Solver(network, self._swaps)
        self.rest = dict(rest)
        self.rated_a = dict(rated_a)
        self._limit_a = limits_a(network, fuse_a, section_mm2)
        self._flashing = Flashing(network, rated_a)
        self._charging = Charging(network, emf_v)

    def over(self, network: Network, limit_a: Mapping[int, float] | None = None) -> Bench:
        """The same vehicle over a network that has more at the end of its lists, such as an instrument.

        `limit_a`: amps at which an added branch melts, by its index.
        """
        bench = copy.copy(self)
        bench.network = network
        bench._solver = Solver(network, self._swaps)
        bench._limit_a = np.append(self._limit_a, np.full(len(network.branches) - len(self._limit_a), np.inf))
        for branch, amps in (limit_a or {}).items():
            bench._limit_a[branch] = amps
        return bench

    def content(self) -> str:
        """All numbers beside the network that a row hangs on, as text."""
        return repr((self.rest, sorted(self.rated_a.items()), self._limit_a.tolist(), self._charging.emf_v))

    def variants(self, operate: Operates, changes: Sequence[Change]) -> Variants:
        """The arrays of every change before anything reacts. `operate`: one for all changes, or one for each."""
        if isinstance(operate, Mapping):
            return variants_of(self.network, self.rest, operate, changes)
        together: dict[int, list[int]] = {}
        for row, one in enumerate(operate):
            together.setdefault(id(one), []).append(row)
        most = max((len(change.extra) for change in changes), default=0)
        parts = [
            variants_of(self.network, self.rest, operate[rows[0]], [changes[row] for row in rows], most)
            for rows in together.values()
        ]
        if len(parts) == 1:
            return parts[0]
        back = np.argsort(np.concatenate([np.array(rows) for rows in together.values()]))
        return Variants(*(np.concatenate([getattr(p, f.name) for p in parts])[back] for f in fields(Variants)))

    def settle(self, operate: Operates, changes: Sequence[Change]) -> Settled:
        """The arrays and their solution after everything has reacted, in both phases of the flasher unit.

        `operate`: one for all changes, or one for each.
        """
        return self._settle(operate, changes)[0]

    def _settle(self, operate: Operates, changes: Sequence[Change]) -> tuple[Settled, Floats, Floats]:
        operates = [operate] * len(changes) if isinstance(operate, Mapping) else list(operate)
        turning = np.array(
            [found.get("engine", self.rest.get("engine")) == "running" for found in operates], dtype=bool
        )
        stage = Stage(self.network, self._solver, operates, changes, self.variants(operate, changes))
        rows = np.arange(len(changes))
        self._charging.start(stage, rows, turning)
        self._flashing.start(stage, rows)
        stage.solve_all()
        busy = rows
        for _ in range(_ROUNDS):
            settle_relays(stage, busy)
            self._charging.settle(stage, busy[turning[busy]])
            busy = blow(stage, self._limit_a, busy)
            if not len(busy):
                break
        self._flashing.tell_tale(stage, rows)
        closed, closed_solution, open_, open_solution = stage.variants, stage.solution, stage.variants, stage.solution
        pulled = stage.pulled
        carrying = self._flashing.carrying(stage)
        if len(carrying):
            opened = stage.part(carrying)
            self._flashing.open(opened)
            opened.solve(np.arange(len(carrying)))
            settle_relays(opened, np.arange(len(carrying)))
            open_ = closed.subset(rows)
            for f in fields(Variants):
                getattr(open_, f.name)[carrying] = getattr(opened.variants, f.name)
            open_solution = merged(closed_solution, carrying, opened.solution)
        flasher, buzzing = self._flashing.states(stage, closed_solution, open_solution)
        rests = np.nonzero(flasher[:, 0] > 0.5)[0]  # the contact never closes: there is only the open phase
        if len(rests):
            closed = closed.subset(rows)
            for f in fields(Variants):
                getattr(closed, f.name)[rests] = getattr(open_, f.name)[rests]
            closed_solution = merged(closed_solution, rests, picked(open_solution, rests))
        home = np.zeros((len(changes), len(self.network.motors)), dtype=bool)
        blown = tuple(frozenset(gone) for gone in stage.blown)
        settled = Settled(closed, open_, closed_solution, open_solution, blown, pulled, home, ~home)
        return settled, flasher, buzzing

    def operate(self, operate: Operates, changes: Sequence[Change]) -> tuple[Shown, list[frozenset[int]]]:
        """What each variant shows, and the branches (fuses, wires) that blew or burnt while operating it.

        `operate`: one for all changes, or one for each.
        """
        settled, flasher, buzzing = self._settle(operate, changes)
        closed, opened = settled.closed_solution, settled.open_solution
        motor = np.zeros((len(changes), len(self.network.motors), len(MOTORS)))
        motor[:, :, 0] = 1.0
        shown = Shown(
            closed.volts,
            opened.volts,
            closed.lamp_v,
            opened.lamp_v,
            settled.closed.scale,
            flasher,
            buzzing,
            closed.inner_ohm,
            closed.branch_a,
            np.zeros(len(changes)),
            settled.pulled.astype(np.float64),
            motor,
        )
        return shown, list(settled.blown)
