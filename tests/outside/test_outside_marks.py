"""Terminal marks of every shipped circuit against DIN 72552, copied here with their meaning."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from diag.knowledge.assemble import terminals_of
from diag.knowledge.load import rules_folder
from tests.circuit.demo import CHARGING, DIPPED, HAZARD, KEY, LEFT, MAIN, REST, SIDE, STOP, Demo

_DIN_72552 = {
    "1": "coil, low-tension side to the contact breaker",
    "4": "coil, high-tension output",
    "15": "positive behind the key switch",
    "15a": "behind the ballast resistor",
    "30": "positive straight from the battery",
    "31": "return to battery negative, or body",
    "31b": "return to negative through a switch",
    "49": "input of the flasher unit",
    "49a": "output of the flasher unit",
    "50": "starter control",
    "53": "wiper motor, feed",
    "53a": "wiper, self-park feed",
    "53b": "wiper, second speed",
    "53c": "washer pump",
    "53e": "wiper, park switch",
    "54": "stop lamps",
    "54g": "trailer socket, additional line",
    "55": "front fog lamps",
    "56": "headlamps, feed to the dip switch",
    "56a": "main beam and its tell-tale",
    "56b": "dipped beam",
    "57a": "parking lights",
    "58": "side, tail, number-plate and instrument lamps",
    "58d": "instrument lamps, dimmed",
    "58L": "side and tail lamps, left",
    "58R": "side and tail lamps, right",
    "61": "charge tell-tale",
    "71": "horn",
    "75": "accessories",
    "82": "make contact, feed",
    "82a": "make contact, output",
    "83": "switch of several positions, feed",
    "83a": "switch of several positions, first output",
    "83b": "switch of several positions, second output",
    "85": "relay coil, end towards negative",
    "86": "relay coil, end towards positive",
    "87": "relay contact",
    "87a": "relay contact, closed at rest",
    "B+": "battery positive",
    "B-": "battery negative",
    "C": "flasher unit, tell-tale",
    "D+": "dynamo positive",
    "D-": "dynamo negative",
    "DF": "dynamo field",
    "L": "turn lamps, left",
    "R": "turn lamps, right",
}
"""Source: DIN 72552 (meanings in our own words; 53c to 54g, 75 to 83b, 85, 86, 87, 87a from memory)."""
_G = "G"
"""The single terminal of a sender; not in DIN 72552. Source: common practice, no source."""
_OWN_KINDS = {"joint", "fuse"}
"""Kinds whose terminals bear no mark on a vehicle: `in`, `out` and plain words are ours there."""


def _files() -> list[Path]:
    return sorted(rules_folder().rglob("*.yaml"))


def _marks(node: Any) -> Iterator[str]:
    """Marks that texts speak of as a terminal."""
    if isinstance(node, dict):
        for value in node.values():
            yield from _marks(value)
    elif isinstance(node, list):
        for value in node:
            yield from _marks(value)
    elif isinstance(node, str):
        yield from re.findall(r"\bterminals? ([0-9]{1,2}[a-zLR]?)\b", node)


def test_every_terminal_of_the_demo_vehicle_is_in_the_standard(demo: Demo) -> None:
    """A mark of our own making would not be found on any part."""
    for name, part in demo.knowledge.parts.items():
        isolator = part.kind == "switch" and set(terminals_of(part)) == {"in", "out"}
        if part.kind in _OWN_KINDS or isolator:
            continue
        for terminal in terminals_of(part):
            mark = terminal.removesuffix("-t") if part.kind == "plug" else terminal
            assert mark in _DIN_72552 or mark == _G, f"{name}.{terminal}"


@pytest.mark.parametrize("path", _files(), ids=lambda path: path.stem)
def test_every_terminal_number_in_a_text_is_in_the_standard(path: Path) -> None:
    """Titles and steps name terminals as well."""
    unknown = set(_marks(yaml.safe_load(path.read_text(encoding="utf-8")))) - _DIN_72552.keys()
    assert not unknown


def test_the_search_for_terminal_numbers_finds_some() -> None:
    """Guards the test above: were the pattern wrong, it would pass on nothing."""
    found = {mark for path in _files() for mark in _marks(yaml.safe_load(path.read_text(encoding="utf-8")))}
    assert {"15", "61", "71"} <= found


def test_marks_carry_the_volts_that_their_meaning_says(demo: Demo) -> None:
    """30 always live, 15 with the key, 49 with key or hazard, 54 with the pedal, 58 with the lights, 31 near body."""
    assert demo.volts("key-switch.30", REST) > 12.0
    assert abs(demo.volts("key-switch.15", REST)) < 0.1 and demo.volts("key-switch.15", KEY) > 12.0
    assert abs(demo.volts("flasher-unit.49", REST)) < 0.1
    assert demo.volts("flasher-unit.49", KEY) > 12.0 and demo.volts("flasher-unit.49", HAZARD) > 11.5
    assert abs(demo.volts("pedal-switch.54", KEY)) < 0.1 and demo.volts("pedal-switch.54", STOP) > 11.5
    assert abs(demo.volts("light-switch.58", REST)) < 0.1 and demo.volts("light-switch.58", SIDE) > 12.0
    for part, known in demo.knowledge.parts.items():
        if known.kind in ("lamp", "two-filament-lamp") and "31" in terminals_of(known):
            for operate in (LEFT, HAZARD, STOP, SIDE, DIPPED, MAIN):
                assert abs(demo.volts(f"{part}.31", operate)) < 0.1, f"{part}.31"


def test_61_is_low_standing_and_at_battery_volts_charging(demo: Demo) -> None:
    """Under 2 V with the lamp lit, about battery volts when charging (from memory)."""
    assert demo.volts("regulator.61", KEY) < 2.0
    assert demo.volts("regulator.61", CHARGING) == pytest.approx(demo.volts("battery.B+", CHARGING), abs=1.0)
