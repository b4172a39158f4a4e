"""Puts a knowledge file in its place: whole or not at all, and over another one only where that is asked.

Knows paths and bytes only; what is in a file is its author's business.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

__all__ = ["put_new", "replaced"]


def put_new(path: Path, content: bytes, mode: int) -> None:
    """Write a file that is not there yet, with these permissions. Raises FileExistsError where it is, OSError where
    it cannot be written."""
    temporary = _beside(path, content, _masked(mode))
    try:
        os.link(temporary, path)  # fails where somebody made one in the meantime, unlike a rename
    except FileExistsError:
        raise
    except OSError as error:  # a stick's file system may know no links
        if path.exists():
            raise FileExistsError(str(path)) from error
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def replaced(path: Path, content: bytes, mode: int | None = None) -> None:
    """Write a file in place of what may be there, with these permissions, or those that it has. Raises OSError."""
    temporary = _beside(path, content, path.stat().st_mode & 0o777 if mode is None else _masked(mode))
    try:
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def _masked(mode: int) -> int:
    """Less what this user's umask takes away from every new file."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mode & ~mask


def _beside(path: Path, content: bytes, mode: int) -> Path:
    """The content on disk in a hidden file beside it."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        with contextlib.suppress(OSError):  # nor permissions
            os.chmod(name, mode)
    except OSError:
        os.unlink(name)
        raise
    return Path(name)
