"""The words round a drawing: its heading above and how to read it below. Knows nothing of circuits."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass

import drawsvg as svg

from diag.sheet.colours import insulation
from diag.sheet.faces import Figure
from diag.sheet.inside import Element
from diag.sheet.lettering import LINE, in_lines
from diag.sheet.symbols import INK, THIN, symbol, unused
from diag.texts import t

__all__ = ["Block", "Heading", "heading", "legend", "samples_for"]

_TITLE, _PLAIN = 4.4, 2.7
_SAMPLE = 12.0
_SAMPLE_ROOM = 54.0
_MOST = 184.0
"""Words are no wider than a page of A4 inside its margins, mm, so that none is cut where a wide drawing is."""


@dataclass(frozen=True)
class Heading:
    """What stands above a drawing. `marked`: faults and what they do; `cautions` are framed."""

    title: str
    vehicle: str
    operate: str
    marked: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Block:
    """Something drawn, and its height in millimetres."""

    group: svg.Group
    height: float


def _lines(group: svg.Group, texts: Sequence[tuple[str, float, bool]], width: float, x: float, y: float) -> float:
    """Writes texts one below the other from `y` on; gives where the next may begin."""
    for text, size, bold in texts:
        for line in in_lines(text, size, width, bold=bold):
            weight = {"font_weight": "bold"} if bold else {}
            group.append(svg.Text(line, size, x, round(y + 0.85 * size * LINE, 2), fill=INK, **weight))
            y += size * LINE
    return round(y, 2)


def heading(said: Heading, width: float) -> Block:
    """Title, vehicle, controls, faults, and the cautions in a frame."""
    group, width = svg.Group(), min(width, _MOST)
    texts = [(said.title, _TITLE, True), (said.vehicle, _PLAIN, False), (said.operate, _PLAIN, True)]
    y = _lines(group, [*texts, *((f"! {text}", _PLAIN, True) for text in said.marked)], width, 0.0, 0.0)
    if said.cautions:
        top = y + 1.0
        y = _lines(group, [(t("CAUTION: {c}", c=c), _PLAIN, False) for c in said.cautions], width - 4.0, 2.0, top + 0.8)
        frame = svg.Rectangle(0, top, width, round(y + 1.0 - top, 2), fill="none", stroke=INK, stroke_width=0.6)
        group.append(frame)
        y += 1.0
    return Block(group, round(y + 3.0, 2))


def legend(shown: Collection[str], notes: Sequence[str], width: float) -> Block:
    """How what is drawn is to be read, and the notes on the figures. `shown`: names of the samples that are needed."""
    group = svg.Group()
    group.append(svg.Line(0, 0, width, 0, stroke=INK, stroke_width=THIN))
    y, width = 2.0, min(width, _MOST)
    columns = max(1, int(width // _SAMPLE_ROOM))
    share = width / columns
    column, high = 0, 0.0
    for name, draw_sample, text in _SAMPLES:
        if name not in shown:
            continue
        x = round(column * share, 2)
        group.append(svg.Group(children=draw_sample(), transform=f"translate({x:g} {y + 2.6:g})"))
        end = _lines(group, [(text, _PLAIN, False)], share - _SAMPLE - 5.0, x + _SAMPLE + 2.0, y + 0.8)
        high = max(high, end - y, 6.0)
        column += 1
        if column == columns:
            column, y, high = 0, round(y + high, 2), 0.0
    y += high
    y = _lines(group, [(note, _PLAIN, False) for note in notes], width, 0.0, y + 1.0)
    return Block(group, y)


def samples_for(
    elements: Iterable[Element], *, plain: bool, guests: bool, unused: bool, joints: bool
) -> frozenset[str]:
    """Names of the samples that explain these elements. `plain`: wires without a state; `guests`: parts of other
    circuits; `unused`: terminals without a wire; `joints`: dots where lines inside a part meet."""
    found = {"wire"} if plain else {"dead", "live"}
    found |= {name for name, there in (("guest", guests), ("unused", unused), ("crossing", joints)) if there}
    for one in elements:
        if one.sign == "contact":
            found.add(t("moves") if one.moves else t("closed") if one.closed else t("open"))
        elif one.sign == "lamp":
            found |= {"lamp"} if plain else {"alight"}
        if not one.closed and one.sign != "contact":
            found.add("blown")
    return frozenset(found)


def _wire(colour: str, wide: float) -> list[svg.DrawingElement]:
    shown = insulation(colour)
    drawn = [
        svg.Line(0, 0, _SAMPLE, 0, stroke=shown.outline, stroke_width=wide + 0.35),
        svg.Line(0, 0, _SAMPLE, 0, stroke=shown.main, stroke_width=wide),
    ]
    if shown.stripe is not None:
        drawn.append(svg.Line(0, 0, _SAMPLE, 0, stroke=shown.stripe, stroke_width=wide, stroke_dasharray="1.2 2.4"))
    return drawn


def _sign(element: Element) -> list[svg.DrawingElement]:
    return [
        svg.Line(0, 0, _SAMPLE, 0, stroke=INK, stroke_width=0.45),
        symbol(Figure(element, _SAMPLE / 2, 0.0, False)),
    ]


def _guest() -> list[svg.DrawingElement]:
    frame = svg.Rectangle(0, -2, _SAMPLE, 4, fill="none", stroke=INK, stroke_width=THIN, stroke_dasharray="1.6 1.1")
    return [frame]


def _crossing() -> list[svg.DrawingElement]:
    lines: list[svg.DrawingElement] = [svg.Line(0, 0, _SAMPLE, 0, stroke=INK, stroke_width=0.45)]
    lines += [svg.Line(x, -2.2, x, 2.2, stroke=INK, stroke_width=0.45) for x in (3.5, 8.5)]
    return [*lines, svg.Circle(8.5, 0, 0.6, fill=INK)]


_SAMPLES: tuple[tuple[str, Callable[[], list[svg.DrawingElement]], str], ...] = (
    ("wire", lambda: _wire("black/yellow", 1.2), t("wire in its colours: colour, number and section beside it")),
    ("dead", lambda: _wire("black/yellow", 0.9), t("wire without current: colour, number, section, amps beside it")),
    ("live", lambda: _wire("black/yellow", 1.6), t("wire that carries current (thicker still from 6 A)")),
    (t("closed"), lambda: _sign(Element("", "contact", "", "", closed=True)), t("contact closed with these controls")),
    (t("open"), lambda: _sign(Element("", "contact", "", "", closed=False)), t("contact open")),
    (
        t("moves"),
        lambda: _sign(Element("", "contact", "", "", moves=True)),
        t("contact that opens and closes by itself"),
    ),
    ("lamp", lambda: _sign(Element("", "lamp", "", "")), "lamp"),
    ("alight", lambda: _sign(Element("", "lamp", "", "", alight=True)), t("lamp alight (dark: empty circle)")),
    ("crossing", _crossing, t("lines that only cross; with a dot they are joined")),
    ("unused", lambda: [unused(_SAMPLE / 2, 0.0)], t("terminal without a wire")),
    ("guest", _guest, t("part of another circuit, with the terminals that matter here")),
    ("blown", lambda: _sign(Element("", "fuse", "", "", closed=False)), t("blown or open: crossed out")),
)
