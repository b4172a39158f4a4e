"""What the modules of the kinds work with: a network under construction, and one part about to fail.

Knows no kind by name, nor how often anything fails.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from diag.circuit.network import BODY, Branch, Change, Diode, Extra, Filament, Motor, Needle, Network, Relay, Source
from diag.knowledge.schema import Mode

__all__ = ["OPEN", "TOUCH_OHM", "Builder", "Case", "Fault", "Kind", "Site", "always"]

OPEN = math.inf
"""Ohm added by what conducts no more."""
TOUCH_OHM = 0.02
"""Bare metal that touches bare metal (common practice, no source)."""

P_contra = TypeVar("P_contra", contravariant=True)


@dataclass
class Builder:
    """A network while parts and wires are put into it; node 0 is body."""

    nodes: dict[str, int] = field(default_factory=lambda: {BODY: 0})
    branches: list[Branch] = field(default_factory=list)
    filaments: list[Filament] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    diodes: list[Diode] = field(default_factory=list)
    relays: list[Relay] = field(default_factory=list)
    motors: list[Motor] = field(default_factory=list)
    needles: list[Needle] = field(default_factory=list)

    def node(self, name: str) -> int:
        """Index of a node, which is made if it is new."""
        return self.nodes.setdefault(name, len(self.nodes))

    def link(
        self,
        branch_id: str,
        a: str,
        b: str,
        ohm: float,
        role: str = "link",
        closed_when: tuple[str, frozenset[str]] | None = None,
    ) -> int:
        """Add a branch between two nodes by name; gives its index."""
        self.branches.append(Branch(branch_id, self.node(a), self.node(b), ohm, role, closed_when))
        return len(self.branches) - 1

    def network(self) -> Network:
        """What has been built."""
        return Network(
            tuple(self.nodes),
            tuple(self.branches),
            tuple(self.filaments),
            tuple(self.sources),
            tuple(self.diodes),
            tuple(self.relays),
            tuple(self.motors),
            tuple(self.needles),
        )


@dataclass(frozen=True)
class Site:
    """Where one part is put into the network.

    `system_v`: volts of the vehicle. `copper`: resistance of its copper windings against 20 °C.
    `positive`: body is plus, so that what makes volts makes them below body.
    """

    builder: Builder
    part_id: str
    system_v: float
    copper: float
    positive: bool

    def at(self, terminal: str) -> str:
        """Name of the node of a terminal (or of an inner point); `body` is body."""
        return BODY if terminal == BODY else f"{self.part_id}.{terminal}"

    def node(self, terminal: str) -> int:
        """Index of the same."""
        return self.builder.node(self.at(terminal))

    def link(
        self,
        what: str,
        a: str,
        b: str,
        ohm: float,
        role: str = "link",
        closed_when: tuple[str, frozenset[str]] | None = None,
    ) -> int:
        """Add the branch `part:what` (the part's own id where `what` is empty) between two of its terminals."""
        branch_id = f"{self.part_id}:{what}" if what else self.part_id
        return self.builder.link(branch_id, self.at(a), self.at(b), ohm, role, closed_when)

    def filament(self, filament_id: str, a: str, b: str, test_v: float, test_w: float) -> None:
        """Add a filament between two terminals: `test_w` watts at `test_v` volts."""
        self.builder.filaments.append(Filament(filament_id, self.node(a), self.node(b), test_v, test_w))

    def generator(self, plus: str, emf_v: float, ohm: float, kind: str) -> None:
        """Add a source between a terminal and body, above body or, where body is plus, below it."""
        ends = (0, self.node(plus)) if self.positive else (self.node(plus), 0)
        self.builder.sources.append(Source(self.part_id, *ends, emf_v, ohm, kind))


@dataclass(frozen=True)
class Fault:
    """One way in which a part or wire fails.

    `name` ends the cause's id; `mode` is its key in kinds.yaml; `detail` goes into its title.
    `among`: how many faults share the mode's frequency. `asked`: too seldom to be one of every such part; it is
    there only for a circuit's file that adds a fault like it.
    """

    name: str
    mode: str
    change: Change
    detail: str = ""
    among: int = 1
    asked: bool = False


@dataclass(frozen=True)
class Case:
    """One part of a built network, about to fail.

    `modes`: what kinds.yaml says of its kind. `controls`: all positions of each control of the vehicle.
    `own_ohm`, `own_factor`: instead of what kinds.yaml gives. `takes`: filled in by `ohm` and `factor`: (mode,
    which of the two) that shape a fault of this part.
    """

    network: Network
    part_id: str
    system_v: float
    positive: bool
    modes: Mapping[str, Mode]
    controls: Mapping[str, tuple[str, ...]]
    own_ohm: float | None = None
    own_factor: float | None = None
    takes: set[tuple[str, str]] = field(default_factory=set)

    def node(self, terminal: str) -> int:
        """Index of the node of a terminal or inner point."""
        return self.network.node(f"{self.part_id}.{terminal}")

    def branch(self, what: str) -> int:
        """Index of the branch `part:what`, or of the part's own one where `what` is empty."""
        return self.network.branch(f"{self.part_id}:{what}" if what else self.part_id)

    def ohm(self, mode: str, default: float = 1.0) -> float:
        """Ohm of a mode: its own, else what kinds.yaml gives."""
        self.takes.add((mode, "ohm"))
        if self.own_ohm is not None:
            return self.own_ohm
        form = self.modes.get(mode)
        return form.ohm if form is not None and form.ohm is not None else default

    def factor(self, mode: str, default: float) -> float:
        """Factor of a mode: its own, else what kinds.yaml gives."""
        self.takes.add((mode, "factor"))
        if self.own_factor is not None:
            return self.own_factor
        form = self.modes.get(mode)
        return form.factor if form is not None and form.factor is not None else default

    def opens(self, mode: str, *whats: str, name: str = "", detail: str = "") -> Fault:
        """These branches conduct no more."""
        change = Change(added_ohm={self.branch(what): OPEN for what in whats})
        return Fault(name or mode, mode, change, detail)

    def adds(self, mode: str, *whats: str, default: float = 1.0, name: str = "", detail: str = "") -> Fault:
        """These branches get the mode's ohm in series."""
        change = Change(added_ohm={self.branch(what): self.ohm(mode, default) for what in whats})
        return Fault(name or mode, mode, change, detail)

    def closes(self, mode: str, *whats: str, name: str = "", detail: str = "") -> Fault:
        """These branches conduct in every position."""
        return Fault(name or mode, mode, Change(closed=frozenset(self.branch(what) for what in whats)), detail)

    def flagged(self, mode: str) -> Fault:
        """A behaviour fails."""
        return Fault(mode, mode, Change(flags=frozenset({self.flag(mode)})))

    def flag(self, mode: str) -> str:
        """What says to behaviour that this part has a mode."""
        return f"{self.part_id}:{mode}"

    def inside(self, a: str, b: str, ohm: float) -> Extra:
        """A link within the part, which stays when its wires are off. `body` is body."""
        one, other = (0 if terminal == BODY else self.node(terminal) for terminal in (a, b))
        return Extra(one, other, 1.0 / ohm, 0)

    def bridges(self, mode: str, a: str, b: str, ohm: float, name: str = "", detail: str = "") -> Fault:
        """Two terminals are joined inside the part."""
        return Fault(name or mode, mode, Change(extra=(self.inside(a, b, ohm),)), detail)


@dataclass(frozen=True)
class Kind(Generic[P_contra]):
    """What a kind of part is electrically, and how it fails.

    `build` puts its branches, filaments and sources into the network; `faults` gives its ways to fail.
    `swaps`: whether wires put on each other's terminals change anything; None where the terminals of the
    kind are not told apart, or where nobody mistakes them.
    """

    build: Callable[[Site, P_contra], None]
    faults: Callable[[Case, P_contra], Iterator[Fault]]
    swaps: Callable[[P_contra, str, str], bool] | None = None


def always(part: object, a: str, b: str) -> bool:
    """Swapping any two wires matters."""
    return True
