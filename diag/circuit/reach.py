"""Which changes can make any difference in a state of the sound vehicle: the others need no solving.

Only linear theory decides: where no current flows in what opens, no volts stand across what closes and
no source or behaviour is touched, the solved state still meets every equation, and it has only one
solution. Knows nothing of why a change is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from diag.circuit.network import Change, Floats, Network

__all__ = ["Reach"]

_QUIET_A, _QUIET_V = 1e-10, 1e-8


class Reach:
    """The places that each of C changes touches, laid out to be looked at all together."""

    def __init__(self, network: Network, changes: Sequence[Change]) -> None:
        ends = [(branch.a, branch.b) for branch in network.branches]
        wires_at: dict[int, list[int]] = {}
        for i, branch in enumerate(network.branches):
            if branch.role == "wire":
                wires_at.setdefault(branch.a, []).append(i)
                wires_at.setdefault(branch.b, []).append(i)
        carried: list[tuple[int, int]] = []
        across: list[tuple[int, int, int]] = []
        lit: list[tuple[int, int]] = []
        for row, change in enumerate(changes):
            moved = [wire for pair in change.swap for node in pair for wire in wires_at.get(node, ())]
            carried += [(row, i) for i in (*change.added_ohm, *change.limit, *change.moved, *moved)]
            across += [(row, *ends[i]) for i in change.closed]
            across += [(row, link.a, link.b) for link in change.extra]
            across += [(row, network.diodes[i].a, network.diodes[i].b) for i in change.diode]
            across += [(row, a, b) for a, b in change.swap]
            for wire, new in change.moved.items():
                across += [(row, old, end) for old, end in zip(ends[wire], new, strict=True)]
            lit += [(row, i) for i in (*change.scale, *change.led)]
        self._count = len(changes)
        self._carried, self._across, self._lit = _columns(carried, 2), _columns(across, 3), _columns(lit, 2)
        # the contact that earths a wiper at rest brakes it without any current
        brakes = {motor.park[1] for motor in network.motors if motor.park is not None}
        self._always = np.array(
            [bool(change.flags or change.emf or brakes & change.added_ohm.keys()) for change in changes], dtype=bool
        )
        self._opens = np.array([bool(change.added_ohm) for change in changes], dtype=bool)
        self._parts = np.array([bool(change.swap or change.moved) for change in changes], dtype=bool)

    def touched(
        self,
        states: Iterable[tuple[Floats, Floats]],
        lamp_v: Sequence[Floats],
        *,
        flashes: bool = False,
        unplugged: bool = False,
    ) -> np.ndarray:
        """(C,) False where a change can show nowhere.

        `states`: (volts of nodes, amps of branches) of every state that the sound vehicle is in or passes on
        the way to it. `lamp_v`: volts on the filaments in each phase. `flashes`: there is a second phase of
        whose amps nothing is given. `unplugged`: wires are off a terminal, and with a wire that changed
        places another one may come off.
        """
        out = self._always.copy()
        for volts, amps in states:
            row, branch = self._carried
            out[row[np.abs(amps[branch]) > _QUIET_A]] = True
            row, a, b = self._across
            out[row[np.abs(volts[a] - volts[b]) > _QUIET_V]] = True
        row, lamp = self._lit
        for volts in lamp_v:
            out[row[np.abs(volts[lamp]) > _QUIET_V]] = True
        if flashes:
            out |= self._opens
        if unplugged:
            out |= self._parts
        return out


def _columns(found: Sequence[tuple[int, ...]], width: int) -> np.ndarray:
    return np.array(found, dtype=int).reshape(-1, width).T
