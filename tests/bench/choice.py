"""How much the choice of the next check costs over the best there is, on seeded random tables.

Run: python -m tests.bench.choice
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence

import numpy as np

from tests.bench.optimal import (
    Table,
    cheapest,
    cost_bound,
    entropy_bits,
    huffman_length,
    policy_cost,
    random_table,
)

__all__ = ["chain", "main", "over_the_optimum"]

_TABLES = 1000
_LARGER = 60


def chain(weights: Sequence[float], minutes: Sequence[float] | None = None) -> Table:
    """A row of segments, one of which is broken; between each two a point that is live before the break."""
    count = len(weights)
    answers = tuple(tuple(int(fault > point) for fault in range(count)) for point in range(count - 1))
    return Table(tuple(w / sum(weights) for w in weights), tuple(minutes or [1.0] * (count - 1)), answers)


def over_the_optimum(tables: Sequence[Table], choice: Callable[[Table], float]) -> tuple[float, float, float]:
    """Mean and worst of cost over the optimum, and the share of tables where it is met."""
    ratios = np.array([choice(table) / cheapest(table)[0] for table in tables])
    return float(ratios.mean()), float(ratios.max()), float((ratios < 1 + 1e-9).mean())


def _print(name: str, tables: Sequence[Table], choice: Callable[[Table], float]) -> None:
    start = time.perf_counter()
    mean, worst, met = over_the_optimum(tables, choice)
    print(
        f"  {name:34} {100 * (mean - 1):6.2f} % over on average, {100 * (worst - 1):6.1f} % at worst, "
        f"met in {100 * met:5.1f} % ({time.perf_counter() - start:.0f} s)"
    )


def main(tables: int = _TABLES) -> None:
    """Print mean and worst over the optimum, the bounds, and half-splitting on chains."""
    small = [random_table(seed) for seed in range(tables)]
    print(f"{tables} seeded tables of 5 to 8 causes with minutes, against dynamic programming")
    _print("bits alone", small, lambda table: policy_cost(table, ahead=False, minutes=False)[0])
    _print("bits per minute", small, lambda table: policy_cost(table, ahead=False)[0])
    _print("looking ahead", small, lambda table: policy_cost(table)[0])
    _print("bound from Shannon's entropy", small, lambda t: cost_bound(entropy_bits(t.prior), t.minutes))
    _print("bound from Huffman's length", small, lambda t: cost_bound(huffman_length(t.prior), t.minutes))
    larger = [random_table(seed, (10, 13), (14, 20)) for seed in range(max(1, tables * _LARGER // _TABLES))]
    print(f"{len(larger)} seeded tables of 10 to 13 causes, too many to think through to the end")
    _print("bits per minute", larger, lambda table: policy_cost(table, ahead=False)[0])
    _print("looking ahead", larger, lambda table: policy_cost(table)[0])
    print("a chain of equal segments: mean and most probes; half-splitting; from one end")
    for count in (8, 10, 20, 100):
        mean, made = policy_cost(chain([1.0] * count))
        whole = int(np.log2(count))
        half = whole + 2 * (count - 2**whole) / count
        print(
            f"  {count:4} {mean:8.4f} {max(made.values()):3} {half:8.4f} {(count - 1) * (count + 2) / (2 * count):8.4f}"
        )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
