"""Recorded jobs of a folder, read file by file, with what each must come to where that is written beside it.

A file that cannot be read is a job with a problem: it never stops the others. Knows nothing of what is believed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.errors import DiagError
from diag.job.folder import SUFFIX
from diag.job.journal import parse_journal, read_journal
from diag.job.records import Record
from diag.knowledge.layers import SHIPPED, Layer
from diag.knowledge.reader import file_bytes, parse_yaml
from diag.replay.forms import Expected
from diag.texts import t

__all__ = ["EXPECT", "Job", "expected_beside", "job_folders", "jobs_in", "parsed_job", "read_job", "shipped_jobs"]

EXPECT = ".expect.yaml"
"""Ending of the file beside `NAME.jsonl` that says what the job must come to."""
_PACKAGE = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Job:
    """A recorded job. `name` tells it from the others of its folder: the path below it, without ending. `messages`
    of the reader; `problem`: why it cannot be used, else empty."""

    name: str
    path: str
    records: tuple[Record, ...] = ()
    expected: Expected | None = None
    messages: tuple[str, ...] = ()
    problem: str = ""

    @property
    def vehicle_file(self) -> str:
        """The vehicle file that the job was recorded with; empty where it does not say."""
        return str(self.records[0].fields.get("vehicle-file", "")) if self.records else ""


def jobs_in(folder: Path) -> tuple[Job, ...]:
    """Every job below a folder, by name. Raises DiagError where there is no such folder."""
    if not folder.is_dir():
        raise DiagError(
            t(
                "{folder}: found no such folder; expected one with recorded jobs (NAME{suffix}).",
                folder=folder,
                suffix=SUFFIX,
            )
        )
    paths = sorted(path for path in folder.rglob(f"*{SUFFIX}") if path.is_file())
    return tuple(read_job(path, path.relative_to(folder).as_posix().removesuffix(SUFFIX)) for path in paths)


def read_job(path: Path, name: str | None = None) -> Job:
    """One job; what is wrong with its file, or the file beside it, stands in `problem`."""
    own = path.name.removesuffix(SUFFIX) if name is None else name
    try:
        records, messages = read_journal(path)
        expected = expected_beside(path)
    except DiagError as error:
        return Job(own, str(path), problem=str(error))
    return Job(own, str(path), records, expected, messages)


def parsed_job(name: str, path: str, content: bytes, beside: bytes | None) -> Job:
    """The same from bytes that were read elsewhere; `beside`: those of the file that says what it must come to."""
    try:
        records, messages = parse_journal(content, path)
        expected = _expected(beside, _beside(path)) if beside is not None else None
    except DiagError as error:
        return Job(name, path, problem=str(error))
    return Job(name, path, records, expected, messages)


def expected_beside(path: Path) -> Expected | None:
    """What `NAME.expect.yaml` beside a job says; None where there is none. Raises DiagError where it cannot be
    used."""
    beside = Path(_beside(str(path)))
    if not beside.exists():
        return None
    return _expected(file_bytes(beside), str(beside))


def shipped_jobs() -> Path:
    """The folder of recorded jobs that come with the program: inside an installed package, or at the top of a
    checkout. Raises DiagError if neither is there."""
    for folder in (_PACKAGE / "_transcripts", _PACKAGE.parent / "transcripts"):
        if folder.is_dir():
            return folder
    raise DiagError(t("the recorded jobs that come with the program are missing; name a FOLDER, or install it again."))


def job_folders(layers: Iterable[Layer]) -> list[tuple[str, Path]]:
    """Recorded jobs of the program, then those of each further layer that has some: its name ("" for the program)
    and the folder. Raises DiagError as `shipped_jobs`."""
    own = [(layer.name, layer.folder / "jobs") for layer in layers if layer.origin != SHIPPED]
    return [("", shipped_jobs()), *((name, folder) for name, folder in own if folder.is_dir())]


def _beside(path: str) -> str:
    return path.removesuffix(SUFFIX) + EXPECT


def _expected(content: bytes, file: str) -> Expected:
    found = parse_yaml(content, file).data
    if not _are_words(found.get("ends-at")):
        raise DiagError(
            t("{file}:1:1: found no `ends-at`; expected a list of the remedies that cured, in order.", file=file)
        )
    not_at, causes = found.get("not-at", []), found.get("cause", [])
    causes = [causes] if isinstance(causes, str) else causes
    return Expected(
        tuple(found["ends-at"]),
        tuple(not_at) if _are_words(not_at) else (),
        tuple(causes) if _are_words(causes) else (),
        found["superseded-by"] if isinstance(found.get("superseded-by"), str) else "",
    )


def _are_words(found: Any) -> bool:
    return isinstance(found, list) and all(isinstance(word, str) for word in found)
