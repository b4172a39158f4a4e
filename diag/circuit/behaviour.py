"""What a vehicle does over the DC solution: contacts, fuses, machines and park switches react in turn.

Many variants of the network at a time, each under an operate of its own. Says the order in which
things react; how each reacts is said in its own module. Knows nothing of causes' names, questions or beliefs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from diag.circuit.arrange import stacked, variants_of
from diag.circuit.charging import Charging
from diag.circuit.flashing import FLASHER_STATES, Flasher, Flashing, Rhythm
from diag.circuit.fuses import Melting
from diag.circuit.network import Change, Floats, Network
from diag.circuit.parking import MOTORS, Parking, Turned
from diag.circuit.relays import settle_relays
from diag.circuit.solve import Solution, Solver, Variants
from diag.circuit.stage import Settled, Stage, merged, picked
from diag.knowledge.bridging import BRIDGED

__all__ = ["FLASHER_STATES", "MOTORS", "Bench", "Flasher", "Operates", "Settled", "Shown"]

_ROUNDS = 6
_WORTH_IT = 8
"""Faults to an operate from which it pays to solve the sound vehicle first."""
Operates = Mapping[str, str] | Sequence[Mapping[str, str]]


@dataclass(frozen=True)
class Shown:
    """What R variants show, each under its operate; arrays have R rows.

    volts (R, nodes): node voltages in the phase with the flasher contact closed, where it closes;
    off_volts (R, nodes): in its open phase.
    lamp_on_v, lamp_off_v (R, lamps): volts on each filament in the closed and the open phase.
    scale (R, lamps): factor on each filament; led (R, lamps): 0 a filament, 1 or -1 an LED in its place that
    lights with its volts above or below 0. flasher (R, 5): chance of each of FLASHER_STATES.
    buzzing (R,): 1 where the flasher contact vibrates. inner_ohm (R, nodes). branch_a (R, branches).
    rate (R,): flashes a minute, 0 where it does not flash. relay (R, relays): 0 released, 1 pulled in,
    2 chatters. motor (R, motors, 4): chance of each of MOTORS.
    """

    volts: Floats
    off_volts: Floats
    lamp_on_v: Floats
    lamp_off_v: Floats
    scale: Floats
    led: Floats
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
    `flashers`: what each flasher unit is made for. `emf_v`: volts that each dynamo and alternator is regulated
    to. `links`: time-current class of each fuse, blade where left out. `system_v`: the vehicle's nominal volts.
    `guards`: amps at which a branch that is no fuse of the vehicle melts, by its index.
    """

    def __init__(
        self,
        network: Network,
        rest: Mapping[str, str],
        fuse_a: Mapping[str, float],
        section_mm2: Mapping[str, float],
        flashers: Mapping[str, Flasher],
        emf_v: Mapping[str, float],
        links: Mapping[str, str] | None = None,
        system_v: float = 12.0,
        guards: Mapping[int, float] | None = None,
    ) -> None:
        self.network = network
        self._solver = Solver(network)
        self.rest = dict(rest)
        self._melting = Melting(network, fuse_a, links or {}, section_mm2, guards or {})
        self.flashers = dict(flashers)
        self._flashing = Flashing(network, flashers, system_v)
        self._charging = Charging(network, emf_v)
        self._parking = Parking(network, rest, self._stage, self._calm)
        self._given = (rest, fuse_a, section_mm2, flashers, emf_v, links or {}, system_v)

    def over(self, network: Network, limit_a: Mapping[int, float] | None = None) -> Bench:
        """The same vehicle over a network that has more at the end of its lists, such as an instrument.

        `limit_a`: amps at which an added branch melts, by its index.
        """
        return Bench(network, *self._given, guards=limit_a)

    def content(self) -> str:
        """All numbers beside the network that a row hangs on, as text."""
        *tables, system_v = self._given
        return repr([*(sorted(table.items()) for table in tables), system_v])

    def variants(self, operate: Operates, changes: Sequence[Change]) -> Variants:
        """The arrays of every change before anything reacts. `operate`: one for all changes, or one for each."""
        if isinstance(operate, Mapping):
            return variants_of(self.network, self.rest, operate, changes)
        together: dict[int, list[int]] = {}
        for row, one in enumerate(operate):
            together.setdefault(id(one), []).append(row)
        most = max((len(change.extra) for change in changes), default=0)
        most += any(BRIDGED in operate[rows[0]] for rows in together.values())
        parts = [
            variants_of(self.network, self.rest, operate[rows[0]], [changes[row] for row in rows], most)
            for rows in together.values()
        ]
        if len(parts) == 1:
            return parts[0]
        back = np.argsort(np.concatenate([np.array(rows) for rows in together.values()]))
        return stacked(parts).subset(back)

    # ------------------------------------------------------------ settling

    def settle(self, operate: Operates, changes: Sequence[Change]) -> Settled:
        """The arrays and their solution after everything has reacted, in both phases of the flasher unit.

        `operate`: one for all changes, or one for each.
        """
        return self._settle(operate, changes)[0]

    def passed(self, operates: Sequence[Mapping[str, str]]) -> tuple[Solution, ...]:
        """What the sound vehicle goes through under each operate before it comes to rest: its relays not yet
        pulled in, its wipers on their way. A fault that nobody sees at the end may still have stopped it there."""
        out, sound = [], [Change()] * len(operates)
        if self.network.relays:
            out.append(self._begun(operates, sound).solution)
        if any(motor.park is not None for motor in self.network.motors):
            out.append(self._parking.on_its_way(self._stage(operates, sound)))
        return tuple(out)

    def _begun(self, operates: Sequence[Mapping[str, str]], changes: Sequence[Change]) -> Stage:
        """Flasher contacts closed, park switches at rest, relays released, nothing has reacted yet."""
        stage = Stage(self.network, self._solver, operates, changes, self.variants(operates, changes))
        stage.running = np.array([{**self.rest, **found}.get("engine") == "running" for found in operates], dtype=bool)
        rows = np.arange(len(changes))
        self._charging.start(stage, rows)
        self._flashing.start(stage, rows)
        self._parking.start(stage, rows)
        stage.solve_all(self._near(operates))
        return stage

    def _near(self, operates: Sequence[Mapping[str, str]]) -> Floats | None:
        """Volts of the sound vehicle under each operate, where many faults share one: most are near it."""
        different = {id(operate): operate for operate in operates}
        if len(operates) < _WORTH_IT * len(different):
            return None
        sound = self._begun(list(different.values()), [Change()] * len(different)).solution.volts
        at = {name: row for row, name in enumerate(different)}
        return sound[[at[id(operate)] for operate in operates]]

    def _stage(self, operates: Sequence[Mapping[str, str]], changes: Sequence[Change]) -> Stage:
        """Flasher contacts closed, park switches at rest, all else settled."""
        stage = self._begun(operates, changes)
        self._calm(stage, np.arange(len(changes)))
        return stage

    def _calm(self, stage: Stage, rows: np.ndarray) -> None:
        """Quick things first: relays, then machines, then what melts, and over again in the rows it changed."""
        busy = rows
        for _ in range(_ROUNDS):
            settle_relays(stage, busy)
            settle_relays(stage, self._charging.settle(stage, busy))
            busy = self._melting.blow(stage, busy)
            if not len(busy):
                break
        self._flashing.tell_tale(stage, rows)

    def _settle(
        self, operate: Operates, changes: Sequence[Change], watched: np.ndarray | None = None
    ) -> tuple[Settled, Turned, Rhythm]:
        operates = [operate] * len(changes) if isinstance(operate, Mapping) else list(operate)
        stage = self._stage(operates, changes)
        turned = self._parking.settle(stage, watched)
        closed, closed_solution, open_, open_solution = stage.variants, stage.solution, stage.variants, stage.solution
        carrying = self._flashing.carrying(stage)
        if len(carrying):
            opened = stage.part(carrying)
            self._flashing.part_contacts(opened.variants)
            opened.solve(np.arange(len(carrying)))
            settle_relays(opened, np.arange(len(carrying)))
            open_ = _patched(closed, carrying, opened.variants)
            open_solution = merged(closed_solution, carrying, opened.solution)
        rhythm = self._flashing.rhythm(stage, closed_solution, open_solution)
        rests = np.nonzero(rhythm.states[:, 0] > 0.5)[0]  # the contact never closes: there is only the open phase
        if len(rests):
            resting = open_.subset(rests)
            self._flashing.part_contacts(resting)  # where nothing flowed through them this changes no volt
            open_, closed = _patched(open_, rests, resting), _patched(closed, rests, resting)
            closed_solution = merged(closed_solution, rests, picked(open_solution, rests))
        blown = tuple(frozenset(gone) for gone in stage.blown)
        settled = Settled(
            closed, open_, closed_solution, open_solution, blown, stage.pulled, turned.home, turned.could_run
        )
        return settled, turned, rhythm

    def operate(
        self, operate: Operates, changes: Sequence[Change], watched: np.ndarray | None = None
    ) -> tuple[Shown, list[frozenset[int]]]:
        """What each variant shows, and the branches (fuses, wires) that blew or burnt while operating it.

        `operate`: one for all changes, or one for each. `watched` (R,): where somebody looks at a motor that
        parks itself; elsewhere it stays parked.
        """
        settled, shown = self.seen(operate, changes, watched)
        return shown, list(settled.blown)

    def seen(
        self, operate: Operates, changes: Sequence[Change], watched: np.ndarray | None = None
    ) -> tuple[Settled, Shown]:
        """Both what each variant came to (see `settle`) and what it shows (see `operate`)."""
        settled, turned, rhythm = self._settle(operate, changes, watched)
        closed, opened = settled.closed_solution, settled.open_solution
        shown = Shown(
            closed.volts,
            opened.volts,
            closed.lamp_v,
            opened.lamp_v,
            settled.closed.scale,
            settled.closed.led,
            rhythm.states,
            rhythm.buzzing,
            closed.inner_ohm,
            closed.branch_a,
            rhythm.rate,
            settled.pulled.astype(np.float64),
            turned.motor,
        )
        return settled, shown


def _patched(variants: Variants, rows: np.ndarray, fresh: Variants) -> Variants:
    """The arrays with some rows replaced."""
    out = variants.subset(np.arange(len(variants.branch_s)))
    for f in fields(Variants):
        getattr(out, f.name)[rows] = getattr(fresh, f.name)
    return out
