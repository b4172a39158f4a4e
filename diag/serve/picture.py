"""The drawing of a circuit for a question: the points that are probed or watched marked, cut to what is near them.

Takes the sheet's drawing as it is; knows how to cut an SVG, not how a circuit is drawn.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree

from diag.circuit.predict import Predictor
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY
from diag.paper.touched import spots_of
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.sheet.asked import circuit_of
from diag.sheet.drawing import draw
from diag.sheet.figures import Figures
from diag.sheet.marks import HERE, Marks
from diag.sheet.ways import Ways
from diag.talk.set_up import points_of
from diag.texts import t

__all__ = ["cut_of", "picture_of", "whole_of"]

_SVG = "http://www.w3.org/2000/svg"
_LEFT_MM, _RIGHT_MM, _ROUND_MM = 18.0, 42.0, 28.0
"""So much is shown left and right of the points (their words stand right of them), above and below: on a phone the
letters are then as large as those of the page."""
_RING = "1.55"
_MOVED = re.compile(r"translate\(([-\d.]+)[ ,]([-\d.]+)\)")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def picture_of(reasoner: Reasoner, step: Step) -> tuple[str, str] | None:
    """Title and whole drawing (SVG) of the circuit in which a step's points lie, under the step's operate; None
    where the loom is not described or the step has no points."""
    knowledge, predictor = reasoner.knowledge, reasoner.predictor
    if predictor is None:
        return None
    marks = _marks(knowledge, step)
    if not marks.lines:
        return None
    ways = Ways.of(knowledge, predictor.network)
    for circuit in _circuits(knowledge, step):
        found = _drawn(predictor, ways, circuit, step, marks)
        if f'r="{_RING}"' in found or not marks.probed:
            return knowledge.circuits[circuit].title, found
    return None


def whole_of(svg: str) -> str:
    """The whole drawing, to stand in a page, as wide as it is drawn."""
    return ElementTree.tostring(_root(svg), encoding="unicode", default_namespace=None)


def cut_of(svg: str) -> str | None:
    """What lies round the marked points of a drawing, as a small SVG; None where no point is marked."""
    root = _root(svg)
    rings = [(x, y) for item, x, y in _leaves(root) if item.tag == f"{{{_SVG}}}circle" and item.get("r") == _RING]
    if not rings:
        return None
    left, right = min(x for x, _ in rings) - _LEFT_MM, max(x for x, _ in rings) + _RIGHT_MM
    top, low = min(y for _, y in rings) - _ROUND_MM, max(y for _, y in rings) + _ROUND_MM
    _prune(root, (left, top, right, low))
    root.set("viewBox", f"{left:.1f} {top:.1f} {right - left:.1f} {low - top:.1f}")
    for name in ("width", "height"):
        root.attrib.pop(name, None)
    return ElementTree.tostring(root, encoding="unicode")


# ---------------------------------------------------------------- what is marked


def _marks(knowledge: Knowledge, step: Step) -> Marks:
    """Rings at the points, with what goes there."""
    touched = [(lead, where) for lead, where in points_of(knowledge, step) if where != BODY]
    if touched:
        lines = {where: (f"{HERE}{lead.upper()}",) for lead, where in touched}
        return Marks(lines, frozenset(where for _, where in touched if where in knowledge.terminals))
    lines = {}
    probed: set[str] = set()
    for where, _ in spots_of(step):
        part = where.partition(".")[0]
        lines[part] = (f"{HERE}{(t('LISTEN') if step.kind == 'listen' else t('WATCH'))}",)
        probed |= {end for end in knowledge.terminals if end.partition(".")[0] == part}
    return Marks(lines, frozenset(probed))


def _circuits(knowledge: Knowledge, step: Step) -> list[str]:
    """Circuits that may show the points: the question's own first."""
    owners = [knowledge.circuit_of.get(where.partition(".")[0]) for where, _ in spots_of(step)]
    there = circuit_of(knowledge, None)
    return [name for name in dict.fromkeys([step.circuit, *owners]) if name in there]


def _drawn(predictor: Predictor, ways: Ways, circuit: str, step: Step, marks: Marks) -> str:
    return draw(Figures.of(predictor, step.operate), ways, (circuit,), marks)


# ---------------------------------------------------------------- cutting


def _root(svg: str) -> ElementTree.Element:
    ElementTree.register_namespace("", _SVG)
    return ElementTree.fromstring(svg)  # our own drawing, nothing from outside


def _leaves(
    item: ElementTree.Element, x: float = 0.0, y: float = 0.0
) -> Iterator[tuple[ElementTree.Element, float, float]]:
    """Every drawn thing with the place of its first point, mm."""
    if found := _MOVED.search(item.get("transform", "")):
        x, y = x + float(found[1]), y + float(found[2])
    if len(item) == 0:
        box = _box(item)
        if box is not None:
            yield item, x + (box[0] + box[2]) / 2, y + (box[1] + box[3]) / 2
    for child in item:
        yield from _leaves(child, x, y)


def _box(item: ElementTree.Element) -> tuple[float, float, float, float] | None:
    """Left, top, right, lower edge of a leaf in its own group; None for what has no place."""
    name = item.tag.rpartition("}")[2]
    at = {key: float(item.get(key, 0)) for key in ("x", "y", "cx", "cy", "r", "x1", "x2", "y1", "y2")}
    match name:
        case "circle":
            return at["cx"] - at["r"], at["cy"] - at["r"], at["cx"] + at["r"], at["cy"] + at["r"]
        case "rect":
            wide, high = float(item.get("width", 0)), float(item.get("height", 0))
            return at["x"], at["y"], at["x"] + wide, at["y"] + high
        case "text":
            wide = len(item.text or "") * float(item.get("font-size", 3)) * 0.5
            return at["x"], at["y"] - 3, at["x"] + wide, at["y"]
        case "line":
            return min(at["x1"], at["x2"]), min(at["y1"], at["y2"]), max(at["x1"], at["x2"]), max(at["y1"], at["y2"])
        case "path":
            found = [float(number) for number in _NUMBER.findall(item.get("d", ""))]
            if len(found) >= 2:
                return min(found[::2]), min(found[1::2]), max(found[::2]), max(found[1::2])
    return None


def _prune(item: ElementTree.Element, frame: tuple[float, float, float, float], x: float = 0.0, y: float = 0.0) -> None:
    """Take off what lies wholly outside the frame."""
    if found := _MOVED.search(item.get("transform", "")):
        x, y = x + float(found[1]), y + float(found[2])
    for child in list(item):
        name = child.tag.rpartition("}")[2]
        if name == "g":
            _prune(child, frame, x, y)
            if all(one.tag.rpartition("}")[2] == "title" for one in child):
                item.remove(child)
        else:
            box = _box(child)
            if box is not None and (
                x + box[2] < frame[0] or x + box[0] > frame[2] or y + box[3] < frame[1] or y + box[1] > frame[3]
            ):
                item.remove(child)
