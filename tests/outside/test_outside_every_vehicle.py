"""Every shipped vehicle, and every option of the circuits' files, against standards: marks, colours, fuses, pins.

Each table names its source; they are copied here a second time, apart from the program.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

from diag.circuit.network import Change
from diag.circuit.parts import build_network
from diag.circuit.predict import bench_of
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.knowledge.load import load_knowledge, rules_folder
from tests.outside.marks import DIN_72552, SENDER
from tests.reasoners import demo_vehicles, file_of

VEHICLES = demo_vehicles()
_LOADED: dict[str, Knowledge] = {}


def _vehicle(name: str) -> Knowledge:
    """Loaded once for the module."""
    if name not in _LOADED:
        _LOADED[name] = load_knowledge(file_of(name))
    return _LOADED[name]


# ---------------------------------------------------------------- terminals


@pytest.mark.parametrize("name", VEHICLES)
def test_every_terminal_of_every_vehicle_is_in_the_standard(name: str) -> None:
    """Source: DIN 72552. Joints, fuses and an isolator bear no marks on a vehicle: theirs are plain words."""
    for part_name, part in _vehicle(name).parts.items():
        if part.kind in ("joint", "fuse") or set(terminals_of(part)) == {"in", "out"}:
            continue
        for terminal in terminals_of(part):
            mark = terminal.removesuffix("-t") if part.kind == "plug" else terminal
            assert mark in DIN_72552 or mark in SENDER, f"{part_name}.{terminal}"


_OF_KIND = {
    "battery": {"B+", "B-"},
    "dynamo": {"D+", "DF"},
    "alternator": {"B+", "D+"},
    "regulator": {"B+", "61", "D+", "DF", "31"},
    "flasher-unit": {"49", "49a"},
    "horn": {"71", "31b"},
    "ignition-coil": {"15", "1"},
    "relay": {"85", "86", "30", "87"},
    "starter": {"30", "50", "31"},
}
"""Marks that a part of that kind bears at least. Source: DIN 72552; 30, 87 of square relays: ISO 7588 (data sheet)."""


@pytest.mark.parametrize("name", VEHICLES)
def test_parts_bear_the_marks_of_their_kind(name: str) -> None:
    """A dynamo without D+ or a unit without 49a would not be recognised by whoever holds it."""
    for part_name, part in _vehicle(name).parts.items():
        wanted = _OF_KIND.get(part.kind, set())
        assert wanted <= set(terminals_of(part)), part_name


_KEY = {"ignition": "on"}
_RUNNING = {"ignition": "on", "engine": "running"}
_STATES: tuple[tuple[str, Mapping[str, str], Mapping[str, str]], ...] = (
    ("key-switch.30", {}, {"battery": "disconnected"}),
    ("key-switch.15", _KEY, {}),
    ("ignition-coil.15", _KEY, {}),
    ("ignition-coil.1", {**_KEY, "points": "open"}, {**_KEY, "points": "closed"}),
    ("starter.50", {"ignition": "start"}, _KEY),
    ("flasher-unit.49", _KEY, {}),
    ("flasher-unit.49a", {**_KEY, "turn": "left"}, {}),
    ("flasher-unit.C", {**_KEY, "turn": "left"}, _KEY),
    ("turn-switch.L", {**_KEY, "turn": "left"}, {**_KEY, "turn": "right"}),
    ("turn-switch.R", {**_KEY, "turn": "right"}, {**_KEY, "turn": "left"}),
    ("wiper-motor.53", {**_KEY, "wiper": "slow"}, _KEY),
    ("wiper-motor.53b", {**_KEY, "wiper": "fast"}, _KEY),
    ("wiper-motor.53a", _KEY, {}),
    ("pedal-switch.54", {**_KEY, "brake-pedal": "pressed"}, _KEY),
    ("fog-lamp-left.55", {"lights": "side", "fog-switch": "on"}, {"lights": "side"}),
    ("light-switch.56", {"lights": "head"}, {"lights": "side"}),
    ("headlamp-left.56a", {"lights": "head", "dip": "main"}, {"lights": "head"}),
    ("headlamp-left.56b", {"lights": "head"}, {"lights": "head", "dip": "main"}),
    ("light-switch.58", {"lights": "side"}, {}),
    ("dimmer.58d", {"lights": "side"}, {}),
    ("regulator.61", _RUNNING, _KEY),
    ("horn.71", {}, {"battery": "disconnected"}),
    ("horn.31b", {}, {"horn-button": "pressed"}),
    ("dynamo.D+", _RUNNING, _KEY),
    ("fog-relay.86", {"lights": "side", "fog-switch": "on"}, {"lights": "side"}),
    ("fog-relay.87", {"lights": "side", "fog-switch": "on"}, {"lights": "side"}),
    ("reversing-lamp.82a", {**_KEY, "gear": "reverse"}, _KEY),
)
"""Terminal, controls that put battery volts on it, controls that leave it near body. Source: DIN 72552 for the meaning;
the states from memory."""


def test_each_mark_is_live_and_dead_as_its_meaning_says() -> None:
    """Within 2 V of the battery, 3.6 V while cranking; under 1 V otherwise. 49a, C, L, R while the unit is closed."""
    knowledge = _vehicle("demo-pickup.yaml")
    network = build_network(knowledge)
    operates = [operate for _, live, dead in _STATES for operate in (live, dead)]
    shown, _ = bench_of(knowledge, network).operate(operates, [Change()] * len(operates))
    for n, (terminal, live, _) in enumerate(_STATES):
        volts = shown.volts[:, network.node(terminal)]
        least = 9.0 if live.get("ignition") == "start" else 10.6
        assert volts[2 * n] > least, f"{terminal}: {volts[2 * n]:.2f} V under {live}"
        assert abs(volts[2 * n + 1]) < 1.0, f"{terminal}: {volts[2 * n + 1]:.2f} V should be dead"


def test_on_a_positive_earth_the_same_marks_are_live_below_body() -> None:
    """6 V, positive pole on body: 15, 30, 54, 56a, 56b, 58 carry about -6 V (common practice, no source)."""
    knowledge = _vehicle("demo-motorcycle.yaml")
    network = build_network(knowledge)
    cases = [
        (terminal, live)
        for terminal, live in (
            ("key-switch.30", {}),
            ("key-switch.15", _KEY),
            ("stop-lamp-left.54", {**_KEY, "brake-pedal": "pressed"}),
            ("headlamp-left.56a", {**_KEY, "lights": "head", "dip": "main"}),
            ("headlamp-left.56b", {**_KEY, "lights": "head"}),
            ("tail-lamp-left.58", {**_KEY, "lights": "side"}),
        )
    ]
    shown, _ = bench_of(knowledge, network).operate([live for _, live in cases], [Change()] * len(cases))
    for n, (terminal, live) in enumerate(cases):
        assert -6.6 < shown.volts[n, network.node(terminal)] < -5.2, f"{terminal} under {live}"


# ---------------------------------------------------------------- tell-tales

_TELL_TALES = {
    "charge-lamp": {"red"},
    "oil-lamp": {"red"},
    "turn-tell-tale": {"green"},
    "main-beam-tell-tale": {"blue"},
    "fog-tell-tale": {"green", "amber"},
}
"""Source: UN R121, table 1 (main beam blue, turn and front fog green; rear fog amber: from memory); ISO 2575 (charge
and oil red: from memory)."""


def _entries(node: Any, name: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every mapping of a file under its key, whichever option it belongs to."""
    if isinstance(node, dict):
        yield name, node
        for key, value in node.items():
            yield from _entries(value, str(key))
    elif isinstance(node, list):
        for value in node:
            yield from _entries(value, name)


_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The quick one where it was built."""


def _written_tell_tales() -> list[tuple[str, str, str]]:
    """File, part and colour of each tell-tale that a circuit's file writes down, in every option."""
    found = []
    for path in sorted((rules_folder() / "circuits").glob("*.yaml")):
        for name, entry in _entries(yaml.load(path.read_text(encoding="utf-8"), Loader=_LOADER)):
            if entry.get("tell-tale") is True:
                found.append((path.stem, name, entry.get("colour", "white")))
    return found


def test_every_tell_tale_in_every_option_has_the_colour_of_the_regulation() -> None:
    """A new tell-tale without an entry in the table above fails here, so that somebody looks its colour up."""
    found = _written_tell_tales()
    assert {name for _, name, _ in found} == set(_TELL_TALES)
    wrong = [(circuit, name, colour) for circuit, name, colour in found if colour not in _TELL_TALES[name]]
    assert not wrong


@pytest.mark.parametrize("name", VEHICLES)
def test_tell_tales_of_every_vehicle(name: str) -> None:
    for part_name, part in _vehicle(name).parts.items():
        if isinstance(part, schema.LampPart) and part.tell_tale:
            assert part.colour in _TELL_TALES[part_name], part_name


@pytest.mark.parametrize(("lamps", "colour"), [("front", "green"), ("both", "green"), ("rear", "amber")])
def test_the_fog_tell_tale_is_green_in_front_and_amber_behind(lamps: str, colour: str, tmp_path: Path) -> None:
    """Source: UN R121, items 7 and 8 (rear fog amber: from memory). With both on one switch it is the front's."""
    file = tmp_path / "fog.yaml"
    file.write_text(
        "vehicle: fog\ntitle: An invented vehicle with fog lamps\nsystem-v: 12 V\nearth: negative\nhistory: rewired\n"
        "circuits: [stop-lamps, turn-signals, fog-lamps]\n"
        f"options:\n  fog-lamps: {{lamps: {lamps}, switched: relay}}\n",
        encoding="utf-8",
    )
    part = load_knowledge(file).parts["fog-tell-tale"]
    assert isinstance(part, schema.LampPart) and part.colour == colour


# ---------------------------------------------------------------- fuses, lamps, horns

_RATINGS = {
    "blade": {1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40},
    "torpedo": {5, 8, 16, 25, 40},
    "glass": {1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30},
}
"""Source: ISO 8820-3 (blade), DIN 72581 (torpedo, from memory), common practice, no source (glass)."""


@pytest.mark.parametrize("name", VEHICLES)
def test_every_fuse_of_every_vehicle_can_be_bought(name: str) -> None:
    fuses = [part for part in _vehicle(name).parts.values() if isinstance(part, schema.FusePart)]
    assert fuses, "every one of the five has a fuse"
    for part in fuses:
        assert part.rating_a in _RATINGS[part.link], part.title


_SIGNAL_W: Mapping[float, tuple[tuple[float, float], ...]] = {
    6.75: ((24.4, 27.6), (9.0, 11.0), (4.5, 6.6), (3.6, 4.4), (1.8, 2.2)),
    13.5: ((23.5, 26.5), (9.0, 11.0), (4.5, 6.6), (3.6, 4.4), (2.55, 3.45), (1.8, 2.2)),
}
"""Volts of the test to spans of watts: P21W, R10W, R5W and the smaller filament of P21/5W, T4W, W3W. Source: UN R37;
all but P21/5W from memory; 2 W (not in R37): common practice, no source."""
_HEADLAMP_W: Mapping[float, tuple[tuple[float, float], ...]] = {13.2: ((57.0, 51.0), (75.0, 68.0))}
"""R2 and H4: most watts of main and dipped beam at 13.2 V. Source: UN R37, from memory."""
_NOT_IN_R37 = {"stop-lamp-left", "headlamp-left", "fog-lamp-left", "fog-lamp-right"}
"""Older caps that the regulation has no category for: 18 W and 25/25 W on 6 V, 35 W on 12 V (common practice, no
source)."""


@pytest.mark.parametrize("name", VEHICLES)
def test_every_lamp_of_every_vehicle_has_the_watts_of_a_category(name: str) -> None:
    """Watts at the regulation's volts, half the volts on 6 V."""
    seen = 0
    for part_name, part in _vehicle(name).parts.items():
        if isinstance(part, schema.LampPart) and part_name not in _NOT_IN_R37:
            assert any(low <= part.test_w <= high for low, high in _SIGNAL_W[part.test_v]), part_name
            seen += 1
        elif isinstance(part, schema.TwoFilamentPart) and part_name.startswith("headlamp"):
            if part_name not in _NOT_IN_R37 or _vehicle(name).vehicle.system_v == 12:
                assert part.test_w in _HEADLAMP_W[part.test_v], part_name
                seen += 1
        elif isinstance(part, schema.TwoFilamentPart):
            major, minor = part.test_w
            assert 23.5 <= major <= 26.5 and 5.4 <= minor <= 6.6, f"{part_name}: P21/5W on 12 V"
            seen += 1
    assert seen > 2


_HORN_A = {12.0: (3.0, 6.0), 6.0: (6.0, 10.0)}
"""One horn, by system volts; 6 V: twice the 12 V figure at least, 8 to 10 A usual (common practice, no source)."""


@pytest.mark.parametrize("name", [name for name in VEHICLES if name != "demo-trailer.yaml"])
def test_horns_draw_what_horns_draw(name: str) -> None:
    """And the check of its current lets a usual one pass."""
    knowledge = _vehicle(name)
    low, high = _HORN_A[knowledge.vehicle.system_v]
    (horn,) = [part for part in knowledge.parts.values() if isinstance(part, schema.HornPart)]
    assert low <= horn.current_a <= high
    check = knowledge.checks.get("horn-current")
    if check is not None and check.limits is not None:
        assert check.limits.min == low
        assert check.limits.max is not None and check.limits.max >= high


# ---------------------------------------------------------------- limits of checks


@pytest.mark.parametrize("name", [name for name in VEHICLES if "battery-volts-cranking" in _vehicle(name).checks])
def test_cranking_limits_are_the_published_ones(name: str) -> None:
    """Battery 9.6 V at least (common practice, no source); starter positive side 0.6 V and return 0.3 V at most
    (published joint-by-joint table), main cable 0.5 V (automotive handbook table), 1.7 V on the way to terminal 50
    (the same, from memory)."""
    checks = _vehicle(name).checks

    def limit(check: str) -> schema.Limits:
        found = checks[check].limits
        assert found is not None
        return found

    assert 9.6 <= (limit("battery-volts-cranking").min or 0) <= 10.0
    assert limit("starter-50-volts").min == pytest.approx(9.6 - 1.7, abs=0.11), "control line to 50: 1.7 V in all"
    assert limit("cable-drop-cranking").max == 0.5
    assert (limit("cable-drop-cranking").max or 9) + (limit("lug-drop-cranking").max or 9) <= 0.6 + 1e-9
    assert limit("earth-drop-cranking").max == 0.3
    assert (limit("strap-drop-cranking").max or 9) <= 0.3


@pytest.mark.parametrize("name", [name for name in VEHICLES if "battery-volts-running" in _vehicle(name).checks])
def test_charging_limits_hold_the_published_windows(name: str) -> None:
    """Dynamo 13.5 to 15.0 V, alternator 13.8 to 14.8 V, 6 V half (published windows, from memory): what lies within
    must pass, and half a volt above a full battery's rest (common practice, no source) is asked at least."""
    knowledge = _vehicle(name)
    share = knowledge.vehicle.system_v / 12.0
    limits = knowledge.checks["battery-volts-running"].limits
    assert limits is not None and limits.min is not None and limits.max is not None
    assert limits.min <= 13.5 * share and limits.max >= 14.8 * share
    assert limits.min >= (12.65 + 0.5) * share, "half a volt above rest"
    assert limits.max <= 15.0 * share + 1e-9


@pytest.mark.parametrize("name", VEHICLES)
def test_key_off_current_is_held_to_the_usual_ceiling(name: str) -> None:
    """50 mA (common practice, no source; a technician's training module says 35 mA); 6 V: twice the current."""
    knowledge = _vehicle(name)
    limits = knowledge.checks["key-off-amps"].limits
    assert limits is not None and limits.max == pytest.approx(0.05 * 12.0 / knowledge.vehicle.system_v)


# ---------------------------------------------------------------- trailer socket

_ISO_1724: Mapping[str, tuple[str, float, Mapping[str, str]]] = {
    "L": ("yellow", 1.5, {"ignition": "on", "turn": "left"}),
    "54g": ("blue", 1.5, {}),
    "31": ("white", 2.5, {}),
    "R": ("green", 1.5, {"ignition": "on", "turn": "right"}),
    "58R": ("brown", 1.5, {"lights": "side"}),
    "54": ("red", 1.5, {"ignition": "on", "brake-pedal": "pressed"}),
    "58L": ("black", 1.5, {"lights": "side"}),
}
"""Pins 1 to 7 by mark: colour of its core, least section, and the controls that make it live. Source: ISO 1724, as
pages on trailer wiring quote it; colours ISO 4141-3. 54g live by itself is the older use of pin 2 (the same pages)."""


def _pickup_volts(operate: Mapping[str, str]) -> dict[str, float]:
    """Volts to body on the vehicle's side of each pin, nothing hitched."""
    knowledge = _vehicle("demo-pickup.yaml")
    network = build_network(knowledge)
    shown, _ = bench_of(knowledge, network).operate([operate], [Change()])
    return {pin: float(shown.volts[0, network.node(f"trailer-socket.{pin}")]) for pin in _ISO_1724}


def test_pins_of_the_trailer_socket_come_in_the_order_of_the_standard() -> None:
    part = _vehicle("demo-pickup.yaml").parts["trailer-socket"]
    assert isinstance(part, schema.PlugPart)
    assert tuple(part.pins) == tuple(_ISO_1724)


@pytest.mark.parametrize("pin", list(_ISO_1724))
def test_the_wire_of_each_pin_has_the_standards_colour_and_section(pin: str) -> None:
    wires = [
        wire for wire in _vehicle("demo-pickup.yaml").wires.values() if f"trailer-socket.{pin}" in (wire.from_, wire.to)
    ]
    colour, section, _ = _ISO_1724[pin]
    assert wires and {wire.colour for wire in wires} == {colour}
    assert all(wire.section_mm2 >= section for wire in wires)


@pytest.mark.parametrize("pin", [pin for pin in _ISO_1724 if pin != "31"])
def test_each_pin_is_live_by_its_own_control_and_dead_otherwise(pin: str) -> None:
    """The earth pin never is; 58L and 58R share a control."""
    _, _, operate = _ISO_1724[pin]
    found = _pickup_volts(operate)
    assert found[pin] > 11.0
    for other, volts in found.items():
        if other not in (pin, "54g") and _ISO_1724[other][2] != operate:
            assert abs(volts) < 0.1, other
    assert abs(found["31"]) < 0.1
