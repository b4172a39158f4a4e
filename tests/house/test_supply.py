"""What the program is made of beside itself: pinned for CI, within the ranges of pyproject, licences that allow it.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.locked import Locked, needed, read

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
FREE_TO_USE = re.compile(
    r"(MIT|MIT-CMU|ISC|0BSD|Zlib|CC0-1\.0|PSF-2\.0|Apache-2\.0|BSD-[23]-Clause|BSD|MPL-2\.0|Unicode-3\.0|LGPL-3\.0-only"
    r"|3-Clause BSD License|BSD 3-Clause License)"
)
"""Licences under which a package may be used and passed on beside code under MIT. MPL-2.0 binds changes of its own
files only."""


def locked() -> dict[str, Locked]:
    return {one.name: one for one in read()}


def asked() -> list[Requirement]:
    """Every requirement that pyproject states."""
    extras = PROJECT["optional-dependencies"]
    texts = [*PROJECT["dependencies"], *extras["engine"], *extras["test"]]
    return [Requirement(text) for text in texts if not text.startswith("diag[")]


def test_every_requirement_is_pinned_within_its_range() -> None:
    pins = locked()
    for requirement in asked():
        name = canonicalize_name(requirement.name)
        assert name in pins, f"{name} is not in .ci/lock.txt: python -m tests.locked --write"
        assert requirement.specifier.contains(pins[name].version, prereleases=True), (str(requirement), pins[name])


def test_what_those_need_in_turn_is_pinned_too() -> None:
    """Of what is installed here; a package that a requirement newly needs is noticed where it is installed."""
    found = set(needed(("engine", "test")))
    assert len(found) > 40
    assert found <= set(locked()), f"not in .ci/lock.txt: {sorted(found - set(locked()))}"


def test_every_licence_is_known_and_allows_use() -> None:
    for one in read():
        words = [word for word in re.split(r"\s+(?:AND|OR|WITH)\s+|[()]", one.licence) if word.strip()]
        assert words, f"{one.name} tells no licence"
        assert all(FREE_TO_USE.fullmatch(word.strip()) for word in words), one
        assert one.needs == "test" or not re.search("LGPL|MPL", one.licence), one


def test_what_the_program_runs_on_needs_no_test_package() -> None:
    runs, listed = set(needed(())), locked()
    assert {listed[name].needs for name in runs} == {"runs"}
    assert not runs & {"pytest", "hypothesis", "scipy", "playwright", "mypy"}


def test_pyproject_says_why_each_is_there() -> None:
    for line in (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines():
        if re.fullmatch(r'\s+"[A-Za-z].*",?\s*(#.*)?', line) and re.search(r'[>=]=|^\s+"types-', line):
            assert re.search(r"#\s*\w+|durable-rules", line), line
