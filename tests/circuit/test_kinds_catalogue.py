"""Every kind of part is described in one place, and every mode that the files give is one that a kind can have."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from diag.circuit.faults import derive_causes
from diag.circuit.kinds.catalogue import KINDS
from diag.circuit.network import Change
from diag.circuit.parts import build_network
from diag.knowledge import schema
from diag.knowledge.load import load_knowledge
from tests.circuit.vehicles import EVERY_KIND, Lab, vehicle, write_vehicle

_MODES: dict[str, set[str]] = {
    "battery": {"flat", "post-loose", "cell-dead", "reversed"},
    "ground": {"open", "resistive"},
    "fuse": {"blown", "resistive", "too-small", "too-large"},
    "lamp": {"open", "wrong-wattage", "led", "led-reversed"},
    "switch": {f"{mode}-30-{out}" for mode in ("open", "resistive", "stuck") for out in ("58", "56")}
    | {"bridged-58-56", "swapped-30-58"},
    "oil": {"stuck-open", "stuck-closed"},
    "unit": {"never-opens", "never-closes", "tell-tale-contact-open", "wrong-rating"},
    "horn": {"open", "seized", "case-earthed"},
    "ring": {"open", "resistive"},
    "dynamo": {"armature-open", "field-open", "no-output"},
    "box": {"cut-out-open", "cut-out-stuck", "field-contact-open", "set-too-high"},
    "dimmer": {"open", "worn", "bypassed"},
    "points": {"stuck-open", "stuck-closed"},
    "tank": {"open", "shorted"},
    "relay": {"coil-open", "contact-open", "contact-burnt", "stuck", "break-contact-open"},
    "tail": {"open-54", "open-58", "bridged", "turned", "wrong-wattage", "holder-open"},
    "alternator": {"no-output", "set-too-high", "diode-open", "diode-short", "exciter-open"},
    "starter": {"solenoid-open", "contact-burnt", "contact-stuck", "motor-open", "seized", "bypass-open"},
    "blower": {"open", "seized"},
    "wiper": {"slow-open", "fast-open", "park-feed-open", "park-earth-open", "park-stuck", "seized"},
    "coil": {"open", "shorted-turns"},
    "ballast": {"open", "bridged"},
    "heater": {"open", "shorted"},
    "valve": {"open", "shorted"},
    "radio": {"open", "shorted"},
    "gauge": {"open"},
    "diode": {"open", "shorted", "reversed"},
    "socket": {"open-L", "open-31", "resistive-L", "resistive-31", "out"},
    "one": {"open", "resistive", "to-body", "to-wire-two", "at-56"},
    "two": {"open", "resistive", "to-body", "at-56"},
}
"""Part or wire of `EVERY_KIND` to all its faults, as they are cited."""


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Lab:
    return vehicle(tmp_path_factory.mktemp("every"), EVERY_KIND)


def test_every_kind_of_the_schema_has_a_place_in_the_catalogue() -> None:
    """A kind that loads and is nothing electrically would be a hole in every prediction."""
    assert set(KINDS) == set(get_args(schema.AnyPart))


def test_the_bench_vehicle_has_every_kind(lab: Lab) -> None:
    """What follows is about all kinds only if all are there."""
    assert {part.kind for part in lab.knowledge.parts.values()} == set(schema.PART_KINDS)


@pytest.mark.parametrize("subject", list(_MODES))
def test_a_kind_fails_in_exactly_these_ways(lab: Lab, subject: str) -> None:
    """Rules and remedies cite causes by these ids; one that is renamed or lost breaks them."""
    found = lab.of(subject)
    fickle = {mode for mode in found if mode.endswith("-at-times")}
    assert found - fickle == _MODES[subject]
    assert {mode.removesuffix("-at-times") for mode in fickle} <= {mode for mode in found if mode.startswith("open")}


def test_every_fault_changes_something(lab: Lab) -> None:
    """A change that does nothing would be a cause that no answer can tell from a sound vehicle."""
    for cause in lab.causes.values():
        assert cause.change is not None and cause.change != Change(), cause.id


def test_every_mode_of_the_files_is_one_that_a_kind_has(lab: Lab) -> None:
    """A mode in kinds.yaml that nothing derives is a slip of the pen that nobody would ever see.

    Swapped wires need wires; they are held in the tests of their kinds.
    """
    derived = {(cause.kind, cause.mode) for cause in lab.causes.values()}
    given = {(kind, mode) for kind, modes in lab.knowledge.kinds.kinds.items() for mode in modes}
    assert {(kind, mode) for kind, mode in given - derived if mode != "swapped"} == set()
    swappable = {kind for kind, mode in given if mode == "swapped"}
    assert swappable == {
        kind
        for model, found in KINDS.items()
        if found.swaps
        for kind in get_args(model.model_fields["kind"].annotation)
    }


def test_a_mode_that_the_file_does_not_give_is_not_derived(tmp_path: Path) -> None:
    """A workshop that never meets a fault takes its line out and is not asked about it again."""
    path = write_vehicle(tmp_path, EVERY_KIND)
    kinds = tmp_path / "kinds.yaml"
    lines = kinds.read_text(encoding="utf-8")
    start = lines.index("    cell-dead:")
    kinds.write_text(lines[:start] + lines[lines.index("    reversed:", start) :], encoding="utf-8")
    knowledge = load_knowledge(path, tmp_path)
    found = {cause.id for cause in derive_causes(knowledge, build_network(knowledge))}
    assert "battery.cell-dead" not in found
    assert "battery.reversed" in found


def test_every_cause_has_a_title_a_remedy_form_and_an_age(lab: Lab) -> None:
    """What a person reads of a fault is its title and what mends it."""
    for cause in lab.causes.values():
        verb = cause.remedy.removeprefix(f"{cause.subject}.")
        assert verb in lab.knowledge.kinds.remedies, cause.id
        assert cause.frequency > 0
        assert "{" not in cause.title and cause.title[0].isalnum()


def test_a_new_loom_makes_other_faults_likely(tmp_path: Path) -> None:
    """After a rewire a wire on a wrong terminal is met fifteen times as often, a worn contact less."""
    old = vehicle(tmp_path / "old", EVERY_KIND)
    new = vehicle(tmp_path / "new", EVERY_KIND, history="rewired")
    assert new.causes["one.at-56"].frequency > 5 * old.causes["one.at-56"].frequency
    assert new.causes["relay.contact-burnt"].frequency < old.causes["relay.contact-burnt"].frequency
