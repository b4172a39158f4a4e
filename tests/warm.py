"""Computes the tables of all vehicles that tests use, before the tests: each once, side by side.

Run: python -m tests.warm. A table that is there is left alone; without this step each worker computes its own.
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ProcessPoolExecutor

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from tests.conftest import TABLES  # noqa: E402
from tests.reasoners import Reasoners, demo_vehicles  # noqa: E402
from tests.vehicles import SIX  # noqa: E402

__all__ = ["main"]

_LONGEST_FIRST = ("demo-pickup.yaml", SIX.name)


def _compute(vehicle: str) -> str:
    Reasoners(TABLES).predictor(vehicle)
    return vehicle


def main() -> int:
    """Compute and say which is there. Returns the exit code."""
    others = [name for name in demo_vehicles() if name not in _LONGEST_FIRST]
    with ProcessPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        for vehicle in pool.map(_compute, [*_LONGEST_FIRST, *others]):
            print(f"table of {vehicle}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
