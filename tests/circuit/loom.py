"""A loom typed in by hand for tests of behaviour: parts by their ends, then a bench to operate it on.

Builds networks without any vehicle file, so that a slip in the kinds of parts cannot hide one in behaviour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from diag.circuit.behaviour import MOTORS, Bench, Flasher, Shown
from diag.circuit.network import Branch, Change, Diode, Filament, Motor, Network, Relay, Source

__all__ = ["Loom", "Tried", "flashers"]


@dataclass
class Loom:
    """Branches and elements between nodes by name; `body` is node 0."""

    nodes: dict[str, int] = field(default_factory=lambda: {"body": 0})
    branches: list[Branch] = field(default_factory=list)
    filaments: list[Filament] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    diodes: list[Diode] = field(default_factory=list)
    relays: list[Relay] = field(default_factory=list)
    motors: list[Motor] = field(default_factory=list)

    def at(self, name: str) -> int:
        return self.nodes.setdefault(name, len(self.nodes))

    def link(self, name: str, a: str, b: str, ohm: float = 0.01, role: str = "link", when: str = "") -> int:
        """`when`: `control=position/position` in which it conducts."""
        control, _, positions = when.partition("=")
        closed = (control, frozenset(positions.split("/"))) if when else None
        self.branches.append(Branch(name, self.at(a), self.at(b), ohm, role, closed))
        return len(self.branches) - 1

    def wire(self, name: str, a: str, b: str, ohm: float = 0.01) -> int:
        return self.link(name, a, b, ohm, "wire")

    def lamp(self, name: str, a: str, b: str, watts: float, test_v: float = 13.5) -> int:
        self.filaments.append(Filament(name, self.at(a), self.at(b), test_v, watts))
        return len(self.filaments) - 1

    def battery(self, plus: str, minus: str = "body", emf_v: float = 12.6, ohm: float = 0.02) -> None:
        self.sources.append(Source("battery", self.at(plus), self.at(minus), emf_v, ohm, "battery"))

    def relay(
        self,
        name: str,
        coil: tuple[str, str],
        *,
        pull_v: float = 8.0,
        drop_v: float = 1.5,
        make: tuple[str, str] | None = None,
        rest: tuple[str, str] | None = None,
        ohm: float = 85.0,
    ) -> None:
        winding = self.link(f"{name}:coil", *coil, ohm)
        contacts = []
        if make is not None:
            contacts.append((self.link(f"{name}:87", *make, 0.005, "relay"), True))
        if rest is not None:
            contacts.append((self.link(f"{name}:87a", *rest, 0.005, "relay"), False))
        self.relays.append(Relay(name, winding, tuple(contacts), pull_v, drop_v))

    def flasher(self, name: str = "unit") -> None:
        """Terminals unit.49, unit.49a, unit.C and unit.31; only 49 and 31 need to be wired."""
        self.link(f"{name}:contact", f"{name}.49", f"{name}.49a", 0.03, "flasher")
        self.link(f"{name}:tell-tale", f"{name}.49", f"{name}.C", 0.03, "tell-tale")
        self.link(f"{name}:coil", f"{name}.49", f"{name}.31", 150.0)

    def network(self) -> Network:
        return Network(
            tuple(self.nodes),
            tuple(self.branches),
            tuple(self.filaments),
            tuple(self.sources),
            tuple(self.diodes),
            tuple(self.relays),
            tuple(self.motors),
        )

    def tried(self, rest: Mapping[str, str] | None = None, **given: object) -> Tried:
        """A bench of it. `given`: fuse_a, section_mm2, flashers, emf_v, links, system_v of `Bench`."""
        values: dict[str, object] = {"fuse_a": {}, "section_mm2": {}, "flashers": {}, "emf_v": {}, **given}
        net = self.network()
        return Tried(net, Bench(net, rest or {}, **values))  # type: ignore[arg-type]


@dataclass
class Tried:
    """A loom on the bench, asked by names."""

    network: Network
    bench: Bench

    def shown(self, operate: Mapping[str, str] | None = None, change: Change | None = None) -> Shown:
        return self.bench.operate(operate or {}, [change or Change()])[0]

    def gone(self, operate: Mapping[str, str] | None = None, change: Change | None = None) -> set[str]:
        """Fuses and wires that melted."""
        return {self.network.branches[i].id for i in self.bench.operate(operate or {}, [change or Change()])[1][0]}

    def volts(self, node: str, operate: Mapping[str, str] | None = None, change: Change | None = None) -> float:
        return float(self.shown(operate, change).volts[0, self.network.node(node)])

    def amps(self, branch: str, operate: Mapping[str, str] | None = None, change: Change | None = None) -> float:
        return float(self.shown(operate, change).branch_a[0, self.network.branch(branch)])

    def lamp_v(self, lamp: str, operate: Mapping[str, str] | None = None, change: Change | None = None) -> float:
        return float(self.shown(operate, change).lamp_on_v[0, self.network.filament(lamp)])

    def relay(self, name: str, operate: Mapping[str, str] | None = None, change: Change | None = None) -> int:
        """0 released, 1 pulled in, 2 chatters."""
        k = [relay.id for relay in self.network.relays].index(name)
        return int(self.shown(operate, change).relay[0, k])

    def motor(self, name: str, operate: Mapping[str, str] | None = None, change: Change | None = None) -> str:
        """The likeliest word."""
        m = [motor.id for motor in self.network.motors].index(name)
        return MOTORS[int(np.argmax(self.shown(operate, change).motor[0, m]))]


def flashers(rated_a: float, rate: float = 85.0, *, thermal: bool = False) -> dict[str, Flasher]:
    """One unit called `unit`."""
    return {"unit": Flasher(rated_a, rate, thermal)}
