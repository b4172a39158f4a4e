"""The drawing can be read and traced: nothing overlaps, nothing is missing, and it joins what the network joins.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import pytest

from diag.circuit.network import BODY
from diag.circuit.predict import Predictor
from diag.knowledge.assemble import Knowledge
from diag.sheet.asked import causes_of, circuit_of
from diag.sheet.colours import insulation
from diag.sheet.drawing import draw
from diag.sheet.faces import Face, make_face
from diag.sheet.figures import Figures
from diag.sheet.inside import elements_of
from diag.sheet.plan import Box, make_plan
from diag.sheet.ways import Ways, end_part
from tests.sheet.paper import boxes_of, texts_of, wires_of

ROOT = Path(__file__).parents[2]
LEFT = {"ignition": "on", "turn": "left"}
MANY = "earth-rear-left.open,turn-switch-left-wire.resistive,fuse-horn.blown"


def figures_of(predictor: Predictor, operate: dict[str, str], fault: str = "") -> Figures:
    """Solved with faults parted by commas."""
    return Figures.of(predictor, operate, causes_of(predictor.causes, fault or None))


def drawn(predictor: Predictor, circuit: str, operate: dict[str, str], fault: str = "") -> str:
    """One circuit's drawing."""
    return draw(figures_of(predictor, operate, fault), Ways.of(predictor.knowledge, predictor.network), (circuit,))


def circuits(predictor: Predictor) -> tuple[str, ...]:
    return circuit_of(predictor.knowledge, None)


VEHICLES = [("demo", LEFT, ""), ("demo", LEFT, MANY), ("everything", {"ignition": "on", "lights": "head"}, "")]


@pytest.fixture(scope="module")
def drawings(demo: Predictor, everything: Predictor) -> dict[tuple[str, str, str], str]:
    """Every circuit of both vehicles, healthy and with faults."""
    found = {}
    for vehicle, operate, fault in VEHICLES:
        predictor = {"demo": demo, "everything": everything}[vehicle]
        for circuit in circuits(predictor):
            found[vehicle, circuit, fault] = drawn(predictor, circuit, operate, fault)
    return found


# ---------------------------------------------------------------- readable


def test_no_text_lies_on_another(drawings: dict[tuple[str, str, str], str]) -> None:
    """Two figures on top of each other are read as a third one."""
    for name, svg in drawings.items():
        texts = texts_of(svg)
        assert len(texts) > 30
        for one, other in combinations(texts, 2):
            assert not one.overlaps(other), (name, one, other)


def test_no_wire_runs_through_a_text_or_a_box(drawings: dict[tuple[str, str, str], str]) -> None:
    """A struck-out figure cannot be read, and a wire that dives under a box cannot be followed."""
    for name, svg in drawings.items():
        texts, boxes = texts_of(svg), boxes_of(svg)
        for wire in wires_of(svg):
            for (x1, y1), (x2, y2) in pairwise(wire.points):
                low, high, top, foot = min(x1, x2), max(x1, x2), min(y1, y2), max(y1, y2)
                for text in texts:
                    assert text.right < low - 0.2 or text.left > high + 0.2 or text.bottom < top or text.top > foot, (
                        name,
                        wire.title,
                        text,
                    )
                for box in boxes.values():
                    inside = box.left + 0.1 < high and low < box.right - 0.1
                    assert not (inside and box.top + 0.1 < foot and top < box.bottom - 0.1), (name, wire.title, box)


def test_no_two_wires_share_a_line(drawings: dict[tuple[str, str, str], str]) -> None:
    """Two wires drawn on one line are one to the eye; they may cross but not run together."""
    for name, svg in drawings.items():
        for one, other in combinations(wires_of(svg), 2):
            for (ax, ay), (bx, by) in pairwise(one.points):
                for (cx, cy), (dx, dy) in pairwise(other.points):
                    if ax == bx and cx == dx and abs(ax - cx) < 1.0:
                        shared = min(max(ay, by), max(cy, dy)) - max(min(ay, by), min(cy, dy))
                    elif ay == by and cy == dy and abs(ay - cy) < 1.0:
                        shared = min(max(ax, bx), max(cx, dx)) - max(min(ax, bx), min(cx, dx))
                    else:
                        continue
                    assert shared < 0.1, (name, one.title, other.title)


def test_boxes_stand_apart_and_their_texts_inside(drawings: dict[tuple[str, str, str], str]) -> None:
    """What sticks out of its box belongs to nobody."""
    for name, svg in drawings.items():
        boxes = boxes_of(svg)
        for one, other in combinations(boxes.values(), 2):
            assert not one.overlaps(other), (name, one, other)
        for text in texts_of(svg):
            for box in boxes.values():
                if text.overlaps(box):
                    assert box.left <= text.left and text.right <= box.right + 0.01, (name, text, box)
                    assert box.top <= text.top + 0.01 and text.bottom <= box.bottom + 0.2, (name, text, box)


def test_everything_lies_on_the_paper(drawings: dict[tuple[str, str, str], str]) -> None:
    """A label beyond the edge is not printed."""
    for name, svg in drawings.items():
        _, _, wide, high = (float(n) for n in ElementTree.fromstring(svg).get("viewBox", "").split())
        for text in texts_of(svg):
            assert text.left >= 0 and text.right <= wide, (name, text)
            assert text.top >= 0 and text.bottom <= high, (name, text)


# ---------------------------------------------------------------- complete


@pytest.mark.parametrize("vehicle", ["demo", "everything"])
def test_every_part_wire_and_terminal_of_a_circuit_is_drawn(
    vehicle: str, drawings: dict[tuple[str, str, str], str], request: pytest.FixtureRequest
) -> None:
    """With its number, colour and section beside it: a person traces by them."""
    knowledge: Knowledge = request.getfixturevalue(vehicle).knowledge
    for circuit in circuits(request.getfixturevalue(vehicle)):
        svg = drawings[vehicle, circuit, ""]
        texts, boxes = texts_of(svg), boxes_of(svg)
        own = [part for part in knowledge.parts if knowledge.circuit_of[part] == circuit]
        assert set(own) <= set(boxes)
        for end in knowledge.terminals:
            part, _, terminal = end.partition(".")
            if part in own:
                assert any(t.text == terminal and t.overlaps(boxes[part]) for t in texts), end
        found = {wire.title.partition(":")[0]: wire for wire in wires_of(svg)}
        for name, wire in knowledge.wires.items():
            if knowledge.circuit_of[name] != circuit:
                continue
            beside = [t for t in texts if _beside(t, found[name].points)]
            assert any(t.text == wire.colour for t in beside), name
            assert any(f"{wire.section_mm2:g} mm²" in t.text for t in beside), name


def _beside(text: object, points: tuple[tuple[float, float], ...]) -> bool:
    left, top = text.left, text.top  # type: ignore[attr-defined]
    return any(
        x1 == x2 and 0 < left - x1 < 2.5 and min(y1, y2) - 1 < top < max(y1, y2)
        for (x1, y1), (x2, y2) in pairwise(points)
    )


@pytest.mark.parametrize("vehicle", ["demo", "everything"])
def test_every_wire_ends_on_the_boxes_of_its_parts(
    vehicle: str, drawings: dict[tuple[str, str, str], str], request: pytest.FixtureRequest
) -> None:
    """A wire that stops short of its part cannot be traced; a stub goes to what is drawn elsewhere."""
    knowledge: Knowledge = request.getfixturevalue(vehicle).knowledge
    for circuit in circuits(request.getfixturevalue(vehicle)):
        svg = drawings[vehicle, circuit, ""]
        boxes = boxes_of(svg)
        for wire in wires_of(svg):
            entry = knowledge.wires[wire.title.partition(":")[0]]
            touched = {
                part
                for part, box in boxes.items()
                for x, y in (wire.points[0], wire.points[-1])
                if box.left <= x <= box.right and min(abs(y - box.top), abs(y - box.bottom)) < 0.02
            }
            assert touched <= {end_part(entry.from_), end_part(entry.to)}
            assert len(touched) == (2 if knowledge.circuit_of[wire.title.partition(":")[0]] == circuit else 1)


@pytest.mark.parametrize(
    ("vehicle", "operate"),
    [
        ("demo", LEFT),
        ("demo", {"hazard": "on"}),
        ("everything", {}),
        ("everything", {"bed-dip": "main", "bed-wiper": "fast"}),
    ],
)
def test_lines_inside_a_box_join_what_the_network_joins(
    vehicle: str, operate: dict[str, str], request: pytest.FixtureRequest
) -> None:
    """A symbol between the wrong two terminals, or a line that runs on where it should end, tells of another
    part than the one in the vehicle."""
    predictor: Predictor = request.getfixturevalue(vehicle)
    knowledge, ways = predictor.knowledge, Ways.of(predictor.knowledge, predictor.network)
    figures = figures_of(predictor, operate)
    seen = 0
    for circuit in circuits(predictor):
        for part, box in make_plan(knowledge, ways, circuit).boxes.items():
            elements = elements_of(figures, part, knowledge.parts[part])
            pins = {pin.end: [("0 V", False)] for pin in (*box.upper, *box.lower)}
            face = make_face(box, knowledge.parts[part].title, [], pins, elements)
            seen += _check_inside(box, face)
            if not box.guest:
                assert {figure.element.id for figure in face.figures} >= {element.id for element in elements}
    assert seen > 30


def _check_inside(box: Box, face: Face) -> int:
    """Follows the lines between the edges of a box; gives how many symbols it followed."""
    pieces: list[tuple[float, float, float, float]] = []
    parting = [f for f in face.figures if f.element.sign != "bar"]
    for link in face.links:
        if link.y1 == link.y2 and link.y1 in (0.0, face.size.height):
            pieces.append((link.x1, link.y1, link.x2, link.y2))
            continue
        cuts = sorted(
            (f.y if link.x1 == link.x2 else f.x)
            for f in parting
            if (f.upright and link.x1 == link.x2 == f.x and min(link.y1, link.y2) <= f.y <= max(link.y1, link.y2))
            or (not f.upright and link.y1 == link.y2 == f.y and min(link.x1, link.x2) < f.x < max(link.x1, link.x2))
        )
        upright = link.x1 == link.x2
        spots = sorted((link.y1, link.y2) if upright else (link.x1, link.x2))
        for low, high in pairwise([spots[0], *cuts, spots[1]]):
            low, high = low + 0.01 * (low in cuts), high - 0.01 * (high in cuts)
            if high > low:
                pieces.append((link.x1, low, link.x1, high) if upright else (low, link.y1, high, link.y1))
    group = list(range(len(pieces)))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    for i, j in combinations(range(len(pieces)), 2):
        if _touch(pieces[i], pieces[j]):
            group[root(i)] = root(j)

    def at(x: float, y: float) -> int | None:
        return next((root(i) for i, p in enumerate(pieces) if _on(p, x, y)), None)

    ends: dict[str, int] = {}
    for pins, y in ((box.upper, 0.0), (box.lower, face.size.height)):
        for pin in pins:
            for wire in pin.wires or [""]:
                x = face.size.ends.get((pin.end, wire))
                found = at(x, y) if x is not None else None
                if found is not None:
                    assert ends.setdefault(pin.end, found) == found, f"{pin.end} is parted"
    bodies = {at(x, y) for x, y in face.earths}
    bar_joined = {frozenset((f.element.a, f.element.b)) for f in face.figures if f.element.sign == "bar"}
    for one, other in combinations(ends, 2):
        if ends[one] == ends[other]:
            assert _joined(bar_joined, one, other), f"{one} and {other} are drawn as one"
    for figure in parting:
        step = 0.02
        before = at(figure.x, figure.y - step) if figure.upright else at(figure.x - step, figure.y)
        after = at(figure.x, figure.y + step) if figure.upright else at(figure.x + step, figure.y)
        first, last = (after, before) if figure.turned else (before, after)
        for name, side in ((figure.element.a, first), (figure.element.b, last)):
            if name == BODY:
                assert side in bodies, figure.element.id
            elif name in ends:
                assert side == ends[name], (figure.element.id, name)
            elif name in box.terminals:
                continue  # a terminal without a wire has no place to ask at
            else:
                assert ends.setdefault(name, side if side is not None else -1) == side, figure.element.id
    return len(parting)


def _joined(bars: set[frozenset[str]], one: str, other: str) -> bool:
    """Whether bars alone lead from one end to the other."""
    reached, before = {one}, set[str]()
    while reached != before:
        before = set(reached)
        reached |= {end for bar in bars if bar & reached for end in bar}
    return other in reached


def _on(piece: tuple[float, float, float, float], x: float, y: float) -> bool:
    x1, y1, x2, y2 = piece
    return min(x1, x2) - 1e-6 <= x <= max(x1, x2) + 1e-6 and min(y1, y2) - 1e-6 <= y <= max(y1, y2) + 1e-6


def _touch(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    """An end on the other line joins; two lines that only cross do not."""
    return any(_on(b, *end) for a, b in ((one, other), (other, one)) for end in ((a[0], a[1]), (a[2], a[3])))


# ---------------------------------------------------------------- what it says


def test_faults_are_told_in_words_at_their_place(drawings: dict[tuple[str, str, str], str]) -> None:
    """Not by colour only: the sheet may be printed in black, and one man in twelve sees no red."""
    stop = drawings["demo", "stop-lamps", MANY]
    texts = texts_of(stop)
    assert any(text.text.startswith("! FAULT 1: Rear left earth point") for text in texts)
    box = boxes_of(stop)["earth-rear-left"]
    assert any(text.text == "FAULT 1" and text.overlaps(box) for text in texts)
    assert any(text.text.startswith("! ") and text.overlaps(box) for text in texts)
    turn = drawings["demo", "turn-signals", MANY]
    (wire,) = [wire for wire in wires_of(turn) if wire.title.startswith("turn-switch-left-wire:")]
    assert any(text.text == "FAULT 2" and _beside(text, wire.points) for text in texts_of(turn))


def test_wires_with_current_are_thicker(demo: Predictor) -> None:
    """The eye follows the live feed: amps decide, not the section."""
    svg = drawn(demo, "turn-signals", LEFT)
    wide = {}
    for group in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}g"):
        title = group.find("{http://www.w3.org/2000/svg}title")
        paths = group.findall("{http://www.w3.org/2000/svg}path")
        if title is not None and ": " in (title.text or ""):
            wide[(title.text or "").partition(":")[0]] = float(paths[2].get("stroke-width", "0"))
    figures = figures_of(demo, LEFT)
    live = {wire: w for wire, w in wide.items() if abs(figures.amps(1, wire)) > 0.05}
    dead = {wire: w for wire, w in wide.items() if abs(figures.amps(1, wire)) < 0.01}
    assert len(live) > 5 and len(dead) > 5
    assert min(live.values()) > max(dead.values())


def test_every_colour_of_the_vocabulary_is_drawn_in_its_own_shade(demo: Predictor) -> None:
    """Two colours of one shade would make the drawing lie; each is set off by its outline."""
    names = demo.knowledge.vocabulary.wire_colours
    shades = {name: insulation(name).main for name in names}
    assert len(set(shades.values())) == len(names)
    for name in names:
        for stripe in names:
            shown = insulation(f"{name}/{stripe}")
            assert (shown.main, shown.stripe) == (shades[name], shades[stripe])
            assert shown.outline != shown.main
    assert insulation("red").stripe is None
    assert insulation("mauve").main not in shades.values()


# ---------------------------------------------------------------- as a file


def test_drawing_is_the_same_in_every_process() -> None:
    """Two prints of one state must not differ: no date, no order of memory, no chance."""
    script = (
        "from diag.circuit.predict import Predictor\n"
        "from diag.knowledge.load import load_knowledge\nfrom tests.vehicles import SIX\n"
        "from diag.sheet.drawing import draw\nfrom diag.sheet.figures import Figures\n"
        "from diag.sheet.ways import Ways\nimport hashlib\n"
        "p = Predictor(load_knowledge(SIX), ())\n"
        "f = Figures.of(p, {'ignition': 'on', 'turn': 'left'})\n"
        "w = Ways.of(p.knowledge, p.network)\n"
        "both = draw(f, w, ('turn-signals', 'supply')) + draw(f, w, ('supply', 'horn'), plain=True)\n"
        "print(hashlib.sha256(both.encode()).hexdigest())\n"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
        ).stdout
        for seed in ("1", "2")
    }
    assert len(found) == 1
    assert len(found.pop().strip()) == 64


def test_drawing_needs_nothing_from_outside_and_runs_nothing(drawings: dict[tuple[str, str, str], str]) -> None:
    """It is opened on a phone without a network, and in a browser that must not obey it."""
    for svg in drawings.values():
        root = ElementTree.fromstring(svg)
        for element in root.iter():
            assert element.tag.rpartition("}")[2] in {
                "svg", "defs", "title", "g", "rect", "path", "line", "circle", "text",
            }  # fmt: skip
            for name, value in element.attrib.items():
                assert not name.startswith("on") and "href" not in name and "url(" not in value


HOSTILE = "</text><script>alert(1)</script> & \"quoted\" 'x' <![CDATA[ ]]> \u202e\x07 $x_1^2$ " + "W" * 90


def test_hostile_titles_stay_words(demo: Predictor) -> None:
    """A vehicle file comes from a stranger: its titles are shown, never obeyed, and break no layout."""
    know = demo.knowledge
    part = know.parts["horn"].model_copy(update={"title": HOSTILE})
    wire = know.wires["horn-feed"].model_copy(update={"title": HOSTILE, "colour": "<b>/&"})
    horn = know.circuits["horn"].model_copy(update={"title": HOSTILE})
    changed = replace(
        know,
        parts={**know.parts, "horn": part},
        wires={**know.wires, "horn-feed": wire},
        circuits={**know.circuits, "horn": horn},
        vehicle=know.vehicle.model_copy(update={"title": HOSTILE}),
    )
    svg = drawn(Predictor(changed, ()), "horn", {"horn-button": "pressed"})
    root = ElementTree.fromstring(svg)
    assert not [element for element in root.iter() if "script" in element.tag]
    texts = texts_of(svg)
    assert any("<script>" in text.text for text in texts)
    for one, other in combinations(texts, 2):
        assert not one.overlaps(other), (one, other)
    assert "\x07" not in svg and "\u202e" not in svg
