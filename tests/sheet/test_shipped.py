"""Every circuit of the five demo vehicles is drawn legibly, as a state and as a plain diagram.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re

import pytest

from diag.circuit.predict import Predictor
from diag.knowledge.load import load_knowledge, rules_folder
from diag.sheet.asked import circuit_of
from diag.sheet.drawing import draw
from diag.sheet.figures import Figures
from diag.sheet.inside import elements_of
from diag.sheet.ways import Ways
from tests.sheet.paper import boxes_of, overlaps_of, page_of, struck_of, texts_of, wires_of

VEHICLES = sorted(path.stem for path in (rules_folder() / "vehicles").glob("demo-*.yaml"))
Drawings = dict[tuple[str, bool], str]


@pytest.fixture(scope="module", params=VEHICLES)
def shipped(request: pytest.FixtureRequest) -> Predictor:
    return Predictor(load_knowledge(rules_folder() / "vehicles" / f"{request.param}.yaml"), ())


@pytest.fixture(scope="module")
def drawings(shipped: Predictor) -> Drawings:
    """By circuit, and whether plain: with every control moved, where figures are longest; plain with all at rest."""
    know, ways = shipped.knowledge, Ways.of(shipped.knowledge, shipped.network)
    moved = Figures.of(shipped, {control: positions[-1] for control, positions in know.controls.items()}, [])
    rest = Figures.of(shipped, {}, [])
    return {
        (circuit, plain): draw(rest if plain else moved, ways, (circuit,), plain=plain)
        for circuit in circuit_of(know, None)
        for plain in (False, True)
    }


def test_five_vehicles_are_shipped() -> None:
    """So that the fixture above does not run over nothing."""
    assert len(VEHICLES) == 5


def test_no_text_lies_on_another_or_off_the_page(drawings: Drawings) -> None:
    """Two words on one spot are read as a third; what lies beyond the view box is not printed."""
    for name, svg in drawings.items():
        texts, page = texts_of(svg), page_of(svg)
        assert len(texts) > 10
        assert not overlaps_of(texts), name
        assert not [t for t in texts if t.left < 0 or t.top < 0 or t.right > page.right or t.bottom > page.bottom], name


def test_no_wire_strikes_a_text_out(drawings: Drawings) -> None:
    """A struck-out figure cannot be read."""
    for name, svg in drawings.items():
        assert wires_of(svg)
        assert not struck_of(texts_of(svg), wires_of(svg)), name


def test_texts_of_a_box_stay_in_it(drawings: Drawings) -> None:
    """What sticks out of its box belongs to nobody."""
    for name, svg in drawings.items():
        boxes = boxes_of(svg).values()
        for text in texts_of(svg):
            for box in boxes:
                if text.overlaps(box):
                    assert box.left <= text.left and text.right <= box.right + 0.01, (name, text, box)
                    assert box.top <= text.top + 0.01 and text.bottom <= box.bottom + 0.2, (name, text, box)


def test_these_checks_see_a_drawing_that_is_wrong(drawings: Drawings) -> None:
    """Letters twice as large, and a page cut in half: a check that passes these would pass anything."""
    svg = max(drawings.values(), key=len)
    large = re.sub(r'font-size="2.3"', 'font-size="4.6"', svg)
    assert overlaps_of(texts_of(large)) and struck_of(texts_of(large), wires_of(large))
    page = page_of(svg)
    half = svg.replace(f'viewBox="0 0 {page.right:g}', f'viewBox="0 0 {page.right / 2:g}', 1)
    assert page_of(half).right < page.right - 1
    assert any(text.right > page_of(half).right for text in texts_of(half))


def test_a_plain_diagram_tells_no_state(shipped: Predictor, drawings: Drawings) -> None:
    """It hangs on the wall for every day: no volts, no amps but those stamped on a fuse, nothing alight; every wire
    with its number, colour and section."""
    know = shipped.knowledge
    for (circuit, plain), svg in drawings.items():
        if not plain:
            continue
        words = [text.text for text in texts_of(svg)]
        assert not [word for word in words if re.fullmatch(r"-?[\d.]+ V", word)], circuit
        assert not {"dark", "normal", "still", "none", "released"} & set(words)
        told = {word for line in words for word in line.split()}
        for number, (wire, entry) in enumerate(know.wires.items(), start=1):
            if know.circuit_of[wire] == circuit:
                assert f"W{number}" in told and {entry.colour, f"{entry.section_mm2:g}"} <= told, wire


def test_plugs_are_drawn_pin_upon_pin(shipped: Predictor) -> None:
    """Of a coupled plug no two ways may touch: stop joined with turn would be a fault that is not there."""
    ways = Ways.of(shipped.knowledge, shipped.network)
    figures = Figures.of(shipped, {}, [])
    for part, entry in shipped.knowledge.parts.items():
        if entry.kind != "plug":
            continue
        svg = draw(figures, ways, (shipped.knowledge.circuit_of[part],))
        box = boxes_of(svg)[part]
        texts = [text for text in texts_of(svg) if text.overlaps(box)]
        at = {text.text: text for text in texts}
        for one in elements_of(figures, part, entry):
            a, b = (at[end.partition(".")[2]] for end in (one.a, one.b))
            if abs(a.top - b.top) > 3:  # on both edges: one below the other
                assert abs(a.left - b.left) < 0.1, (part, one)
