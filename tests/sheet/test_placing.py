"""Any plan is laid out so that every wire can be followed: rows of boxes apart, wires on lines of their own.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import random
from itertools import combinations, pairwise

import pytest

from diag.sheet.placing import Placed, Size, place
from diag.sheet.plan import Box, Pin, Plan, Run

PITCH, HEIGHT, LABEL = 24.0, 20.0, 6.0


def random_plan(seed: int) -> tuple[Plan, dict[str, Size]]:
    """Up to six rows of up to five boxes, joined at random downwards, upwards and across, with stubs."""
    dice = random.Random(seed)
    boxes = {
        f"box-{row}-{i}": Box(f"box-{row}-{i}", False, frozenset(), row)
        for row in range(dice.randint(2, 6))
        for i in range(dice.randint(1, 5))
    }
    names, runs = list(boxes), {}
    for number in range(dice.randint(2, 18)):
        a, b = dice.choice(names), dice.choice(names)
        wire = f"wire-{number}"
        row_a, row_b = boxes[a].row, boxes[b].row
        end_a, end_b = f"{a}.{number}a", f"{b}.{number}b"
        if a == b:
            up = dice.random() < 0.5
            runs[wire] = Run(wire, end_a, "", up, False, row_a + (not up), row_a + (not up))
            (boxes[a].upper if up else boxes[a].lower).append(Pin(end_a, [wire]))
            continue
        up_a, up_b = row_b < row_a, row_a < row_b
        runs[wire] = Run(wire, end_a, end_b, up_a, up_b, row_a + (not up_a), row_b + (not up_b))
        for part, end, up in ((a, end_a, up_a), (b, end_b, up_b)):
            (boxes[part].upper if up else boxes[part].lower).append(Pin(end, [wire]))
    sizes = {}
    for part, box in boxes.items():
        ends = {
            (pin.end, pin.wires[0]): 3.0 + PITCH * i for pins in (box.upper, box.lower) for i, pin in enumerate(pins)
        }
        columns = max(len(box.upper), len(box.lower), 1)
        sizes[part] = Size(columns * PITCH, HEIGHT + dice.randint(0, 9), ends)
    return Plan("random", boxes, runs, 1 + max(box.row for box in boxes.values())), sizes


@pytest.mark.parametrize("seed", range(50))
def test_any_plan_can_be_followed(seed: int) -> None:
    """No two wires on one line, none through a box, none beside its terminal, no box on another."""
    plan, sizes = random_plan(seed)
    placed = place(plan, sizes, dict.fromkeys(plan.runs, LABEL))
    rects = {part: (x, y, x + sizes[part].width, y + sizes[part].height) for part, (x, y) in placed.boxes.items()}
    for one, other in combinations(rects.values(), 2):
        assert min(one[2], other[2]) <= max(one[0], other[0]) or min(one[3], other[3]) <= max(one[1], other[1])
    for wire, way in placed.ways.items():
        _ends_right(plan, sizes, placed, wire)
        for (x1, y1), (x2, y2) in pairwise(way):
            assert abs(x1 - x2) < 0.01 or abs(y1 - y2) < 0.01, "a slanting wire"
            for left, top, right, foot in rects.values():
                through = min(x1, x2) < right - 0.1 and max(x1, x2) > left + 0.1
                assert not (through and min(y1, y2) < foot - 0.1 and max(y1, y2) > top + 0.1), wire
    for one, other in combinations(placed.ways, 2):
        assert not _together(placed.ways[one], placed.ways[other]), (one, other)


def _ends_right(plan: Plan, sizes: dict[str, Size], placed: Placed, wire: str) -> None:
    run, way = plan.runs[wire], placed.ways[wire]
    for end, up, (x, y) in ((run.a, run.up_a, way[0]), (run.b, run.up_b, way[-1])):
        if end:
            part = end.partition(".")[0]
            left, top = placed.boxes[part]
            assert abs(x - left - sizes[part].ends[end, wire]) < 0.02
            assert abs(y - top - (0.0 if up else sizes[part].height)) < 0.02


def _together(one: tuple[tuple[float, float], ...], other: tuple[tuple[float, float], ...]) -> bool:
    for (ax, ay), (bx, by) in pairwise(one):
        for (cx, cy), (dx, dy) in pairwise(other):
            if abs(ax - bx) < 0.01 and abs(cx - dx) < 0.01 and abs(ax - cx) < 1.0:
                shared = min(max(ay, by), max(cy, dy)) - max(min(ay, by), min(cy, dy))
            elif abs(ay - by) < 0.01 and abs(cy - dy) < 0.01 and abs(ay - cy) < 1.0:
                shared = min(max(ax, bx), max(cx, dx)) - max(min(ax, bx), min(cx, dx))
            else:
                continue
            if shared > 0.1:
                return True
    return False
