"""The sheet as Markdown and as a web page, through the templates beside this module. Knows layout only.

The page holds the drawings and needs nothing from outside; on paper each drawing has a page of its own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

import jinja2
from markupsafe import Markup

from diag.sheet.escape import markdown_environment, tidy
from diag.sheet.lettering import clean
from diag.sheet.table import Sheet

__all__ = ["as_html", "as_markdown"]

_PROLOG = re.compile(r"^<\?xml[^>]*\?>\s*")


def as_markdown(sheet: Sheet) -> str:
    """The sheet as GitHub-flavoured Markdown."""
    text = _markdown().get_template("sheet.md.j2").render(sheet=sheet)
    return tidy(text).lstrip("\n")


def as_html(sheet: Sheet, drawings: Mapping[str, str]) -> str:
    """The sheet as one web page. `drawings`: SVG by circuit."""
    inside = {circuit: Markup(_PROLOG.sub("", drawing)) for circuit, drawing in drawings.items()}  # noqa: S704
    text = _html().get_template("sheet.html.j2").render(sheet=sheet, drawings=inside)
    return "\n".join(line.rstrip() for line in text.splitlines() if line.strip()) + "\n"


@lru_cache(maxsize=1)
def _markdown() -> jinja2.Environment:
    return markdown_environment("diag.sheet")


@lru_cache(maxsize=1)
def _html() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("diag.sheet"),
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=lambda found: found if isinstance(found, Markup) or not isinstance(found, str) else clean(found),
        autoescape=True,
    )
