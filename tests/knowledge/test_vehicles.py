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


# ---------------------------------------------------------------- light and charge, in either polarity

CAR_OPERATES = {"lights": "head"}, {"lights": "head", "dip": "main"}, {"ignition": "on", "brake-pedal": "pressed"}
RUNNING = {"ignition": "on", "engine": "running"}
BOX_ON = {"box-turn": "left", "box-stop": "on", "box-lights": "on"}
WITH_ENGINE = [name for name in VEHICLES if name != "demo-trailer.yaml"]


def lit(found: Vehicle, operate: dict[str, str]) -> dict[str, float]:
    """Share of its test volts on every lamp that is on."""
    net = found.bench.network
    volts = found.shown(operate).lamp_on_v[0]
    return {
        lamp.id: abs(float(on)) / lamp.test_v
        for lamp, on in zip(net.filaments, volts, strict=True)
        if abs(on) > 0.3 * lamp.test_v
    }


@pytest.mark.parametrize("name", VEHICLES)
def test_lamps_of_the_healthy_vehicle_burn_near_their_volts(name: str) -> None:
    """From a battery at rest a lamp gets 80 to 96 per cent of its test volts (12.6 of 13.5 V less the wires;
    common practice, no source); below that it is visibly dim."""
    found, seen = vehicle(name), set()
    for operate in (BOX_ON,) if name == "demo-trailer.yaml" else CAR_OPERATES:
        shares = lit(found, operate)
        seen |= set(shares)
        for lamp, share in shares.items():
            part = found.knowledge.parts[lamp.split(".")[0]]
            if not getattr(part, "tell_tale", False):
                assert 0.80 < share < 0.96, f"{lamp} under {operate}: {share:.2f}"
    assert len(seen) >= 3


@pytest.mark.parametrize("name", WITH_ENGINE)
def test_machine_charges_and_its_tell_tale_goes_out(name: str) -> None:
    """With the engine at fast idle current flows into the battery and the volts stand where they should:
    2.2 to 2.5 V a cell (13.2 to 15 V on 12 V, from memory); dynamo, either field, and alternator."""
    found = vehicle(name)
    net, volts = found.bench.network, found.knowledge.vehicle.system_v
    shown = found.shown(RUNNING)
    battery = net.source("battery")
    across = found.volts("battery.B+", "battery.B-", RUNNING)
    assert 13.2 <= across * 12 / volts <= 15.0
    source = net.sources[battery]
    assert across > source.emf_v, "charging means more than the battery gives at rest"
    lamp = net.filament("charge-lamp")
    assert abs(float(shown.lamp_on_v[0, lamp])) < 0.1 * volts
    assert found.lamp_volts("charge-lamp", {"ignition": "on"}) > 0.6 * volts


def test_body_of_the_motorcycle_is_plus() -> None:
    """Positive earth: whatever is live stands 6 V below body; the plus of the battery is on the frame."""
    found = vehicle("demo-motorcycle.yaml")
    for live in ("bus-30.1", "key-switch.30", "battery.B-"):
        assert found.volts(live, BODY, {}) == pytest.approx(-6.3, abs=0.1)
    assert abs(found.volts("battery.B+", BODY, {})) < 0.01
    assert found.volts("headlamp-left.56b", BODY, {"lights": "head"}) < -5.4
    assert found.volts("dynamo.D+", BODY, RUNNING) < -6.6
    assert found.knowledge.checks["bus-30-volts"].red == BODY, "a probe changes places with the other"


def test_current_of_a_six_volt_lamp_is_double() -> None:
    """The same watts at half the volts (P = U I): the tail lamp of 5 W, and its filament a quarter of the ohms."""
    six, twelve = vehicle("demo-motorcycle.yaml"), vehicle("demo-van.yaml")
    amps = []
    for found in (six, twelve):
        shown = found.shown({"lights": "side"})
        amps.append(abs(float(shown.branch_a[0, found.bench.network.branch("tail-left-wire")])))
    assert amps[0] / amps[1] == pytest.approx(2.0, rel=0.05)


def test_van_regulator_earths_the_field_and_its_marks_are_told() -> None:
    """The later engine's dynamo: field joined to its output inside, earthed by the regulator. With DF off it
    charges no more; terminals are told by what is stamped on them."""
    found = vehicle("demo-van.yaml")
    parts = found.knowledge.parts
    assert parts["dynamo"].field == parts["regulator"].field == "to-output"  # type: ignore[union-attr]
    assert parts["dynamo"].spelled("D+") == "GEN (D+)"
    assert parts["regulator"].spelled("B+") == "BAT (B+)"
    off = {**RUNNING, "unplugged": "regulator.DF"}
    assert found.volts("battery.B+", "battery.B-", off) < 12.6 < found.volts("battery.B+", "battery.B-", RUNNING)


def test_trailer_lamps_come_home_by_pin_3_only() -> None:
    """All functions work from the box; without the core on pin 3 nothing lights, for the frame is no way home."""
    found = vehicle("demo-trailer.yaml")
    lamps = {lamp.split(".")[0] for lamp in lit(found, {**BOX_ON}) | lit(found, {**BOX_ON, "box-turn": "right"})}
    every = {name for name, part in found.knowledge.parts.items() if "lamp" in part.kind and part.kind != "two"}
    assert lamps == every
    assert lit(found, {**BOX_ON, "unplugged": "trailer-plug.31"}) == {}
    pins = set(found.knowledge.parts["trailer-plug"].pins)  # type: ignore[union-attr]
    assert pins == {"L", "31", "R", "58R", "54", "58L"}, "pins that ISO 1724 gives lamps; 54g is not used"


def test_sports_car_relays_carry_the_headlamps() -> None:
    """The dip switch carries the coils only: less than an ampere where the lamps draw ten."""
    found = vehicle("demo-sports-car.yaml")
    shown = found.shown({"lights": "head"})
    net = found.bench.network
    lamps = abs(float(shown.branch_a[0, net.branch("dip-left-wire")]))
    switch = abs(float(shown.branch_a[0, net.branch("headlamp-feed")]))
    assert lamps > 4.0
    assert switch < 0.5
    assert found.knowledge.vehicle.options["ignition"] == {"ballast": "resistor"}
    assert found.volts("ignition-coil.15", BODY, {"ignition": "on", "points": "closed"}) == pytest.approx(6.5, abs=1.5)
