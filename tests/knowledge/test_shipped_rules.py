"""The shipped rules: they load, and every vehicle among them does."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.errors import KnowledgeError
from diag.knowledge import folders
from diag.knowledge.lint import warnings
from diag.knowledge.load import circuit_names, default_vehicle, load_knowledge, rules_folder

VEHICLES = sorted((rules_folder() / "vehicles").glob("*.yaml"))


@pytest.mark.parametrize("vehicle", VEHICLES, ids=lambda path: path.stem)
def test_every_shipped_vehicle_loads_without_a_problem(vehicle: Path) -> None:
    """Loading raises with every problem, so a failure names each."""
    know = load_knowledge(vehicle)
    assert know.parts
    assert know.checks


def test_every_shipped_circuit_is_on_a_shipped_vehicle_and_nearly_all_on_the_demonstration_one() -> None:
    """Or a circuit's file would be checked by nothing."""
    every = {"supply", "shared", *circuit_names(rules_folder())}
    vehicles = [load_knowledge(path) for path in sorted((rules_folder() / "vehicles").glob("*.yaml"))]
    assert {circuit for know in vehicles for circuit in know.circuits} == every
    assert set(load_knowledge(default_vehicle()).circuits) == every - {"trailer-lamps"}


def test_no_terminal_of_the_demonstration_vehicle_lacks_its_wire_unnoticed() -> None:
    """A part whose feed was forgotten in the file would look like a fault of the vehicle."""
    know = load_knowledge(default_vehicle())
    bare = {problem.what for problem in warnings(know) if problem.what.startswith("no wire is on")}
    lamps = [name for name, part in know.parts.items() if part.kind in ("lamp", "fuse", "horn", "earth")]
    assert not {text for text in bare for name in lamps if f"`{name}." in text}


def test_an_installed_package_uses_the_rules_it_carries(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside an installed package a folder named `rules` may belong to anybody."""
    for folder in ("diag/_rules", "rules"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "vocabulary.yaml").write_text("light: []\n", encoding="utf-8")
    monkeypatch.setattr(folders, "_PACKAGE", tmp_path / "diag")
    assert rules_folder() == tmp_path / "diag" / "_rules"
    (tmp_path / "diag/_rules/vocabulary.yaml").unlink()
    assert rules_folder() == tmp_path / "rules"
    (tmp_path / "rules/vocabulary.yaml").unlink()
    with pytest.raises(KnowledgeError, match="the shipped rules are missing"):
        rules_folder()
