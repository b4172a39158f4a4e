"""Wires in a network, and how they fail, alone, against their neighbour or on a wrong terminal."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from diag.calc.copper import wire_ohm
from diag.circuit.kinds.base import OPEN, TOUCH_OHM, Builder, Fault
from diag.circuit.kinds.catalogue import kind_of
from diag.circuit.network import Branch, Change, Extra, Network
from diag.knowledge.assemble import AnyPart, Knowledge, terminals_of
from diag.knowledge.schema import FusePart, Mode, PlugPart, Wire
from diag.texts import t

__all__ = ["Loom", "end_title", "lay", "subject_title", "wire_label", "wire_title"]

_SIDES = {"in": t("feed side"), "out": t("load side")}
"""Of a fuse: `in` is where the feed comes."""
_BRACKETS = re.compile(r"\s*\([^()]{0,200}\)")


def lay(builder: Builder, knowledge: Knowledge) -> None:
    """Put every wire into the network, as warm as the vehicle."""
    for wire_id, wire in knowledge.wires.items():
        ohm = wire_ohm(wire.section_mm2, wire.length_m, knowledge.vehicle.ambient_c)
        builder.link(wire_id, wire.from_, wire.to, ohm, "wire")


def end_title(parts: Mapping[str, AnyPart], end: str) -> str:
    """The end of a wire as a person reads it: the title of the part, and the terminal as it is stamped there."""
    part_id, _, terminal = end.partition(".")
    part = parts.get(part_id)
    if part is None:
        return t("the body")
    mark = part.marks.get(terminal, terminal)
    title = _BRACKETS.sub("", part.title) or part.title  # the wire's own are round it
    return f"{title}, {_SIDES.get(mark, mark) if isinstance(part, FusePart) else mark}"


def wire_title(wire: Wire, parts: Mapping[str, AnyPart]) -> str:
    """A wire's title; where it has none, what it joins."""
    return wire.title or t(
        "Wire from {one} to {other}", one=end_title(parts, wire.from_), other=end_title(parts, wire.to)
    )


def wire_label(wire: Wire, parts: Mapping[str, AnyPart]) -> str:
    """A wire as a person reads it: its title and colour."""
    return f"{wire_title(wire, parts)} ({wire.colour})"


def subject_title(knowledge: Knowledge, subject: str) -> str:
    """A part or wire as a person reads it; of what is neither, its words."""
    part, wire = knowledge.parts.get(subject), knowledge.wires.get(subject)
    if part is not None:
        return part.title
    return wire_title(wire, knowledge.parts) if wire is not None else subject.replace("-", " ")


class Loom:
    """The wires of a built network, about to fail: what lies beside each, and where its ends might be put."""

    def __init__(self, knowledge: Knowledge, network: Network, modes: Mapping[str, Mode]) -> None:
        self.network, self.modes = network, modes
        self.takes = {(mode, "ohm") for mode in ("resistive", "to-body", "to-wire")}
        """(mode, `ohm`): what shapes a fault of a wire."""
        self._parts, self._wires = knowledge.parts, knowledge.wires
        self._net = _nets(network)
        self._neighbour = _neighbours(knowledge)
        taken = {end for wire in knowledge.wires.values() for end in (wire.from_, wire.to)}
        self._free = {
            part_id: tuple(name for name in terminals_of(part) if f"{part_id}.{name}" not in taken)
            for part_id, part in knowledge.parts.items()
            if kind_of(part).swaps is not None
        }

    def faults(self, wire_id: str, own_ohm: float | None = None) -> Iterator[Fault]:
        """Every way in which this wire fails, where it takes one at a resistance of its own."""
        index = self.network.branch(wire_id)
        link = self.network.branches[index]
        yield Fault("open", "open", Change(added_ohm={index: OPEN}))
        yield Fault("resistive", "resistive", Change(added_ohm={index: own_ohm or self._ohm("resistive", 1.0)}))
        if 0 not in (link.a, link.b):
            yield Fault(
                "to-body", "to-body", Change(extra=_rubbed_through(link, own_ohm or self._ohm("to-body", TOUCH_OHM)))
            )
        other = self._neighbour.get(wire_id)
        if other is not None:
            beside = self.network.branches[self.network.branch(other)]
            if self._net[link.a] != self._net[beside.a]:  # else they carry the same volts whatever touches
                change = Change(extra=_touching(link, beside, own_ohm or self._ohm("to-wire", TOUCH_OHM)))
                yield Fault(f"to-wire-{other}", "to-wire", change, f" {wire_label(self._wires[other], self._parts)}")
        yield from self._misplaced(index, link)

    def _ohm(self, mode: str, default: float) -> float:
        form = self.modes.get(mode)
        return form.ohm if form is not None and form.ohm is not None else default

    def _misplaced(self, index: int, link: Branch) -> Iterator[Fault]:
        """Each end on each terminal that no wire is on, of a part whose terminals are told apart."""
        found: dict[str, Fault] = {}
        for side, node in enumerate((link.a, link.b)):
            part_id, _, own = self.network.nodes[node].partition(".")
            for terminal in self._free.get(part_id, ()):
                if isinstance(self._parts[part_id], PlugPart) and own.endswith("-t") != terminal.endswith("-t"):
                    continue  # nobody reaches the screws of the other half
                elsewhere = self.network.node(f"{part_id}.{terminal}")
                ends = (elsewhere, link.b) if side == 0 else (link.a, elsewhere)
                # both ends may find a free terminal of the same name
                name = f"at-{terminal}" if f"at-{terminal}" not in found else f"at-{part_id}-{terminal}"
                title = t(
                    " {spelled} of {title}",
                    spelled=self._parts[part_id].spelled(terminal),
                    title=self._parts[part_id].title,
                )
                found[name] = Fault(name, "at", Change(moved={index: ends}), title)
        for fault in found.values():
            yield Fault(fault.name, fault.mode, fault.change, fault.detail, len(found))


def _rubbed_through(link: Branch, ohm: float) -> tuple[Extra, Extra]:
    """A wire rubbed through to body halfway: either half stays earthed when the other end is off."""
    return Extra(link.a, 0, 1.0 / ohm, link.a), Extra(link.b, 0, 1.0 / ohm, link.b)


def _touching(one: Branch, other: Branch, ohm: float) -> tuple[Extra, Extra]:
    """Two wires rubbed through to each other halfway.

    Each link stands for a half of either wire and the spot where they touch; it goes when one of its
    ends is off, and what is left of both wires then still touches by way of the other link.
    """
    siemens = 1.0 / (0.5 * (one.ohm + other.ohm) + ohm)
    return Extra(one.a, other.a, siemens, one.a, other.a), Extra(one.b, other.b, siemens, one.b, other.b)


def _neighbours(knowledge: Knowledge) -> dict[str, str]:
    """Each wire to the next one of its bundle, in the order of the files."""
    last: dict[str, str] = {}
    found: dict[str, str] = {}
    for wire_id, wire in knowledge.wires.items():
        if wire.bundle is not None:
            if wire.bundle in last:
                found[last[wire.bundle]] = wire_id
            last[wire.bundle] = wire_id
    return found


def _nets(network: Network) -> list[int]:
    """The net of every node: wires, joints and earth points are one with what they join."""
    parent = list(range(len(network.nodes)))

    def root(node: int) -> int:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for branch in network.branches:
        earth = branch.role == "link" and ":" not in branch.id
        if branch.role in ("wire", "joint") or earth:
            parent[root(branch.a)] = root(branch.b)
    return [root(node) for node in range(len(network.nodes))]
