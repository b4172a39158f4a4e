"""Marks in a drawing: every one is there, told by shape and number, and nothing lies on anything else for it.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from itertools import combinations

import pytest

from diag.circuit.predict import Predictor
from diag.knowledge.assemble import terminals_of
from diag.sheet.asked import causes_of, circuit_of
from diag.sheet.drawing import draw
from diag.sheet.figures import Figures
from diag.sheet.marks import ELSEWHERE, HERE, SUSPECT, Marks
from diag.sheet.ways import Ways, end_part
from tests.sheet.paper import SVG, boxes_of, texts_of

SIGNS = {HERE: "#111111", ELSEWHERE: "#ffffff", SUSPECT: "none"}


def marked(predictor: Predictor, circuit: str, marks: Marks) -> str:
    """The circuit under left signal with a fault, and marks."""
    faults = causes_of(predictor.causes, "earth-rear-left.open")
    figures = Figures.of(predictor, {"ignition": "on", "turn": "left"}, faults)
    return draw(figures, Ways.of(predictor.knowledge, predictor.network), (circuit,), marks)


def everywhere(predictor: Predictor) -> Marks:
    """Long lines at every terminal, part and wire."""
    knowledge = predictor.knowledge
    lines = (f"{HERE}117 test lamp normal, flashing", f"{ELSEWHERE}118 0.02 V", f"{SUSPECT}SUSPECT 45 %")
    places = [*knowledge.parts, *knowledge.wires, *knowledge.terminals]
    return Marks(dict.fromkeys(places, lines), frozenset(knowledge.terminals))


@pytest.fixture(scope="module")
def full(demo: Predictor) -> dict[str, str]:
    """Every circuit with marks wherever one can be."""
    marks = everywhere(demo)
    return {circuit: marked(demo, circuit, marks) for circuit in circuit_of(demo.knowledge, None)}


def test_texts_stay_apart_and_inside_however_much_is_marked(full: dict[str, str]) -> None:
    """A reading on top of another is read as a third one."""
    for name, svg in full.items():
        texts, boxes = texts_of(svg), boxes_of(svg)
        _, _, wide, high = (float(n) for n in ElementTree.fromstring(svg).get("viewBox", "").split())
        for one, other in combinations(texts, 2):
            assert not one.overlaps(other), (name, one, other)
        for text in texts:
            assert text.left >= 0 and text.right <= wide and text.bottom <= high, (name, text)
            for box in boxes.values():
                if text.overlaps(box):
                    assert box.left <= text.left and text.right <= box.right + 0.01, (name, text, box)
                    assert box.top <= text.top + 0.01 and text.bottom <= box.bottom + 0.2, (name, text, box)


def test_every_terminal_part_and_wire_of_a_circuit_shows_its_marks(demo: Predictor, full: dict[str, str]) -> None:
    """What was read and is not in the drawing might as well not have been read."""
    knowledge = demo.knowledge
    for circuit, svg in full.items():
        own = [part for part in knowledge.parts if knowledge.circuit_of[part] == circuit]
        ends = sum(len(terminals_of(knowledge.parts[part])) for part in own)
        wires = sum(
            knowledge.circuit_of[name] == circuit or {end_part(wire.from_), end_part(wire.to)} & set(own) != set()
            for name, wire in knowledge.wires.items()
        )
        read = [text for text in texts_of(svg) if text.text.startswith("118 ")]
        assert len(read) >= len(own) + ends + wires


def test_each_sign_is_a_shape_of_its_own(demo: Predictor) -> None:
    """Full and open diamond and triangle differ without any colour, and no face of letters is asked for them."""
    lines = (f"{HERE}1 dark", f"{ELSEWHERE}2 dark", f"{SUSPECT}SUSPECT")
    plain = marked(demo, "horn", Marks())
    svg = marked(demo, "horn", Marks({"horn": lines}))
    assert not any(sign in svg for sign in SIGNS)
    shapes = [path for path in ElementTree.fromstring(svg).iter(f"{SVG}path") if path.get("stroke-width") == "0.3"]
    before = [path for path in ElementTree.fromstring(plain).iter(f"{SVG}path") if path.get("stroke-width") == "0.3"]
    added = [path for path in shapes if path.get("d") not in {one.get("d") for one in before}]
    assert [path.get("fill") for path in added] == list(SIGNS.values())
    assert [path.get("d", "").count("L") for path in added] == [3, 3, 2]


def test_a_probed_terminal_has_a_ring_round_it(demo: Predictor) -> None:
    """Where the probe was is seen at once."""

    def rings(marks: Marks) -> list[tuple[str | None, str | None]]:
        found = ElementTree.fromstring(marked(demo, "horn", marks)).iter(f"{SVG}circle")
        return [(one.get("cx"), one.get("cy")) for one in found if one.get("r") == "1.55"]

    assert rings(Marks()) == []
    end = next(end for end in sorted(demo.knowledge.terminals) if end.startswith("horn."))
    assert len(rings(Marks(probed=frozenset((end,))))) == 1


def test_no_marks_change_nothing(demo: Predictor) -> None:
    """Drawings made before look as they did."""
    figures = Figures.of(demo, {"ignition": "on"})
    ways = Ways.of(demo.knowledge, demo.network)
    assert draw(figures, ways, ("horn",)) == draw(figures, ways, ("horn",), Marks({"no-such": (f"{HERE}1",)}))
