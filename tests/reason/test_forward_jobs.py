"""A thousand jobs one after the other in one process: no thread is left over and memory does not grow."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from diag.job.journal import Journal
from diag.reason.engine import available, default_matcher
from diag.talk.conversation import Conversation
from diag.talk.opening import new_job, reasoner_of
from tests.knowledge.small import Small, write_small

JOBS = 1000
SETTLED = 300
"""Jobs after which every cache of ours that is bounded is full."""
_FOUND: tuple[tuple[str, object], ...] = (
    ("lamp-on", {"light": "dark", "rhythm": "none"}),
    ("lamp-volts", 12.4),
    ("fuse-marking", "right"),
)
_FIRES = ["lamp/feed-without-light", "lamp/fed-with-right-fuse"]


def _resident_kb() -> int:
    """Memory of this process that is really there, in kB."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    raise AssertionError("no VmRSS in /proc/self/status")


def _one_job(small: Small, path: Path) -> None:
    """Knowledge read from its files, a job made on disk, three findings, two taken back, closed."""
    reasoner = reasoner_of(small.load(), frozenset({"wiring"}))
    conversation, journal = new_job(reasoner, small.vehicle, path, ("meter",), frozenset({"wiring"}))
    try:
        _answer(conversation, journal)
    finally:
        journal.close()
        path.unlink()


def _answer(conversation: Conversation, journal: Journal) -> None:
    def fired() -> list[str]:
        return [one.rule_id for one in conversation.reasoner.fired(conversation.findings()).firings]

    conversation.say()
    start = conversation.open_ask
    assert start is not None
    assert conversation.take({"answer": start["id"], "value": "lamp-dead"})["type"] == "tell"
    for check, value in _FOUND:
        assert conversation.take({"found": {"check": check, "value": value}})["type"] == "tell"
    assert fired() == _FIRES
    for _ in range(2):
        assert conversation.take({"undo": True})["type"] == "tell"
    assert fired() == [], "what was taken back must be gone"
    assert len(journal.records) == 8


def run_jobs(folder: Path) -> None:
    """All jobs; prints threads before and after, and memory after each tenth job. In a process of its own."""
    os.environ["DIAG_HOME"] = str(folder / "home")
    small = write_small(folder / "rules")
    _one_job(small, folder / "first.jsonl")
    threads, memory = [threading.active_count(), len(os.listdir("/proc/self/task"))], []
    for number in range(JOBS):
        _one_job(small, folder / f"{number}.jsonl")
        if number % 10 == 9:
            memory.append(_resident_kb())
    after = [threading.active_count(), len(os.listdir("/proc/self/task"))]
    told = {"engine": default_matcher().name, "before": threads, "after": after, "memory": memory}
    print(json.dumps(told))


_RUN = """
import sys
sys.path[:0] = {path!r}
from pathlib import Path
from tests.reason import test_forward_jobs as own
own.run_jobs(Path({folder!r}))
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory of a process is read from /proc")
@pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
def test_a_thousand_jobs_leave_threads_and_memory_as_they_were(tmp_path: Path) -> None:
    """The engine keeps timer threads and dropped rulesets for ever where one lets it: a program left open in a
    workshop, or a replay of many jobs, must not grow. The time-out only ends a hung process."""
    done = subprocess.run(
        [sys.executable, "-c", _RUN.format(path=[str(Path(__file__).parents[2])], folder=str(tmp_path))],
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
        env={**os.environ, "DIAG_ENGINE": "durable", "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    assert told["engine"].startswith("durable-rules")
    assert told["after"] == told["before"]
    memory = np.array(told["memory"][SETTLED // 10 :], dtype=float)
    assert len(memory) == (JOBS - SETTLED) // 10
    slope_kb, _ = np.polyfit(10.0 * np.arange(len(memory)), memory, 1)
    assert slope_kb < 1.0, f"{slope_kb:.2f} kB a job: {told['memory']}"
    assert memory[-1] - memory[0] < 1000, told["memory"]
