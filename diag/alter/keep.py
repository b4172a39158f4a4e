"""Puts the new vehicle file in its place: whole or not at all, and never over anything unasked.

Knows paths and texts only.
"""

from __future__ import annotations

from pathlib import Path

from diag.errors import DiagError
from diag.knowledge.writer import put_new, replaced
from diag.texts import t

__all__ = ["old_name", "put_in_place", "write_new"]

_PRIVATE = 0o600


def old_name(path: Path, kind: str) -> Path:
    """A name beside the file for what it was before, that nothing has yet."""
    if not path.name:
        raise DiagError(t("{path}: found a folder; expected a vehicle file. Name the file inside it.", path=path))
    base = f"{path.stem}.before-{kind}"
    tries = [base, *(f"{base}-{number}" for number in range(2, 1000))]
    for stem in tries:
        candidate = path.with_name(f"{stem}{path.suffix}")
        if not candidate.exists():
            return candidate
    raise DiagError(t("{path}: found a thousand earlier files beside it; move some elsewhere.", path=path))


def put_in_place(path: Path, text: str, earlier: Path) -> None:
    """Keep the file as `earlier`, then replace it by `text`. Raises DiagError where `earlier` is there by now."""
    write_new(earlier, path.read_bytes())
    replaced(path, text.encode("utf-8"))


def write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet, all of it or nothing. Raises DiagError where it is."""
    try:
        put_new(path, content, _PRIVATE)
    except FileExistsError:
        raise DiagError(t("{path}: there is such a file already; expected a new name.", path=path)) from None
