"""The shipped vehicles: each loads, is as its file says, and healthy keeps every limit that its checks write."""

from __future__ import annotations

from functools import cache
from itertools import product
from pathlib import Path

import pytest

from diag.circuit.faults import derive_causes
from diag.circuit.network import BODY
from diag.circuit.parts import build_network
from diag.fit.checking import doubts
from diag.knowledge.load import load_circuits, load_knowledge, rules_folder
from diag.knowledge.schema import CircuitFile
from tests.reasoners import demo_vehicles, file_of
from tests.vehicles.healthy import Vehicle, broken_limits, limited

VEHICLES = demo_vehicles()


@cache
def vehicle(name: str) -> Vehicle:
    return Vehicle.of(load_knowledge(file_of(name)))


@pytest.mark.parametrize("name", VEHICLES)
def test_healthy_vehicle_keeps_every_limit_that_its_checks_write(name: str) -> None:
    """A limit that a sound vehicle breaks sends people after sound parts; each is computed, none believed."""
    found = vehicle(name)
    print(f"{name}: {len(limited(found))} limits")
    assert broken_limits(found) == []
    assert len(limited(found)) >= 10


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


# ---------------------------------------------------------------- what the circuits cite


def _cited(circuit: CircuitFile) -> set[str]:
    """Every cause that a circuit names outside and inside its variants."""
    found: set[str] = set()
    for sections in (circuit, *circuit.variants):
        found |= {effect.points_to for rule in sections.rules for effect in rule.then if effect.points_to}
        found |= {effect.clears for rule in sections.rules for effect in rule.then if effect.clears}
        found |= {cause for remedy in sections.remedies for cause in remedy.cures}
    return found


@pytest.mark.parametrize("name", [name for name, file in load_circuits(rules_folder()).items() if file.options])
def test_every_cause_that_a_circuit_cites_is_one_that_some_choice_can_have(tmp_path: Path, name: str) -> None:
    """On a vehicle of another choice such a cause is passed over, so a slip of the pen would never be told."""
    circuits = load_circuits(rules_folder())
    own = {part for sections in (circuits[name], *circuits[name].variants) for part in sections.parts}
    needed = {cause for cause in _cited(circuits[name]) if cause.split(".")[0] in own}
    there: set[str] = set()
    for choices in product(
        *({(option, value) for value in one.choices} for option, one in circuits[name].options.items())
    ):
        chosen = dict(choices)
        if any(chosen[option] not in one.possible(chosen) for option, one in circuits[name].options.items()):
            continue
        text = f"vehicle: x\ntitle: x\nsystem-v: 12 V\nearth: negative\nhistory: aged\ncircuits: [{name}]\n"
        file = tmp_path / "x.yaml"
        file.write_text(text + f"options: {{{name}: {{{', '.join(f'{o}: {v}' for o, v in chosen.items())}}}}}\n")
        know = load_knowledge(file)
        there |= {cause.id for cause in derive_causes(know, build_network(know))} | set(know.causes)
    assert needed - there == set()
