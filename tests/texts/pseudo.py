"""A made-up language: every message in marks, `⟦The fuse⟧ {name} ⟦is blown.⟧`, so that what stands outside the marks
never went through the catalogue."""

from __future__ import annotations

import re
import string
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from tests.texts.extract import catalogue

__all__ = ["LANGUAGE", "marked", "outside", "write_pseudo"]

LANGUAGE = "xx"
_MARKED = re.compile(r"⟦[^⟦⟧]*⟧")
_INNER = re.compile(r"^(\s*)(.*?)(\s*)$", re.DOTALL)


def marked(message: str) -> str:
    """A message with its words in marks, fields and blanks at the ends of its pieces outside them."""
    try:
        pieces = list(string.Formatter().parse(message))
    except ValueError:  # braces that are no fields: never filled
        return f"⟦{message}⟧"
    if any(name is not None and not name.isidentifier() for _, name, _, _ in pieces):
        return f"⟦{message}⟧"
    out = []
    filled = any(name is not None for _, name, _, _ in pieces)
    for words, name, spec, conversion in pieces:
        head, inner, tail = (_INNER.match(words) or _INNER.match("")).groups()  # type: ignore[union-attr]
        if filled:
            inner = inner.replace("{", "{{").replace("}", "}}")
        out.append(f"{head}⟦{inner}⟧{tail}" if re.search(r"[A-Za-z]", inner) else f"{head}{inner}{tail}")
        if name is not None:
            out.append(f"{{{name}{f'!{conversion}' if conversion else ''}{f':{spec}' if spec else ''}}}")
    return "".join(out)


def write_pseudo(locale: Path) -> None:
    """The whole catalogue in the made-up language, in a folder of catalogues."""
    made = Catalog("en")  # its plurals are those of English
    for message in catalogue():
        if isinstance(message.id, str) and message.id:
            made.add(message.id, marked(message.id))
        elif message.id:
            made.add(message.id, tuple(marked(one) for one in message.id))
    file = locale / LANGUAGE / "LC_MESSAGES" / "diag.mo"
    file.parent.mkdir(parents=True)
    with file.open("wb") as out:
        write_mo(out, made)


def outside(text: str) -> str:
    """What stands outside the marks, on one line; a mark that a narrow page has cut in two counts as one."""
    return " ".join(_MARKED.sub(" ", text).split())
