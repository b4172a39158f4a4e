"""The folder of one's own rules: which ids are taken, an addition on trial beside it, and putting it in its place.

Nothing is half written: what is new comes first, the file that changes last, and a copy of it as it was stays.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from filelock import FileLock, Timeout

from diag.author.draft import Draft
from diag.author.writing import with_added
from diag.errors import DiagError, KnowledgeError, Place, Problem
from diag.knowledge.layers import LOCAL, Layer, layer_files
from diag.knowledge.writer import put_new, replaced
from diag.texts import t

__all__ = ["EARLIER", "Planned", "draft_file", "ids_in", "planned", "put", "taken_ids", "trial"]

_ORDINARY, _PRIVATE = 0o644, 0o600
_ID = re.compile(r"""\bid["']?\s*:\s*["']?([A-Za-z0-9][A-Za-z0-9./+-]*)""")
_KEY = re.compile(r"""(?:^|[{,])\s*["']?([A-Za-z0-9][A-Za-z0-9-]*)["']?\s*:""", re.MULTILINE)
EARLIER = "earlier"
"""Folder of copies of files as they were before each change; nothing is read from it."""


@dataclass(frozen=True)
class Planned:
    """A file as it will be. `old`: what is there now (None: nothing yet); `more`: further new files below the
    folder, by their path there."""

    folder: Path
    path: Path
    old: bytes | None
    new: bytes
    more: Mapping[str, bytes]


def taken_ids(layers: Sequence[Layer]) -> frozenset[str]:
    """Every id that any file of any layer gives, retired rules and variants included. A file that cannot be read
    says nothing here: loading tells what is wrong with it."""
    found: set[str] = set()
    for layer in layers:
        for path in layer_files(layer.folder):
            found.update(ids_in(path))
    return frozenset(found)


def ids_in(path: Path) -> set[str]:
    """Every id that a file gives, those of variants too; none of one that cannot be read. Any other key counts as one
    as well, which does no harm: reading all files as YAML would take seconds."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return set()
    return {*_ID.findall(text), *_KEY.findall(text)}


def planned(folder: Path, draft: Draft, comment: str, more: Mapping[str, bytes]) -> Planned:
    """The circuit's file in the folder with the addition. Raises DiagError where nothing can be put into it."""
    path = folder / "shared.yaml" if draft.circuit == "shared" else folder / "circuits" / f"{draft.circuit}.yaml"
    try:
        old = path.read_bytes() if path.exists() else None
        text = old.decode("utf-8") if old is not None else ""
        new = with_added(text, draft.circuit, draft.entries, comment)
    except UnicodeDecodeError as error:
        raise DiagError(
            t("{path}: found bytes that are not UTF-8; expected text. Save it as UTF-8.", path=path)
        ) from error
    except DiagError as error:
        raise DiagError(t("{path}: {error}. Nothing was changed.", path=path, error=error)) from error
    return Planned(folder, path, old, new.encode("utf-8"), more)


@contextlib.contextmanager
def trial(plan: Planned, layers: Sequence[Layer]) -> Iterator[tuple[Layer, ...]]:
    """The layers with the addition, in a folder that goes afterwards. What is wrong is told with the real paths."""
    with tempfile.TemporaryDirectory(prefix="diag-trial-") as name:
        tried = Path(name) / "rules"
        tried.mkdir()
        if plan.folder.is_dir():
            for file in layer_files(plan.folder):
                to = tried / file.relative_to(plan.folder)
                to.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(file, to)
        for path, content in {plan.path.relative_to(plan.folder).as_posix(): plan.new, **plan.more}.items():
            to = tried / path
            to.parent.mkdir(parents=True, exist_ok=True)
            to.write_bytes(content)
        own = next((layer for layer in layers if layer.origin == "local"), None)
        if own is None:
            own = Layer(LOCAL, t("Rules of your own"), "", tried, "local", "")
        others = [layer for layer in layers if layer.origin != "local"]
        try:
            yield (*others, replace(own, folder=tried))
        except KnowledgeError as error:
            raise KnowledgeError([_moved(problem, tried, plan.folder) for problem in error.problems]) from None


def _moved(problem: Problem, tried: Path, real: Path) -> Problem:
    def named(text: str) -> str:
        return text.replace(str(tried), str(real))

    place = Place(named(problem.place.file), problem.place.line, problem.place.column)
    return replace(
        problem,
        place=place,
        what=named(problem.what),
        found=named(problem.found),
        expected=named(problem.expected),
        mend=named(problem.mend),
    )


def put(plan: Planned) -> Path | None:
    """Write everything; the copy of the file as it was before, None where there was none. Raises DiagError where it
    changed in the meantime, OSError where it cannot be written; then nothing of it stays."""
    plan.path.parent.mkdir(parents=True, exist_ok=True)
    lock = FileLock(plan.folder / ".lock", timeout=5)
    try:
        with lock:
            return _put(plan)
    except Timeout:
        raise DiagError(
            t(
                "{folder}: found another program writing there; expected to be the only one. Try again.",
                folder=plan.folder,
            )
        ) from None


def _put(plan: Planned) -> Path | None:
    now = plan.path.read_bytes() if plan.path.exists() else None
    if now != plan.old:
        raise DiagError(
            t("{path}: the file changed in the meantime; nothing was written. Begin `rules add` again.", path=plan.path)
        )
    written: list[Path] = []
    try:
        for name, content in plan.more.items():
            path = plan.folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            put_new(path, content, _PRIVATE)
            written.append(path)
        copy = _kept(plan) if plan.old is not None else None
        if copy is not None:
            written.append(copy)
        if plan.old is None:
            put_new(plan.path, plan.new, _ORDINARY)
        else:
            replaced(plan.path, plan.new)
    except BaseException as error:
        for path in written:
            with contextlib.suppress(OSError):
                path.unlink()
        if isinstance(error, FileExistsError):
            raise DiagError(
                t("{error}: there is such a file by now; nothing was written. Try again.", error=error)
            ) from None
        raise
    return copy


def _kept(plan: Planned) -> Path:
    """The file as it was, under a name that nothing has yet."""
    assert plan.old is not None
    folder = plan.folder / EARLIER
    folder.mkdir(exist_ok=True)
    number = 1
    while True:
        path = folder / f"{plan.path.stem}-{number}.yaml"
        if not os.path.lexists(path):
            with contextlib.suppress(FileExistsError):
                put_new(path, plan.old, _PRIVATE)
                return path
        number += 1


def draft_file(folder: Path, name: str) -> Path:
    """Where the answers of an addition are kept until it is written; nothing reads rules from there."""
    return folder / "adding" / f"{name}.answers"
