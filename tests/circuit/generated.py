"""A vehicle larger than any shipped one, made up from a seed, with every fault its parts can have.

Built as a network and changes directly, so that it does not lean on how knowledge files are read.
Holds no expectations.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from diag.calc.copper import wire_ohm
from diag.circuit.behaviour import Bench
from diag.circuit.network import Branch, Change, Diode, Extra, Filament, Network, Relay, Source

__all__ = ["Generated", "generated_vehicle"]

_OPEN = math.inf
_SECTIONS = (0.75, 1.0, 1.5, 2.5)
_TOUCH_S = 50.0


@dataclass
class Generated:
    """A network, its controls at rest, fuse ratings in A, wire sections in mm², operates to try, and faults by
    name."""

    network: Network
    rest: dict[str, str]
    fuse_a: dict[str, float]
    section_mm2: dict[str, float]
    operates: list[Mapping[str, str]]
    faults: dict[str, Change]

    def bench(self) -> Bench:
        """The vehicle ready to be operated."""
        return Bench(self.network, self.rest, self.fuse_a, self.section_mm2, {}, {})


def generated_vehicle(wires: int, seed: int) -> Generated:
    """At least so many wires in groups, each a fuse, a switch or a relay, a bus of lamps that share an earth,
    some with two filaments or behind a diode. The same for the same numbers."""
    maker = _Maker(random.Random(seed))
    maker.supply()
    number = 0
    while maker.wires < wires:
        maker.group(number)
        number += 1
    return maker.finished()


@dataclass
class _Maker:
    chance: random.Random
    nodes: dict[str, int] = field(default_factory=lambda: {"body": 0})
    branches: list[Branch] = field(default_factory=list)
    filaments: list[Filament] = field(default_factory=list)
    diodes: list[Diode] = field(default_factory=list)
    relays: list[Relay] = field(default_factory=list)
    fuse_a: dict[str, float] = field(default_factory=dict)
    section: dict[str, float] = field(default_factory=dict)
    controls: list[str] = field(default_factory=list)
    faults: dict[str, Change] = field(default_factory=dict)
    wires: int = 0

    def node(self, name: str) -> int:
        return self.nodes.setdefault(name, len(self.nodes))

    def link(
        self, name: str, a: str, b: str, ohm: float, role: str = "link", when: tuple[str, frozenset[str]] | None = None
    ) -> int:
        self.branches.append(Branch(name, self.node(a), self.node(b), ohm, role, when))
        return len(self.branches) - 1

    def wire(self, a: str, b: str, section: float | None = None, length_m: float | None = None) -> None:
        """A wire with its faults: off, poor, rubbed through, touching its neighbour, put on a wrong terminal."""
        name = f"w{self.wires}"
        self.wires += 1
        self.section[name] = section or self.chance.choice(_SECTIONS)
        metres = length_m or round(self.chance.uniform(0.3, 4.0), 2)
        index = self.link(name, a, b, wire_ohm(self.section[name], metres), "wire")
        here = self.branches[index]
        self.faults[f"{name}.open"] = Change(added_ohm={index: _OPEN})
        self.faults[f"{name}.resistive"] = Change(added_ohm={index: round(self.chance.uniform(0.2, 5.0), 2)})
        if here.a and here.b:
            self.faults[f"{name}.to-body"] = Change(
                extra=tuple(Extra(end, 0, _TOUCH_S, end) for end in (here.a, here.b))
            )
        if self.wires % 3 == 0:
            other = self.chance.choice([b for b in self.branches if b.role == "wire"][-12:])
            touch = Extra(here.b, other.b, _TOUCH_S, here.b)
            self.faults[f"{name}.to-wire-{other.id}"] = Change(extra=(touch,))
        if self.wires % 8 == 0:
            elsewhere = self.chance.randrange(max(1, len(self.nodes) - 20), len(self.nodes))
            self.faults[f"{name}.at-{list(self.nodes)[elsewhere]}"] = Change(moved={index: (here.a, elsewhere)})

    def supply(self) -> None:
        """Battery, earth strap, feed to a bus bar."""
        self.wire("battery.B-", "earth-main.31", 25.0, 0.4)
        earth = self.link("earth-main", "earth-main.31", "body", 0.001)
        self.wire("battery.B+", "bus.in", 16.0, 1.5)
        self.faults["earth-main.resistive"] = Change(added_ohm={earth: 0.3})
        self.faults["battery.flat"] = Change(emf={0: (10.8, 0.3)})
        self.faults["battery.reversed"] = Change(emf={0: (-12.6, 0.04)})
        self.faults["battery.post-loose"] = Change(emf={0: (12.6, 0.54)})

    def group(self, number: int) -> None:
        """One consumer circuit."""
        name = f"g{number}"
        control = f"switch-{number}"
        self.controls.append(control)
        self.wire("bus.in", f"fuse-{name}.in")
        fuse = self.link(f"fuse-{name}", f"fuse-{name}.in", f"fuse-{name}.out", 0.008, "fuse")
        self.fuse_a[f"fuse-{name}"] = 30.0
        self.faults[f"fuse-{name}.blown"] = Change(added_ohm={fuse: _OPEN})
        self.faults[f"fuse-{name}.resistive"] = Change(added_ohm={fuse: 0.8})
        self.wire(f"fuse-{name}.out", f"{control}.30")
        contact = self.link(
            f"{control}:30-58", f"{control}.30", f"{control}.58", 0.015, "contact", (control, frozenset({"on"}))
        )
        self.faults[f"{control}.open-30-58"] = Change(added_ohm={contact: _OPEN})
        self.faults[f"{control}.resistive-30-58"] = Change(added_ohm={contact: 1.0})
        self.faults[f"{control}.stuck-30-58"] = Change(closed=frozenset({contact}))
        self.faults[f"{control}.swapped-30-58"] = Change(
            swap=((self.node(f"{control}.30"), self.node(f"{control}.58")),)
        )
        feed = f"{control}.58"
        if number % 3 == 1:
            feed = self._relay(name, feed, f"fuse-{name}.out")
        if number % 4 == 2:
            feed = self._diode(name, feed)
        self._lamps(name, feed, 2 + self.chance.randrange(4), number)

    def _relay(self, name: str, coil_feed: str, load_feed: str) -> str:
        relay = f"relay-{name}"
        self.wire(coil_feed, f"{relay}.86")
        self.wire(load_feed, f"{relay}.30", 2.5)
        coil = self.link(f"{relay}:coil", f"{relay}.85", f"{relay}.86", 85.0)
        make = self.link(f"{relay}:87", f"{relay}.30", f"{relay}.87", 0.005, "relay")
        self.wire(f"{relay}.85", f"earth-{name}.31")
        self.diodes.append(Diode(f"{relay}:diode", self.node(f"{relay}.85"), self.node(f"{relay}.86"), 0.7, 0.05))
        self.relays.append(Relay(relay, coil, ((make, True),), 0.65 * 12.0, 0.2 * 12.0))
        self.faults[f"{relay}.coil-open"] = Change(added_ohm={coil: _OPEN})
        self.faults[f"{relay}.contact-burnt"] = Change(added_ohm={make: 0.6})
        self.faults[f"{relay}.stuck"] = Change(closed=frozenset({make}))
        self.faults[f"{relay}.swapped-85-86"] = Change(swap=((self.node(f"{relay}.85"), self.node(f"{relay}.86")),))
        return f"{relay}.87"

    def _diode(self, name: str, feed: str) -> str:
        diode = f"diode-{name}"
        self.wire(feed, f"{diode}.A")
        index = len(self.diodes)
        a, k = self.node(f"{diode}.A"), self.node(f"{diode}.K")
        self.diodes.append(Diode(diode, a, k, 0.7, 0.05))
        self.faults[f"{diode}.open"] = Change(diode={index: 0.0})
        self.faults[f"{diode}.reversed"] = Change(diode={index: -1.0})
        self.faults[f"{diode}.shorted"] = Change(extra=(Extra(a, k, 100.0, 0),))
        return f"{diode}.K"

    def _lamps(self, name: str, feed: str, count: int, number: int) -> None:
        """Lamps on one joint, each through a plug, with one splice and one earth for all; every fifth group
        crosses over to its neighbour's joint."""
        joint, earth, splice = f"joint-{name}.in", f"earth-{name}", f"splice-{name}.31"
        self.wire(feed, joint)
        for i in range(count):
            lamp, plug = f"lamp-{name}-{i}", f"plug-{name}-{i}"
            self.wire(joint, f"{plug}.58")
            self.wire(f"{plug}.58", f"{lamp}.58")
            if i == 1:
                self._two_filaments(lamp, joint)
            else:
                self._filament(lamp, f"{lamp}.58", f"{lamp}.31", self.chance.choice((5.0, 10.0, 25.0)))
            self.wire(f"{lamp}.31", f"{plug}.31")
            self.wire(f"{plug}.31", splice)
        self.wire(splice, f"{earth}.31")
        contact = self.link(earth, f"{earth}.31", "body", 0.005)
        self.faults[f"{earth}.open"] = Change(added_ohm={contact: _OPEN})
        self.faults[f"{earth}.resistive"] = Change(added_ohm={contact: 2.0})
        if number % 5 == 4:
            self.wire(joint, f"joint-g{number - 1}.in")

    def _two_filaments(self, lamp: str, second_feed: str) -> None:
        self.wire(second_feed, f"{lamp}.54")
        holder = self.link(f"{lamp}:holder", f"{lamp}.holder", f"{lamp}.31", 0.01)
        self._filament(f"{lamp}.58", f"{lamp}.58", f"{lamp}.holder", 6.0)
        self._filament(f"{lamp}.54", f"{lamp}.54", f"{lamp}.holder", 25.0)
        self.faults[f"{lamp}.holder-open"] = Change(added_ohm={holder: _OPEN})
        bridge = Extra(self.node(f"{lamp}.58"), self.node(f"{lamp}.54"), 20.0, 0)
        self.faults[f"{lamp}.bridged"] = Change(extra=(bridge,))

    def _filament(self, name: str, a: str, b: str, watts: float) -> None:
        index = len(self.filaments)
        self.filaments.append(Filament(name, self.node(a), self.node(b), 13.5, watts))
        self.faults[f"{name}.burnt-out"] = Change(scale={index: 0.0})
        if index % 2:
            self.faults[f"{name}.wrong-wattage"] = Change(scale={index: 0.24})
        else:
            self.faults[f"{name}.led"] = Change(scale={index: 0.15}, led={index: 1.0})
            self.faults[f"{name}.led-reversed"] = Change(scale={index: 0.15}, led={index: -1.0})

    def finished(self) -> Generated:
        battery = Source("battery", self.node("battery.B+"), self.node("battery.B-"), 12.6, 0.04, "battery")
        network = Network(
            tuple(self.nodes),
            tuple(self.branches),
            tuple(self.filaments),
            (battery,),
            tuple(self.diodes),
            tuple(self.relays),
        )
        half = dict.fromkeys(self.controls[::2], "on")
        third = dict.fromkeys(self.controls[1::3], "on")
        operates: list[Mapping[str, str]] = [half, third, {**half, **third, "unplugged": "joint-g1.in"}]
        return Generated(
            network, dict.fromkeys(self.controls, "off"), self.fuse_a, self.section, operates, dict(self.faults)
        )
