"""Where jobs are kept, how one is found by its name, and what a new one is called. Must not know what a journal
holds."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path

import platformdirs

from diag.errors import DiagError
from diag.job.records import JournalError, stamp, why
from diag.texts import t

__all__ = [
    "SUFFIX",
    "away_folder",
    "bundles_folder",
    "find_job",
    "from_bundle",
    "jobs_folder",
    "list_jobs",
    "new_job_path",
    "unpacked_jobs",
]

SUFFIX = ".jsonl"
_NAMED = 5
"""Jobs named where several would do."""


def _base() -> Path:
    home = os.environ.get("DIAG_HOME", "").strip()
    return Path(home).expanduser() if home else Path(platformdirs.user_data_dir("diag", appauthor=False))


def jobs_folder() -> Path:
    """Where jobs are kept: `jobs` under DIAG_HOME, or under the platform's data folder. Not made here."""
    return _base() / "jobs"


def away_folder() -> Path:
    """Where jobs are that were put away: `jobs-away` beside the jobs. Not made here."""
    return _base() / "jobs-away"


def bundles_folder() -> Path:
    """Where bundles are unpacked to, each in a folder of its own: `bundles` beside the jobs. Not made here."""
    return _base() / "bundles"


def new_job_path(vehicle: str, now: datetime) -> Path:
    """A path for a new job that no file has: UTC time, then the vehicle's id, so that names sort by time."""
    clean = re.sub(r"[^a-z0-9]+", "-", vehicle.lower()).strip("-")[:60] or "vehicle"
    name = f"{stamp(now)[:19].replace(':', '').replace('T', '-')}-{clean}"
    number = 1
    while True:
        path = jobs_folder() / (f"{name}{SUFFIX}" if number == 1 else f"{name}-{number}{SUFFIX}")
        if not os.path.lexists(path):
            return path
        number += 1


def list_jobs(folder: Path | None = None) -> list[Path]:
    """All jobs in a folder, by default that of jobs, newest first; empty where there is no folder yet."""
    folder = folder or jobs_folder()
    try:
        with os.scandir(folder) as entries:
            found = [entry.name for entry in entries if entry.name.endswith(SUFFIX) and entry.is_file()]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise JournalError(
            "unreadable",
            t(
                "{folder}: the jobs could not be listed: {why}; expected a folder that can be read. Check DIAG_HOME.",
                folder=folder,
                why=why(error),
            ),
        ) from error
    return [folder / name for name in sorted(found, reverse=True)]


def unpacked_jobs() -> list[Path]:
    """Jobs that came in bundles and lie unpacked beside the jobs, newest first, but those whose name a job in the jobs
    folder has; raises JournalError."""
    own = {path.name for path in list_jobs()}
    try:
        with os.scandir(bundles_folder()) as entries:
            names = sorted((entry.name for entry in entries if entry.is_dir() and entry.name[:1] != "."), reverse=True)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise JournalError(
            "unreadable",
            t(
                "{folder}: the bundles could not be listed: {why}; expected a folder that can be read. "
                "Check DIAG_HOME.",
                folder=bundles_folder(),
                why=why(error),
            ),
        ) from error
    found = (bundles_folder() / name / f"{name}{SUFFIX}" for name in names)
    return [path for path in found if path.name not in own and path.is_file()]


def from_bundle(path: Path) -> bool:
    """Whether a job is one of `unpacked_jobs`, by where it lies."""
    return path.parent.parent == bundles_folder()


def find_job(name: str, folder: Path | None = None) -> Path:
    """A job by its file, by its name in the folder, by the beginning of it, or by a piece that only one has; those out
    of bundles too. A folder that is named here is the only place looked in. Raises DiagError, JournalError."""
    path = Path(name)
    if folder is None and path.exists():
        return path
    where = folder or jobs_folder()
    jobs = list_jobs(where) + (unpacked_jobs() if folder is None else [])
    for found in jobs:
        if name in (found.name, found.stem):
            return found
    for fits in (str.startswith, str.__contains__):
        matches = [found for found in jobs if name and fits(found.stem, name)]
        if len(matches) == 1:
            return matches[0]
        if matches:
            shown = "".join(f"\n  {found.stem}" for found in matches[:_NAMED])
            rest = t("\n  and {number} more", number=len(matches) - _NAMED) if len(matches) > _NAMED else ""
            raise DiagError(
                t(
                    "{name}: {count} jobs are called so in part; expected more of the name:{shown}{rest}",
                    name=name,
                    count=len(matches),
                    shown=shown,
                    rest=rest,
                ),
            )
    if folder is not None:
        raise DiagError(
            t("{name}: there is no such job in {where}; expected a name out of it.", name=name, where=where)
        )
    raise DiagError(t("{name}: there is no such job; expected a job file or a name that `diag jobs` shows.", name=name))
