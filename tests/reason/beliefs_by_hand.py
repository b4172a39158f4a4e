"""Evidence typed in by hand, and the posterior enumerated the long way.

Written from what the belief promises, not from its code: every set, every outcome of every remedy.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, product

import numpy as np

from diag.reason.belief import Evidence, Judged, Treatment

__all__ = ["Together", "enumerate_sets", "evidence", "explains", "solved_together"]

Together = Mapping[tuple[int, frozenset[int]], float]
"""Exact chance of a finding (its index) with several causes that all touch it."""

PAIR_RATE, EXPLAINS, TOUCHES = 0.35, 0.12, 0.05


def evidence(
    rows: Sequence[Sequence[float] | np.ndarray],
    prior: Sequence[float] | np.ndarray,
    *,
    flat: float = 1e-9,
    healthy: float = 1e-9,
    outside: float = 1e-12,
    periods: Sequence[int] | None = None,
    treatments: Sequence[Treatment] = (),
) -> Evidence:
    """One row a finding: chance if healthy, then one a cause."""
    periods = periods or [0] * len(rows)

    judged = tuple(
        Judged(100 + f, period, np.array(row, dtype=float), flat)
        for f, (row, period) in enumerate(zip(rows, periods, strict=True))
    )
    return Evidence(judged, tuple(treatments), np.array(prior, dtype=float), healthy, outside)


def solved_together(e: Evidence, together: Together) -> Evidence:
    """The same with the exact chance of each finding for several causes at once."""

    def exact(f: int) -> Callable[[Sequence[frozenset[int]]], np.ndarray]:
        return lambda sets: np.array([together[f, s] for s in sets])

    return replace(e, findings=tuple(replace(finding, together=exact(f)) for f, finding in enumerate(e.findings)))


def _chance(e: Evidence, f: int, members: frozenset[int], together: Together | None) -> float:
    """A cause that moves a finding by less than a twentieth leaves it as healthy; of several that touch it
    the exact chance, else that of the one which explains it best."""
    rows = e.findings[f].rows
    touching = frozenset(i for i in members if abs(math.log(rows[1 + i] / rows[0])) > TOUCHES)
    if not touching:
        return float(rows[0])
    if len(touching) > 1 and together is not None:
        return together[f, touching]
    return max(float(rows[1 + i]) for i in touching)


def explains(e: Evidence, members: frozenset[int], together: Together | None = None) -> bool:
    """Whether a set needs no finding to be misread, were all remedies to take. What is solved together and no
    single cause makes likelier than chance is explained by none of them."""
    for f, finding in enumerate(e.findings):
        left = members - _cured(e, [True] * len(e.treatments), finding.period)
        level = float(finding.rows.max())
        if finding.together is not None:
            level = max(level, finding.flat)
        if _chance(e, f, left, together) < EXPLAINS * level:
            return False
    return True


def _cured(e: Evidence, took: Sequence[bool], period: int) -> frozenset[int]:
    gone: set[int] = set()
    for treatment, yes in zip(e.treatments, took, strict=True):
        if yes and treatment.period <= period:
            gone |= set(range(len(e.prior))) if treatment.causes is None else set(treatment.causes)
    return frozenset(gone)


def enumerate_sets(
    e: Evidence, most: int, together: Together | None = None
) -> tuple[dict[frozenset[int], float], float, float]:
    """Chance of each set present now of up to `most` causes at the start (the empty set left out: it is
    the second value, healthy now), and of a cause outside the model."""
    weights: dict[frozenset[int], float] = {frozenset(): e.healthy}
    for f in range(len(e.findings)):
        weights[frozenset()] *= _chance(e, f, frozenset(), together)
    last = max([0, *(f.period for f in e.findings), *(t.period for t in e.treatments)])
    for size in range(1, most + 1):
        for chosen in combinations(range(len(e.prior)), size):
            start = frozenset(chosen)
            prior = math.prod(float(e.prior[i]) for i in start) * PAIR_RATE ** (size - 1)
            for took in product((True, False), repeat=len(e.treatments)):
                weight = prior
                for treatment, yes in zip(e.treatments, took, strict=True):
                    weight *= treatment.takes if yes else 1 - treatment.takes
                for f, finding in enumerate(e.findings):
                    left = start - _cured(e, took, finding.period)
                    # a single cause speaks for itself, however little it moves the finding
                    alone = size == 1 and bool(left)
                    weight *= float(finding.rows[1 + chosen[0]]) if alone else _chance(e, f, left, together)
                now = start - _cured(e, took, last)
                weights[now] = weights.get(now, 0.0) + weight
    outside = e.outside * math.prod(f.flat for f in e.findings)
    total = sum(weights.values()) + outside
    healthy = weights.pop(frozenset()) / total
    return {s: w / total for s, w in weights.items()}, healthy, outside / total
