"""Versions that CI installs, with the licence of each: `python -m tests.locked` prints the list from what is installed
beside this Python, `--write` puts it into .ci/lock.txt. Make it anew after a dependency changed."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

LOCK = Path(__file__).parents[1] / ".ci" / "lock.txt"
EXTRAS = {"runs": (), "engine": ("engine",), "test": ("test",)}
"""What needs a package: the program, its rule engine, or the tests alone."""
_HEAD = """# What CI installs, so that a run of today and one of next year are the same; pyproject.toml has the ranges.
# Behind each version: its licence as the package tells it, and what needs it. Made by `python -m tests.locked --write`.
"""
_WORDS = {
    "MIT License": "MIT",
    "BSD License": "BSD-3-Clause",
    "ISC License (ISCL)": "ISC",
    "Apache Software License": "Apache-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
    "GNU Lesser General Public License v3 (LGPLv3)": "LGPL-3.0-only",
}


@dataclass(frozen=True)
class Locked:
    """One line: a package, its version, its licence (SPDX) and what needs it."""

    name: str
    version: str
    licence: str
    needs: str


def needed(extras: Iterable[str]) -> dict[str, metadata.Distribution]:
    """Every installed package that the project needs with these extras, by its canonical name; itself left out."""
    found: dict[str, metadata.Distribution] = {}
    had: set[tuple[str, frozenset[str]]] = set()
    todo = [("diag", frozenset(extras))]
    while todo:
        name, wanted = todo.pop()
        if (name, wanted) in had:
            continue
        had.add((name, wanted))
        try:
            dist = metadata.distribution(name)
        except metadata.PackageNotFoundError:  # not for this Python, or the engine did not build
            continue
        found[name] = dist
        for text in dist.requires or ():
            asked = Requirement(text)
            if asked.marker is None or any(asked.marker.evaluate({"extra": extra}) for extra in {"", *wanted}):
                todo.append((canonicalize_name(asked.name), frozenset(asked.extras)))
    found.pop("diag", None)
    return found


def licence_of(dist: metadata.Distribution) -> str:
    """The licence that a package tells, as SPDX where it can be. Empty where it tells none."""
    said = dist.metadata.get("License-Expression")
    if said:
        return str(said)
    classes = [text.rsplit(" :: ", 1)[-1] for text in dist.metadata.get_all("Classifier") or () if "License ::" in text]
    if classes:
        return " OR ".join(sorted({_WORDS.get(text, text) for text in classes}))
    return str(dist.metadata.get("License") or "").split("\n")[0][:60]


def installed() -> list[Locked]:
    """What is installed now, by name."""
    runs, engine, test = (needed(extras) for extras in EXTRAS.values())
    out = []
    for name, dist in sorted({**test, **engine, **runs}.items()):
        why = "runs" if name in runs else "engine" if name in engine else "test"
        out.append(Locked(name, dist.version, licence_of(dist), why))
    return out


def text_of(locked: Iterable[Locked]) -> str:
    """The file: a list of constraints, as pip reads it."""
    lines = [(f"{one.name}=={one.version}", f"# {one.licence}; {one.needs}") for one in locked]
    width = max(len(pin) for pin, _ in lines) + 2
    return _HEAD + "".join(f"{pin:<{width}}{rest}\n" for pin, rest in lines)


def read(path: Path = LOCK) -> Iterator[Locked]:
    """The lines of the file."""
    for line in path.read_text(encoding="utf-8").splitlines():
        found = re.fullmatch(r"([a-z0-9-]+)==(\S+) +# (.+); (runs|engine|test)", line)
        if found is not None:
            yield Locked(*found.groups())
        elif line and not line.startswith("#"):
            raise ValueError(f"{path}: not a pinned version with its licence: {line}")


if __name__ == "__main__":
    made = text_of(installed())
    if "--write" in sys.argv[1:]:
        LOCK.write_text(made, encoding="utf-8")
    else:
        print(made, end="")
