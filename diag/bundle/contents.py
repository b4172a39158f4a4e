"""What a bundle holds and what its list says of it. Pure values; nothing of disks or archives.

A bundle is an ordinary ZIP file (ISO/IEC 21320-1 keeps to the same plain subset), so that years from now any program
can look into it: a note in plain words, the list of its files with their SHA-256, the journal, the log in forms that
need nothing of ours, and the rules and vehicle as they were.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from diag.errors import DiagError
from diag.texts import t

__all__ = ["FORMAT", "KNOWLEDGE", "LIST", "LOG", "MOST_BYTES", "MOST_FILES", "NOTE", "Listed", "checked", "list_of"]

FORMAT = 1
NOTE, LIST = "READ-ME.txt", "contents.json"
LOG, KNOWLEDGE = "log", "knowledge"
MOST_FILES = 2_000
MOST_BYTES = 200_000_000
"""Of all files of a bundle together, unpacked. The rules of the whole demo pickup are under a megabyte."""

_SAFE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._+-]{0,119}", re.ASCII)
_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)", re.IGNORECASE)

_Sum = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
_Words = Annotated[str, StringConstraints(max_length=400)]


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    bytes: Annotated[int, Field(ge=0, le=MOST_BYTES)]
    sha256: _Sum


class Listed(BaseModel):
    """The list of a bundle. `job`: path of its journal in it. `last`: time of the journal's last record, ISO 8601.
    `weighed_by`: hash of the knowledge that the log was made by; `told`: the hash that the journal told last."""

    model_config = ConfigDict(extra="forbid", strict=True)

    format: Literal[1]
    program: _Words
    engine: _Words
    job: _Words
    vehicle: _Words
    last: _Words
    weighed_by: _Words
    told: _Words
    files: dict[str, _File]


def list_of(
    files: Mapping[str, bytes], *, program: str, engine: str, job: str, vehicle: str, last: str, by: str, told: str
) -> bytes:
    """The list of a bundle that holds these files."""
    listed = Listed(
        format=1,
        program=program,
        engine=engine,
        job=job,
        vehicle=vehicle,
        last=last,
        weighed_by=by,
        told=told,
        files={name: _File(bytes=len(c), sha256=hashlib.sha256(c).hexdigest()) for name, c in sorted(files.items())},
    )
    return (json.dumps(listed.model_dump(), indent=1, ensure_ascii=False) + "\n").encode()


def checked(content: bytes, where: str) -> Listed:
    """The list of a bundle, once it is sure that every path in it stays inside a folder that it is unpacked to, on any
    system. Raises DiagError; `where` is named."""
    try:
        found = json.loads(content)
        if isinstance(found, dict) and isinstance(found.get("format"), int) and found["format"] > FORMAT:
            raise DiagError(
                t(
                    "{where}: found a bundle of format {found}; expected {format}. A newer program "
                    "wrote it: open it with that one, or as a ZIP file: the log in `{log}` needs no "
                    "program of ours.",
                    where=where,
                    found=found["format"],
                    format=FORMAT,
                    log=LOG,
                )
            )
        listed = Listed.model_validate(found)
    except (ValidationError, ValueError, RecursionError) as error:
        raise DiagError(
            t(
                "{where}: found a list of contents that is damaged or of another kind; expected a bundle "
                "that `diag bundle` wrote.",
                where=where,
            )
        ) from error
    for name in (*listed.files, listed.job):
        odd = _odd(name)
        if odd:
            raise DiagError(
                t(
                    "{where}: found the path {name!r}, {odd}; expected plain names inside the bundle. "
                    "Nothing was unpacked.",
                    where=where,
                    name=name[:80],
                    odd=odd,
                )
            )
    if listed.job not in listed.files:
        raise DiagError(
            t(
                "{where}: found no journal in it; expected `{job}`. Have it made again.",
                where=where,
                job=listed.job[:80],
            )
        )
    folded = {name.casefold() for name in listed.files}
    if len(folded) != len(listed.files) or len(folded) > MOST_FILES:
        raise DiagError(
            t(
                "{where}: found files of the same name, or more than {most_files}; expected a job's bundle.",
                where=where,
                most_files=MOST_FILES,
            )
        )
    return listed


def _odd(name: str) -> str:
    """What is wrong with a path, empty where nothing is."""
    parts = PurePosixPath(name).parts
    if not parts or name.startswith("/") or "/".join(parts) != name or len(parts) > 6:
        return t("not a path inside the bundle")
    for part in parts:
        if not _SAFE.fullmatch(part) or part.endswith((".", " ")) or _DEVICES.match(part):
            return t("which not every system can hold")
    return ""
