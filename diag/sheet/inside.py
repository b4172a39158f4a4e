"""What is inside a part, as it is drawn between its terminals: contacts, windings, filaments and the rest.

Read off the network, so that a new kind of part needs nothing here; knows nothing of measures or lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from diag.circuit.network import Branch, Network
from diag.knowledge.assemble import AnyPart
from diag.sheet.figures import FAULTY, Figures
from diag.sheet.ways import end_part

__all__ = ["Element", "Sign", "elements_of"]

Sign = Literal["contact", "lamp", "coil", "resistor", "fuse", "diode", "motor", "generator", "battery", "horn", "bar"]
"""What is drawn: shapes after IEC 60617; `bar` joins terminals without anything between them."""

_ROLES: Mapping[str, Sign] = {
    "contact": "contact",
    "flasher": "contact",
    "tell-tale": "contact",
    "cut-out": "contact",
    "relay": "contact",
    "park": "contact",
    "excited": "contact",
    "fuse": "fuse",
    "joint": "bar",
    "field": "coil",
    "motor": "motor",
    "horn": "horn",
}
_NAMES: Mapping[str, Sign] = {
    "coil": "coil",
    "winding": "coil",
    "solenoid": "coil",
    "primary": "coil",
    "field-contact": "contact",
    "61": "bar",
}
"""Links without a role of their own, by what follows the colon of their id."""
_CHOSEN = ("rheostat", "level-sender")
"""Kinds of which each position is a resistor of its own: only the one in use is drawn."""


@dataclass(frozen=True)
class Element:
    """Something between two ends: `part.terminal`, an inner node, or `body`. `closed` tells of contacts;
    `moves` where it opens and closes by itself while this operate lasts; `alight` of lamps."""

    id: str
    sign: Sign
    a: str
    b: str
    closed: bool = True
    moves: bool = False
    alight: bool = False


def elements_of(figures: Figures, part_id: str, part: AnyPart) -> tuple[Element, ...]:
    """What lies between the terminals of a part, as it stands with the faults shown."""
    found = list(_elements(figures, part_id, part))
    return tuple(_contracted(found, {f"{part_id}.{name}" for name in _inner_links(figures.network, part_id)}))


def _elements(figures: Figures, part_id: str, part: AnyPart) -> Iterator[Element]:
    net = figures.network
    for i, branch in enumerate(net.branches):
        if branch.role == "wire" or branch.id.partition(":")[0] != part_id:
            continue
        closed = bool(figures.closed[FAULTY, i])
        if part.kind in _CHOSEN and not closed:
            continue
        sign: Sign = "resistor" if part.kind in _CHOSEN else _sign(branch)
        moves = branch.role in ("flasher", "tell-tale") and figures.pulses(FAULTY) and closed
        yield Element(branch.id, sign, net.nodes[branch.a], net.nodes[branch.b], closed, moves)
    for lamp in net.filaments:
        if end_part(lamp.id) == part_id:
            lit = figures.look(FAULTY, lamp.id)[0] != "dark"
            yield Element(lamp.id, "lamp", net.nodes[lamp.a], net.nodes[lamp.b], alight=lit)
    for diode in net.diodes:
        if diode.id.partition(":")[0] == part_id:
            yield Element(diode.id, "diode", net.nodes[diode.a], net.nodes[diode.b])
    for source in net.sources:
        if source.id.partition(":")[0] == part_id:
            made: Sign = "battery" if source.kind == "battery" else "generator"
            yield Element(source.id, made, net.nodes[source.a], net.nodes[source.b])


def _sign(branch: Branch) -> Sign:
    return _ROLES.get(branch.role) or _NAMES.get(branch.id.partition(":")[2]) or _plain(branch)


def _plain(branch: Branch) -> Sign:
    # an earth point is nothing but a joint with body
    return "bar" if ":" not in branch.id or branch.id.endswith(":holder") else "resistor"


def _inner_links(net: Network, part_id: str) -> Iterator[str]:
    return (b.id.partition(":")[2] for b in net.branches if b.id == f"{part_id}:holder")


def _contracted(elements: list[Element], inner: set[str]) -> Iterator[Element]:
    """Without links to an inner node that is no more than the far side of a terminal (a lamp holder)."""
    joined = {}
    for element in elements:
        if element.sign == "bar" and (element.a in inner or element.b in inner):
            node, terminal = (element.a, element.b) if element.a in inner else (element.b, element.a)
            joined[node] = terminal
    for element in elements:
        a, b = joined.get(element.a, element.a), joined.get(element.b, element.b)
        if a != b:
            yield replace(element, a=a, b=b)
