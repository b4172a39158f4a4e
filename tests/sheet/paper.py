"""Reads a drawing back from its SVG: every text with its box, every wire with its line, in millimetres."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diag.sheet.lettering import width

__all__ = ["SVG", "Text", "Wire", "boxes_of", "overlaps_of", "page_of", "struck_of", "texts_of", "wires_of"]

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Text:
    """A text and the room it takes."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Text) -> bool:
        """Whether both take the same room, by more than a hair."""
        return (
            min(self.right, other.right) - max(self.left, other.left) > 0.05
            and min(self.bottom, other.bottom) - max(self.top, other.top) > 0.05
        )


@dataclass(frozen=True)
class Wire:
    """A wire's title and its corner points."""

    title: str
    points: tuple[tuple[float, float], ...]


def _moved(element: ElementTree.Element, x: float, y: float) -> tuple[float, float]:
    found = re.match(r"translate\(([-\d.e]+) ([-\d.e]+)\)", element.get("transform", ""))
    return (x + float(found[1]), y + float(found[2])) if found else (x, y)


def _walk(element: ElementTree.Element, x: float, y: float) -> list[tuple[ElementTree.Element, float, float]]:
    x, y = _moved(element, x, y)
    found = [(element, x, y)]
    for child in element:
        found += _walk(child, x, y)
    return found


def texts_of(svg: str) -> list[Text]:
    """Every text but the letters inside symbols, with a box that a wide face needs (ascent and descent 0.93 and
    0.24 of the size)."""
    found = []
    for element, x, y in _walk(ElementTree.fromstring(svg), 0.0, 0.0):
        if element.tag == f"{SVG}text" and element.get("class") != "sign":
            size, text = float(element.get("font-size", "0")), element.text or ""
            x, y = x + float(element.get("x", "0")), y + float(element.get("y", "0"))
            wide = width(text, size, bold=element.get("font-weight") == "bold")
            found.append(Text(text, x, y - 0.76 * size, x + wide, y + 0.24 * size))
    return found


def wires_of(svg: str) -> list[Wire]:
    """Every wire, by the groups whose title is `wire: words`."""
    found = []
    for element, x, y in _walk(ElementTree.fromstring(svg), 0.0, 0.0):
        title, path = element.find(f"{SVG}title"), element.find(f"{SVG}path")
        if element.tag == f"{SVG}g" and title is not None and path is not None and ": " in (title.text or ""):
            steps = re.findall(r"[ML]([-\d.]+),([-\d.]+)", path.get("d", ""))
            found.append(
                Wire(title.text or "", tuple((round(x + float(a), 3), round(y + float(b), 3)) for a, b in steps))
            )
    return found


def boxes_of(svg: str) -> dict[str, Text]:
    """Every part's box, by the groups whose title is its id."""
    found = {}
    for element, x, y in _walk(ElementTree.fromstring(svg), 0.0, 0.0):
        title, frame = element.find(f"{SVG}title"), element.find(f"{SVG}rect")
        if element.tag == f"{SVG}g" and title is not None and frame is not None and ": " not in (title.text or ""):
            wide, high = float(frame.get("width", "0")), float(frame.get("height", "0"))
            found[title.text or ""] = Text(title.text or "", x, y, x + wide, y + high)
    return found


def page_of(svg: str) -> Text:
    """The view box."""
    left, top, wide, high = (float(n) for n in ElementTree.fromstring(svg).get("viewBox", "").split())
    return Text("", left, top, left + wide, top + high)


def overlaps_of(texts: list[Text]) -> list[tuple[str, str]]:
    """Pairs of texts that take the same room, by more than a hair."""
    left, top, right, bottom = (np.array([getattr(text, side) for text in texts]) for side in _SIDES)
    across = np.minimum(right[:, None], right) - np.maximum(left[:, None], left)
    down = np.minimum(bottom[:, None], bottom) - np.maximum(top[:, None], top)
    found = np.argwhere(np.triu((across > 0.05) & (down > 0.05), 1))
    return [(texts[i].text, texts[j].text) for i, j in found]


def struck_of(texts: list[Text], wires: list[Wire]) -> list[tuple[str, str]]:
    """Texts through which a wire runs, each with the wire's title."""
    left, top, right, bottom = (np.array([getattr(text, side) for text in texts]) for side in _SIDES)
    found = []
    for wire in wires:
        for (x1, y1), (x2, y2) in pairwise(wire.points):
            beside = (right < min(x1, x2) - 0.2) | (left > max(x1, x2) + 0.2)
            apart = (bottom < min(y1, y2)) | (top > max(y1, y2))
            found += [(texts[i].text, wire.title) for i in np.flatnonzero(~beside & ~apart)]
    return found


_SIDES = ("left", "top", "right", "bottom")
