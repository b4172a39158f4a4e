"""Many jobs of one vehicle replayed side by side by processes that share the opened vehicle.

The same rows of jobs are replayed together however many processes there are, each row as if it were the first, so
that nothing hangs on their number. Knows reasoners and jobs; nothing of folders or of what is compared.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.knowledge.assemble import Knowledge
from diag.reason.matcher import PlainMatcher
from diag.reason.reasoner import Reasoner
from diag.replay.archive import Filed
from diag.replay.forms import Outcome
from diag.replay.outcome import outcome
from diag.replay.then import outcome_then
from diag.replay.weighing import Weighing
from diag.talk.findings import step_of
from diag.talk.opening import open_reasoner, reasoner_of
from diag.texts import t

__all__ = ["Replayed", "Vehicle", "replay_side_by_side", "room_for"]

ROW = 200
"""Jobs replayed one after the other in one process."""
_WORTH_IT = 60
"""Fewer jobs than this are done sooner than processes are started."""
_PRIVATE_SHARE, _PRIVATE_BYTES = 0.3, 150_000_000
"""What a process needs beside what it shares: of the opened vehicle, and at least."""


@dataclass(frozen=True)
class Vehicle:
    """A vehicle file and what is left out of its reasoning."""

    file: Path
    without: tuple[str, ...]


@dataclass(frozen=True)
class Replayed:
    """What came of a job, and what was so then (None: it does not say). `messages` of the reader."""

    name: str
    now: Outcome
    then: Outcome | None
    messages: tuple[str, ...] = ()


def opened(
    vehicle: Vehicle,
    tell: Callable[[float], None] | None,
    deeds: Sequence[dict[str, Any]],
    knowledge: Knowledge | None = None,
) -> Reasoner:
    """The reasoner of a vehicle, looking at everything that some answer was about: so no answer of one job changes
    what another comes to. `knowledge`: where it is loaded already. Raises KnowledgeError for files that cannot be
    used."""
    without = frozenset(vehicle.without)
    if knowledge is None:
        reasoner = open_reasoner(vehicle.file, without, tell, PlainMatcher())
    else:
        reasoner = reasoner_of(knowledge, without, tell, PlainMatcher())
    for deed in deeds:
        step_of(reasoner, deed)
    return reasoner


_SHARED: list[Weighing] = []
"""The opened vehicle of this process; a forked one has it from its parent."""


def replay_side_by_side(
    reasoner: Reasoner, vehicle: Vehicle, deeds: Sequence[dict[str, Any]], jobs: Sequence[Filed], workers: int
) -> Iterator[list[Replayed]]:
    """Row after row, in the order of the jobs. At most `workers` processes; one: this one."""
    rows = [jobs[start : start + ROW] for start in range(0, len(jobs), ROW)]
    _SHARED[:] = [Weighing(reasoner)]
    try:
        if workers < 2 or len(jobs) < _WORTH_IT or len(rows) < 2:
            yield from map(_replay_row, rows)
            return
        with _pool(min(workers, len(rows)), vehicle, deeds) as pool:
            yield from pool.imap(_replay_row, rows)
    finally:
        _SHARED.clear()


def _pool(workers: int, vehicle: Vehicle, deeds: Sequence[dict[str, Any]]) -> Any:
    if _forks():
        gc.freeze()  # what is shared stays shared: the collector would write to it
        return multiprocessing.get_context("fork").Pool(workers)
    return multiprocessing.get_context("spawn").Pool(workers, _open_here, (vehicle, deeds))


def _forks() -> bool:
    return sys.platform.startswith("linux") and "fork" in multiprocessing.get_all_start_methods()


def _open_here(vehicle: Vehicle, deeds: Sequence[dict[str, Any]]) -> None:
    _SHARED[:] = [Weighing(opened(vehicle, None, deeds))]


def _replay_row(row: Sequence[Filed]) -> list[Replayed]:
    (weighing,) = _SHARED
    weighing.begin()
    return [_replayed(filed, weighing) for filed in row]


def _replayed(filed: Filed, weighing: Weighing) -> Replayed:
    job = filed.job()
    if job.problem:
        return Replayed(filed.name, Outcome(filed.name, filed.vehicle, problem=job.problem), None, job.messages)
    try:
        now = outcome(weighing.reasoner, job.records, job.name, weighing)
    except Exception as error:  # one strange job must not stop ten thousand; it is named, and counts as a problem
        now = Outcome(job.name, filed.vehicle, problem=f"{filed.path}: {type(error).__name__}: {error}")
    return Replayed(job.name, now, outcome_then(job), job.messages)


# ---------------------------------------------------------------- room


def room_for(wanted: int) -> tuple[int, str]:
    """How many processes there is memory for, this one's opened vehicle being shared (or opened again in each, where
    processes cannot share); in words where that is less than wanted."""
    free, held = _free_bytes(), _held_bytes()
    if free is None or held is None:
        return wanted, ""
    each = max(_PRIVATE_BYTES, int((_PRIVATE_SHARE if _forks() else 1.0) * held))
    most = max(1, free // each)
    if most >= wanted:
        return wanted, ""
    return (
        most,
        t(
            "{most} instead of {wanted} at once: {number:.1f} GB of memory are free, each needs {number_2:.1f}.",
            most=most,
            wanted=wanted,
            number=free / 1000000000.0,
            number_2=each / 1000000000.0,
        ),
    )


def _free_bytes() -> int | None:
    """Memory that programs may still take; None where the system does not say."""
    try:
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    except (OSError, ValueError):
        pass
    try:
        return os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, ValueError, OSError):
        return None


def _held_bytes() -> int | None:
    """Memory that this program holds."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, AttributeError):
        return None
