"""Makes text from anywhere harmless: in Markdown, in a table of a spreadsheet, on a screen.

Knows the two formats' special signs; nothing of what the text says.
"""

from __future__ import annotations

import re

import jinja2

__all__ = ["Ready", "cell", "code", "inline", "markdown_environment", "plain", "tidy"]

_SPECIAL = re.compile(r"([\\`*_\[\]|~$])")
_ENTITY = {"&": "&amp;", "<": "&lt;", ">": "&gt;"}
_BLOCK = re.compile(r"^([#+\-=:]|\d{1,9}(?=[.)](\s|$)))")
"""What opens a heading, a list, a rule or a table where a line begins."""
_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""Signs that a spreadsheet takes for the start of a formula, also in their full width."""


class Ready(str):
    """Text that is Markdown already and must not be escaped again."""


def plain(text: str) -> str:
    """On one line, with `?` for signs that are not printed (they could steer a terminal or turn the text)."""
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(text.split()))


def inline(text: object) -> Ready:
    """Any text as Markdown that shows exactly that text, in a paragraph, a list or a table."""
    escaped = _SPECIAL.sub(r"\\\1", plain(str(text)))
    escaped = "".join(_ENTITY.get(sign, sign) for sign in escaped)
    if _BLOCK.match(escaped):
        head = re.match(r"\d*", escaped)
        size = head.end() if head is not None else 0
        escaped = f"{escaped[:size]}\\{escaped[size:]}"
    return Ready(escaped)


def code(text: object) -> Ready:
    """An id as a code span; `|` parts table cells even there, so such text is escaped as words instead."""
    line = plain(str(text))
    return inline(line) if not line or "`" in line or "|" in line else Ready(f"`{line}`")


def cell(text: str) -> str:
    """Text for a spreadsheet: one that could be taken for a formula gets a quote in front."""
    risky = text[:1] in ("\t", "\r", "\n") or text.lstrip().startswith(_FORMULA)
    return f"'{plain(text)}" if risky else plain(text)


def tidy(text: str) -> str:
    """A page without the blank lines that its template leaves, and with one newline at its end."""
    return re.sub(r"\n{3,}", "\n\n", text).rstrip("\n") + "\n"


def markdown_environment(package: str) -> jinja2.Environment:
    """For a package's templates of Markdown: every value is escaped unless it is `Ready`."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader(package),
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=lambda found: found if isinstance(found, Ready) else inline(found),
        autoescape=False,  # finalize does it, by the rules of Markdown
    )
