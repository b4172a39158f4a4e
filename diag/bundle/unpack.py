"""Unpacks a bundle into a folder of its own, once everything in it is what its list says.

Trusts nothing in the file: sizes are limited before anything is unpacked, names are checked, sums compared. A folder
comes to be whole or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import stat
import tempfile
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from diag.bundle.contents import LIST, MOST_BYTES, MOST_FILES, Listed, checked
from diag.errors import DiagError
from diag.texts import t

__all__ = ["Unpacked", "unpack"]

_MOST_LIST = 2_000_000
_AT_ONCE = 1 << 20


@dataclass(frozen=True)
class Unpacked:
    """`job`: the journal, in `folder`. `there`: the same bundle had been unpacked here before."""

    listed: Listed
    folder: Path
    job: Path
    there: bool = False


def unpack(path: Path, into: Path) -> Unpacked:
    """Unpack a bundle into a new folder in `into`, named after its job. Where the same one was unpacked before,
    nothing is written: what was added to the job since stays. Raises DiagError."""
    _must_be_file(path)
    try:
        with zipfile.ZipFile(path) as archive:
            listed, content = _list(archive, path)
            folder = into / Path(listed.job).stem
            if os.path.lexists(folder):
                return _before(folder, listed, content, path)
            _unpacked(archive, listed, folder, path)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise DiagError(
            t(
                "{path}: found a damaged file, or none of this kind; expected a bundle that `diag "
                "bundle` wrote. Fetch it again.",
                path=path,
            )
        ) from error
    except OSError as error:
        raise DiagError(
            t(
                "{filename}: {strerror}. Nothing was unpacked.",
                filename=error.filename or path,
                strerror=(error.strerror or str(error)).lower(),
            )
        ) from error
    return Unpacked(listed, folder, folder / listed.job)


def _must_be_file(path: Path) -> None:
    try:
        mode = path.stat().st_mode
    except OSError as error:
        raise DiagError(
            t("{path}: {strerror}; expected a bundle.", path=path, strerror=(error.strerror or str(error)).lower())
        ) from error
    if not stat.S_ISREG(mode):
        raise DiagError(t("{path}: found a folder or a device; expected a bundle, which is one file.", path=path))


def _list(archive: zipfile.ZipFile, path: Path) -> tuple[Listed, bytes]:
    """The list of contents, and its bytes."""
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if LIST not in names:
        raise DiagError(
            t("{path}: found no `{list}` in it; expected a bundle that `diag bundle` wrote.", path=path, list=LIST)
        )
    if archive.getinfo(LIST).file_size > _MOST_LIST:
        raise DiagError(
            t(
                "{path}: found a list of contents of {file_size} bytes; expected a few thousand. Nothing was unpacked.",
                path=path,
                file_size=archive.getinfo(LIST).file_size,
            )
        )
    content = archive.read(LIST)
    listed = checked(content, str(path))
    if sorted(names) != sorted([*listed.files, LIST]):
        raise DiagError(
            t("{path}: found other files in it than its list names; expected just those. Fetch it again.", path=path)
        )
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES or len(entries) > MOST_FILES + 1:
        raise DiagError(
            t(
                "{path}: found {total} bytes in {count} files; expected at most {most_bytes} in "
                "{most_files}. Nothing was unpacked.",
                path=path,
                total=total,
                count=len(entries),
                most_bytes=MOST_BYTES,
                most_files=MOST_FILES,
            )
        )
    return listed, content


def _before(folder: Path, listed: Listed, content: bytes, path: Path) -> Unpacked:
    with contextlib.suppress(OSError):
        if (folder / LIST).read_bytes() == content:
            return Unpacked(listed, folder, folder / listed.job, there=True)
    raise DiagError(
        t(
            "{folder}: found something else of this name; expected room for {path}. Name another: --into FOLDER.",
            folder=folder,
            path=path.name,
        )
    )


def _unpacked(archive: zipfile.ZipFile, listed: Listed, folder: Path, path: Path) -> None:
    folder.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    building = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        for name in [*listed.files, LIST]:
            target = building / name
            for folder_in in reversed(target.relative_to(building).parents[:-1]):
                (building / folder_in).mkdir(exist_ok=True, mode=0o700)
            _copied(archive, name, target, listed, path)
        os.rename(building, folder)
    finally:
        shutil.rmtree(building, ignore_errors=True)


def _copied(archive: zipfile.ZipFile, name: str, target: Path, listed: Listed, path: Path) -> None:
    expected = listed.files.get(name)
    total = hashlib.sha256()
    size = 0
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as out, archive.open(name) as source:
        while piece := source.read(_AT_ONCE):
            size += len(piece)
            if size > (expected.bytes if expected is not None else _MOST_LIST):
                break
            total.update(piece)
            out.write(piece)
        out.flush()
        os.fsync(out.fileno())
    if expected is not None and (size != expected.bytes or total.hexdigest() != expected.sha256):
        raise DiagError(
            t(
                "{path}: found `{name}` changed since the bundle was made; expected what its list says. "
                "Nothing was unpacked. Fetch it again.",
                path=path,
                name=name,
            )
        )
