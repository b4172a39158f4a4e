"""The sheet as a table says what the network says, of everything once, and fits its columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pytest

from diag.circuit import observe
from diag.circuit.predict import Predictor
from diag.knowledge.load import load_knowledge
from diag.sheet.asked import circuit_of
from diag.sheet.figures import FAULTY, HEALTHY, Figures, Pulse, amps_words, look_words, volts_words
from diag.sheet.table import CircuitRows, PointRow, Sheet, WireRow, make_sheet
from diag.sheet.text import NARROW, WIDE, as_text
from diag.sheet.ways import Ways, end_part
from tests.vehicles import SIX

LEFT = {"ignition": "on", "turn": "left"}
REAR = {"ignition": "on", "lights": "side", "brake-pedal": "pressed"}
SEEN = [
    (LEFT, "earth-rear-left.open"),
    (LEFT, "flasher-unit.never-opens"),
    (LEFT, "turn-lamp-front-left.wrong-wattage"),
    (REAR, "stop-wire.resistive"),
    (REAR, "tail-wire.to-body"),
    ({"horn-button": "pressed"}, "horn.seized"),
    ({"ignition": "on", "engine": "running"}, "dynamo.no-output"),
    ({}, "battery.flat"),
]


def sheet_of(predictor: Predictor, operate: Mapping[str, str], fault: str | None, circuit: str | None = None) -> Sheet:
    """The sheet as the verb makes it."""
    causes = [cause for cause in predictor.causes if cause.id == fault]
    assert len(causes) == (fault is not None)
    figures = Figures.of(predictor, operate, causes)
    return make_sheet(
        figures, Ways.of(predictor.knowledge, predictor.network), circuit_of(predictor.knowledge, circuit)
    )


def points(sheet: Sheet) -> Iterator[PointRow]:
    """All terminals of a sheet."""
    for circuit in sheet.circuits:
        for part in circuit.parts:
            yield from part.points


def wires(circuits: tuple[CircuitRows, ...]) -> list[WireRow]:
    """All wires of a sheet."""
    return [wire for circuit in circuits for part in circuit.parts for point in part.points for wire in point.wires]


@pytest.mark.parametrize(("operate", "fault"), SEEN)
def test_every_figure_is_the_predictors(demo: Predictor, operate: dict[str, str], fault: str) -> None:
    """A sheet with figures of its own would send a person after faults that are none."""
    table = Predictor(demo.knowledge, [operate])
    number = next(i for i, cause in enumerate(table.causes) if cause.id == fault)
    shown, net = table.shown(operate).rows([0, 1 + number]), table.network
    limits, system_v = demo.knowledge.vocabulary.light_limits, demo.knowledge.vehicle.system_v
    sheet = sheet_of(demo, operate, fault)
    pulsing = int(shown.flasher[1].argmax()) >= 2
    for point in points(sheet):
        node = net.node(point.id)
        lit, unlit = float(shown.volts[1, node]), float(shown.off_volts[1, node])
        assert point.volts == volts_words(Pulse(lit, unlit if pulsing else lit)), point.id
        looks = observe.test_lamp_looks(shown, net, point.id, np.zeros(2), limits, system_v)
        assert point.lamp == look_words(observe.LOOKS[int(looks[1].argmax())]), point.id
    for wire in wires(sheet.circuits):
        assert wire.amps.lstrip("-") == amps_words(abs(float(shown.branch_a[1, net.branch(wire.id)]))), wire.id
    for lamp in sheet.lamps:
        looks = observe.lamp_looks(shown, net, lamp.id, np.zeros(2), limits)
        assert lamp.now == look_words(observe.LOOKS[int(looks[1].argmax())]), lamp.id
        healthy = look_words(observe.LOOKS[int(looks[0].argmax())])
        assert lamp.healthy == (healthy if healthy != lamp.now else ""), lamp.id


def test_healthy_battery_and_a_dark_vehicle_by_hand(demo: Predictor) -> None:
    """Everything off: 12.6 V at every point before a switch (the battery's rest volts), nothing behind it."""
    found = {point.id: point for point in points(sheet_of(demo, {}, None))}
    assert demo.knowledge.parts["battery"].rest_v == 12.6  # type: ignore[union-attr]
    assert (found["battery.B+"].volts, found["key-switch.30"].volts, found["fuse-hazard.out"].volts) == ("12.6 V",) * 3
    assert (found["key-switch.15"].volts, found["earth-dash.31"].volts) == ("0.00 V", "0.00 V")
    assert (found["battery.B+"].lamp, found["key-switch.15"].lamp) == ("normal, steady", "dark")


def test_a_meters_figures_have_one_decimal_and_two_below_a_volt() -> None:
    """11.94 is read as 11.9, 0.238 as 0.24, and 0.996 not as 1.00."""
    assert volts_words(Pulse(11.94, 11.94)) == "11.9 V"
    assert volts_words(Pulse(0.238, 0.238)) == "0.24 V"
    assert volts_words(Pulse(0.996, 0.996)) == "1.0 V"
    assert volts_words(Pulse(-0.0001, -0.0001)) == "0.00 V"
    assert volts_words(Pulse(-12.61, -12.61)) == "-12.6 V"
    assert volts_words(Pulse(11.94, 0.0)) == "11.9/0.00 V"
    assert [amps_words(a) for a in (0.001, 0.0849, 3.944, 9.996, 23.44)] == [
        "0 A",
        "0.08 A",
        "3.94 A",
        "10.0 A",
        "23.4 A",
    ]


@pytest.mark.parametrize("vehicle", ["demo", "everything"])
def test_every_lamp_terminal_wire_and_fuse_stands_on_the_sheet_once(
    vehicle: str, request: pytest.FixtureRequest
) -> None:
    """What is left out is what nobody checks; what stands twice is checked twice."""
    predictor: Predictor = request.getfixturevalue(vehicle)
    sheet = sheet_of(predictor, LEFT, None)
    knowledge = predictor.knowledge
    assert Counter(lamp.id for lamp in sheet.lamps) == Counter(lamp.id for lamp in predictor.network.filaments)
    assert Counter(point.id for point in points(sheet)) == Counter(knowledge.terminals)
    assert Counter(wire.id for wire in wires(sheet.circuits)) == Counter(list(knowledge.wires))
    parts = [part for circuit in sheet.circuits for part in circuit.parts]
    assert Counter(part.id for part in parts) == Counter(list(knowledge.parts))
    assert {part.id for part in parts if part.amps} == {
        p for p, found in knowledge.parts.items() if found.kind == "fuse"
    }


def test_one_circuit_comes_with_the_points_that_feed_it(demo: Predictor) -> None:
    """Whoever prints one circuit must see where its feed comes from, and nothing of the others."""
    sheet = sheet_of(demo, LEFT, None, "turn-signals")
    (circuit,) = sheet.circuits
    found = {point.id for point in points(sheet)}
    assert {"bus-15.1", "bus-30.3", "earth-dash.31"} <= found
    assert "bus-15.2" not in found
    assert {wire.id for wire in wires(sheet.circuits)} == {
        wire for wire in demo.knowledge.wires if demo.knowledge.circuit_of[wire] == "turn-signals"
    }
    assert {end_part(lamp.id) for lamp in sheet.lamps} == {
        part for part in demo.knowledge.parts if part.startswith("turn-lamp") or part == "turn-tell-tale"
    }
    assert circuit.id == "turn-signals"


@pytest.mark.parametrize(("operate", "fault"), SEEN)
def test_a_mark_stands_where_a_figure_differs_and_nowhere_else(
    demo: Predictor, operate: dict[str, str], fault: str
) -> None:
    """A person reads the marked lines first: each must be worth it, and none may be missing."""
    figures = Figures.of(demo, operate, [cause for cause in demo.causes if cause.id == fault])
    sheet = make_sheet(figures, Ways.of(demo.knowledge, demo.network), circuit_of(demo.knowledge, None))
    for point in points(sheet):
        now, was = (figures.volts(row, point.id) for row in (FAULTY, HEALTHY))
        apart = max(abs(now.lit - was.lit), abs(now.unlit - was.unlit))
        lamps = figures.test_lamp(FAULTY, point.id) != figures.test_lamp(HEALTHY, point.id)
        if apart > 0.5 or lamps:
            assert point.healthy.startswith(volts_words(was)), point.id
        if apart < 0.1 and not lamps:
            assert point.healthy == "", point.id
    for lamp in sheet.lamps:
        assert bool(lamp.healthy) == (figures.look(FAULTY, lamp.id) != figures.look(HEALTHY, lamp.id))


def test_healthy_sheet_has_no_mark(demo: Predictor) -> None:
    """A mark on a sound vehicle would send a person looking."""
    text = as_text(sheet_of(demo, LEFT, None), WIDE)
    assert "healthy" not in text
    assert not any(line.startswith("!") for line in text.splitlines())


def test_fuse_that_the_fault_blows_is_told_first_and_at_its_place(demo: Predictor) -> None:
    """The person must know before pressing the switch that a fuse will go."""
    sheet = sheet_of(demo, {"lights": "side"}, "tail-wire.to-body")
    assert sheet.happens == ("Tail lamp fuse, 8 A: blows.",)
    text = as_text(sheet, WIDE)
    assert text.index("Tail lamp fuse, 8 A: blows.") < text.index("Lamps\n")
    (fuse,) = [part for circuit in sheet.circuits for part in circuit.parts if part.id == "fuse-tail"]
    assert (fuse.amps, fuse.healthy) == ("0 A", "1.06 A")


def changed_demo(folder: Path, text: str) -> Predictor:
    """The demo vehicle with these overrides."""
    file = folder / "changed.yaml"
    file.write_text(SIX.read_text(encoding="utf-8") + text, encoding="utf-8")
    return Predictor(load_knowledge(file), ())


def test_wire_that_no_fuse_saves_is_told_as_a_danger(demo: Predictor, tmp_path: Path) -> None:
    """Trying the operate would burn the loom: the sheet warns before anything else. At 0.5 mm² (0.8 mm thick)
    copper melts from 57 A (Preece's law), at 1.5 mm² not before 130 A, but its insulation does."""
    thin = changed_demo(tmp_path, "overrides: {wires: {horn-fuse-feed: {section-mm2: 0.5 mm2}}}\n")
    for predictor, fault, title, says in (
        (demo, "horn-fuse-feed.to-body", "Link to the horn fuse", "carries 100.2 A"),
        (demo, "main-feed.to-body", "Main feed", "carries"),
        (thin, "horn-fuse-feed.to-body", "Link to the horn fuse", "burns through"),
    ):
        lines = [line for line in sheet_of(predictor, {}, fault).happens if line.startswith(title)]
        assert len(lines) == 1
        assert says in lines[0]
        assert "earth clamp" in lines[0]


def test_no_danger_is_told_of_a_sound_vehicle(demo: Predictor, everything: Predictor) -> None:
    """Also where the starter turns: its cable is made for it."""
    assert sheet_of(demo, REAR, None).happens == ()
    sheet = sheet_of(everything, {"bed-start-button": "pressed"}, None)
    amps = {wire.id: wire.amps for wire in wires(sheet.circuits)}
    assert float(amps["wire-16"].removesuffix(" A")) > 100
    assert not [line for line in sheet.happens if line.startswith("wire 16")]


def test_fault_that_is_not_electrical_says_so(demo: Predictor) -> None:
    """Else the empty sheet would look like a sheet of a sound vehicle."""
    fault = next(cause for cause in demo.causes if cause.change is None)
    assert any("not electrical" in note for note in sheet_of(demo, {}, fault.id).notes)


def test_motors_and_relays_are_told_as_they_are_heard(everything: Predictor) -> None:
    """The starter turns while its button is pressed, the wiper at its switch, the relay with its lamps; and a
    relay whose coil is broken does not, with what it should do beside it."""
    on = {"ignition": "on", "lights": "head", "bed-wiper": "slow", "bed-start-button": "pressed"}
    found = {row.id: row.now for row in sheet_of(everything, on, None).motors}
    assert found == {
        "starter": "runs",
        "blower": "runs",
        "wiper": "runs",
        "relay-lamps": "pulled in",
        "fuel-gauge": "middle",
    }
    rest = {row.id: row.now for row in sheet_of(everything, {}, None).motors}
    assert rest == {
        "starter": "still",
        "blower": "still",
        "wiper": "still",
        "relay-lamps": "released",
        "fuel-gauge": "low",
    }
    faulty = {row.id: row for row in sheet_of(everything, {"lights": "head"}, "relay-lamps.coil-open").motors}
    assert (faulty["relay-lamps"].now, faulty["relay-lamps"].healthy) == ("released", "pulled in")


def test_flash_rate_stands_beside_the_click(demo: Predictor) -> None:
    """A person counts it: 85 a minute is what this unit is made for."""
    (unit,) = [row for row in sheet_of(demo, LEFT, None).sounds if row.id == "flasher-unit"]
    assert unit.now == "click, about 85 a minute"


@pytest.mark.parametrize("columns", [NARROW, WIDE, 57, 20])
@pytest.mark.parametrize(("operate", "fault"), [*SEEN[:5], (LEFT, None)])
def test_lines_fit_their_columns(demo: Predictor, operate: dict[str, str], fault: str | None, columns: int) -> None:
    """On a phone of forty columns a broken line is an unreadable one."""
    text = as_text(sheet_of(demo, operate, fault), columns)
    assert max(len(line) for line in text.splitlines()) <= max(columns, NARROW)


def test_narrow_and_wide_say_the_same(demo: Predictor) -> None:
    """Only the breaks differ: every figure of the wide sheet stands on the narrow one, as often."""
    sheet = sheet_of(demo, *SEEN[0])
    narrow, wide = (Counter(as_text(sheet, columns).replace(",", " ").split()) for columns in (NARROW, WIDE))
    figures = [word for word in wide if word[0].isdigit()]
    assert len(figures) > 30
    assert {word: narrow[word] for word in figures} == {word: wide[word] for word in figures}


def test_positive_earth_reads_below_body(tmp_path: Path) -> None:
    """With plus at body a meter whose black lead is on body shows minus at every feed; currents still run on."""
    text = SIX.read_text(encoding="utf-8")
    turned = "{wires: {battery-earth-lead: {from: battery.B+}, battery-cable: {from: battery.B-}}}"
    file = tmp_path / "positive.yaml"
    file.write_text(f"{text.replace('earth: negative', 'earth: positive')}overrides: {turned}\n", encoding="utf-8")
    sheet = sheet_of(Predictor(load_knowledge(file), ()), {"lights": "side"}, None)
    found = {point.id: point for point in points(sheet)}
    assert found["light-switch.58"].volts.startswith("-12.")
    assert found["light-switch.58"].lamp == "normal, steady"
    amps = {wire.id: wire.amps for wire in wires(sheet.circuits)}
    assert (amps["main-feed"], amps["main-earth-cable"]) == ("1.06 A", "1.06 A")
