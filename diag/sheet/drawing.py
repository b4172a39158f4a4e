"""The drawing of a circuit as SVG: feed above, body below, with what every point shows.

Puts faces and wires onto paper; what they say is the table's business, where they lie `placing`'s.
The same vehicle, operate and fault give the same file, byte by byte; it needs nothing from outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import drawsvg as svg

from diag.sheet.captions import Captions
from diag.sheet.colours import insulation
from diag.sheet.faces import LETTERS, PITCH, Face, make_face
from diag.sheet.figures import FAULTY, Figures
from diag.sheet.inside import Element, elements_of
from diag.sheet.legend import Heading, heading, legend, samples_for
from diag.sheet.lettering import LINE, clean, in_lines, width
from diag.sheet.marks import ELSEWHERE, HERE, NO_MARKS, SUSPECT, Marks, ring, shape
from diag.sheet.placing import Placed, Point
from diag.sheet.plan import Box, Plan, Run, make_plan
from diag.sheet.shelves import place_apart
from diag.sheet.symbols import INK, THIN, earth, symbol, unused
from diag.sheet.table import Sheet, make_sheet, part_title
from diag.sheet.ways import Ways, end_part
from diag.texts import t

__all__ = ["FONT", "draw"]

FONT = "Arial, Helvetica, 'Liberation Sans', 'DejaVu Sans', sans-serif"
_MARGIN = 6.0
_LEAST = 110.0
"""Least width of a drawing, mm, so that heading and legend have room."""
_BETWEEN = 10.0
_DEAD, _LIVE, _HEAVY, _PLAIN = 0.9, 1.6, 2.3, 1.2
_FLOWS_A, _HEAVY_A = 0.02, 6.0
"""Amps from which a wire is drawn as carrying current, and as carrying much."""
_GUEST = "1.6 1.1"
_FAULT = "#b00020"
_LABEL_X = 1.9
_LABEL_ROOM = PITCH - 3.4 - _LABEL_X
_TURNS = 6


def draw(figures: Figures, ways: Ways, circuits: Sequence[str], marks: Marks = NO_MARKS, *, plain: bool = False) -> str:
    """One SVG with a drawing for each circuit, one below the other. Sizes in millimetres. `plain`: the wiring alone,
    without volts, amps and what is lit."""
    sheets = [_Drawing(figures, ways, circuit, marks, plain) for circuit in circuits]
    width = max([_LEAST, *(sheet.placed.width for sheet in sheets)]) + 2 * _MARGIN
    parts, y = [], _MARGIN
    for sheet in sheets:
        group, height = sheet.group(width - 2 * _MARGIN)
        parts.append(svg.Group(children=[group], transform=f"translate({_MARGIN:g} {y:g})"))
        y = round(y + height + _BETWEEN, 2)
    height = y - _BETWEEN + _MARGIN
    paper = svg.Drawing(width, height, id_prefix="d", font_family=FONT)
    paper.svg_args |= {"width": f"{width:g}mm", "height": f"{height:g}mm", "role": "img"}
    paper.append_title(clean(f"{figures.knowledge.vehicle.title}: {sheets[0].sheet.operate}"))
    paper.append(svg.Rectangle(0, 0, width, height, fill="#ffffff"))
    paper.extend(parts)
    return str(paper.as_svg())


@dataclass(frozen=True)
class _Label:
    """What stands beside a wire."""

    lines: tuple[tuple[str, bool], ...]

    @property
    def height(self) -> float:
        return len(self.lines) * LETTERS * LINE + 0.4


class _Drawing:
    def __init__(self, figures: Figures, ways: Ways, circuit: str, marks: Marks, plain: bool) -> None:
        self._figures, self._circuit, self._marks, self._plain = figures, circuit, marks, plain
        self._knowledge = figures.knowledge
        self.sheet: Sheet = make_sheet(figures, ways, (circuit,))
        self._captions = Captions(figures, ways, circuit, marks, self.sheet, plain=plain)
        self._faults = self._captions.faults
        self.plan: Plan = make_plan(self._knowledge, ways, circuit)
        self._labels = {wire: self._label(run) for wire, run in self.plan.runs.items()}
        self._faces: dict[str, Face] = {}
        self.placed: Placed = self._place()

    def _place(self) -> Placed:
        """Places everything, turns the terminals of each box towards where their wires go, and places again."""
        heights = {wire: label.height for wire, label in self._labels.items()}
        best: tuple[float, Placed, dict[str, Face]] | None = None
        tried: set[tuple[str, ...]] = set()
        for turn in range(_TURNS):
            order = tuple(
                f"{pin.end} {pin.wires}" for box in self.plan.boxes.values() for pin in (*box.upper, *box.lower)
            )
            if order in tried:
                break
            tried.add(order)
            self._faces = {part: self._face(box) for part, box in self.plan.boxes.items()}
            placed = place_apart(self.plan, {part: face.size for part, face in self._faces.items()}, heights)
            cost = sum(abs(a[0] - b[0]) + 1.0 for way in placed.ways.values() for a, b in pairwise(way))
            if best is None or cost < best[0]:
                best = cost, placed, self._faces
            self._turn(placed, near=turn % 2 == 1)
        assert best is not None
        _, placed, self._faces = best
        return placed

    def _turn(self, placed: Placed, near: bool) -> None:
        for box in self.plan.boxes.values():
            for pins in (box.upper, box.lower):
                for pin in pins:
                    pin.wires.sort(key=lambda wire: self._far(placed, wire, box.part, near))
                pins.sort(
                    key=lambda pin: (
                        sum(self._far(placed, wire, box.part, near) for wire in pin.wires) / len(pin.wires)
                        if pin.wires
                        else float("inf")
                    )
                )
            self._pair(box)

    def _pair(self, box: Box) -> None:
        """Of a part that only joins terminals in pairs (a plug) puts those of the lower edge
        in the order of their partners above, so that no line inside crosses another."""
        pairs = [(one.a, one.b) for one in self._elements(box.part)]
        ends = [end for pair in pairs for end in pair]
        if len(pairs) < 2 or len(set(ends)) < len(ends):
            return
        partner = {one: other for a, b in pairs for one, other in ((a, b), (b, a))}
        lower = {pin.end for pin in box.lower}
        box.upper.sort(key=lambda pin: partner.get(pin.end) not in lower)
        upper = [pin.end for pin in box.upper]
        above = {pin.end: upper.index(partner[pin.end]) for pin in box.lower if partner.get(pin.end) in upper}
        box.lower.sort(key=lambda pin: above.get(pin.end, len(upper)))

    def _far(self, placed: Placed, wire: str, part: str, near: bool) -> float:
        """Where a wire comes from, left or right: its far end, or (`near`) its last turn before the part."""
        run, way = self.plan.runs[wire], placed.ways[wire]
        points = way if end_part(run.a) == part else way[::-1]
        return points[min(3, len(points) - 1) if near else -1][0]

    # ------------------------------------------------------------ words

    def _face(self, box: Box) -> Face:
        pins = {pin.end: self._captions.pin(pin.end) for pin in (*box.upper, *box.lower)}
        return make_face(
            box, part_title(self._knowledge, box.part), self._captions.part(box), pins, self._elements(box.part)
        )

    def _elements(self, part: str) -> tuple[Element, ...]:
        found = elements_of(self._figures, part, self._knowledge.parts[part])
        return tuple(replace(one, alight=False, moves=False) for one in found) if self._plain else found

    def _label(self, run: Run) -> _Label:
        return _Label(
            tuple(
                (line, bold)
                for text, bold in self._captions.wire(run)
                for line in in_lines(text, LETTERS, _LABEL_ROOM, most=4, bold=bold)
            )
        )

    # ------------------------------------------------------------ paper

    def group(self, width: float) -> tuple[svg.Group, float]:
        """Everything of this circuit, and its height."""
        top = heading(self._heading(), width)
        group = svg.Group(children=[top.group])
        shift = round((width - self.placed.width) / 2, 2)
        body = svg.Group(transform=f"translate({shift:g} {top.height:g})")
        for wire, way in self.placed.ways.items():
            body.append(self._wire(wire, way))
        for part, (x, y) in self.placed.boxes.items():
            body.append(self._box(part, x, y))
        for wire, (x, y) in self.placed.labels.items():
            body.extend(_texts(self._labels[wire].lines, x + _LABEL_X, y))
        group.append(body)
        below = legend(self._samples(), () if self._plain else self.sheet.notes, width)
        y = round(top.height + self.placed.height + 4.0, 2)
        group.append(svg.Group(children=[below.group], transform=f"translate(0 {y:g})"))
        return group, y + below.height

    def _samples(self) -> frozenset[str]:
        faces = self._faces.values()
        return samples_for(
            (figure.element for face in faces for figure in face.figures),
            plain=self._plain,
            guests=any(box.guest for box in self.plan.boxes.values()),
            unused=any(face.unused for face in faces),
            joints=any(face.dots for face in faces),
        )

    def _heading(self) -> Heading:
        faults = tuple(t("FAULT {i}: {text}", i=i + 1, text=text) for i, text in enumerate(self.sheet.faults))
        title = self._knowledge.circuits[self._circuit].title
        if self._plain:
            return Heading(
                title, self.sheet.vehicle, t("Wiring; contacts as with: {operate}", operate=self.sheet.operate), (), ()
            )
        return Heading(
            title,
            self.sheet.vehicle,
            t("Controls: {operate}", operate=self.sheet.operate),
            (*faults, *self.sheet.happens),
            self.sheet.cautions,
        )

    def _wire(self, wire: str, way: Sequence[Point]) -> svg.Group:
        shown = insulation(self._knowledge.wires[wire].colour)
        amps = abs(self._figures.amps(FAULTY, wire))
        wide = _PLAIN if self._plain else _HEAVY if amps >= _HEAVY_A else _LIVE if amps >= _FLOWS_A else _DEAD
        group = svg.Group()
        group.append_title(clean(f"{wire}: {self._captions.wire_title(wire)}"))
        strokes: list[tuple[str, float, str | None]] = [
            (_FAULT if wire in self._faults else "#ffffff", wide + 1.4, None),
            (shown.outline, wide + 0.35, None),
            (shown.main, wide, None),
        ]
        if shown.stripe is not None:
            strokes.append((shown.stripe, wide, "1.2 2.4"))
        for colour, thick, dashes in strokes:
            path = svg.Path(stroke=colour, stroke_width=round(thick, 2), fill="none", stroke_linejoin="round")
            if dashes is not None:
                path.args["stroke-dasharray"] = dashes
            path.M(*way[0])
            for x, y in way[1:]:
                path.L(x, y)
            group.append(path)
        if not self.plan.runs[wire].b:
            group.append(_arrow(way[0], way[-1]))
        if not bool(self._figures.closed[FAULTY, self._figures.network.branch(wire)]):
            group.extend(_broken(way))
        return group

    def _box(self, part: str, x: float, y: float) -> svg.Group:
        box, face = self.plan.boxes[part], self._faces[part]
        group = svg.Group(transform=f"translate({x:g} {y:g})")
        group.append_title(clean(part))
        outline = svg.Rectangle(
            0, 0, face.size.width, face.size.height, rx=1, fill="#ffffff", stroke=INK, stroke_width=THIN
        )
        if box.guest:
            outline.args["stroke-dasharray"] = _GUEST
        if part in self._faults:
            outline.args |= {"stroke": _FAULT, "stroke-width": 1.1}
        group.append(outline)
        for link in face.links:
            group.append(
                svg.Line(link.x1, link.y1, link.x2, link.y2, stroke=INK, stroke_width=1.2 if link.bar else 0.45)
            )
        for dot_x, dot_y in face.dots:
            group.append(svg.Circle(dot_x, dot_y, 0.6, fill=INK))
        for figure in face.figures:
            group.append(symbol(figure))
        for earth_x, earth_y in face.earths:
            group.append(earth(earth_x, earth_y))
        for (end, _), end_x in face.size.ends.items():
            edge = 0.0 if end_x in _upper_ends(box, face) else face.size.height
            group.append(svg.Circle(end_x, edge, 0.7, fill=INK))
            if end in self._marks.probed:
                group.append(ring(end_x, edge))
        group.extend(unused(x, y) for x, y in face.unused)
        for line in face.lines:
            group.extend(_text(line.text, line.x, line.y, line.bold))
        return group


def _upper_ends(box: Box, face: Face) -> set[float]:
    return {face.size.ends[pin.end, wire] for pin in box.upper for wire in pin.wires}


def _texts(lines: Sequence[tuple[str, bool]], x: float, y: float) -> list[svg.DrawingElement]:
    return [
        drawn for i, (text, bold) in enumerate(lines) for drawn in _text(text, x, y + (i + 0.85) * LETTERS * LINE, bold)
    ]


def _text(text: str, x: float, y: float, bold: bool) -> list[svg.DrawingElement]:
    """A line of text; the sign of a mark at its beginning is drawn, for not every face has it."""
    drawn: list[svg.DrawingElement] = []
    if text[:1] in (HERE, ELSEWHERE, SUSPECT):
        drawn.append(shape(text[0], round(x + 1.0, 2), round(y - LETTERS * 0.36, 2)))
        x, text = x + width(text[0], LETTERS), text[1:]
    weight: Mapping[str, str] = {"font_weight": "bold"} if bold else {}
    return [*drawn, svg.Text(clean(text), LETTERS, round(x, 2), round(y, 2), fill=INK, **weight)]


def _arrow(start: Point, end: Point) -> svg.Lines:
    (x, from_y), (_, y) = start, end
    tip = 1.8 if y > from_y else -1.8
    return svg.Lines(x - 1.4, y - tip, x + 1.4, y - tip, x, y + tip / 2, close=True, fill=INK)


def _broken(way: Sequence[Point]) -> list[svg.Line]:
    """A cross where a wire does not conduct."""
    (x1, y1), (x2, y2) = max(pairwise(way), key=lambda leg: abs(leg[0][0] - leg[1][0]) + abs(leg[0][1] - leg[1][1]))
    x, y = (x1 + x2) / 2, (y1 + y2) / 2
    return [
        svg.Line(x - 1.6, y - 1.6, x + 1.6, y + 1.6, stroke=_FAULT, stroke_width=0.8),
        svg.Line(x - 1.6, y + 1.6, x + 1.6, y - 1.6, stroke=_FAULT, stroke_width=0.8),
    ]
