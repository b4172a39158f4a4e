"""README's table of outside sources says what the tests do: each module of tests/outside stands in it, and each source
that a row names is named in one of the row's modules.

source of all expectations: the files themselves
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

_TOP = Path(__file__).parents[2]
_HEAD = ["subject", "source", "what it checks", "in"]


@dataclass(frozen=True)
class Row:
    """One line of the table; `sources` without what stands in brackets."""

    subject: str
    sources: tuple[str, ...]
    checks: str
    modules: tuple[str, ...]


def _rows() -> list[Row]:
    lines = (_TOP / "README.md").read_text(encoding="utf-8").splitlines()
    tables = [n for n, line in enumerate(lines) if _cells(line) == _HEAD]
    assert len(tables) == 1, "README has one table of sources"
    rows = []
    for line in lines[tables[0] + 2 :]:
        if not line.startswith("|"):
            break
        subject, sources, checks, modules = _cells(line)
        named = re.sub(r"\([^)]*\)", "", sources).split(";")
        rows.append(
            Row(subject, tuple(filter(None, map(str.strip, named))), checks, tuple(re.findall(r"`(\w+)`", modules)))
        )
    return rows


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def _plain(text: str) -> str:
    """Lower case, line ends as blanks, so that a name broken over two lines is found."""
    return re.sub(r"\s+", " ", text).lower()


_MODULES = {path.stem.removeprefix("test_"): path for path in sorted((_TOP / "tests").rglob("test_*.py"))}
ROWS = _rows()


def test_every_module_of_outside_checks_stands_in_the_table() -> None:
    """A check that nobody can find by its source is half a check."""
    outside = {name for name, path in _MODULES.items() if path.parent.name == "outside"}
    assert len(outside) > 15
    assert not outside - {name for row in ROWS for name in row.modules}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.sources[0][:30])
def test_the_sources_of_a_row_are_named_where_it_says(row: Row) -> None:
    """What is renamed or dropped in a test must be renamed or dropped in README."""
    assert row.subject and row.checks and row.sources and row.modules
    unknown = set(row.modules) - _MODULES.keys()
    assert not unknown, "no such test module"
    texts = {name: _plain(_MODULES[name].read_text(encoding="utf-8")) for name in row.modules}
    for source in row.sources:
        wanted = _plain(source.replace(", 1987", "").replace(", 1988", ""))
        assert any(wanted in text for text in texts.values()), f"{source}: named in none of {', '.join(texts)}"
    for name, text in texts.items():
        named = [source for source in row.sources if _plain(source).split(",")[0] in text]
        assert named, f"{name} names none of {'; '.join(row.sources)}"


def test_rows_stand_sorted_by_subject() -> None:
    """Each subject's rows stand together."""
    order = [row.subject for row in ROWS]
    assert order == sorted(order, key=list(dict.fromkeys(order)).index)
