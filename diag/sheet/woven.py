"""Environments of templates, with `t` and `tn`: a text is escaped for the page, and so is what its fields hold.

Knows no page and no text.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

import jinja2
from markupsafe import Markup

from diag import texts
from diag.sheet.escape import Ready, inline
from diag.sheet.lettering import clean

__all__ = ["html_environment", "markdown_texts"]

_FIRST = 0x12000
"""Signs that no text of ours holds (cuneiform, printed as they are) stand for the fields while a text is escaped."""
_SLOT = re.compile("[\U00012000-\U000120ff]")


def html_environment(package: str) -> jinja2.Environment:
    """For a package's templates of HTML, with `t`, `tn` and `language`: every text is cleaned and escaped unless it is
    `Markup`."""
    env = jinja2.Environment(
        loader=jinja2.PackageLoader(package),
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=_cleaned,
        autoescape=True,
    )
    env.globals |= _globals(lambda text: Markup.escape(text), lambda found: Markup.escape(_cleaned(found)), Markup)
    return env


def _cleaned(found: object) -> object:
    return clean(found) if isinstance(found, str) and not isinstance(found, Markup) else found


def markdown_texts() -> dict[str, Any]:
    """The same for Markdown, where a value that is `Ready` stands as it is."""
    return _globals(inline, lambda found: found if isinstance(found, Ready) else inline(found), Ready)


def _globals(
    escape: Callable[[str], str], shown: Callable[[object], str], page: Callable[[str], str]
) -> dict[str, Any]:
    def woven(said: str, fields: Mapping[str, object]) -> str:
        text = escape(said) if texts.speaks() else said  # the English is the template's own, as before
        values = [shown(found) for found in fields.values()]
        return page(_SLOT.sub(lambda slot: dict(enumerate(values)).get(ord(slot[0]) - _FIRST, ""), text))

    def by_text(message: str, /, **fields: object) -> str:
        return woven(texts.t(message, **_slots(fields)), fields)

    def by_number(one: str, many: str, n: int, /, **fields: object) -> str:
        return woven(texts.tn(one, many, n, **_slots(fields)), fields)

    return {"t": by_text, "tn": by_number, "language": (texts.speaks() or "en").replace("_", "-")}


def _slots(fields: Mapping[str, object]) -> dict[str, str]:
    return {name: chr(_FIRST + i) for i, name in enumerate(fields)}
