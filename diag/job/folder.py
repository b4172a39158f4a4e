"""Where jobs are kept, and what a new one is called. Must not know what a journal holds."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path

import platformdirs

from diag.job.records import JournalError, stamp, why

__all__ = ["SUFFIX", "jobs_folder", "list_jobs", "new_job_path"]

SUFFIX = ".jsonl"


def jobs_folder() -> Path:
    """Where jobs are kept: `jobs` under DIAG_HOME, or under the platform's data folder. Not made here."""
    home = os.environ.get("DIAG_HOME", "").strip()
    base = Path(home).expanduser() if home else Path(platformdirs.user_data_dir("diag", appauthor=False))
    return base / "jobs"


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


def list_jobs() -> list[Path]:
    """All jobs in the jobs folder, newest first; empty where there is no folder yet."""
    try:
        found = [path for path in jobs_folder().iterdir() if path.suffix == SUFFIX and path.is_file()]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise JournalError(
            "unreadable",
            f"{jobs_folder()}: the jobs could not be listed: {why(error)}; expected a "
            "folder that can be read. Check DIAG_HOME.",
        ) from error
    return sorted(found, key=lambda path: path.name, reverse=True)
