"""What is written and drawn in each box, with its size and where its wires end, in millimetres from its corner.

Turns a part's rows and inner elements into places inside one box; knows nothing of the other boxes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter

from diag.circuit.network import BODY
from diag.sheet.inside import Element
from diag.sheet.lettering import LINE, in_lines, width
from diag.sheet.placing import Size
from diag.sheet.plan import Box, Pin
from diag.sheet.ways import end_terminal

__all__ = ["LETTERS", "PITCH", "Face", "Figure", "Line", "Link", "make_face"]

LETTERS = 2.3
"""Size of the letters, mm: about 6.5 point, legible on paper at arm's length."""
PITCH = 24.4
"""Width of a column: an upright wire with its text on the right."""
_WIRE, _AFTER = 3.4, 1.5
"""From a column's left edge to its wire; from the wire to the text."""
_ALONE = 37.0
"""Width of a box with one column, whose text stands beside the symbol."""
_SYMBOL = 4.6
"""From the wire to text beside a symbol."""
_ROW = 5.9
_TO_BODY = 4.5
"""Room for the sign of body below an element that ends there."""


@dataclass(frozen=True)
class Line:
    """A line of text: left end, base line."""

    x: float
    y: float
    text: str
    bold: bool = False


@dataclass(frozen=True)
class Link:
    """A plain line inside a box."""

    x1: float
    y1: float
    x2: float
    y2: float
    bar: bool = False


@dataclass(frozen=True)
class Figure:
    """A symbol: its middle, whether it stands upright (else it lies), and whether its first end is the lower
    or right one."""

    element: Element
    x: float
    y: float
    upright: bool
    turned: bool = False


@dataclass
class Face:
    """One box, ready to be drawn at its place."""

    size: Size
    lines: list[Line] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    dots: list[tuple[float, float]] = field(default_factory=list)
    earths: list[tuple[float, float]] = field(default_factory=list)
    unused: list[tuple[float, float]] = field(default_factory=list)
    """Terminals without a wire."""


Words = Sequence[tuple[str, bool]]
"""Lines of text, bold where True."""


def make_face(box: Box, title: str, words: Words, pins: Mapping[str, Words], elements: Sequence[Element]) -> Face:
    """The face of a box. `words`: what stands under its title. `pins`: by terminal, what stands at it below
    its name."""
    return _Maker(box, title, words, pins, elements).face()


class _Maker:
    def __init__(
        self, box: Box, title: str, words: Words, pins: Mapping[str, Words], elements: Sequence[Element]
    ) -> None:
        self._box, self._title, self._words, self._pins = box, title, words, pins
        self._elements = elements
        self._alone = False
        self._wide = 0
        """Columns in use, that of the title included."""
        self._lay(shared=True)
        if not self._orderly():
            self._lay(shared=False)
            self._orderly()

    def _lay(self, shared: bool) -> None:
        """Gives terminals their columns: those of the lower edge below those of the upper one where `shared`,
        else beside them; then rows to what lies between."""
        self._count_u, self._count_l = (_count(side) for side in (self._box.upper, self._box.lower))
        first = 0 if shared else self._count_u
        self._upper, self._lower = _columns(self._box.upper, 0), _columns(self._box.lower, first)
        self._count_l += first
        self._points: dict[str, _End] = {}
        for columns, side in ((self._lower, "down"), (self._upper, "up")):
            for end, column in columns.items():
                self._points[end] = _End(_WIRE + column * PITCH, side)
        self._laid = self._between(max(self._count_u, self._count_l, 1))

    # ------------------------------------------------------------ outline

    def face(self) -> Face:
        columns = max(self._count_u, self._count_l, 1)
        laid = self._laid
        used = [round((end.x - _WIRE) / PITCH) + 1 for one in laid for end in (one.a, one.b)]
        self._wide = max([columns, *used])
        self._alone = self._wide == 1
        title_up, first = self._title_place()
        text = self._title_lines(title_up, first)
        upper, lower = self._strip(self._box.upper), self._strip(self._box.lower)
        if not self._alone:
            need = len(text) * LETTERS * LINE + 0.8
            upper, lower = (max(upper, need), lower) if title_up else (upper, max(lower, need))
        foot = _TO_BODY if any("body" in (one.a.side, one.b.side) for one in laid) else 0.0
        inner = (1 + max(one.row for one in laid)) * _ROW + foot if laid else 2.0
        if self._alone:
            inner = max(inner, len(text) * LETTERS * LINE + 1.0)
        across = _ALONE if self._alone else self._wide * PITCH
        height = round(upper + inner + lower, 2)
        face = Face(Size(across, height, dict(self._ends())))
        self._write_pins(face, self._box.upper, 0.0)
        self._write_pins(face, self._box.lower, height - lower)
        if self._alone:
            x = _WIRE + _SYMBOL
            top = upper + (inner - len(text) * LETTERS * LINE) / 2
        else:
            x = first * PITCH + 1.0
            top = 0.4 if title_up else height - lower + 0.2
        for i, (line, bold) in enumerate(text):
            face.lines.append(Line(x, round(top + (i + 0.85) * LETTERS * LINE, 2), line, bold))
        self._draw(face, laid, upper, inner, foot)
        return face

    def _title_place(self) -> tuple[bool, int]:
        """Upper strip or not, and the first column that is free there."""
        if self._alone:
            return True, 0
        if self._count_u < self._wide:
            return True, self._count_u
        if self._count_l < self._wide:
            return False, self._count_l
        self._wide += 1
        return True, self._count_u

    def _title_lines(self, title_up: bool, first: int) -> list[tuple[str, bool]]:
        room = _ALONE - _WIRE - _SYMBOL - 0.6 if self._alone else (self._wide - first) * PITCH - 1.8
        found = [(line, True) for line in in_lines(self._title, LETTERS, room, most=5, bold=True)]
        for text, bold in self._words:
            found += [(line, bold) for line in in_lines(text, LETTERS, room, most=3, bold=bold)]
        return found

    def _strip(self, pins: Sequence[Pin]) -> float:
        """Height of an edge with its terminals' texts."""
        count = max((len(self._pin_lines(pin)) for pin in pins), default=0)
        return count * LETTERS * LINE + 0.9 if count else 0.6

    def _pin_lines(self, pin: Pin) -> list[tuple[str, bool]]:
        name = pin.name or end_terminal(pin.end)
        if pin.again:
            return [(name, True)]
        words = list(self._pins[pin.end])
        room = max(1, len(pin.wires)) * PITCH - _WIRE - _AFTER - 0.6
        if self._alone:  # room for name and volts on one line
            words, room = words[1:], _ALONE - _WIRE - _AFTER - 0.6
        return [(name, True)] + [
            (line, bold) for text, bold in words for line in in_lines(text, LETTERS, room, bold=bold)
        ]

    def _write_pins(self, face: Face, pins: Sequence[Pin], top: float) -> None:
        for pin in pins:
            x = self._x(pin)
            for i, (text, bold) in enumerate(self._pin_lines(pin)):
                y = round(top + 0.3 + (i + 0.85) * LETTERS * LINE, 2)
                face.lines.append(Line(x + _AFTER, y, text, bold))
                if self._alone and not i and self._pins[pin.end] and not pin.again:
                    beside, strong = self._pins[pin.end][0]
                    after = round(x + _AFTER + width(text, LETTERS, bold=bold) + 1.2, 2)
                    face.lines.append(Line(after, y, beside, strong))

    def _x(self, pin: Pin) -> float:
        columns = self._lower if any(pin is one for one in self._box.lower) else self._upper
        return _WIRE + columns[pin.end] * PITCH

    def _ends(self) -> Iterator[tuple[tuple[str, str], float]]:
        for pin in (*self._box.upper, *self._box.lower):
            x = self._x(pin)
            for i, wire in enumerate(pin.wires):
                yield (pin.end, wire), x + i * PITCH

    # ------------------------------------------------------------ inside

    def _between(self, columns: int) -> list[_Inner]:
        """The elements that can be drawn, with the columns of their ends; and what joins the two places of a
        terminal that stands on both edges."""
        free = _WIRE + columns * PITCH
        nodes: dict[str, float] = {}
        earthed = {_WIRE + column * PITCH for column in self._lower.values()}
        found: list[_Inner] = []
        for element in self._elements:
            names = (element.a, element.b)
            if any(name in self._box.terminals and name not in self._points for name in names):
                continue  # a guest shows only the terminals that matter here
            ends: list[_End] = []
            for name in names:
                if name in self._points:
                    ends.append(self._points[name])
                elif name != BODY:
                    if name not in nodes:
                        nodes[name], free = free, free + PITCH
                    ends.append(_End(nodes[name], "inner"))
            if len(ends) == 1:  # straight down to body where nothing else is in the way
                x = ends[0].x
                if x in earthed:
                    x, free = free, free + PITCH
                earthed.add(x)
                ends.insert(names.index(BODY), _End(x, "body"))
            found.append(_Inner(element, ends[0], ends[1]))
        for pin in self._box.lower:
            if pin.again:
                stud = Element(pin.end, "bar", pin.end, pin.end)
                found.append(_Inner(stud, self._points[pin.end], _End(self._x(pin), "down")))
        return found

    def _orderly(self) -> bool:
        """Gives every element a row so that no two upright lines meet that are not joined; False where the
        columns allow none."""
        laid = self._laid
        if _all_joined(laid):
            return True  # no line can meet one that it must not
        above: dict[int, set[int]] = {i: set() for i in range(len(laid))}
        for i, one in enumerate(laid):
            for j, other in enumerate(laid):
                if i != j and one.tops() & other.feet():
                    above[j].add(i)
        try:
            order = list(TopologicalSorter(above).static_order())
        except CycleError:
            return False
        for i in order:
            one = laid[i]
            one.row = max((laid[j].row + 1 for j in above[i]), default=0)
            while any(one.meets(laid[j]) for j in order[: order.index(i)]):
                one.row += 1
        return True

    def _draw(self, face: Face, laid: Sequence[_Inner], top: float, deep: float, foot: float) -> None:
        height = face.size.height
        for pin in (*self._box.upper, *self._box.lower):  # wires of one terminal meet at the box's edge
            x = self._x(pin)
            y = height if any(pin is one for one in self._box.lower) else 0.0
            if not pin.wires:
                face.unused.append((x, y))
            if len(pin.wires) > 1:
                face.links.append(Link(x, y, x + (len(pin.wires) - 1) * PITCH, y, True))
        rows = 1 + max((one.row for one in laid), default=0)
        at = {id(one): round(top + (deep - foot) * (one.row + 0.5) / rows, 2) for one in laid}
        columns: dict[tuple[float, str], list[float]] = {}
        for one in laid:
            y = at[id(one)]
            for end in (one.a, one.b):
                columns.setdefault((end.x, end.side), []).append(y)
            if one.upright:
                face.figures.append(Figure(one.element, one.a.x, y, True, one.a.side in ("down", "body")))
                continue
            if one.sign != "bar" or one.element.closed:
                face.links.append(Link(one.a.x, y, one.b.x, y, one.sign == "bar"))
            face.figures.append(Figure(one.element, one.middle, y, False, one.a.x > one.b.x))
        for (x, side), ys in columns.items():
            reach = {"up": (0.0, max(ys)), "down": (min(ys), height), "inner": (min(ys), max(ys))}
            low, high = reach.get(side, (min(ys), top + deep - 2.4))
            if high > low:
                face.links.append(Link(x, low, x, high))
            if side == "body":
                face.earths.append((x, high))
            last = max(ys) if side == "up" else min(ys)
            face.dots += [(x, y) for y in sorted(set(ys)) if len(set(ys)) > 1 and (y != last or side == "inner")]


@dataclass(frozen=True)
class _End:
    """Column of an element's end, and where it goes: `up` or `down` to an edge, `inner`, or `body`."""

    x: float
    side: str


@dataclass
class _Inner:
    """An element with its ends and the row it lies in."""

    element: Element
    a: _End
    b: _End
    row: int = 0

    @property
    def sign(self) -> str:
        return self.element.sign

    @property
    def upright(self) -> bool:
        return self.a.x == self.b.x

    @property
    def middle(self) -> float:
        """Where its symbol stands: between two columns, so that no upright line runs through it."""
        if self.sign == "bar":
            return (self.a.x + self.b.x) / 2
        return self.a.x + (PITCH / 2 if self.b.x > self.a.x else -PITCH / 2)

    def tops(self) -> set[float]:
        """Columns in which a line goes up from it, to an edge or to a point inside."""
        return {end.x for end in (self.a, self.b) if end.side in ("up", "inner")}

    def feet(self) -> set[float]:
        """Columns in which a line goes down from it."""
        return {end.x for end in (self.a, self.b) if end.side in ("down", "body")}

    def meets(self, other: _Inner) -> bool:
        """Whether both cannot lie in their rows: same row, and columns that overlap."""
        if self.row != other.row:
            return False
        (low, high), (left, right) = (sorted((one.a.x, one.b.x)) for one in (self, other))
        return low < right + 5 and left < high + 5


def _all_joined(laid: Sequence[_Inner]) -> bool:
    """Whether everything is joined with everything, by nothing but bars."""
    if any(one.sign != "bar" for one in laid):
        return False
    groups: list[set[str]] = []
    for one in laid:
        ends = {one.element.a, one.element.b}
        meeting = [group for group in groups if group & ends]
        groups = [group for group in groups if not group & ends] + [ends.union(*meeting)]
    return len(groups) <= 1


def _count(pins: Sequence[Pin]) -> int:
    return sum(max(1, len(pin.wires)) for pin in pins)


def _columns(pins: Sequence[Pin], first: int) -> dict[str, int]:
    found, column = {}, first
    for pin in pins:
        found[pin.end] = column
        column += max(1, len(pin.wires))
    return found
