"""Vehicles that the tests of alterations work on, and one alteration carried through on paper."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from diag.alter.work import Altered, alter
from diag.knowledge.alterations import Recipe, load_alteration
from diag.knowledge.load import rules_folder

DATE = "2026-11-28"
ALL = "turn-signals, stop-lamps, headlamps, horn, oil-warning, charge-warning"


def vehicle_text(system_v: int = 12, circuits: str = ALL, more: str = "", earth: str = "negative") -> str:
    return (
        f"# An invented van.\nvehicle: van\ntitle: Van      # as people call it\nsystem-v: {system_v} V\n"
        f"earth: {earth}\nhistory: rewired\n# what it has\ncircuits: [{circuits}]\n{more}"
    )


def vehicle(folder: Path, system_v: int = 12, circuits: str = ALL, more: str = "", earth: str = "negative") -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / "van.yaml"
    path.write_text(vehicle_text(system_v, circuits, more, earth), encoding="utf-8")
    return path


def recipe(kind: str) -> Recipe:
    return load_alteration(rules_folder() / "alterations" / f"{kind}.yaml")


def altered(path: Path, kind: str, *settings: str) -> Altered:
    return alter(path, recipe(kind), settings, DATE, f"{path.stem}.before-{kind}.yaml")


def shown(rows: Sequence[object]) -> str:
    return "\n".join(str(row) for row in rows)
