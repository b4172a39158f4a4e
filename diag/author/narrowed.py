"""A vehicle narrowed to some of its circuits, so that recorded jobs about these are replayed in seconds.

Knows vehicle files and which circuit needs which; nothing of jobs.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

import yaml

from diag.author.layering import ids_in
from diag.errors import KnowledgeError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import Layer
from diag.knowledge.load import load_knowledge
from diag.knowledge.reader import read_yaml

__all__ = ["narrowed"]

_ALWAYS = ("supply", "shared")
_ROUNDS = 4


def narrowed(whole: Knowledge, vehicle: Path, circuits: Collection[str], layers: Sequence[Layer], to: Path) -> Path:
    """A vehicle file below `to` with these circuits and those that they need, else as it is; the vehicle's own file
    where that cannot be made."""
    kept = _with_needs(whole, [name for name in whole.vehicle.circuits if name in circuits])
    if not kept or set(whole.vehicle.circuits) <= kept:
        return vehicle
    data = dict(read_yaml(vehicle).data)
    # what the vehicle takes away is only named in the files; all else is known by its circuit
    named = {name for layer in layers for circuit in (*kept, *_ALWAYS) for name in _names(layer, circuit)}
    known = {name for name in named if name not in whole.circuit_of}
    known |= {name for name, circuit in whole.circuit_of.items() if circuit in kept or circuit in _ALWAYS}
    data["circuits"] = [name for name in whole.vehicle.circuits if name in kept]
    data["options"] = {name: chosen for name, chosen in _mapping(data.get("options")).items() if name in kept}
    if isinstance(data.get("assumed"), list):
        data["assumed"] = [name for name in data["assumed"] if name in known]
    overrides = {
        section: {name: entry for name, entry in _mapping(entries).items() if name in known}
        for section, entries in _mapping(data.get("overrides")).items()
    }
    data["overrides"] = {section: entries for section, entries in overrides.items() if entries}
    file = to / vehicle.name
    for _ in range(_ROUNDS):
        file.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), encoding="utf-8")
        try:
            load_knowledge(file, layers=tuple(layers))
        except KnowledgeError as error:  # parts that are there only beside a circuit which was left out
            if not _drop(data, file, error):
                break
        else:
            return file
    return vehicle


def _drop(data: dict[str, Any], file: Path, error: KnowledgeError) -> bool:
    """Take out the overrides that a load complains of; whether there were any."""
    marked = read_yaml(file)
    lines = {
        place.line: (str(loc[1]), str(loc[2]))
        for loc, place in marked.key_places.items()
        if len(loc) == 3 and loc[0] == "overrides"
    }
    gone = set()
    for problem in error.problems:
        above = [line for line in lines if line <= problem.place.line and problem.place.file == str(file)]
        if above:
            gone.add(lines[max(above)])
    for section, name in gone:
        data["overrides"][section].pop(name, None)
    return bool(gone)


def _with_needs(whole: Knowledge, circuits: Sequence[str]) -> set[str]:
    kept: set[str] = set()
    waiting = list(circuits)
    while waiting:
        name = waiting.pop()
        if name not in kept and name in whole.circuits:
            kept.add(name)
            waiting += whole.circuits[name].needs
    return kept


def _names(layer: Layer, circuit: str) -> Collection[str]:
    """Ids that a layer's file of a circuit gives."""
    path = layer.folder / (f"{circuit}.yaml" if circuit in _ALWAYS else f"circuits/{circuit}.yaml")
    return ids_in(path) if path.is_file() else ()


def _mapping(found: Any) -> dict[str, Any]:
    return found if isinstance(found, dict) else {}
