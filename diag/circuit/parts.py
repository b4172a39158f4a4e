"""From the parts and wires of a vehicle to its network: what each kind of part is electrically.

The only place that says which branches, filaments and sources a kind has. Knows nothing of faults.
Wire resistance: IEC 60228 class 5 plain copper, maximum at 20 °C.
"""

from __future__ import annotations

import math

import numpy as np

from diag.circuit.network import BODY, Branch, Filament, Network, Source
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of

__all__ = ["CLASS_5_OHM_PER_M", "CONDUCTOR_K", "build_network", "contact_positions", "wire_ohm"]

CLASS_5_OHM_PER_M: dict[float, float] = {
    0.5: 0.0390,
    0.75: 0.0260,
    1.0: 0.0195,
    1.5: 0.0133,
    2.5: 0.00798,
    4.0: 0.00495,
    6.0: 0.00330,
    10.0: 0.00191,
    16.0: 0.00121,
    25.0: 0.000780,
    35.0: 0.000554,
    50.0: 0.000386,
    70.0: 0.000272,
}
"""mm² → ohm per metre, one way, 20 °C (IEC 60228 class 5, plain copper)."""
CONDUCTOR_K = 0.00393
"""Temperature coefficient of copper at 20 °C, per kelvin (IEC 60028, from memory)."""

_LINK_OHM = 0.001


def wire_ohm(section_mm2: float, length_m: float, temperature_c: float = 20.0) -> float:
    """Resistance in ohm of `length_m` of wire, one way.

    Sections between the standard ones are read off the table in log-log; outside it the nearest
    standard section is scaled by area. Raises ValueError for a section or length of zero or less.
    """
    if section_mm2 <= 0 or length_m <= 0:
        raise ValueError("section and length are above zero")
    sections = np.array(sorted(CLASS_5_OHM_PER_M))
    ohms = np.array([CLASS_5_OHM_PER_M[s] for s in sections])
    inside = float(np.clip(section_mm2, sections[0], sections[-1]))
    per_metre = math.exp(float(np.interp(math.log(inside), np.log(sections), np.log(ohms)))) * inside / section_mm2
    return per_metre * length_m * (1 + CONDUCTOR_K * (temperature_c - 20.0))


class _Builder:
    def __init__(self) -> None:
        self.nodes: dict[str, int] = {BODY: 0}
        self.branches: list[Branch] = []
        self.filaments: list[Filament] = []
        self.sources: list[Source] = []

    def node(self, name: str) -> int:
        return self.nodes.setdefault(name, len(self.nodes))

    def link(
        self,
        branch_id: str,
        a: str,
        b: str,
        ohm: float,
        role: str = "link",
        closed_when: tuple[str, frozenset[str]] | None = None,
    ) -> None:
        self.branches.append(Branch(branch_id, self.node(a), self.node(b), ohm, role, closed_when))

    def source(self, source_id: str, a: str, b: str, emf_v: float, ohm: float, kind: str) -> None:
        self.sources.append(Source(source_id, self.node(a), self.node(b), emf_v, ohm, kind))


def build_network(knowledge: Knowledge) -> Network:
    """The network of the vehicle with every part healthy; node 0 is body."""
    builder = _Builder()
    for part_id, part in knowledge.parts.items():
        for terminal in terminals_of(part):
            builder.node(f"{part_id}.{terminal}")
        _add(builder, part_id, part, knowledge.vehicle.system_v)
    for wire_id, wire in knowledge.wires.items():
        builder.link(wire_id, wire.from_, wire.to, wire_ohm(wire.section_mm2, wire.length_m), "wire")
    return Network(tuple(builder.nodes), tuple(builder.branches), tuple(builder.filaments), tuple(builder.sources))


def _add(builder: _Builder, part_id: str, part: schema.Part, system_v: float) -> None:
    def at(terminal: str) -> str:
        return BODY if terminal == BODY else f"{part_id}.{terminal}"

    match part:
        case schema.BatteryPart():
            builder.source(part_id, at("B+"), at("B-"), part.rest_v, part.resistance_ohm, "battery")
        case schema.EarthPart():
            builder.link(part_id, at("31"), BODY, part.contact_ohm)
        case schema.FusePart():
            builder.link(part_id, at("in"), at("out"), part.contact_ohm, "fuse")
        case schema.SwitchPart():
            for (a, b), positions in contact_positions(part).items():
                builder.link(f"{part_id}:{a}-{b}", at(a), at(b), part.contact_ohm, "contact", (part.control, positions))
        case schema.SenderPart():
            builder.link(
                f"{part_id}:G", at("G"), BODY, part.contact_ohm, "contact", ("engine", frozenset(part.closed_when))
            )
        case schema.LampPart():
            feed, back = part.terminals
            builder.filaments.append(
                Filament(part_id, builder.node(at(feed)), builder.node(at(back)), part.test_v, part.test_w)
            )
        case schema.FlasherPart():
            builder.link(f"{part_id}:contact", at("49"), at("49a"), part.contact_ohm, "flasher")
            builder.link(f"{part_id}:tell-tale", at("49"), at("C"), part.contact_ohm, "tell-tale")
            builder.link(f"{part_id}:coil", at("49"), at("31"), part.coil_ohm)
        case schema.HornPart():
            builder.link(f"{part_id}:coil", at("71"), at("31b"), system_v / part.current_a, "horn")
        case schema.JointPart():
            first, *others = part.terminals
            for other in others:
                builder.link(f"{part_id}:{other}", at(first), at(other), part.contact_ohm, "joint")
        case schema.DynamoPart():
            builder.source(part_id, at("D+"), BODY, 0.0, part.armature_ohm, "dynamo")
            builder.link(f"{part_id}:field", at("DF"), BODY, part.field_ohm, "field")
        case schema.RegulatorPart():
            builder.link(f"{part_id}:61", at("D+"), at("61"), _LINK_OHM)
            builder.link(f"{part_id}:cut-out", at("D+"), at("B+"), part.contact_ohm, "cut-out")
            builder.link(f"{part_id}:field-contact", at("D+"), at("DF"), part.contact_ohm)
            builder.link(f"{part_id}:winding", at("D+"), at("31"), part.winding_ohm)


def contact_positions(part: schema.SwitchPart) -> dict[tuple[str, str], frozenset[str]]:
    """Each contact pair of a switch, in the order of the file, and the positions that close it."""
    found: dict[tuple[str, str], set[str]] = {}
    for position, pairs in part.contacts.items():
        for pair in pairs:
            found.setdefault(pair, set()).add(position)
    return {pair: frozenset(positions) for pair, positions in found.items()}
