"""Where a vehicle calls a part by another name, everything that is said of the part calls it so.

Must not know what any text is about: whole words are put in place of whole words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BaseModel

from diag.knowledge.schema import CircuitFile

__all__ = ["retitled"]

_READ = ("title", "text", "label", "phrases", "because", "looks_like", "steps")
"""Fields that a person reads."""
_SECTIONS = ("parts", "fuses", "earths", "wires", "checks", "symptoms", "rules", "causes", "remedies", "cautions")


def retitled(file: CircuitFile, names: Mapping[str, str]) -> CircuitFile:
    """The circuit with every title in `names` (old to new) replaced wherever it is read; a capital stays one.

    Titles of one word stay in other texts: `Horn` is in too many of them to mean only the part."""
    old = {title.lower(): new for title, new in names.items() if title.lower() != new.lower() and " " in title}
    if not old:
        return file
    longest_first = sorted(old, key=len, reverse=True)
    pattern = re.compile(rf"\b({'|'.join(map(re.escape, longest_first))})\b", re.IGNORECASE)

    def put(found: re.Match[str]) -> str:
        new = old[found[1].lower()]
        if found[1][:1].isupper():
            return new[:1].upper() + new[1:]
        return new if new[1:2].isupper() else new[:1].lower() + new[1:]

    def said(text: str) -> str:
        return pattern.sub(put, text)

    def section(entries: Any) -> Any:
        if isinstance(entries, Mapping):
            return {name: _changed(entry, said) for name, entry in entries.items()}
        return tuple(_changed(entry, said) for entry in entries)

    return file.model_copy(update={name: section(getattr(file, name)) for name in _SECTIONS})


def _changed(entry: Any, said: Callable[[str], str]) -> Any:
    if not isinstance(entry, BaseModel):
        return entry
    update: dict[str, Any] = {}
    for name in type(entry).model_fields:
        found = getattr(entry, name)
        if name in _READ and found is not None:
            update[name] = said(found) if isinstance(found, str) else tuple(map(said, found))
        elif name == "choices" and isinstance(found, tuple):
            update[name] = tuple(_changed(one, said) for one in found)
    new = {name: value for name, value in update.items() if value != getattr(entry, name)}
    return entry.model_copy(update=new) if new else entry
