"""Every figure of speed and memory in one run, each as a ratio to a reference of the same run, and how each grows.

Run: python -m tests.bench [--quick]. It takes about half an hour, `--quick` a few minutes; no test depends on it.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time

_PARTS = (
    ("Start-up and answer to question", "tests.bench.speed", (), ()),
    ("A job of ten thousand answers", "tests.bench.long_job", (), ("--answers", "1000")),
    ("Answer to question as causes grow, 1 to 16 times", "tests.bench.next_question", (), ("4",)),
    ("Table: circuits against ngspice, 1 to 16 times", "tests.bench.circuits", (), ("--growth", "1,2,4")),
    ("Replay, 1 to 16 times", "tests.bench.replay", ("--count", "10000"), ("--count", "800")),
)
"""Title, module, its arguments, and those of a quick run."""


def main() -> int:
    """Run every part, each in a process of its own; returns 1 where one failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer jobs, smaller growth")
    quick = parser.parse_args().quick
    failed = []
    for title, module, whole, short in _PARTS:
        print(f"\n## {title}\n", flush=True)
        began = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", module, *(short if quick else whole)], env={**os.environ, "DIAG_PACKS": "none"}
        )
        print(f"({time.perf_counter() - began:.0f} s)", flush=True)
        if done.returncode:
            failed.append(module)
    print(f"\nfailed: {', '.join(failed)}" if failed else "")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
