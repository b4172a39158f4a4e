"""Which boxes a circuit's drawing has, in which rows, and which wires join them: the plan without measures.

From feed (row 0) to body. Parts of other circuits that the wires end on stand beside as guests. Knows
nothing of millimetres, colours or figures.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from diag.knowledge.assemble import Knowledge, terminals_of
from diag.sheet.ways import Ways, end_part

__all__ = ["Box", "Pin", "Plan", "Run", "make_plan"]

_ROUNDS = 12


@dataclass
class Pin:
    """A terminal at the upper or lower edge of its box, with the wires that end on it."""

    end: str
    wires: list[str] = field(default_factory=list)


@dataclass
class Box:
    """A part: pins at its upper edge and at its lower edge. `guest`: it belongs to another circuit."""

    part: str
    guest: bool
    row: int = 0
    upper: list[Pin] = field(default_factory=list)
    lower: list[Pin] = field(default_factory=list)


@dataclass(frozen=True)
class Run:
    """A wire between two pins of the drawing, or a stub (`b` empty) to a part that is drawn elsewhere.

    The lane of an end is the space between two rows that it opens into: lane i lies above row i.
    """

    wire: str
    a: str
    b: str
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
    boxes = {part: Box(part, False) for part in own} | {part: Box(part, True) for part in guests}
    rows = _rows(ways, boxes, wires)
    for part, box in boxes.items():
        box.row = rows[part]
    stubs = {
        name: ends
        for name, ends in ways.wires.items()
        if name not in wires and any(end_part(end) in own for end in ends)
    }
    _pins(knowledge, ways, boxes, wires, stubs)
    lanes = {
        pin.end: box.row + below
        for box in boxes.values()
        for below, pins in enumerate((box.upper, box.lower))
        for pin in pins
    }
    runs = {name: Run(name, a, b, lanes[a], lanes[b]) for name, (a, b) in wires.items()}
    for name, ends in stubs.items():
        a = next(end for end in ends if end_part(end) in boxes and not boxes[end_part(end)].guest)
        runs[name] = Run(name, a, "", lanes[a], lanes[a])
    return Plan(circuit, boxes, runs, 1 + max((box.row for box in boxes.values()), default=0))


def _rows(ways: Ways, boxes: Mapping[str, Box], wires: Mapping[str, tuple[str, str]]) -> dict[str, int]:
    """A row for each part, below all that feed it; what feeds only one thing stands right above it."""
    order = {part: i for i, part in enumerate(ways.parts(list(boxes)))}
    place = sorted(boxes, key=lambda part: (-ways.top(part), order[part]))
    rank = {part: i for i, part in enumerate(place)}
    below: dict[str, set[str]] = {part: set() for part in boxes}
    above: dict[str, set[str]] = {part: set() for part in boxes}
    for upper, lower in wires.values():
        a, b = end_part(upper), end_part(lower)
        if a == b:
            continue
        a, b = (a, b) if rank[a] < rank[b] else (b, a)  # a wire back to a part nearer the battery makes no row
        below[a].add(b)
        above[b].add(a)
    rows: dict[str, int] = {}
    for part in place:
        rows[part] = max((rows[other] + 1 for other in above[part]), default=0)
    for part in reversed(place):
        if below[part] and not above[part]:
            rows[part] = min(rows[other] for other in below[part]) - 1
    return rows


def _pins(
    knowledge: Knowledge,
    ways: Ways,
    boxes: Mapping[str, Box],
    wires: Mapping[str, tuple[str, str]],
    stubs: Mapping[str, tuple[str, str]],
) -> None:
    """Puts every terminal on the edge that its wires leave from."""
    at: dict[str, list[str]] = {}
    pull: dict[str, float] = {}
    for name, (upper, lower) in {**wires, **stubs}.items():
        for end, other, down in ((upper, lower, True), (lower, upper, False)):
            at.setdefault(end, []).append(name)
            here, there = boxes.get(end_part(end)), boxes.get(end_part(other))
            if here is None:
                continue
            onward = name in stubs or there is None or (there.row > here.row) == down
            # a wire that runs the usual way decides; one that runs back up only where nothing else ends here
            side = 1.0 if down else -1.0
            if there is not None and name not in stubs and not onward:
                side = 0.1 if there.row > here.row else -0.1
            pull[end] = pull.get(end, 0.0) + side
    for part, box in boxes.items():
        names = terminals_of(knowledge.parts[part])
        levels = [ways.level[f"{part}.{name}"] for name in names]
        middle = (max(levels) + min(levels)) / 2 if levels else 0.0
        for end in ways.terminals(part, names):
            if box.guest and not any(name in wires for name in at.get(end, ())):
                continue
            pin = Pin(end, [name for name in at.get(end, ()) if name in wires or not box.guest])
            lean = pull.get(end, 0.0)
            upper = lean < 0 or (lean == 0 and ways.level[end] > middle)
            (box.upper if upper else box.lower).append(pin)
