"""Puts a job away, out of every list and count, and brings it back; nothing is ever deleted."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from diag.job.folder import away_folder, jobs_folder
from diag.job.records import JournalError, why
from diag.texts import t

__all__ = ["bring_back", "put_away"]


def put_away(job: Path) -> Path:
    """Moves a job out of the jobs folder, with what stands beside it under its name. Returns its new place; raises
    JournalError where it is in use, is kept elsewhere, or the other folder has one of that name."""
    if job.resolve().parent != jobs_folder().resolve():
        raise JournalError(
            "missing",
            t(
                "{job}: this job is not in {jobs_folder}; expected one that `diag jobs` lists.",
                job=job,
                jobs_folder=jobs_folder(),
            ),
        )
    return _moved(job, away_folder())


def bring_back(job: Path) -> Path:
    """The same the other way."""
    return _moved(job, jobs_folder())


def _moved(job: Path, to: Path) -> Path:
    target = to / job.name
    try:
        to.mkdir(mode=0o700, parents=True, exist_ok=True)
        with _lock(job):
            if os.path.lexists(target):
                raise JournalError(
                    "exists", t("{target}: found a job of that name there; expected none. Rename one.", target=target)
                )
            for beside in sorted(_beside(job)):
                if beside.name not in (job.name, f"{job.name}.lock") and not os.path.lexists(to / beside.name):
                    beside.rename(to / beside.name)
            job.rename(target)  # last: until then it is where it was
    except OSError as error:
        raise JournalError(
            "not-stored", t("{job}: it could not be moved to {to}: {why}.", job=job, to=to, why=why(error))
        ) from error
    with contextlib.suppress(OSError):
        job.with_name(f"{job.name}.lock").unlink()
    return target


@contextlib.contextmanager
def _lock(job: Path) -> Iterator[None]:
    try:
        with FileLock(f"{job}.lock", timeout=0, mode=0o600, thread_local=False):
            yield
    except Timeout as error:
        raise JournalError(
            "in-use",
            t("{job}: found another program at work on this job; expected none. Close it there first.", job=job),
        ) from error


def _beside(job: Path) -> list[Path]:
    """Its log, torn pieces and the like: whatever has its name and another ending."""
    return [path for path in job.parent.iterdir() if path.name.startswith(f"{job.stem}.")]
