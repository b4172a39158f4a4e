"""Wording shared by all messages about files: nearest known name, lists of words, shortened quotes.

Must not know what the names stand for.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from diag.texts import t

__all__ = ["filled", "nearest", "quoted", "shown", "words"]

_LONGEST_QUOTE = 60
_LONGEST_LIST = 12
_BRACES = re.compile(r"\{([a-z]{1,20})\}")


def nearest(found: str, known: Iterable[str]) -> str:
    """`Did you mean ...?` for the closest known name, else an empty text."""
    close = difflib.get_close_matches(found[:200], list(known), n=1, cutoff=0.6)
    return t("Did you mean `{close}`?", close=close[0]) if close else ""


def filled(text: str, by: Mapping[str, str]) -> str:
    """The text with `{name}` replaced by what is given for that name; other braces stay. Texts of knowledge files go
    through here and never through `str.format`, which would follow attributes and widths that a stranger wrote."""
    return _BRACES.sub(lambda found: by.get(found[1], found[0]), text)


def words(known: Iterable[str]) -> str:
    """Names as a readable list, cut after a dozen."""
    names = [f"`{name}`" for name in known]
    if len(names) > _LONGEST_LIST:
        return ", ".join(names[:_LONGEST_LIST]) + t(" or one of {number} more", number=len(names) - _LONGEST_LIST)
    return t(" or ").join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def quoted(text: str) -> str:
    """Text in backticks on one line, cut to a readable length."""
    line = " ".join(text.split())
    return f"`{line[:_LONGEST_QUOTE]}...`" if len(line) > _LONGEST_QUOTE else f"`{line}`"


def shown(found: Any) -> str:
    """What stands in a file, as a message says it: a quote, or the sort of thing."""
    if found is None or found == "":
        return t("nothing")
    if isinstance(found, dict):
        return t("a mapping (`key: value`)")
    if isinstance(found, list | tuple):
        return t("a list")
    return quoted(str(found))
