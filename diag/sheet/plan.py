"""Which boxes a circuit's drawing has, in which rows, and which wires join them: the plan without measures.

From feed (row 0) to body. Parts of other circuits that the wires end on stand beside as guests. Knows
nothing of millimetres, colours or figures.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from graphlib import TopologicalSorter

from diag.knowledge.assemble import Knowledge, spelled_end, terminals_of
from diag.sheet.ways import Ways, end_part

__all__ = ["Box", "Pin", "Plan", "Run", "make_plan"]


@dataclass
class Pin:
    """A terminal at the upper or lower edge of its box, with the wires that leave it there.

    `again`: the same terminal stands on the upper edge already; this is where its wires go down.
    """

    end: str
    wires: list[str] = field(default_factory=list)
    again: bool = False
    name: str = ""
    """The terminal as the part has it stamped, where that is not its own name."""


@dataclass
class Box:
    """A part: pins at its upper edge and at its lower edge. `guest`: it belongs to another circuit."""

    part: str
    guest: bool
    terminals: frozenset[str] = frozenset()
    """All terminals of the part, drawn or not."""
    row: int = 0
    upper: list[Pin] = field(default_factory=list)
    lower: list[Pin] = field(default_factory=list)


@dataclass(frozen=True)
class Run:
    """A wire between two pins of the drawing, or a stub (`b` empty) to a part that is drawn elsewhere.

    `up_a`, `up_b`: whether it leaves the upper edge there. The lane of an end is the space between two rows
    that it opens into: lane i lies above row i.
    """

    wire: str
    a: str
    b: str
    up_a: bool
    up_b: bool
    lane_a: int
    lane_b: int


@dataclass(frozen=True)
class Plan:
    """`boxes` by part; `runs` by wire; `rows`: how many."""

    circuit: str
    boxes: Mapping[str, Box]
    runs: Mapping[str, Run]
    rows: int


def make_plan(knowledge: Knowledge, ways: Ways, circuit: str) -> Plan:
    """The plan of one circuit: all its parts with all their terminals, all its wires, and the stubs of
    other circuits' wires that end on its parts."""
    own = [part for part in knowledge.parts if knowledge.circuit_of[part] == circuit]
    wires = {name: ends for name, ends in ways.wires.items() if knowledge.circuit_of[name] == circuit}
    guests = dict.fromkeys(
        end_part(end) for ends in wires.values() for end in ends if knowledge.circuit_of[end_part(end)] != circuit
    )
    boxes = {
        part: Box(part, part not in own, frozenset(f"{part}.{name}" for name in terminals_of(knowledge.parts[part])))
        for part in (*own, *guests)
    }
    rows = _rows(ways, boxes, wires)
    for part, box in boxes.items():
        box.row = rows[part]
    stubs = {
        name: ends
        for name, ends in ways.wires.items()
        if name not in wires and any(end_part(end) in own for end in ends)
    }
    runs = {}
    for name, (a, b) in wires.items():
        row_a, row_b = boxes[end_part(a)].row, boxes[end_part(b)].row
        up_a, up_b = row_b < row_a, row_a < row_b
        runs[name] = Run(name, a, b, up_a, up_b, row_a + (not up_a), row_b + (not up_b))
    for name, (upper, lower) in stubs.items():
        a = upper if end_part(upper) in own else lower
        lane = boxes[end_part(a)].row + (a == upper)
        runs[name] = Run(name, a, "", a == lower, False, lane, lane)
    _pins(knowledge, ways, boxes, runs)
    return Plan(circuit, boxes, runs, 1 + max((box.row for box in boxes.values()), default=0))


def _rows(ways: Ways, boxes: Mapping[str, Box], wires: Mapping[str, tuple[str, str]]) -> dict[str, int]:
    """A row for each part, below all that feed it; what feeds only one thing stands right above it."""
    below: dict[str, dict[str, None]] = {part: {} for part in boxes}
    above: dict[str, dict[str, None]] = {part: {} for part in boxes}

    def leads(a: str, b: str) -> bool:
        return a == b or any(leads(part, b) for part in below[a])

    # the wires nearest the battery first: what would close a ring then is the one that runs back up
    for upper, lower in sorted(wires.values(), key=lambda ends: -ways.level[ends[0]]):
        a, b = end_part(upper), end_part(lower)
        if not leads(b, a):
            below[a][b] = above[b][a] = None
    rows: dict[str, int] = {}
    for part in TopologicalSorter(above).static_order():
        rows[part] = max((rows[other] + 1 for other in above[part]), default=0)
    last = max(rows.values(), default=0)
    for part in boxes:
        if not above[part]:
            rows[part] = min((rows[other] for other in below[part]), default=last + 1) - 1
    return rows


def _pins(knowledge: Knowledge, ways: Ways, boxes: Mapping[str, Box], runs: Mapping[str, Run]) -> None:
    """Puts every terminal on the edge that its wires leave from; one without a wire on that of its level."""
    at: dict[tuple[str, bool], list[str]] = {}
    for name, run in runs.items():
        at.setdefault((run.a, run.up_a), []).append(name)
        if run.b:
            at.setdefault((run.b, run.up_b), []).append(name)
    for part, box in boxes.items():
        ends = ways.terminals(part, terminals_of(knowledge.parts[part]))
        levels = [ways.level[end] for end in ends]
        for end in ends:
            above, below = at.get((end, True), []), at.get((end, False), [])
            name = spelled_end(knowledge.parts, end)
            if above:
                box.upper.append(Pin(end, above, name=name))
            if below:
                box.lower.append(Pin(end, below, again=bool(above), name=name))
            if not above and not below and not box.guest:
                (box.upper if ways.level[end] * 2 > max(levels) + min(levels) else box.lower).append(
                    Pin(end, name=name)
                )
