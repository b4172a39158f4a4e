"""The vehicle's file as text after an alteration: what did not change stays to the letter, comments and all.

Knows YAML and keys of the first level, nothing of what they mean.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import yaml

from diag.knowledge.reader import Marked

__all__ = ["rewritten"]

_WIDTH = 112


class _Dumper(yaml.SafeDumper):
    """Lists set in under their key, as in the shipped files."""

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        super().increase_indent(flow, False)


def rewritten(text: str, old: Marked, new: Mapping[str, Any], head: tuple[str, ...], notes: Mapping[str, str]) -> str:
    """The file's `text` (read as `old`) with the content `new`.

    `head`: comments put before everything. `notes`: comment before a key that changed or is new. Keys of the first
    level that did not change keep their lines.
    """
    pieces = _pieces(text, old)
    before = pieces.pop("", "")
    if not pieces and old.data:  # the whole file is one mapping in braces
        pieces, before = {}, ""
    lines = [f"# {line}\n" for line in head]
    if before and not before.endswith("\n"):
        before += "\n"
    out = ["".join(lines), before]
    for key, value in new.items():
        if key in pieces and old.data.get(key) == value:
            out.append(pieces[key] if pieces[key].endswith("\n") else pieces[key] + "\n")
            continue
        above = _comments(pieces.get(key, ""))
        if key in notes and f"# {notes[key]}\n" not in above:
            above.append(f"# {notes[key]}\n")
        out += above
        out.append(_dumped({key: value}))
    return "".join(out)


def _pieces(text: str, old: Marked) -> dict[str, str]:
    """The lines of each key of the first level, with the comments above it; what stands before all under ""."""
    lines = text.removeprefix("\ufeff").splitlines(keepends=True)
    starts = {key: old.key_places[key,].line - 1 for key in old.data}
    within = any(old.key_places[key,].column != 1 for key in old.data) or len(set(starts.values())) < len(starts)
    if within or any(line.startswith(("---", "...")) for line in lines):
        return {}
    order = sorted(starts, key=lambda key: starts[key])
    first = {key: _with_comments(lines, starts[key]) for key in order}
    pieces = {"": "".join(lines[: first[order[0]]])} if order else {}
    for key, following in zip(order, [*order[1:], None], strict=True):
        end = len(lines) if following is None else first[following]
        pieces[key] = "".join(lines[first[key] : end])
    return pieces


def _with_comments(lines: list[str], start: int) -> int:
    while start > 0 and lines[start - 1].startswith("#"):
        start -= 1
    return start


def _comments(piece: str) -> list[str]:
    lines = piece.splitlines(keepends=True)
    return lines[: next((i for i, line in enumerate(lines) if not line.startswith("#")), len(lines))]


def _dumped(content: Mapping[str, Any]) -> str:
    (value,) = content.values()
    listed = isinstance(value, list) and any(isinstance(entry, dict) for entry in value)
    flow = None if isinstance(value, dict | list) and not listed else False
    found: str = yaml.dump(
        content, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=_WIDTH, default_flow_style=flow
    )
    return found
