"""Replay of ten thousand generated jobs: its rate, how it grows, its memory, and what reading them costs.

Run: python -m tests.bench.replay --count 10000 [--workers N]. A ratio is against a reference of the same run: the
same files read and decoded as JSON by plain Python. No test depends on it.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import duckdb  # noqa: E402
import numpy as np  # noqa: E402

from diag.replay.archive import Folder, Wanted, read_archive  # noqa: E402
from diag.replay.compare import compare  # noqa: E402
from diag.replay.report import Report, as_text  # noqa: E402
from diag.replay.run import replay_archive  # noqa: E402
from diag.replay.store import Store  # noqa: E402
from diag.replay.workers import Replayed  # noqa: E402
from tests.bench.jobs_made import copies, played_jobs, write_jobs  # noqa: E402
from tests.conftest import TABLES  # noqa: E402
from tests.reasoners import Reasoners  # noqa: E402
from tests.vehicles import SIX  # noqa: E402

__all__ = ["main"]


class _Quiet:
    def jobs(self, done: int, total: int) -> None:
        """Nothing."""

    def table(self, share: float) -> None:
        """Nothing."""

    def note(self, text: str) -> None:
        """On standard error."""
        print(text, file=sys.stderr)


def _timed(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def _plain(folder: Path) -> int:
    return sum(len([json.loads(line) for line in path.read_bytes().splitlines()]) for path in folder.rglob("*.jsonl"))


def _cpu_s() -> float:
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


def _told(done: list[Replayed]) -> Report:
    return Report(tuple(compare(one.then, one.now) for one in done), tuple(one.now for one in done))


def main() -> int:
    """Print machine, date and figures. Returns the exit code: 1 where the same jobs did not come out the same."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--played", type=int, default=240, help="different jobs played to begin with")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    os.environ.setdefault("DIAG_HOME", str(TABLES / "bench-home"))
    cache = Path(os.environ["DIAG_HOME"]) / "cache"
    cache.parent.mkdir(parents=True, exist_ok=True)
    if not cache.exists():
        cache.symlink_to(TABLES)
    print(
        f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, {os.cpu_count()} cores, Python "
        f"{platform.python_version()}, numpy {np.__version__}, DuckDB {duckdb.__version__}"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "jobs"
        _generated(folder, given.count, given.played)
        return _measured(folder, given.count, given.workers, Path(name))


def _generated(folder: Path, count: int, most: int) -> None:
    """Play and write the jobs; the opened vehicle is let go before anything is measured."""
    reasoner = Reasoners(TABLES).whole(SIX.name)
    played_s, played = _timed(lambda: played_jobs(reasoner, min(most, count)))
    wrote_s, size = _timed(lambda: write_jobs(folder, copies(reasoner, played, SIX), count))
    print(
        f"{count} different jobs out of {len(played)} played in {played_s:.0f} s, written in {wrote_s:.0f} s: "
        f"{size / 1e6:.0f} MB, {sum(len(job) for job in played) / len(played):.0f} records each"
    )


def _measured(folder: Path, count: int, workers: int, home: Path) -> int:
    _plain(folder)  # so that both find the files in memory
    plain_s, records = _timed(lambda: _plain(folder))
    read_s, archive = _timed(lambda: read_archive([Folder(str(folder))], Wanted()))
    print(f"load of the machine before: {os.getloadavg()[0]:.1f}")
    print(
        f"plain Python reads and decodes {records} records in {plain_s:.2f} s; DuckDB reads them and gives the "
        f"overview in {read_s:.2f} s, {read_s / plain_s:.2f} x"
    )
    store = Store(home / "kept")
    before = _cpu_s()
    took_s, done = _timed(lambda: replay_archive(archive, workers, store, _Quiet()))
    cpu_s = _cpu_s() - before
    print(
        f"replayed with {workers} processes in {took_s:.1f} s: {count / took_s:.0f} jobs a second, "
        f"{count / cpu_s:.0f} a second of one core; {took_s / plain_s:.0f} x plain reading"
    )
    kept_s, again = _timed(lambda: replay_archive(archive, workers, store, _Quiet()))
    print(
        f"the same again, looked up: {kept_s:.2f} s, {count / kept_s:.0f} jobs a second, "
        f"{took_s / kept_s:.0f} x quicker"
    )
    rates = []
    for part in (16, 8, 4, 2):
        some = replace(archive, jobs=archive.jobs[: count // part])
        part_s, _ = _timed(lambda some=some: replay_archive(some, workers, None, _Quiet()))  # type: ignore[misc]
        rates.append(f"{len(some.jobs)}: {part_s:.1f} s ({len(some.jobs) / part_s:.0f}/s)")
    rates.append(f"{count}: {took_s:.1f} s ({count / took_s:.0f}/s)")
    print(f"growth, opening the vehicle included: {'; '.join(rates)}")
    own, children = (
        resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(
        f"memory at most {own:.0f} MB here, {children:.0f} MB in the largest process beside it (shared parts counted)"
    )
    report = _told(done)
    print(as_text(replace(report, differences=report.differences, only_changed=True), 80).split("\n\n")[0])
    found = sum(one.now.found for one in done)
    print(f"{found} of {count} jobs lead clearly to each remedy that was carried out")
    return int([one.now for one in done] != [one.now for one in again])


if __name__ == "__main__":
    sys.exit(main())
