"""The shipped vehicles: each loads, is as its file says, and healthy keeps every limit that its checks write."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import pytest

from diag.circuit.behaviour import Bench, Shown
from diag.circuit.network import BODY, Change
from diag.circuit.parts import build_network
from diag.circuit.predict import bench_of
from diag.fit.checking import doubts
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import spelt
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import Check
from tests.reasoners import demo_vehicles, file_of

VEHICLES = demo_vehicles()
METER_OHM = 0.3
"""What an ohmmeter's own leads may add (common practice, no source)."""


class Vehicle(NamedTuple):
    """One vehicle, healthy, ready to be operated."""

    knowledge: Knowledge
    bench: Bench

    def shown(self, operate: dict[str, str]) -> Shown:
        return self.bench.operate([operate], [Change()])[0]

    def volts(self, red: str, black: str, operate: dict[str, str]) -> float:
        """Red minus black, in the lit half of a flash."""
        volts, net = self.shown(operate).volts[0], self.bench.network
        return float(volts[net.node(red)] - volts[net.node(black)])

    def lamp_volts(self, lamp: str, operate: dict[str, str]) -> float:
        return abs(float(self.shown(operate).lamp_on_v[0, self.bench.network.filament(lamp)]))


@cache
def vehicle(name: str) -> Vehicle:
    knowledge = load_knowledge(file_of(name))
    return Vehicle(knowledge, bench_of(knowledge, build_network(knowledge)))


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


def measured(name: str) -> list[Check]:
    """Checks of a vehicle that read a number and say what is good."""
    return [
        check
        for check in vehicle(name).knowledge.checks.values()
        if check.limits is not None and (check.unit != "ohm" or BODY in (check.red, check.black))
    ]


@pytest.mark.parametrize("name", VEHICLES)
def test_healthy_vehicle_keeps_every_limit_that_its_checks_write(name: str) -> None:
    """A limit that a sound vehicle breaks sends people after sound parts; each is computed, none believed."""
    found, wrong = vehicle(name), []
    checks = measured(name)
    for check in checks:
        assert check.limits is not None
        number = reading(found, check)
        low = -np.inf if check.limits.min is None else check.limits.min
        high = np.inf if check.limits.max is None else check.limits.max
        if check.unit == "ohm":
            high += METER_OHM
        if not low <= number <= high:
            wrong.append((check.id, round(number, 3), check.limits.min, check.limits.max, check.unit))
    print(f"{name}: {len(checks)} limits kept")
    assert wrong == []
    assert len(checks) >= 10


@pytest.mark.parametrize("name", VEHICLES)
def test_everything_cited_can_happen_on_the_vehicle(name: str) -> None:
    """A rule or remedy for a fault that no part of this vehicle can have would be a slip in a circuit's variants."""
    problems, slips = doubts(vehicle(name).knowledge)
    assert problems == []
    assert slips == []
