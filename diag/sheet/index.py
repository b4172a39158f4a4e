"""The overview of a vehicle's wiring: its circuits, fuses and wires as lists, in the order of its files.

Rows in words; knows nothing of an operate, of pages or of drawings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, spelled_end
from diag.reason.remedies import marking_of
from diag.sheet.numbers import wire_numbers
from diag.sheet.ways import Ways, end_part
from diag.texts import t

__all__ = ["CircuitLine", "FuseLine", "Index", "WireLine", "index_of"]


@dataclass(frozen=True)
class CircuitLine:
    """A circuit, how many parts and wires are its own, and the titles of its fuses."""

    id: str
    title: str
    parts: int
    wires: int
    fuses: tuple[str, ...]


@dataclass(frozen=True)
class FuseLine:
    """A fuse: amps, form of its link, place, and what the wires on its `out` lead to (titles)."""

    title: str
    rating: str
    link: str
    place: str
    feeds: tuple[str, ...]
    circuit: str


@dataclass(frozen=True)
class WireLine:
    """A wire: number, colour, section (mm²), length (m), its two ends in words, the one nearer the battery first."""

    number: str
    colour: str
    section: str
    length: str
    from_: str
    to: str
    circuit: str


@dataclass(frozen=True)
class Index:
    """`vehicle`: its volts and earth; `altered`: what was altered on it."""

    vehicle: str
    altered: tuple[str, ...]
    circuits: tuple[CircuitLine, ...]
    fuses: tuple[FuseLine, ...]
    wires: tuple[WireLine, ...]


def index_of(knowledge: Knowledge, ways: Ways, circuits: Sequence[str]) -> Index:
    """The overview of the circuits named."""
    vehicle = knowledge.vehicle
    return Index(
        t(
            "{system_v:g} V, {earth} earth, loom {history}",
            system_v=vehicle.system_v,
            earth=vehicle.earth,
            history=vehicle.history,
        ),
        tuple(vehicle.alterations),
        tuple(_circuit(knowledge, name) for name in circuits),
        tuple(
            _fuse(knowledge, name, part)
            for name, part in knowledge.parts.items()
            if isinstance(part, schema.FusePart) and knowledge.circuit_of[name] in circuits
        ),
        tuple(
            _wire(knowledge, ways, name, number)
            for name, number in wire_numbers(knowledge).items()
            if knowledge.circuit_of[name] in circuits
        ),
    )


def _circuit(knowledge: Knowledge, name: str) -> CircuitLine:
    own = [part for part in knowledge.parts if knowledge.circuit_of[part] == name]
    fuses = tuple(knowledge.parts[part].title for part in own if knowledge.parts[part].kind == "fuse")
    wires = sum(knowledge.circuit_of[wire] == name for wire in knowledge.wires)
    return CircuitLine(name, knowledge.circuits[name].title, len(own), wires, fuses)


def _fuse(knowledge: Knowledge, name: str, part: schema.FusePart) -> FuseLine:
    out = f"{name}.out"
    pairs = ((wire.from_, wire.to) for wire in knowledge.wires.values())
    behind = (other for a, b in pairs for end, other in ((a, b), (b, a)) if end == out)
    return FuseLine(
        part.title,
        marking_of(knowledge, name),
        part.link,
        knowledge.places.get(part.place, part.place),
        tuple(dict.fromkeys(knowledge.parts[end_part(end)].title for end in behind)),
        knowledge.circuits[knowledge.circuit_of[name]].title,
    )


def _wire(knowledge: Knowledge, ways: Ways, name: str, number: str) -> WireLine:
    wire = knowledge.wires[name]
    upper, lower = (f"{knowledge.parts[end_part(e)].title} {spelled_end(knowledge.parts, e)}" for e in ways.wires[name])
    circuit = knowledge.circuits[knowledge.circuit_of[name]].title
    return WireLine(number, wire.colour, f"{wire.section_mm2:g}", f"{wire.length_m:.2g}", upper, lower, circuit)
