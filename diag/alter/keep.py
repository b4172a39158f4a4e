"""Puts the new vehicle file in its place: whole or not at all, and never over anything unasked.

Knows paths and texts only.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from diag.errors import DiagError

__all__ = ["old_name", "put_in_place", "write_new"]


def old_name(path: Path, kind: str) -> Path:
    """A name beside the file for what it was before, that nothing has yet."""
    base = f"{path.stem}.before-{kind}"
    tries = [base, *(f"{base}-{number}" for number in range(2, 1000))]
    for stem in tries:
        candidate = path.with_name(f"{stem}{path.suffix}")
        if not candidate.exists():
            return candidate
    raise DiagError(f"{path}: found a thousand earlier files beside it; move some elsewhere.")


def put_in_place(path: Path, text: str, earlier: Path) -> None:
    """Keep the file as `earlier`, then replace it by `text`. Raises DiagError where `earlier` is there by now."""
    write_new(earlier, path.read_bytes())
    _replaced(path, text.encode("utf-8"))


def write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet, all of it or nothing. Raises DiagError where it is."""
    temporary = _written(path, content)
    try:
        os.link(temporary, path)  # fails where there is one, unlike a rename
    except FileExistsError:
        raise DiagError(f"{path}: there is such a file already; expected a new name.") from None
    except OSError:  # a disk without links
        if path.exists():
            raise DiagError(f"{path}: there is such a file already; expected a new name.") from None
        os.replace(temporary, path)
        return
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(temporary)


def _replaced(path: Path, content: bytes) -> None:
    temporary = _written(path, content)
    try:
        with contextlib.suppress(OSError):
            os.chmod(temporary, path.stat().st_mode & 0o777)
        os.replace(temporary, path)
    except OSError:
        os.unlink(temporary)
        raise


def _written(path: Path, content: bytes) -> str:
    handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError:
        os.unlink(name)
        raise
    return name
