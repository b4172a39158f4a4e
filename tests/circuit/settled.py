"""Every electrical state that the predictions of a vehicle rest on, gathered for another solver.

Asks the program for its states; holds no expectations.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.behaviour import Bench, Settled
from diag.circuit.network import Change, Floats, Network
from diag.knowledge.assemble import operate_key
from diag.knowledge.bridging import BRIDGED
from tests.circuit.spice import Gathered

__all__ = ["State", "States", "settled_states"]


Key = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class State:
    """Variants under one operate in one phase, of the changes `rows`: our volts, and where each is among the
    gathered rows."""

    operate: Mapping[str, str]
    phase: str
    rows: list[int]
    volts: Floats
    place: np.ndarray


class States:
    """The states of one network with the different rows among them; `last` gives those that stay, by operate
    and phase, one row a change."""

    def __init__(self, network: Network) -> None:
        self.gathered = Gathered(network)
        self.found: list[State] = []
        self.last: dict[tuple[Key, str], np.ndarray] = {}

    def add(self, operate: Mapping[str, str], settled: Settled, rows: Sequence[int]) -> None:
        """Variants of `rows` in both phases with the volts that our solver gave them."""
        for phase, variants, solution in (
            ("closed", settled.closed, settled.closed_solution),
            ("open", settled.open, settled.open_solution),
        ):
            place = self.gathered.add(variants)
            self.found.append(State(operate, phase, list(rows), solution.volts, place))
            key = (operate_key(operate), phase)
            self.last.setdefault(key, np.full(len(rows), -1))[list(rows)] = place

    @property
    def points(self) -> int:
        """How many states there are, equal ones counted."""
        return sum(len(state.place) for state in self.found)


def settled_states(bench: Bench, operates: Iterable[Mapping[str, str]], changes: Sequence[Change]) -> States:
    """The states of every change under every operate, flasher contacts closed and open; then those of the
    changes under which a fuse or wire went, with it gone under all operates, as a person leaves them."""
    operates = list(operates)
    states = States(bench.network)
    gone: list[set[int]] = [set() for _ in changes]
    for operate in operates:
        settled = bench.settle(operate, changes)
        states.add(operate, settled, range(len(changes)))
        if BRIDGED in operate:
            continue  # a jumper is held there once; what goes with it is not gone elsewhere
        for row, blown in enumerate(settled.blown):
            gone[row] |= blown
    rows = [row for row, blown in enumerate(gone) if blown]
    if rows:
        lasting = [changes[row].merged(Change(added_ohm=dict.fromkeys(gone[row], np.inf))) for row in rows]
        for operate in operates:
            states.add(operate, bench.settle(operate, lasting), rows)
    return states
