"""Lays out what no wire joins one beside or below the other, so that a drawing does not grow wider than it must.

Parts a plan where nothing connects it, has each piece placed, and puts the pieces on shelves. Pure geometry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from diag.sheet.placing import Placed, Point, Size, place
from diag.sheet.plan import Plan
from diag.sheet.ways import end_part

__all__ = ["place_apart"]

_ROOM = 186.0
"""Width that a shelf may always have, mm: a page of A4 inside its margins."""
_BESIDE, _BELOW = 5.0, 6.0
"""Room between pieces, mm."""


def place_apart(plan: Plan, sizes: Mapping[str, Size], labels: Mapping[str, float]) -> Placed:
    """The plan laid out as by `place`; pieces that no wire joins stand on shelves, none wider than the widest piece
    or a page."""
    pieces = [place(piece, sizes, labels) for piece in _pieces(plan)]
    if len(pieces) == 1:
        return pieces[0]
    room = max(_ROOM, *(piece.width for piece in pieces))
    found = Placed({}, {}, {}, 0.0, 0.0)
    x = y = high = 0.0
    for piece in pieces:
        if x and x + piece.width > room:
            x, y, high = 0.0, y + high + _BELOW, 0.0
        found = _joined(found, piece, round(x, 2), round(y, 2))
        x, high = x + piece.width + _BESIDE, max(high, piece.height)
    return found


def _pieces(plan: Plan) -> list[Plan]:
    """The plan parted where no wire joins, each piece's rows counted from its own first; in the order of its parts."""
    group = {part: part for part in plan.boxes}

    def root(part: str) -> str:
        while group[part] != part:
            part = group[part]
        return part

    for run in plan.runs.values():
        if run.b:
            group[root(end_part(run.b))] = root(end_part(run.a))
    members: dict[str, list[str]] = {}
    for part in plan.boxes:
        members.setdefault(root(part), []).append(part)
    return [_piece(plan, set(parts)) for parts in members.values()] or [plan]


def _piece(plan: Plan, parts: set[str]) -> Plan:
    rows = [plan.boxes[part].row for part in parts]
    first = min(rows)
    boxes = {part: replace(box, row=box.row - first) for part, box in plan.boxes.items() if part in parts}
    runs = {
        name: replace(run, lane_a=run.lane_a - first, lane_b=run.lane_b - first)
        for name, run in plan.runs.items()
        if end_part(run.a) in parts
    }
    return Plan(plan.circuit, boxes, runs, 1 + max(rows) - first)


def _joined(one: Placed, other: Placed, x: float, y: float) -> Placed:
    def moved(point: Point) -> Point:
        return round(point[0] + x, 2), round(point[1] + y, 2)

    return Placed(
        {**one.boxes, **{part: moved(point) for part, point in other.boxes.items()}},
        {**one.ways, **{wire: tuple(moved(point) for point in way) for wire, way in other.ways.items()}},
        {**one.labels, **{wire: moved(point) for wire, point in other.labels.items()}},
        max(one.width, round(x + other.width, 2)),
        max(one.height, round(y + other.height, 2)),
    )
