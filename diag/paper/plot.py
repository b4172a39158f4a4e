"""The plot of how chances moved: one line a remedy, told apart by dash, marker and letter, not by colour alone.

Draws a trail; knows nothing of where its figures come from. Lengths in millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import drawsvg as svg

from diag.log.report import Trail, TrailRow
from diag.paper.fold import Stretch, trail_stretches
from diag.sheet.drawing import FONT
from diag.sheet.lettering import clean, width
from diag.sheet.symbols import INK
from diag.texts import t

__all__ = ["Key", "Plot", "plot_of"]

_WIDE, _NARROW = 184.0, 92.0
"""On paper and on a large screen; on a phone."""
_LEFT, _RIGHT, _TOP, _BOTTOM = 15.0, 14.0, 6.0, 19.0
_HIGH = 78.0
"""Of the field that the lines run in."""
_LETTERS = 3.0
_SMALL = 2.7
_MATTERS = 0.05
"""A remedy that never had this chance is not drawn: its line would lie on the axis."""
_FALLS = 0.08
"""A line that ends this far below its peak has its letter there too."""
_NEAREST = 3.6
"""Lines that end closer than this share a place for their letters."""
_DASHES = (None, "4 1.5", "1.2 1.2", "6 1.5 1.2 1.5", "2.6 1.3", "8 2", "3 1 1 1 1 1")
_MARKERS = ("circle", "square", "up", "diamond", "down", "cross", "plus")
_SOUND, _OUTSIDE = "sound", "outside"


@dataclass(frozen=True)
class Key:
    """A line in words. `letter` as in the plot and in the table; `sample`: its dash and marker as SVG; `peak`."""

    letter: str
    title: str
    sample: str
    peak: str


@dataclass(frozen=True)
class Plot:
    """`svg`; `narrow`: the same for a phone; `keys` in order; `words`: what it shows, for those who do not see it;
    `left_out`: the trail's remedies that never mattered."""

    svg: str
    narrow: str
    keys: tuple[Key, ...]
    words: str
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class _Line:
    """What is drawn: `place` gives its look; `values` one a row of the trail, 0 to 1."""

    letter: str
    title: str
    place: int
    values: tuple[float, ...]
    peak: str


def plot_of(trail: Trail, works: Sequence[int] = ()) -> Plot | None:
    """The plot; None where there are not two records to join. `works`: numbers of remedies and changes, each
    marked by an upright line."""
    if len(trail.rows) < 2:
        return None
    lines, left_out = _lines(trail)
    stretches = trail_stretches(trail)
    return Plot(
        _Paper(trail, lines, stretches, set(works), _WIDE).drawn("plot"),
        _Paper(trail, lines, stretches, set(works), _NARROW).drawn("plot narrow"),
        tuple(Key(line.letter, line.title, _sample(line.place), line.peak) for line in lines),
        _words(trail, lines),
        left_out,
    )


def _lines(trail: Trail) -> tuple[tuple[_Line, ...], tuple[str, ...]]:
    out: list[_Line] = []
    left_out = []
    for i, suspect in enumerate(trail.suspects):
        chances = [row.chances[i] for row in trail.rows]
        best = max(chances, key=lambda chance: chance.p)
        if best.p < _MATTERS:
            left_out.append(f"{suspect.letter} {suspect.title}")
            continue
        out.append(_Line(suspect.letter, suspect.title, len(out), tuple(c.p for c in chances), best.percent))
    for letter, title, found in (
        ("ok", t("Nothing wrong"), [row.sound for row in trail.rows]),
        ("?", t("A cause that the knowledge does not hold"), [row.outside for row in trail.rows]),
    ):
        best = max(found, key=lambda chance: chance.p)
        if best.p >= _MATTERS:
            out.append(_Line(letter, title, len(out), tuple(c.p for c in found), best.percent))
    return tuple(out), tuple(left_out)


def _words(trail: Trail, lines: Sequence[_Line]) -> str:
    first, last = trail.rows[0].number, trail.rows[-1].number
    ends = "; ".join(
        t(
            "{letter}, {line}: highest {peak}, at the end {values:.0%}",
            letter=line.letter,
            line=line.title,
            peak=line.peak,
            values=line.values[-1],
        )
        for line in lines
    )
    return t("Chances from record {first} to record {last}. {ends}.", first=first, last=last, ends=ends)


class _Paper:
    def __init__(
        self, trail: Trail, lines: Sequence[_Line], stretches: Sequence[Stretch[TrailRow]], works: set[int], wide: float
    ) -> None:
        self._trail, self._lines, self._works, self._wide = trail, lines, works, wide
        self._columns, self._gaps = _columns(stretches)
        self._step = (wide - _LEFT - _RIGHT) / (max(self._columns) + 1)

    def _x(self, row: int) -> float:
        return round(_LEFT + (self._columns[row] + 0.5) * self._step, 2)

    def _y(self, p: float) -> float:
        return round(_TOP + (1.0 - p) * _HIGH, 2)

    def drawn(self, look: str) -> str:
        """The whole plot, of the style's class `look`."""
        paper = svg.Drawing(self._wide, _TOP + _HIGH + _BOTTOM, id_prefix="p", font_family=FONT)
        paper.svg_args |= {"width": f"{self._wide:g}mm", "height": f"{_TOP + _HIGH + _BOTTOM:g}mm", "role": "img"}
        paper.svg_args |= {"class": look}
        paper.append_title(clean(_words(self._trail, self._lines)))
        self._axes(paper)
        self._events(paper)
        for line in self._lines:
            paper.append(self._line(line))
        for drawn in self._letters():
            paper.append(drawn)
        return str(paper.as_svg(header=""))

    def _axes(self, paper: svg.Drawing) -> None:
        right = self._wide - _RIGHT
        for percent in (0, 25, 50, 75, 100):
            y = self._y(percent / 100)
            paper.append(svg.Line(_LEFT, y, right, y, stroke="#8a8a8a", stroke_width=0.2, class_="grid"))
            paper.append(_text(f"{percent} %", _LEFT - 1.5, y + 1.0, "end"))
        for axis in ((_LEFT, _TOP, _LEFT, self._y(0)), (_LEFT, self._y(0), right, self._y(0))):
            paper.append(svg.Line(*axis, stroke=INK, stroke_width=0.4, class_="axis"))
        paper.append(
            _text(t("Number of the answer or record, as in the log"), (_LEFT + right) / 2, self._y(0) + 17.0, "middle")
        )
        title = _text(t("Chance"), 0, 0, "middle")
        title.args["transform"] = f"translate(3.2 {self._y(0.5) - 12:g}) rotate(-90)"
        paper.append(title)

    def _events(self, paper: svg.Drawing) -> None:
        """Numbers below the axis, works as upright lines, and what was folded."""
        foot = self._y(0)
        taken: list[tuple[float, float]] = []
        drawn = [(i, row) for i, row in enumerate(self._trail.rows) if self._columns[i] >= 0]
        for i, row in sorted(drawn, key=lambda one: (one[1].number not in self._works, one[0])):  # works first
            x, work = self._x(i), row.number in self._works
            paper.append(svg.Line(x, foot, x, foot + 1.2, stroke=INK, stroke_width=0.3, class_="axis"))
            if work:
                paper.append(svg.Line(x, _TOP, x, foot, stroke=INK, stroke_width=0.5, class_="axis"))
                paper.append(_text(t("work"), x, foot + 8.2, "middle"))
            half = width(str(row.number), _SMALL, bold=work) / 2 + 0.4
            if all(abs(x - other) >= half + room for other, room in taken):
                paper.append(_text(str(row.number), x, foot + 4.4, "middle", _SMALL, bold=work))
                taken.append((x, half))
        for place, count in self._gaps:
            x = round(_LEFT + (place + 0.5) * self._step, 2)
            for shift in (-0.7, 0.7):
                paper.append(
                    svg.Line(
                        x + shift - 0.8,
                        self._y(0) + 2.0,
                        x + shift + 0.8,
                        self._y(0) - 2.0,
                        stroke=INK,
                        stroke_width=0.4,
                        class_="axis",
                    )
                )
            paper.append(_text(t("{count} more", count=count), x, self._y(0) + 12.4, "middle", _SMALL))

    def _columns_drawn(self) -> set[int]:
        return {i for i, column in enumerate(self._columns) if column >= 0}

    def _line(self, line: _Line) -> svg.Group:
        drawn = sorted(self._columns_drawn())
        group = svg.Group(class_=f"line s{line.place % len(_DASHES)}", stroke=INK, fill="none")
        group.append_title(clean(f"{line.letter}: {line.title}"))
        path = svg.Path(stroke_width=0.6, fill="none", stroke_linejoin="round")
        dash = _DASHES[line.place % len(_DASHES)]
        if dash is not None:
            path.args["stroke-dasharray"] = dash
        for n, i in enumerate(drawn):
            (path.L if n else path.M)(self._x(i), self._y(line.values[i]))
        group.append(path)
        for i in drawn:
            group.append(_marker(line.place, self._x(i), self._y(line.values[i])))
        return group

    def _spots(self, line: _Line) -> list[tuple[float, float, float]]:
        """Where a line runs, every millimetre: x, y, and half of the height that it takes."""
        points = [(self._x(i), self._y(line.values[i])) for i in sorted(self._columns_drawn())]
        spots = [(x, y, 1.0) for x, y in points]
        for (x1, y1), (x2, y2) in pairwise(points):
            count = max(1, round(max(abs(x2 - x1), abs(y2 - y1))))
            spots += [(x1 + (x2 - x1) * n / count, y1 + (y2 - y1) * n / count, 0.3) for n in range(1, count)]
        return spots

    def _letters(self) -> list[svg.DrawingElement]:
        """The letters of lines that end together side by side at the right edge; and each at its peak where its line
        ends far below that."""
        out: list[svg.DrawingElement] = []
        last = max(self._columns_drawn())
        groups: list[list[_Line]] = []
        for line in sorted(self._lines, key=lambda one: (-one.values[last], one.place)):
            if groups and self._y(line.values[last]) - self._y(groups[-1][0].values[last]) < _NEAREST:
                groups[-1].append(line)
            else:
                groups.append([line])
        for group in groups:
            names = [line.letter for line in sorted(group, key=lambda one: one.place)]
            rows = [" ".join(names[n : n + 3]) for n in range(0, len(names), 3)]
            y = min(self._y(group[0].values[last]) + 1.0, self._y(0) - 1.0)
            for n, text in enumerate(reversed(rows)):  # upwards, clear of the axis
                out.append(_text(text, self._x(last) + 2.4, y - n * _LETTERS * 1.15, "start", _LETTERS, bold=True))
        taken = [spot for line in self._lines for spot in self._spots(line)]
        for line in self._lines:
            at = max(self._columns_drawn(), key=lambda i: line.values[i])
            if line.values[at] - line.values[last] < _FALLS:
                continue
            x, y = self._x(at), self._y(line.values[at]) - 1.6 - _LETTERS / 2
            while y > 2.5 and any(abs(x - a) < 1.4 and abs(y - b) < _LETTERS / 2 + half for a, b, half in taken):
                y -= 0.5
            taken.append((x, y, _LETTERS / 2))
            out.append(_text(line.letter, x, y + _LETTERS * 0.36, "middle", _LETTERS, bold=True))
        return out


def _columns(stretches: Sequence[Stretch[TrailRow]]) -> tuple[list[int], list[tuple[float, int]]]:
    """The column of each row (-1: folded away), and the folds: where, and how many rows. Of a fold the first and
    last row stay, so that the lines run on."""
    columns: list[int] = []
    gaps: list[tuple[float, int]] = []
    at = 0
    for stretch in stretches:
        count = len(stretch.rows)
        if not stretch.folded:
            columns += range(at, at + count)
            at += count
            continue
        columns += [at, *[-1] * (count - 2), at + 2]
        gaps.append((at + 1.0, count - 2))
        at += 3
    return columns, gaps


def _text(text: str, x: float, y: float, anchor: str, size: float = _LETTERS, bold: bool = False) -> svg.Text:
    weight = {"font_weight": "bold"} if bold else {}
    return svg.Text(clean(text), size, round(x, 2), round(y, 2), text_anchor=anchor, fill=INK, **weight)


def _marker(place: int, x: float, y: float) -> svg.DrawingElement:
    h = 0.95
    kind = _MARKERS[place % len(_MARKERS)]
    given = {"stroke_width": 0.35, "class_": "mark"}
    if kind == "circle":
        return svg.Circle(x, y, h, **given)
    if kind == "square":
        return svg.Rectangle(round(x - h, 2), round(y - h, 2), 2 * h, 2 * h, **given)
    if kind == "cross":
        return svg.Path(**given).M(x - h, y - h).L(x + h, y + h).M(x - h, y + h).L(x + h, y - h)
    if kind == "plus":
        return svg.Path(**given).M(x - h, y).L(x + h, y).M(x, y - h).L(x, y + h)
    corners = {
        "up": (x - h, y + h, x + h, y + h, x, y - h),
        "down": (x - h, y - h, x + h, y - h, x, y + h),
        "diamond": (x - 1.25 * h, y, x, y - 1.25 * h, x + 1.25 * h, y, x, y + 1.25 * h),
    }[kind]
    return svg.Lines(*(round(c, 2) for c in corners), close=True, **given)


def _sample(place: int) -> str:
    """A short piece of a line, for the list below the plot."""
    paper = svg.Drawing(14, 4, id_prefix="k")
    paper.svg_args |= {"width": "14mm", "height": "4mm", "aria-hidden": "true", "class": "key"}
    group = svg.Group(class_=f"line s{place % len(_DASHES)}", stroke=INK, fill="none")
    line = svg.Line(0, 2, 14, 2, stroke_width=0.6)
    dash = _DASHES[place % len(_DASHES)]
    if dash is not None:
        line.args["stroke-dasharray"] = dash
    group.append(line)
    group.append(_marker(place, 7, 2))
    paper.append(group)
    return str(paper.as_svg(header=""))
