"""Every fuse of a vehicle against the thinnest wire that it guards: which do not hold it.

Follows wires, joints and contacts from behind a fuse to the next fuse or load; the judgement is the bench's.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

from diag.calc.fusing import FuseOnWire, fuse_holds_wire
from diag.circuit.kinds.wires import wire_title
from diag.circuit.network import Network
from diag.circuit.parts import build_network
from diag.circuit.paths import reached
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.reason.reasoner import Reasoner
from diag.texts import t

__all__ = ["FuseLine", "fuse_lines", "guarded"]

_NEARLY = 1.15
"""A fuse that much above what its wire carries for good heats it by a third more and stays far from melting it
(common practice, no source)."""
_PASSES = frozenset({"wire", "joint", "contact", "relay", "flasher"})


@dataclass(frozen=True)
class FuseLine:
    """A fuse, the thinnest wire behind it, and whether it holds that wire."""

    fuse: str
    title: str
    link: str
    wire: str
    wire_title: str
    section_mm2: float
    judged: FuseOnWire

    @property
    def holds(self) -> bool:
        """Whether nobody need do anything: the next size of wire or fuse would be no safer."""
        return self.judged.holds or self.judged.rating_a <= _NEARLY * self.judged.carries_a

    @property
    def words(self) -> str:
        """One line of a list."""
        on = t(
            "{title} {rating_a:g} A on {section_mm2:g} mm2 ({wire_title})",
            title=self.title,
            rating_a=self.judged.rating_a,
            section_mm2=self.section_mm2,
            wire_title=self.wire_title,
        )
        carries = t("the wire carries {carries_a:.1f} A for good", carries_a=self.judged.carries_a)
        if self.judged.holds:
            return t("{on}: holds, {carries}.", on=on, carries=carries)
        if self.holds:
            return t("{on}: holds nearly, {carries}.", on=on, carries=carries)
        opens, burns = self.judged.opens_a, self.judged.burns_a
        if self.judged.goes_first:
            line = t(
                "{on}: {carries}; the fuse opens from {opens:.0f} A, the wire melts from {burns:.0f} A.",
                on=on,
                carries=carries,
                opens=opens,
                burns=burns,
            )
            return t("LARGE: {line}", line=line)
        line = t(
            "{on}: {carries} and melts from {burns:.0f} A; the fuse opens from {opens:.0f} A.",
            on=on,
            carries=carries,
            burns=burns,
            opens=opens,
        )
        return t("TOO LARGE: {line}", line=line)


_KNOWN: WeakKeyDictionary[Reasoner, tuple[FuseLine, ...]] = WeakKeyDictionary()


def fuse_lines(reasoner: Reasoner) -> tuple[FuseLine, ...]:
    """A line for each fuse that has a wire behind it, in the order of the files."""
    if reasoner not in _KNOWN:
        _KNOWN[reasoner] = _lines(reasoner)
    return _KNOWN[reasoner]


def _lines(reasoner: Reasoner) -> tuple[FuseLine, ...]:
    knowledge = reasoner.knowledge
    network = reasoner.predictor.network if reasoner.predictor is not None else build_network(knowledge)
    out = []
    for name, part in knowledge.parts.items():
        if not isinstance(part, schema.FusePart):
            continue
        wires = guarded(knowledge, network, name)
        if not wires:
            continue
        thinnest = min(wires, key=lambda wire: (knowledge.wires[wire].section_mm2, wire))
        wire = knowledge.wires[thinnest]
        judged = fuse_holds_wire(wire.section_mm2, part.rating_a, part.link)
        title = wire_title(wire, knowledge.parts)
        out.append(FuseLine(name, part.title, part.link, thinnest, title, wire.section_mm2, judged))
    return tuple(out)


def guarded(knowledge: Knowledge, network: Network, fuse: str) -> frozenset[str]:
    """Wires behind a fuse, up to loads, body and other fuses; every contact counts as closed."""
    return reached(network, [network.node(f"{fuse}.out")], _PASSES) & knowledge.wires.keys()
