"""Whatever the recipe and the choice: the new file loads, and the sound vehicle passes every proving check.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.alter.work import Altered
from diag.calc.copper import continuous_a
from diag.calc.fusing import fuse_holds_wire
from diag.knowledge.alterations import alteration_names
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import FusePart
from tests.alter.vehicles import altered, recipe, vehicle

KINDS = alteration_names()
DOUBTED = {("flasher-unit", "technique", "thermal")}
"""A thermal unit for one side flashes fast with the lamps of both: said on the sheet, tested beside the trade facts."""
NEGATIVE_ONLY = {"alternator"}


def settings_of(kind: str) -> list[tuple[str, ...]]:
    """What is usual, and each choice otherwise with the others as usual."""
    choices = recipe(kind).model.choices
    usual = {name: next(iter(option.choices)) for name, option in choices.items()}
    others = [{**usual, name: value} for name, option in choices.items() for value in list(option.choices)[1:]]
    ways = [tuple(way.items()) for way in (usual, *others)]
    return [
        tuple(f"{name}={value}" for name, value in way)
        for way in ways
        if not any((kind, *pair) in DOUBTED for pair in way)
    ]


CASES = [
    (kind, system_v, earth, settings)
    for kind in KINDS
    for system_v, earth in ((6, "positive"), (12, "negative"), (12, "positive"), (24, "negative"))
    if not recipe(kind).model.for_v or system_v in recipe(kind).model.for_v
    if earth == "negative" or kind not in NEGATIVE_ONLY
    for settings in (settings_of(kind) if (system_v, earth) == (12, "negative") else settings_of(kind)[:1])
]


@pytest.fixture(
    scope="module", params=CASES, ids=lambda case: f"{case[0]}-{case[1]}V-{case[2][:3]}-{'-'.join(case[3])}"
)
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Altered]:
    kind, system_v, earth, settings = request.param
    path = vehicle(tmp_path_factory.mktemp("van"), system_v, earth=earth)
    return path, altered(path, kind, *settings)


def test_the_new_file_loads_and_keeps_its_history(case: tuple[Path, Altered], tmp_path: Path) -> None:
    path, done = case
    new = tmp_path / "van.yaml"
    new.write_text(done.text, encoding="utf-8")
    knowledge = load_knowledge(new)
    (entry,) = knowledge.vehicle.history_of_alterations
    assert (entry.date, entry.kind in KINDS, entry.what) == ("2026-11-28", True, done.sheet.what)
    assert entry.what
    assert "# what it has\n" in done.text and "# as people call it" in done.text
    assert path.read_text(encoding="utf-8").startswith("# An invented van.")


def test_the_sound_vehicle_passes_every_proving_check(case: tuple[Path, Altered]) -> None:
    """What the sheet asks for is what the network gives; and a fair part of it is computed, not said."""
    _, done = case
    assert done.sheet.doubts == ()
    assert done.after.blown == []
    proofs = done.sheet.proofs
    assert len(proofs) >= 10
    assert sum(row.good is True for row in proofs) >= 0.7 * len(proofs)
    assert not [row for row in proofs if row.good is False]
    known = done.after.knowledge.checks
    assert all(row.check_id in known for row in proofs)


def test_what_is_computed_goes_the_right_way(case: tuple[Path, Altered]) -> None:
    _, done = case
    assert not [row for row in done.sheet.figures if row.good is False]


def test_every_wire_carries_its_current_and_every_fuse_holds_its_wires(case: tuple[Path, Altered]) -> None:
    """Of what the alteration brings in; under every operate that the sheet computes."""
    _, done = case
    known = done.after.knowledge
    fresh = [name for name in known.wires if name not in done.before.knowledge.wires]
    for name in fresh:
        assert done.after.most_amps(name) <= continuous_a(known.wires[name].section_mm2), name
    for name, part in known.parts.items():
        for wire in fresh if isinstance(part, FusePart) else ():
            if known.wires[wire].from_ == f"{name}.out":
                assert fuse_holds_wire(known.wires[wire].section_mm2, part.rating_a, part.link).holds, wire
        if isinstance(part, FusePart) and name not in done.before.knowledge.parts:
            assert done.after.most_amps(name) <= 0.8 * part.rating_a
            at_it = [wire for wire in fresh if known.wires[wire].from_ == f"{name}.out"]
            assert at_it
            for wire in at_it:
                assert fuse_holds_wire(known.wires[wire].section_mm2, part.rating_a, part.link).holds


def test_cautions_come_before_steps_and_the_battery_is_off_before_any_wire(case: tuple[Path, Altered]) -> None:
    _, done = case
    sheet = done.sheet
    assert "earth clamp off the battery first" in " ".join(sheet.cautions[0].split())
    off = next(i for i, step in enumerate(sheet.steps) if step.startswith("Battery off"))
    on = next(i for i, step in enumerate(sheet.steps) if step.startswith("Battery on"))
    hands = ("Take off", "Take out", "Replace", "Fit", "Lay", "Move", "Put back")
    at = [i for i, step in enumerate(sheet.steps) if step.startswith(hands)]
    assert at and off < min(at) and max(at) < on


def test_every_new_or_moved_end_has_its_fitting(case: tuple[Path, Altered]) -> None:
    _, done = case
    for row in done.sheet.map:
        if row.action == "new":
            assert len(row.ends) == 2, row
        if row.action == "move":
            assert len(row.ends) >= 1 and row.was != row.now, row
        assert all("crimp" in end or "ring" in end or "clamp" in end for end in row.ends), row
        assert "(" in row.wire, "colours are named"
