"""Lines of the conversation's pages as blocks for a web page: headings, paragraphs, lists, bars.

The words stay those of the terminal; only layout is taken out of them. Knows nothing of HTML.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from diag.talk.screen import Line

__all__ = ["WIDE", "Block", "blocks_of", "plain_of"]

WIDE = 100_000
"""A width at which no paragraph is broken into lines."""
_BAR = re.compile(r"^([#.]{10}) +([<>]?[\d.]+ %) +(.*)$")
_SHARE = re.compile(r"^ *([<>]?[\d.]+ %) (.*)$")
_ITEM = re.compile(r"^[-+=] (.*)$")
_STEP = re.compile(r"^\d+\. (.*)$")
_CODE = re.compile(r"^ *(diag [a-z].*)$")


@dataclass(frozen=True)
class Block:
    """`kind`: head, text, item, step, bar, share, code. `tenths`: length of a bar; `share`: its chance in words."""

    kind: str
    text: str
    tenths: int = 0
    share: str = ""


def blocks_of(lines: Iterable[Line]) -> list[list[Block]]:
    """Blocks in runs of one kind each, in order."""
    runs: list[list[Block]] = []
    fresh = True
    for line in lines:
        if not line.text.strip():
            fresh = True
            continue
        block = _block(line)
        if runs and not fresh and runs[-1][0].kind == block.kind:
            runs[-1].append(block)
        else:
            runs.append([block])
        fresh = False
    return runs


def _block(line: Line) -> Block:
    text = line.text
    if line.style == "strong":
        return Block("head", text.strip())
    if found := _BAR.match(text):
        return Block("bar", found[3], found[1].count("#"), found[2])
    if found := _SHARE.match(text):
        return Block("share", found[2], share=found[1])
    for kind, shape in (("item", _ITEM), ("step", _STEP), ("code", _CODE)):
        if found := shape.match(text):
            return Block(kind, found[1])
    return Block("text", text.strip())


def plain_of(lines: Iterable[Line]) -> list[str]:
    """The lines that say something, without layout."""
    return [line.text.strip() for line in lines if line.text.strip()]
