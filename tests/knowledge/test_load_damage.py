"""Whatever stands where something else should, the answer is a message or loaded knowledge."""

from __future__ import annotations

import copy
import random
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.knowledge.small import SMALL, write_small

JUNK: list[Any] = [
    "",
    "junk",
    "-1",
    "1e999",
    "nan",
    "body",
    "true",
    "a.b",
    "off",
    "horn.71",
    "x" * 5000,
    [],
    {},
    ["a"],
    [[]],
    [{}],
    {"a": "b"},
    {"kind": "lamp"},
    {"id": "x"},
    ["a", "a"],
    {"": ""},
    {"fitted": "absent"},
]
OVERRIDES = {
    "parts": {"work-lamp": {"test-w": "45 W"}, "battery": {"rest-v": "12.7 V"}},
    "wires": {"lamp-earth": {"length-m": "2 m"}},
    "fuses": {"fuse-lamp": {"rating-a": "10 A"}},
    "earths": {"earth-front": {"contact-ohm": "0.01 ohm"}},
}


def spots(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    steps = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for step, inner in steps:
        found += spots(inner, (*path, step))
    return found


def damage(data: Any, chance: random.Random) -> Any:
    """One to three values replaced, removed, renamed or doubled."""
    data = copy.deepcopy(data)
    for _ in range(chance.randint(1, 3)):
        *above, last = chance.choice(spots(data) or [("a",)])
        node = data
        for step in above:
            node = node[step]
        what = chance.randrange(4)
        if what == 0 and isinstance(node, dict):
            node[str(chance.choice(["junk", "unplugged", "kind", "is", "shared"]))] = node.pop(last)
        elif what == 1 and node:
            del node[last]
        elif what == 2 and isinstance(node, list):
            node.append(copy.deepcopy(node[last]))
        else:
            node[last] = copy.deepcopy(chance.choice(JUNK))
    return data


@pytest.mark.parametrize("file", sorted(SMALL))
def test_damaged_structure_never_ends_in_a_traceback(tmp_path: Path, file: str) -> None:
    """Authors know no Python; a traceback would tell them nothing."""
    chance = random.Random(f"damage to {file}")
    small = write_small(tmp_path)
    data = yaml.load(SMALL[file], Loader=yaml.BaseLoader)
    if file.startswith("vehicles"):
        data["overrides"] = OVERRIDES
    refused = 0
    for _ in range(60):
        (tmp_path / file).write_text(yaml.safe_dump(damage(data, chance), sort_keys=False), encoding="utf-8")
        problems = small.problems()
        refused += bool(problems)
        for problem in problems:
            assert problem.place.file.startswith(str(tmp_path))
            assert problem.what
            assert len(str(problem)) < 1500
    assert refused > 20
