"""A vehicle without a fault, as tests operate and measure it."""

from __future__ import annotations

from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from diag.circuit.behaviour import Bench, Shown
from diag.circuit.network import BODY, Change
from diag.circuit.parts import build_network
from diag.circuit.predict import bench_of
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.bridging import spelt
from diag.knowledge.schema import Check

_SHOWN: WeakKeyDictionary[Bench, dict[tuple[tuple[str, str], ...], Shown]] = WeakKeyDictionary()
METER_OHM = 0.3
"""What an ohmmeter's own leads may add (common practice, no source)."""


class Vehicle(NamedTuple):
    """One vehicle, healthy, ready to be operated."""

    knowledge: Knowledge
    bench: Bench

    @staticmethod
    def of(knowledge: Knowledge) -> Vehicle:
        return Vehicle(knowledge, bench_of(knowledge, build_network(knowledge)))

    def shown(self, operate: dict[str, str]) -> Shown:
        known = _SHOWN.setdefault(self.bench, {})
        key = operate_key(operate)
        if key not in known:
            known[key] = self.bench.operate([operate], [Change()])[0]
        return known[key]

    def volts(self, red: str, black: str, operate: dict[str, str]) -> float:
        """Red minus black, in the lit half of a flash."""
        volts, net = self.shown(operate).volts[0], self.bench.network
        return float(volts[net.node(red)] - volts[net.node(black)])

    def lamp_volts(self, lamp: str, operate: dict[str, str]) -> float:
        return abs(float(self.shown(operate).lamp_on_v[0, self.bench.network.filament(lamp)]))


def reading(found: Vehicle, check: Check) -> float:
    """What a good meter shows at a check of the healthy vehicle, in the check's unit."""
    operate = spelt(check.operate, found.knowledge.terminals)
    if check.unit == "ohm":
        operate = {**operate, "battery": "disconnected"}
    if check.unit == "V":
        return found.volts(check.red or "", check.black or "", operate)
    shown, net = found.shown(operate), found.bench.network
    if check.unit == "A":
        return abs(float(shown.branch_a[0, net.branch(check.through or "")]))
    node = check.red if check.black == BODY else check.black
    return float(shown.inner_ohm[0, net.node(node or "")])


def broken_limits(found: Vehicle) -> list[tuple[str, float, float, float]]:
    """Checks whose own limits the healthy vehicle does not keep: id, reading, least, most."""
    wrong = []
    for check in limited(found):
        assert check.limits is not None
        number = reading(found, check)
        low = -np.inf if check.limits.min is None else check.limits.min
        high = np.inf if check.limits.max is None else check.limits.max
        if not low <= number <= high + (METER_OHM if check.unit == "ohm" else 0.0):
            wrong.append((check.id, round(number, 3), low, high))
    return wrong


def limited(found: Vehicle) -> list[Check]:
    """Checks of a vehicle that read a number and say what is good."""
    return [
        check
        for check in found.knowledge.checks.values()
        if check.limits is not None and (check.unit != "ohm" or BODY in (check.red, check.black))
    ]
