"""Files on the disk itself: written whole and synchronised, private, and never waited for where they are no files.

Knows bytes and paths; nothing of records.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from pathlib import Path

from diag.job.records import JournalError, why
from diag.texts import t

__all__ = [
    "LARGEST",
    "make_folder",
    "must_be_file",
    "open_file",
    "read_all",
    "sync",
    "sync_folder",
    "write_all",
    "write_beside",
]

LARGEST = 64 * 1024 * 1024
"""Bytes of a journal: some 100,000 answers. Larger files are refused unread, and nothing is appended beyond."""

_BINARY = getattr(os, "O_BINARY", 0)
_ALWAYS = _BINARY | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)  # a pipe put there must not hang us


def must_be_file(path: Path) -> None:
    """Raises JournalError where the path is not an ordinary file, before anything is made beside it."""
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError as error:
        raise JournalError(
            "missing", t("{path}: found no such file; expected a job. Check the name, or begin a new job.", path=path)
        ) from error
    except (OSError, ValueError) as error:
        reason = why(error) if isinstance(error, OSError) else str(error)
        raise JournalError(
            "unreadable",
            t(
                "{path}: the job could not be opened: {reason}; expected a job's file. Check the name.",
                path=path,
                reason=reason,
            ),
        ) from error
    if not stat.S_ISREG(mode):
        raise _no_file(path)


def open_file(path: Path, flags: int) -> int:
    """A descriptor of an ordinary file of a size that can be a job's; the caller closes it. `flags` of `os.open`;
    a file that is made is for this user only. Raises OSError and JournalError."""
    fd = os.open(path, flags | _ALWAYS, 0o600)
    try:
        found = os.fstat(fd)
        if not stat.S_ISREG(found.st_mode):
            raise _no_file(path)
        if found.st_size > LARGEST:
            raise JournalError(
                "unreadable",
                t(
                    "{path}: found {st_size:,} bytes; expected a job's file, which has at most "
                    "{largest:,}. Check the name.",
                    path=path,
                    st_size=found.st_size,
                    largest=LARGEST,
                ),
            )
    except BaseException:
        os.close(fd)
        raise
    return fd


def _no_file(path: Path) -> JournalError:
    return JournalError(
        "unreadable", t("{path}: found something that is not a file; expected a job's file. Check the name.", path=path)
    )


def read_all(fd: int) -> bytes:
    """The whole content, wherever the descriptor stands. Raises OSError."""
    with os.fdopen(os.dup(fd), "rb") as file:
        file.seek(0)
        return file.read(LARGEST + 1)


def write_all(fd: int, line: bytes) -> None:
    """A disk that fills up takes part of a line without an error, and fails on the rest. Raises OSError."""
    rest = memoryview(line)
    while rest:
        rest = rest[os.write(fd, rest) :]


def write_beside(path: Path, sort: str, content: bytes) -> Path:
    """Keeps the content in a new file `NAME.SORT-N` beside `path`, on the disk when this returns. Raises OSError and
    leaves nothing then."""
    number = 1
    while True:
        aside = path.with_name(f"{path.name}.{sort}-{number}")
        try:
            fd = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o600)
            break
        except FileExistsError:
            number += 1
    try:
        try:
            write_all(fd, content)
            sync(fd)
        finally:
            os.close(fd)
    except BaseException:
        with contextlib.suppress(OSError):
            aside.unlink()
        raise
    sync_folder(path.parent)
    return aside


def sync(fd: int) -> None:
    """Puts the file on the disk itself; macOS needs another call for that than fsync. Raises OSError."""
    try:
        import fcntl

        full = fcntl.F_FULLFSYNC  # type: ignore[attr-defined,unused-ignore]
    except (ImportError, AttributeError):
        os.fsync(fd)
        return
    fcntl.fcntl(fd, full)


def sync_folder(folder: Path) -> None:
    """Puts the file's name on the disk. Windows has no such call, and some file systems refuse it. Raises OSError."""
    if os.name == "nt":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """The folder with those above it, those that are missing for this user only. Raises OSError."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    for one in reversed(missing):
        with contextlib.suppress(FileExistsError):
            one.mkdir(mode=0o700)
        sync_folder(one.parent)
