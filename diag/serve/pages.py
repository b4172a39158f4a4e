"""Templates filled in, as answers to a request. Escapes all text; knows layout, nothing of jobs."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from diag.sheet.escape import tidy
from diag.sheet.woven import html_environment
from diag.texts import t

__all__ = ["STATIC", "page", "plain_page", "static_file"]

STATIC = {"diag.css": "text/css", "diag.js": "text/javascript", "icon.svg": "image/svg+xml"}
"""All files that a page may ask for, with their type."""


@lru_cache(maxsize=1)
def _templates() -> jinja2.Environment:
    return html_environment("diag.serve")


def page(template: str, status: int = 200, **inside: Any) -> HTMLResponse:
    """A page. SVG of our own drawing is given as `svg` or `cut` and goes in as it is."""
    for name in ("svg", "cut"):
        if inside.get(name):
            inside[name] = Markup(inside[name])  # noqa: S704  our own drawing, its texts are escaped
    return HTMLResponse(tidy(_templates().get_template(template).render(**inside)), status)


def plain_page(status: int, text: str, title: str = t("Not possible"), back: str = "/") -> HTMLResponse:
    """A few words and a way back."""
    return page("plain.html.j2", status, title=title, text=text, back=back)


def static_file(name: str) -> Response | None:
    """Style or script; None for any other name."""
    if name not in STATIC:
        return None
    content = resources.files("diag.serve").joinpath("static", name).read_bytes()
    return Response(content, media_type=STATIC[name], headers={"cache-control": "max-age=60"})
