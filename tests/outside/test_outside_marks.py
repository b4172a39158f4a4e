"""Terminal marks of every shipped circuit against DIN 72552."""

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
from tests.outside.marks import DIN_72552, OLD_TO_NEW, SENDER

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
            assert mark in DIN_72552 or mark in SENDER, f"{name}.{terminal}"


@pytest.mark.parametrize("path", _files(), ids=lambda path: path.stem)
def test_every_terminal_number_in_a_text_is_in_the_standard(path: Path) -> None:
    """Titles and steps name terminals as well."""
    unknown = set(_marks(yaml.safe_load(path.read_text(encoding="utf-8")))) - DIN_72552.keys()
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


def _old_marks() -> list[tuple[str, str, str]]:
    """Part, new mark and old mark that a shipped alteration gives."""
    found = []
    for path in sorted((rules_folder() / "alterations").glob("*.yaml")):
        for change in yaml.safe_load(path.read_text(encoding="utf-8")).get("changes", ()):
            for terminal, marks in change.get("marks", {}).items():
                part, _, new = terminal.partition(".")
                found += [(part, new, str(old)) for old in marks]
    return found


def test_old_marks_lead_to_the_new_ones_of_the_published_table() -> None:
    """Whoever follows a wrong one puts the battery on the tell-tale."""
    found = [(part, new, old) for part, new, old in _old_marks() if old in OLD_TO_NEW]
    wrong = [(part, new, old) for part, new, old in found if new not in OLD_TO_NEW[old]]
    assert not wrong
    assert {old for _, _, old in found} == set(OLD_TO_NEW)
    for _, new, _ in _old_marks():
        assert new in DIN_72552
