"""The sheet as Markdown and as a web page, through the templates beside this module. Knows layout only.

The page holds the drawings and needs nothing from outside; on paper each drawing has a page of its own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import jinja2
from markupsafe import Markup

from diag.sheet.cuttings import Piece, pieces_of, size_of
from diag.sheet.escape import markdown_environment, tidy
from diag.sheet.index import Index
from diag.sheet.table import Sheet
from diag.sheet.woven import html_environment, markdown_texts

__all__ = ["as_html", "as_markdown"]

_SMALL = 160.0
"""Drawings up to this width, mm, are shown in their own size on a screen."""
_PROLOG = re.compile(r"^<\?xml[^>]*\?>\s*")


def as_markdown(sheet: Sheet) -> str:
    """The sheet as GitHub-flavoured Markdown."""
    text = _markdown().get_template("sheet.md.j2").render(sheet=sheet)
    return tidy(text).lstrip("\n")


@dataclass(frozen=True)
class _Drawing:
    """A drawing on the page: its SVG under an `id`; `size` small, middling or large, the last with `pieces`."""

    id: str
    svg: Markup
    size: str
    pieces: tuple[Piece, ...]


def as_html(sheet: Sheet, drawings: Mapping[str, str], index: Index, *, plain: bool = False) -> str:
    """The sheet as one web page: overview, drawings, figures, list of wires. `drawings`: SVG by circuit. `plain`:
    without what is computed."""
    inside = {circuit: _drawing(circuit, drawing) for circuit, drawing in drawings.items()}
    text = _html().get_template("sheet.html.j2").render(sheet=sheet, drawings=inside, index=index, plain=plain)
    return "\n".join(line.rstrip() for line in text.splitlines() if line.strip()) + "\n"


def _drawing(circuit: str, drawing: str) -> _Drawing:
    name, (width, height) = f"drawing-{circuit}", size_of(drawing)
    svg = _PROLOG.sub("", drawing).replace("<svg ", f'<svg id="{name}" ', 1)
    pieces = pieces_of(width, height)
    size = "large" if pieces else "middling" if width > _SMALL else "small"
    return _Drawing(name, Markup(svg), size, pieces)  # noqa: S704 - every text in it was escaped when it was drawn


@lru_cache(maxsize=1)
def _markdown() -> jinja2.Environment:
    env = markdown_environment("diag.sheet")
    env.globals |= markdown_texts()
    return env


@lru_cache(maxsize=1)
def _html() -> jinja2.Environment:
    return html_environment("diag.sheet")
