"""What a job writes into a drawing beside what is computed: readings taken, and what is suspected.

A mark is a line of text whose first sign is drawn as a shape, so that it is told from the figures without colour.
Knows nothing of jobs, circuits or places.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import drawsvg as svg

from diag.sheet.symbols import INK

__all__ = ["ELSEWHERE", "HERE", "NO_MARKS", "SUSPECT", "Marks", "ring", "shape"]

HERE, ELSEWHERE, SUSPECT = "\u25c6", "\u25c7", "\u25b2"
"""First sign of a line: read with the controls drawn, read with others, suspected."""
_HALF = 0.95
"""Half of a shape's width and height, mm."""


@dataclass(frozen=True)
class Marks:
    """Lines to write, by terminal (`part.terminal`), part or wire; each begins with one of the three signs.
    `probed`: terminals that get a ring, because a probe was put there."""

    lines: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    probed: frozenset[str] = frozenset()

    def at(self, where: str) -> tuple[str, ...]:
        """The lines of one terminal, part or wire."""
        return self.lines.get(where, ())


NO_MARKS = Marks()


def shape(sign: str, x: float, y: float) -> svg.Lines:
    """One of the three signs with its middle at a place: full diamond, open diamond, triangle."""
    h = _HALF
    if sign == SUSPECT:
        return svg.Lines(x - h, y + h, x + h, y + h, x, y - h, close=True, fill="none", stroke=INK, stroke_width=0.3)
    fill = INK if sign == HERE else "#ffffff"
    return svg.Lines(x - h, y, x, y - h, x + h, y, x, y + h, close=True, fill=fill, stroke=INK, stroke_width=0.3)


def ring(x: float, y: float) -> svg.Circle:
    """Round a terminal that was probed."""
    return svg.Circle(x, y, 1.55, fill="none", stroke=INK, stroke_width=0.45)
