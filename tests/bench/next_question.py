"""Time from an answer to the next question as causes grow: 1, 4 and 16 times those of the demo vehicle.

More causes are more vehicles' worth of them: each copy changes other steps than the first, so that every step is
changed by as many times more causes. Every job hides one cause, draws each answer from its chances, and goes on
until one cause holds 99 % or twelve answers are given. Timed: weighing everything anew, and ranking the steps.

Run: python -m tests.bench.next_question [JOBS]
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence

import numpy as np

import diag.reason.choose as choose
from diag.circuit.network import Floats
from diag.reason.belief import weigh
from diag.reason.choose import Situation, StepTable, rank
from diag.reason.reasoner import Reasoner
from diag.reason.sight import Evidence, Judged
from diag.reason.steps import Step
from diag.talk.opening import open_reasoner, vehicle_file

__all__ = ["main", "widened"]

_STEPS, _ANSWERS, _CERTAIN = 300, 12, 0.99
_SITUATION = Situation("driver-seat", frozenset(), frozenset())


def widened(tables: Sequence[Floats], copies: int, seed: int) -> list[Floats]:
    """(1 + copies x causes, answers) for each step. A further copy of the causes does to each step what the first
    does to another step of as many answers."""
    chance = np.random.default_rng(seed)
    by_width: dict[int, list[int]] = {}
    for place, table in enumerate(tables):
        by_width.setdefault(table.shape[1], []).append(place)
    out = [[table] for table in tables]
    for _ in range(copies - 1):
        for places in by_width.values():
            for place, other in zip(places, chance.permutation(places).tolist(), strict=True):
                rows = tables[other][1:]
                moved = 0.5 * np.abs(rows - tables[other][:1]).sum(axis=1) > 0.02
                out[place].append(np.where(moved[:, None], rows, tables[place][:1]))
    return [np.concatenate(parts) for parts in out]


def _steps(reasoner: Reasoner) -> list[Step]:
    """Computed steps, evenly taken from all."""
    computed = [step for step in reasoner.steps.values() if reasoner.chances.computed(step)]
    every = max(1, len(computed) // _STEPS)
    return computed[::every][:_STEPS]


def _jobs(steps: Sequence[Step], tables: Sequence[Floats], prior: Floats, jobs: int, seed: int) -> tuple[Floats, int]:
    """(turns, 2) seconds of weighing and of ranking; how many jobs put the hidden cause first."""
    chance = np.random.default_rng(seed)
    known = {step.id: table for step, table in zip(steps, tables, strict=True)}
    table, group_of = StepTable(steps, lambda step: known[step.id]), {i: str(i) for i in range(len(prior))}
    times, right = [], 0
    for _ in range(jobs):
        hidden = int(chance.choice(len(prior), p=prior))
        given: dict[str, Judged] = {}
        best = -1
        for turn in range(_ANSWERS):
            start = time.process_time()
            posterior = weigh(Evidence(tuple(given.values()), (), prior, 1e-3, 1e-3))
            weighed = time.process_time()
            ranked = rank([table], posterior, group_of, _SITUATION, lambda step: step.id not in given)  # noqa: B023
            if turn:
                times.append((weighed - start, time.process_time() - weighed))
            best = int(posterior.present.argmax())
            if not ranked or posterior.present.max() >= _CERTAIN:
                break
            rows = known[ranked[0].step.id]
            answer = int(chance.choice(rows.shape[1], p=rows[1 + hidden] / rows[1 + hidden].sum()))
            given[ranked[0].step.id] = Judged(turn, 0, rows[:, answer], 1.0 / rows.shape[1])
        right += best == hidden
    return np.array(times), right


def main(jobs: int = 20) -> None:
    """Print milliseconds and growth for one step ahead and for looking further."""
    reasoner = open_reasoner(vehicle_file(None))
    steps = _steps(reasoner)
    tables = [reasoner.chances.table(step) for step in steps]
    print(f"{len(steps)} steps; ms from answer to next question: median, p95 (weighing / ranking at p95)")
    pool = choose._POOL
    for ahead in (False, True):
        choose._POOL = pool if ahead else 1  # a pool of one leaves nothing to think through
        first = 0.0
        for copies in (1, 4, 16):
            prior = np.tile(reasoner.prior, copies) / copies
            times, right = _jobs(steps, widened(tables, copies, 1), prior, jobs, copies)
            both = 1000 * times.sum(axis=1)
            median, p95 = float(np.median(both)), float(np.percentile(both, 95))
            first = first or median
            apart = 1000 * np.percentile(times, 95, axis=0)
            print(
                f"{'looking ahead' if ahead else 'one step     '} {len(prior):6} causes {median:7.1f} {p95:7.1f} "
                f"({apart[0]:.1f} / {apart[1]:.1f}); {median / first:.1f} x the first; right {right} of {jobs}"
            )
    choose._POOL = pool


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main(*(int(argument) for argument in sys.argv[1:]))
