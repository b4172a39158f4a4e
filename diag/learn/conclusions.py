"""Which recorded conclusions change by what was learned: jobs replayed without it and with it, and compared.

Knows how to open a vehicle twice; how a job is replayed and compared is known elsewhere.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePath

from diag.errors import DiagError
from diag.job.folder import SUFFIX
from diag.job.records import LINE_LIMIT, Record
from diag.job.state import replay
from diag.knowledge.learned import Learned
from diag.learn.lesson import published_reasoner, with_lesson
from diag.reason.reasoner import Reasoner
from diag.replay.compare import Difference, compare
from diag.replay.jobs import read_job
from diag.replay.outcome import outcome
from diag.talk.opening import vehicle_finder

__all__ = ["Recorded", "changes", "recorded_on"]

Recorded = Mapping[str, Sequence[Record]]
"""Jobs by name."""
Tell = Callable[[float], None]


def recorded_on(files: Sequence[Path], folders: Sequence[Path]) -> dict[Path, dict[str, Sequence[Record]]]:
    """The jobs of those folders that were recorded on each vehicle file; what cannot be read is left out, as it
    proves nothing."""
    wanted = {file.resolve(): file for file in files}
    found: dict[Path, dict[str, Sequence[Record]]] = {file: {} for file in files}
    vehicle_of = vehicle_finder()
    for folder in folders:
        if not folder.is_dir():
            continue
        for path in sorted(folder.rglob(f"*{SUFFIX}")):
            if _vehicle_name(path) not in {file.name for file in files}:
                continue
            job = read_job(path)
            if job.problem or not job.records:
                continue
            try:
                file = wanted.get(vehicle_of(replay(job.records)).resolve())
            except (DiagError, ValueError):
                continue
            if file is not None:
                found[file].setdefault(job.name, job.records)
    return found


def _vehicle_name(path: Path) -> str:
    """Name of the vehicle file that a journal's first line gives: most of many jobs need no more reading."""
    try:
        with path.open("rb") as stream:
            first = json.loads(stream.readline(LINE_LIMIT))
        return PurePath(str(first["vehicle-file"])).name
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def changes(
    jobs: Mapping[Path, Recorded],
    before: Learned | None,
    after: Learned,
    tell: Tell = lambda share: None,
    open_with: Callable[[Path, frozenset[str]], Reasoner] = published_reasoner,
) -> list[Difference]:
    """What becomes different in each job, the worst first, then by name. `before`: what is learned and used now.
    Raises KnowledgeError, DiagError where a vehicle cannot be opened."""
    out: list[Difference] = []
    count, done = max(2 * sum(map(len, jobs.values())), 1), 0
    for file, recorded in jobs.items():
        if not recorded:
            continue
        published = open_with(file, frozenset())
        outcomes = []
        for learned in (before, after):
            reasoner = with_lesson(published, learned)
            told = {}
            for name, records in recorded.items():
                told[name] = outcome(reasoner, records, name)
                done += 1
                tell(done / count)
            outcomes.append(told)
        out += [compare(outcomes[0][name], outcomes[1][name]) for name in recorded]
    return sorted(out, key=lambda one: (not one.worse, one.verdict == "same", one.job))
