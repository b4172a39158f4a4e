"""The network of one vehicle: nodes, resistive branches, filaments and sources, as arrays.

Built from knowledge by `diag.circuit.parts`; solved by `diag.circuit.solve`. Knows nothing of
fault kinds or of what a person sees. Body is node 0 in both polarities.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = [
    "BODY",
    "LEAK_S",
    "Branch",
    "Change",
    "Diode",
    "Extra",
    "Filament",
    "Floats",
    "Motor",
    "Needle",
    "Network",
    "Relay",
    "Source",
]

Floats = npt.NDArray[np.float64]

BODY = "body"
LEAK_S = 1e-7
"""Siemens from every node to body: the input of a 10 Mohm meter, so that opens stay solvable."""


@dataclass(frozen=True)
class Branch:
    """Resistive link between two nodes.

    `closed_when` is None for a fixed link, else (control, positions in which it conducts).
    `role` marks contacts that behaviour decides (`flasher`, `tell-tale`, `cut-out`), fuses and wires.
    """

    id: str
    a: int
    b: int
    ohm: float
    role: str = "link"
    closed_when: tuple[str, frozenset[str]] | None = None


@dataclass(frozen=True)
class Filament:
    """A lamp between two nodes: `test_w` watts at `test_v` volts."""

    id: str
    a: int
    b: int
    test_v: float
    test_w: float


@dataclass(frozen=True)
class Diode:
    """A valve for current from a to b: nearly open below `on_v` volts, `ohm` above it."""

    id: str
    a: int
    b: int
    on_v: float
    ohm: float


@dataclass(frozen=True)
class Relay:
    """A coil that works contacts: pulls in from `pull_v` volts across branch `coil`, lets go below `drop_v`.

    `contacts`: (branch, True where it makes on pulling in, False where it breaks).
    """

    id: str
    coil: int
    contacts: tuple[tuple[int, bool], ...]
    pull_v: float
    drop_v: float


@dataclass(frozen=True)
class Motor:
    """A motor of rated `volts`: branch `slow` runs it, branch `fast` runs it faster.

    `park`: the two branches of a self-park switch, (closed away from rest, closed at rest).
    """

    id: str
    volts: float
    slow: int
    fast: int | None = None
    park: tuple[int, int] | None = None


@dataclass(frozen=True)
class Needle:
    """A gauge: amps through branch `coil` at which its needle stands at the low and at the high end."""

    id: str
    coil: int
    low_a: float
    high_a: float


@dataclass(frozen=True)
class Source:
    """EMF `emf_v` (plus at `a`) in series with `ohm`."""

    id: str
    a: int
    b: int
    emf_v: float
    ohm: float
    kind: str


@dataclass(frozen=True)
class Extra:
    """An added link of `siemens` between nodes a and b; it goes when the wires on `guard` or on `also` are off."""

    a: int
    b: int
    siemens: float
    guard: int
    also: int = 0


@dataclass(frozen=True)
class Change:
    """A fault as a small change of the network.

    added_ohm: branch index → ohm put in series where the branch conducts (inf = open; below 0: it has so many less).
    closed: branches that conduct in every position. extra: added links.
    scale: filament index → factor on its current (0 = open). emf: source index → (volts, ohm).
    swap: pairs of nodes whose wires changed places. flags: behaviours that fail, `part:mode`.
    moved: wire index → its two ends, where one was put on another terminal.
    led: filament index → an LED substitute in its place, 1 the right way round, -1 reversed; `scale` is
    then its share of the filament's rated current.
    diode: diode index → 0 open, -1 reversed. limit: fuse index → factor on its rating.
    """

    added_ohm: Mapping[int, float] = field(default_factory=dict)
    closed: frozenset[int] = frozenset()
    extra: tuple[Extra, ...] = ()
    scale: Mapping[int, float] = field(default_factory=dict)
    emf: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    swap: tuple[tuple[int, int], ...] = ()
    flags: frozenset[str] = frozenset()
    moved: Mapping[int, tuple[int, int]] = field(default_factory=dict)
    led: Mapping[int, float] = field(default_factory=dict)
    diode: Mapping[int, float] = field(default_factory=dict)
    limit: Mapping[int, float] = field(default_factory=dict)

    def merged(self, other: Change) -> Change:
        """Both faults at once: resistances in series add, the dimmer lamp and the later source hold."""
        added = dict(self.added_ohm)
        for branch, ohm in other.added_ohm.items():
            added[branch] = added.get(branch, 0.0) + ohm
        scale = dict(self.scale)
        for filament, factor in other.scale.items():
            scale[filament] = min(factor, scale.get(filament, np.inf))
        return Change(
            added,
            self.closed | other.closed,
            self.extra + other.extra,
            scale,
            {**self.emf, **other.emf},
            self.swap + other.swap,
            self.flags | other.flags,
            {**self.moved, **other.moved},
            {**self.led, **other.led},
            {**self.diode, **other.diode},
            {**self.limit, **other.limit},
        )


@dataclass(frozen=True)
class Network:
    """Nodes by name, branches, filaments, sources, and the parts whose behaviour is more than DC."""

    nodes: tuple[str, ...]
    branches: tuple[Branch, ...]
    filaments: tuple[Filament, ...]
    sources: tuple[Source, ...]
    diodes: tuple[Diode, ...] = ()
    relays: tuple[Relay, ...] = ()
    motors: tuple[Motor, ...] = ()
    needles: tuple[Needle, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "_node", {name: index for index, name in enumerate(self.nodes)})
        object.__setattr__(self, "_branch", {branch.id: i for i, branch in enumerate(self.branches)})
        object.__setattr__(self, "_filament", {lamp.id: i for i, lamp in enumerate(self.filaments)})
        object.__setattr__(self, "_source", {source.id: i for i, source in enumerate(self.sources)})

    def node(self, terminal: str) -> int:
        """Index of a terminal or of `body`. Raises KeyError."""
        return int(self._node[terminal])  # type: ignore[attr-defined]

    def branch(self, branch_id: str) -> int:
        """Index of a branch. Raises KeyError."""
        return int(self._branch[branch_id])  # type: ignore[attr-defined]

    def filament(self, lamp_id: str) -> int:
        """Index of a filament. Raises KeyError."""
        return int(self._filament[lamp_id])  # type: ignore[attr-defined]

    def source(self, source_id: str) -> int:
        """Index of a source. Raises KeyError."""
        return int(self._source[source_id])  # type: ignore[attr-defined]

    def has(self, terminal: str) -> bool:
        """Whether a terminal of that name exists."""
        return terminal in self._node  # type: ignore[attr-defined]

    def wires_at(self, node: int) -> list[int]:
        """Indices of the wires that end on a node."""
        return [i for i, branch in enumerate(self.branches) if branch.role == "wire" and node in (branch.a, branch.b)]

    def rest_conductance(self, operate: Mapping[str, str], rest: Mapping[str, str]) -> Floats:
        """Siemens of every branch, shape (branches,), with all wires on their terminals.

        `rest` gives each control's rest position. Contacts that behaviour decides are given closed.
        """
        position = {**rest, **operate}
        siemens = np.array([1.0 / branch.ohm for branch in self.branches])
        for i, branch in enumerate(self.branches):
            if branch.closed_when is not None:
                control, positions = branch.closed_when
                if position.get(control) not in positions:
                    siemens[i] = 0.0
        return siemens
