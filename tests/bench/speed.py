"""Speed as ratios against references measured in the same run; no test depends on it.

The circuit solver has a script of its own, `tests.bench.circuits`. Run: python -m tests.bench.speed
"""

from __future__ import annotations

import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from diag.circuit.predict import Predictor
from diag.job.journal import Journal
from diag.knowledge.load import default_vehicle, load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.operates import step_operates
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from tests.jobs.recorded import Recorded, names_on

__all__ = ["main"]

_REPEATS = 5


def _median_s(work: Callable[[], object], repeats: int = _REPEATS) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def _start_up(home: Path) -> tuple[float, float]:
    """Seconds of `import numpy`, and of `diag talk` to its first question and end of input."""
    env = {**os.environ, "DIAG_HOME": str(home)}

    def run(*arguments: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *arguments], env=env, input=b"", capture_output=True, check=True)

    run("-m", "diag", "talk")()  # the table is computed once
    return _median_s(run("-c", "import numpy")), _median_s(run("-m", "diag", "talk"))


def _answers(reasoner: Reasoner, folder: Path) -> list[float]:
    """Seconds from each recorded answer to the next question, journal on disk included."""
    times = []
    for name in names_on(default_vehicle().name):
        job = Recorded.read(name)
        with Journal.create(folder / f"{name}.jsonl") as journal:
            journal.append("opened", **dict(job.records[0].fields))
            conversation = Conversation(reasoner, journal, name)
            conversation.say()
            for record in job.records:
                message: dict[str, object]
                if record.event == "remedied":
                    message = {"remedied": record.fields["remedy"]}
                elif record.event not in ("answered", "found"):
                    continue
                elif record.fields.get("check") == "start":
                    message = {"symptom": record.fields["value"]}
                else:
                    keys = ("check", "operate", "target", "red", "black", "unit", "value")
                    message = {"found": {k: record.fields[k] for k in keys if k in record.fields}}
                start = time.perf_counter()
                told = conversation.take(message)
                conversation.say()
                times.append(time.perf_counter() - start)
                if told["type"] == "error":
                    raise RuntimeError(f"{name}: {told['text']}")
    return times


def main() -> None:
    """Print machine, date, and every ratio with both of its figures."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print(
            f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, {os.cpu_count()} cores, Python "
            f"{platform.python_version()}, numpy {np.__version__}"
        )
        numpy_s, talk_s = _start_up(folder)
        print(
            f"start to first question of diag talk: {talk_s / numpy_s:.1f} x `import numpy` "
            f"({talk_s:.2f} s, {numpy_s:.2f} s)"
        )
        knowledge = load_knowledge(default_vehicle())
        predictor = Predictor(knowledge, step_operates(knowledge), folder / "cache")
        reasoner = Reasoner(knowledge, predictor, default_matcher())
        times = _answers(reasoner, folder)
        median, p95 = np.median(times), np.percentile(times, 95)
        print(
            f"answer to next question over {len(times)} recorded answers: median {median / numpy_s:.3f}, p95 "
            f"{p95 / numpy_s:.3f} x `import numpy` ({1000 * median:.0f} ms, {1000 * p95:.0f} ms)"
        )
        print(f"memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main()
