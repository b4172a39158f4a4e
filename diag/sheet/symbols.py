"""The symbols of the trade (shapes after IEC 60617) as SVG elements round their own middle.

Each is drawn with current running downwards or sideways; knows nothing of where it stands.
"""

from __future__ import annotations

import drawsvg as svg

from diag.sheet.faces import Figure

__all__ = ["INK", "THIN", "earth", "symbol", "unused"]

INK = "#111111"
THIN = 0.35
"""Line width of symbols, mm."""
_PAPER = "#ffffff"
_ALIGHT = "#ffe680"
_POLED = ("diode", "battery")
"""Signs whose two ends differ."""


def symbol(figure: Figure) -> svg.Group:
    """The symbol of an element; turned a quarter where current runs sideways."""
    degrees = (0 if figure.upright else -90) + (180 if figure.turned and figure.element.sign in _POLED else 0)
    turn = f" rotate({degrees})" if degrees else ""
    group = svg.Group(transform=f"translate({figure.x:g} {figure.y:g}){turn}")
    group.extend(_shape(figure))
    return group


def _shape(figure: Figure) -> list[svg.DrawingElement]:
    element = figure.element
    if element.sign == "contact":
        return _contact(element.closed, element.moves)
    if element.sign == "bar":
        return _bar(figure.upright, element.closed)
    shapes = {
        "lamp": lambda: _lamp(element.alight),
        "coil": lambda: [_gap(1.3), _rect(4.0, 2.6), _line(-2.0, 1.0, 2.0, -1.0)],
        "resistor": lambda: [_gap(2.6), _rect(2.2, 5.2)],
        "fuse": lambda: _fuse(element.closed),
        "diode": _diode,
        "motor": lambda: _lettered("M", figure.upright),
        "generator": lambda: _lettered("G", figure.upright),
        "battery": _battery,
        "horn": _horn,
    }
    drawn = shapes[element.sign]()
    return drawn if element.closed or element.sign == "fuse" else [*drawn, *_cross(2.6)]


def _line(x1: float, y1: float, x2: float, y2: float, wide: float = THIN) -> svg.Line:
    return svg.Line(x1, y1, x2, y2, stroke=INK, stroke_width=wide, stroke_linecap="round")


def _gap(half: float) -> svg.Line:
    """Wipes out the plain line behind a symbol."""
    return svg.Line(0, -half, 0, half, stroke=_PAPER, stroke_width=1.2)


def _rect(wide: float, high: float, fill: str = _PAPER) -> svg.Rectangle:
    return svg.Rectangle(-wide / 2, -high / 2, wide, high, fill=fill, stroke=INK, stroke_width=THIN)


def _lamp(alight: bool) -> list[svg.DrawingElement]:
    arm = 2.6 * 0.7071
    return [
        svg.Circle(0, 0, 2.6, fill=_ALIGHT if alight else _PAPER, stroke=INK, stroke_width=THIN),
        _line(-arm, -arm, arm, arm),
        _line(-arm, arm, arm, -arm),
    ]


def _fuse(whole: bool) -> list[svg.DrawingElement]:
    if whole:
        return [_rect(2.2, 5.2), _line(0, -2.6, 0, 2.6)]
    return [_gap(2.6), _rect(2.2, 5.2), _line(0, -2.6, 0, -0.9), _line(0, 0.9, 0, 2.6), *_cross(0.9)]


def _cross(half: float) -> list[svg.DrawingElement]:
    """Marks what conducts no more."""
    return [_line(-half, -half, half, half, 0.6), _line(-half, half, half, -half, 0.6)]


def _contact(closed: bool, moves: bool) -> list[svg.DrawingElement]:
    """A blade hinged below: on its contact, off it, or with the mark of one that moves by itself."""
    drawn = [_gap(2.6), _line(0, 2.6, 0, 2.0), _line(0, -2.6, 0, -2.0)]
    drawn.append(_line(0, 2.0, 0.5, -2.3, 0.5) if closed else _line(0, 2.0, 2.3, -1.6, 0.5))
    if moves:
        drawn += [
            _line(0, 2.0, 2.3, -1.6, 0.25),
            svg.Path(stroke=INK, stroke_width=0.25, fill="none").M(0.9, -2.7).A(3, 3, 0, 0, 1, 2.6, -2.0),
        ]
    drawn += [svg.Circle(0, y, 0.45, fill=_PAPER, stroke=INK, stroke_width=0.25) for y in (2.0, -2.0)]
    return drawn


def _bar(upright: bool, closed: bool) -> list[svg.DrawingElement]:
    if upright:
        return [] if closed else [_gap(1.2), *_cross(1.2)]
    return [] if closed else _cross(1.2)


def _diode() -> list[svg.DrawingElement]:
    return [
        svg.Lines(-1.8, -1.5, 1.8, -1.5, 0, 1.5, close=True, fill=_PAPER, stroke=INK, stroke_width=THIN),
        _line(-1.8, 1.5, 1.8, 1.5),
    ]


def _lettered(letter: str, upright: bool) -> list[svg.DrawingElement]:
    circle = svg.Circle(0, 0, 2.6, fill=_PAPER, stroke=INK, stroke_width=THIN)
    turn = "" if upright else "rotate(90)"
    return [circle, svg.Text(letter, 3.0, 0, 1.08, text_anchor="middle", fill=INK, class_="sign", transform=turn)]


def _battery() -> list[svg.DrawingElement]:
    """Two cells: the long thin plate is plus, above."""
    return [
        _gap(2.2),
        _line(-2.6, -2.2, 2.6, -2.2),
        _line(-1.3, -0.8, 1.3, -0.8, 0.9),
        _line(-2.6, 0.8, 2.6, 0.8),
        _line(-1.3, 2.2, 1.3, 2.2, 0.9),
    ]


def _horn() -> list[svg.DrawingElement]:
    return [
        _gap(2.4),
        svg.Lines(-1.0, -2.4, 1.0, -2.4, 1.0, 2.4, -1.0, 2.4, close=True, fill=_PAPER, stroke=INK, stroke_width=THIN),
        svg.Lines(1.0, -1.3, 2.8, -2.8, 2.8, 2.8, 1.0, 1.3, close=True, fill=_PAPER, stroke=INK, stroke_width=THIN),
    ]


def earth(x: float, y: float) -> svg.Group:
    """Joined to body: three lines below the point."""
    group = svg.Group(transform=f"translate({x:g} {y:g})")
    group.extend([_line(-1.9, 0, 1.9, 0), _line(-1.2, 0.8, 1.2, 0.8), _line(-0.5, 1.6, 0.5, 1.6)])
    return group


def unused(x: float, y: float) -> svg.Circle:
    """A terminal without a wire: an empty ring, where one with a wire has a full dot."""
    return svg.Circle(x, y, 0.7, fill=_PAPER, stroke=INK, stroke_width=0.3)
