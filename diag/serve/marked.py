"""Sheets that are written as Markdown, as blocks of a page: headings, lists with boxes to tick, tables, paragraphs.

Knows the little of Markdown that the program's own sheets use; nothing of jobs or of HTML's tags.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

__all__ = ["Piece", "pieces_of"]

_HEAD = re.compile(r"(#{1,4}) +(.*)")
_ITEM = re.compile(r"( *)- +(?:\[( |x)\] +)?(.*)")
_RULE = re.compile(r"\|[ :|-]+\|")
_CELLS = re.compile(r"(?<!\\)\|")
_ESCAPED = re.compile(r"\\([!-/:-@\[-`{-~])")
_BOLD = re.compile(r"(?<!\\)\*\*(.+?)(?<!\\)\*\*")


@dataclass
class Piece:
    """`kind`: head, item, table, text. `depth`: of a heading or an item, from 0; `box`: one to tick stands before it.

    `runs`: its words in order, each with whether it stands out; `rows`: a table's cells, the first row its head.
    """

    kind: str
    runs: list[tuple[str, bool]] = field(default_factory=list)
    depth: int = 0
    box: bool = False
    rows: list[list[str]] = field(default_factory=list)


def pieces_of(text: str) -> list[Piece]:
    """The pieces of a sheet in order."""
    out: list[Piece] = []
    fresh = True
    for line in text.splitlines():
        if not line.strip():
            fresh = True
        elif found := _HEAD.fullmatch(line):
            out.append(Piece("head", _runs(found[2]), len(found[1]) - 1))
        elif found := _ITEM.fullmatch(line):
            out.append(Piece("item", _runs(found[3]), len(found[1]) // 2, found[2] is not None))
        elif line.startswith("|"):
            if fresh or not out or out[-1].kind != "table":
                out.append(Piece("table"))
            if not _RULE.fullmatch(line):
                out[-1].rows.append([_plain(cell.strip()) for cell in _CELLS.split(line.strip())[1:-1]])
        elif not fresh and out and out[-1].kind in ("text", "item"):
            out[-1].runs += [(" ", False), *_runs(line.strip())]
        else:
            out.append(Piece("text", _runs(line.strip())))
        fresh = not line.strip()
    return out


def _runs(text: str) -> list[tuple[str, bool]]:
    parts = _BOLD.split(text)
    return [(_plain(part), bool(n % 2)) for n, part in enumerate(parts) if part]


def _plain(text: str) -> str:
    return _ESCAPED.sub(r"\1", text)
