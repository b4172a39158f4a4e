"""What a job of ten thousand answers costs, and how that grows: ratios to reading its journal as plain JSON.

Seconds are the processor's own, so that other work on the machine does not count. Run:
python -m tests.bench.long_job [--answers 10000] [--odd 0.0]
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from diag.job.journal import Journal
from diag.log.export import export_job, open_job
from diag.paper.page import as_html
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from tests.jobs.long import write_long_job
from tests.reasoners import Reasoners
from tests.vehicles import SIX

__all__ = ["main"]

_PARTS = (16, 8, 4, 2, 1)
_FORMS = ("markdown", "json", "csv")


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def _plain(path: Path) -> list[object]:
    return [json.loads(line) for line in path.read_text(encoding="ascii").splitlines()]


def _measured(reasoner: Reasoner, path: Path) -> dict[str, float]:
    """Seconds of each thing that is done with the job; `read` is the reference."""
    out = {"read": min(_seconds(lambda: _plain(path)) for _ in range(5))}
    opened: list[tuple[Journal, Conversation]] = []

    def resume() -> None:
        journal = Journal.open(path)
        talk = Conversation(reasoner, journal, str(path))
        talk.unknown_answers()
        talk.say()
        opened.append((journal, talk))

    def answer() -> None:
        for _ in range(3):
            assert talk.take({"found": {"check": "horn-sound", "value": "sound"}})["type"] == "tell"
            talk.say()

    def undo() -> None:
        for _ in range(3):
            assert talk.take({"undo": True})["type"] == "tell"
            talk.say()

    def note() -> None:
        for _ in range(3):
            assert talk.take({"note": "Nothing loose"})["type"] == "tell"
            talk.say()

    out["resume"] = _seconds(resume)
    journal, talk = opened[0]
    out |= {"answer": _seconds(answer) / 3, "undo": _seconds(undo) / 3, "note": _seconds(note) / 3}
    journal.close()
    for form in _FORMS:
        out[form] = _seconds(lambda form=form: export_job(path, form, reasoner=reasoner))  # type: ignore[misc]
    out["html"] = _seconds(lambda: as_html(*open_job(path, reasoner=reasoner)))
    return out


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--answers", type=int, default=10_000)
    parser.add_argument("--odd", type=float, default=0.0, help="share of answers that are odd once, never corrected")
    chosen = parser.parse_args()
    reasoner = Reasoners(Path(tempfile.gettempdir()) / f"diag-tests-{os.getuid()}").whole(SIX.name)
    names: tuple[str, ...] = ()
    last: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for part in _PARTS:
            count = chosen.answers // part
            path = write_long_job(Path(folder) / f"{count}.jsonl", reasoner, count, odd_once=chosen.odd)
            found = _measured(reasoner, path)
            if not names:
                names = tuple(name for name in found if name != "read")
                print("times the reference: reading and decoding the same journal as plain JSON")
                print(" answers  " + "".join(f"{name:>10}" for name in (*names, "MB")))
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            told = "".join(f"{found[name] / found['read']:10.1f}" for name in names)
            print(f"{count:8}  {told}{peak:10.0f}", flush=True)
            if last:
                grown = "".join(f"{found[name] / max(last[name], 1e-9):9.1f}x" for name in names)
                print(f"  growth  {grown}", flush=True)
            last = found


if __name__ == "__main__":
    main()
