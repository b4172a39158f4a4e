"""Small invented vehicles, written as files: a battery with its two leads, and whatever parts a test is about.

The fault modes and words are the shipped ones. `Lab` makes one fault in the network and solves it, on
its own reading of what a change is, with relays and park switches where the test puts them.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from diag.circuit.faults import Cause, derive_causes
from diag.circuit.network import Change, Network
from diag.circuit.parts import build_network
from diag.circuit.solve import Solution, Solver, Variants
from diag.knowledge.assemble import Knowledge
from diag.knowledge.load import load_knowledge, rules_folder

__all__ = ["CONTROLS", "EVERY_KIND", "Lab", "Now", "vehicle", "wire", "wires", "write_vehicle"]

CONTROLS = """\
  ignition: ["off", "on"]
  engine: [stopped, turned-back, running]
  lights: ["off", side, dip, main]
  key: [released, start]
  wiper: ["off", slow, fast]
  dimmer: [full, half]
  tank: [empty, half, full]
  trailer: ["off", hitched]
  battery: [connected, disconnected]
"""
_CAUTIONS = ("battery-off-first", "hot-lamps", "no-bigger-fuse", "battery-gas", "jewellery-off")
_SUPPLY = """\
circuit: supply
title: Battery and its leads
controls:
{controls}
places: {{bench: on the bench}}
written-for: {{system-v: {system_v} V, earth: {earth}}}
parts:
  battery: {{kind: battery, title: Battery, place: bench, rest-v: {rest_v} V, resistance-ohm: 0.01 ohm}}
  feed: {{kind: joint, title: Feed, place: bench, terminals: [in, "1", "2", "3", "4", "5", "6"]}}
earths:
  ground: {{kind: earth, title: Ground, place: bench, contact-ohm: 0.001 ohm}}
  ground-2: {{kind: earth, title: Second ground, place: bench, contact-ohm: 0.001 ohm}}
wires:
  hot-lead: {{from: battery.{hot}, to: feed.in, colour: red, section-mm2: 25 mm2, length-m: 1 m}}
  ground-lead: {{from: battery.{grounded}, to: ground.31, colour: black, section-mm2: 25 mm2, length-m: 0.5 m}}
cautions:
{cautions}
"""
_SHARED = "circuit: shared\ntitle: What spans circuits\n"
_VEHICLE = """\
vehicle: small
title: A small invented vehicle
system-v: {system_v} V
earth: {earth}
history: {history}
circuits: [bench]
{more}
"""


EVERY_KIND = """\
parts:
  lamp: {kind: lamp, title: Lamp, place: bench, terminals: ["58", "31"], test-w: 25 W}
  switch: {kind: switch, title: Switch, place: bench, control: lights, terminals: ["30", "58", "56"],
    contacts: {side: [["30", "58"]], dip: [["30", "58"], ["30", "56"]]}}
  oil: {kind: sender, title: Oil sender, place: bench, closed-when: [stopped]}
  unit: {kind: flasher-unit, title: Unit, place: bench, rated-w: 42 W}
  horn: {kind: horn, title: Horn, place: bench, current-a: 4 A}
  ring: {kind: joint, title: Ring, place: bench, terminals: ["1", "2"], breakable: true}
  dynamo: {kind: dynamo, title: Dynamo, place: bench, emf-v: 16 V}
  box: {kind: regulator, title: Regulator, place: bench}
  dimmer: {kind: rheostat, title: Dimmer, place: bench, control: dimmer, positions: {full: 0.1 ohm, half: 20 ohm}}
  points: {kind: breaker, title: Points, place: bench, closed-when: [stopped]}
  tank: {kind: level-sender, title: Tank, place: bench, control: tank,
    positions: {empty: 180 ohm, half: 90 ohm, full: 10 ohm}}
  relay: {kind: relay, title: Relay, place: bench, change-over: true, diode: true}
  tail: {kind: two-filament-lamp, title: Tail lamp, place: bench, terminals: ["54", "58", "31"], test-w: [25 W, 6 W]}
  alternator: {kind: alternator, title: Alternator, place: bench}
  starter: {kind: starter, title: Starter, place: bench, bypass: true}
  blower: {kind: motor, title: Blower, place: bench, terminals: ["+", "-"], current-a: 6 A}
  wiper: {kind: wiper-motor, title: Wiper, place: bench}
  coil: {kind: ignition-coil, title: Coil, place: bench}
  ballast: {kind: resistor, title: Ballast, place: bench, terminals: ["15", 15a], ohm: 1.5 ohm}
  heater: {kind: heater, title: Heater, place: bench, terminals: ["15", "31"], current-a: 5 A}
  valve: {kind: valve, title: Valve, place: bench, terminals: ["15", "31"], current-a: 0.5 A}
  radio: {kind: accessory, title: Radio, place: bench, terminals: ["75", "31"], current-a: 1 A}
  gauge: {kind: gauge, title: Gauge, place: bench}
  diode: {kind: diode, title: Diode, place: bench}
  socket: {kind: plug, title: Socket, place: bench, pins: [L, "31"], control: trailer, joined-when: [hitched]}
fuses:
  fuse: {title: Fuse, place: bench, rating-a: 8 A}
wires:
  one: {from: feed.1, to: switch.30, colour: red, section-mm2: 1.5 mm2, length-m: 1 m, bundle: rear}
  two: {from: switch.58, to: lamp.58, colour: grey, section-mm2: 1.5 mm2, length-m: 1 m, bundle: rear}
"""
"""One part of every kind; few of them are wired."""


def wire(name: str, start: str, end: str, more: str = "") -> str:
    """A metre of 1.5 mm²; `more` replaces or adds keys (`length-m: 4 m, bundle: rear`)."""
    keys = {"colour": "red", "section-mm2": "1.5 mm2", "length-m": "1 m"}
    for key, _, value in (entry.partition(": ") for entry in more.split(", ") if entry):
        keys[key] = value
    return f"  {name}: {{from: {start}, to: {end}, {', '.join(f'{key}: {value}' for key, value in keys.items())}}}\n"


def wires(**ends: tuple[str, str]) -> str:
    """A section of such wires: name (with `_` for `-`) to both ends."""
    return "wires:\n" + "".join(wire(name.replace("_", "-"), *both) for name, both in ends.items())


def write_vehicle(
    folder: Path,
    bench: str,
    *,
    system_v: float = 12,
    earth: str = "negative",
    history: str = "aged",
    more: str = "",
    controls: str = CONTROLS,
) -> Path:
    """Write all files of a vehicle whose one circuit is `bench`; gives the vehicle's file.

    The battery rests at 12.6 V for 12 V of system, its other post on body. `feed.1` to `feed.6` are at
    battery volts, `ground.31` and `ground-2.31` at body.
    """
    negative = earth == "negative"
    (folder / "circuits").mkdir(parents=True, exist_ok=True)
    (folder / "vehicles").mkdir(exist_ok=True)
    for name in ("vocabulary.yaml", "kinds.yaml"):
        shutil.copy(rules_folder() / name, folder / name)
    supply = _SUPPLY.format(
        controls=controls,
        system_v=system_v,
        earth=earth,
        rest_v=12.6 * system_v / 12,
        hot="B+" if negative else "B-",
        grounded="B-" if negative else "B+",
        cautions="\n".join(f"  - {{id: {name}, text: Take care., source: from memory}}" for name in _CAUTIONS),
    )
    (folder / "supply.yaml").write_text(supply, encoding="utf-8")
    (folder / "shared.yaml").write_text(_SHARED, encoding="utf-8")
    (folder / "circuits" / "bench.yaml").write_text(
        f"circuit: bench\ntitle: On the bench\nwritten-for: {{system-v: {system_v} V, earth: {earth}}}\n{bench}",
        encoding="utf-8",
    )
    path = folder / "vehicles" / "small.yaml"
    path.write_text(_VEHICLE.format(system_v=system_v, earth=earth, history=history, more=more), encoding="utf-8")
    return path


def vehicle(folder: Path, bench: str, **how: object) -> Lab:
    """The same, loaded and built. Raises KnowledgeError where the text is wrong."""
    path = write_vehicle(folder, bench, **how)  # type: ignore[arg-type]
    knowledge = load_knowledge(path, folder)
    network = build_network(knowledge)
    causes = {cause.id: cause for cause in derive_causes(knowledge, network)}
    return Lab(knowledge, network, causes)


@dataclass(frozen=True)
class Lab:
    """A built network and its causes by id."""

    knowledge: Knowledge
    network: Network
    causes: Mapping[str, Cause]

    def change(self, cause: str) -> Change:
        """What a cause does. Raises KeyError if it is not derived."""
        change = self.causes[cause].change
        assert change is not None
        return change

    def of(self, subject: str) -> set[str]:
        """Modes of one part or wire."""
        return {cause.id.split(".", 1)[1] for cause in self.causes.values() if cause.subject == subject}

    def solve(
        self,
        cause: str | Change | None = None,
        operate: Mapping[str, str] | None = None,
        *,
        off: Iterable[str] = (),
        emf: Mapping[str, float] | None = None,
        unplugged: str | None = None,
    ) -> Now:
        """The network with one fault. `off`: branches that behaviour holds open; `emf`: volts of machines."""
        net = self.network
        change = Change() if cause is None else cause if isinstance(cause, Change) else self.change(cause)
        rest = {control: positions[0] for control, positions in self.knowledge.controls.items()}
        siemens = net.rest_conductance(operate or {}, rest)
        for name in off:
            siemens[net.branch(name)] = 0.0
        ends = np.array([[branch.a, branch.b] for branch in net.branches])
        wires = [i for i, branch in enumerate(net.branches) if branch.role == "wire"]
        for wire, where in change.moved.items():
            ends[wire] = where
        for left, right in change.swap:
            trade = {left: right, right: left}
            for wire in wires:
                ends[wire] = [trade.get(int(end), int(end)) for end in ends[wire]]
        for branch in change.closed:
            siemens[branch] = 1.0 / net.branches[branch].ohm
        gone = net.node(unplugged) if unplugged else -1
        for wire in wires:
            if gone in ends[wire]:
                siemens[wire] = 0.0
        for branch, ohm in change.added_ohm.items():
            siemens[branch] = 0.0 if np.isinf(ohm) or not siemens[branch] else 1.0 / (1.0 / siemens[branch] + ohm)
        scale = np.array([change.scale.get(i, 1.0) for i in range(len(net.filaments))])
        sources = [change.emf.get(i, (source.emf_v, source.ohm)) for i, source in enumerate(net.sources)]
        volts = [(emf or {}).get(source.id, found[0]) for source, found in zip(net.sources, sources, strict=True)]
        links = [link for link in change.extra if gone not in (link.guard, link.also)]
        variants = Variants(
            siemens[None],
            ends[None],
            np.array([[link.a, link.b] for link in links], dtype=int).reshape(1, -1, 2),
            np.array([[link.siemens for link in links]]).reshape(1, -1),
            scale[None],
            np.array([[change.led.get(i, 0.0) for i in range(len(net.filaments))]]).reshape(1, -1),
            np.array([[change.diode.get(i, 1.0) for i in range(len(net.diodes))]]).reshape(1, -1),
            np.array([volts]),
            np.array([[0.0 if np.isinf(found[1]) else 1.0 / found[1] for found in sources]]),
        )
        return Now(net, Solver(net).solve(variants, dense=True))


@dataclass(frozen=True)
class Now:
    """What a meter would read."""

    network: Network
    solution: Solution

    def volts(self, red: str, black: str = "body") -> float:
        """Volts between two terminals, inner points or body."""
        found = self.solution.volts[0]
        return float(found[self.network.node(red)] - found[self.network.node(black)])

    def amps(self, branch: str) -> float:
        """Amps through a branch from its first end to its second."""
        return float(self.solution.branch_a[0, self.network.branch(branch)])

    def lamp_v(self, filament: str) -> float:
        """Volts on a filament."""
        return float(self.solution.lamp_v[0, self.network.filament(filament)])

    def drawn(self) -> float:
        """Amps out of the battery."""
        at = self.network.source("battery")
        return float(self.solution.source_a[0, at])
