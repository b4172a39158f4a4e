"""The cheapest order of visits that begins somewhere, ends anywhere and keeps what must come before what.

An asymmetric travelling-salesman path with precedence: exact by dynamic programming for few visits, else built
by insertion and improved by moving and reversing runs until nothing is gained. Deterministic. Knows numbers only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diag.circuit.network import Floats
from diag.texts import t

__all__ = ["EXACT_UP_TO", "cheapest_order", "cost_of"]

EXACT_UP_TO = 11
"""Visits up to which every order is weighed: 2^11 sets of visits, times where one stands."""
_RUN = 8
"""Visits that are moved together at most."""
_GAIN = 1e-9
_ROUNDS = 200
"""Improvements are strict, so the search ends by itself; this only bounds it."""


def cost_of(order: Sequence[int], first: Floats, between: Floats) -> float:
    """Cost of an order: `first` (n,) to come to the visit from the start, `between` (n, n) from row to column."""
    if not order:
        return 0.0
    return float(first[order[0]] + sum(between[a, b] for a, b in zip(order, order[1:], strict=False)))


def cheapest_order(first: Floats, between: Floats, before: np.ndarray) -> tuple[int, ...]:
    """Indices of all visits in the order of least cost.

    `first` (n,), `between` (n, n): costs of 0 or more. `before` (n, n) bool: True where the row must come before
    the column. Of equal orders one is always taken alike. Raises ValueError where `before` runs in a circle.
    """
    after = _closed(before)
    if len(first) <= EXACT_UP_TO:
        return _exact(first, between, after)
    begun = [_inserted(first, between, after), _nearest(first, between, after)]
    found = [_improved(order, first, between, after) for order in begun]
    return min(found, key=lambda order: cost_of(order, first, between))


def _closed(before: np.ndarray) -> np.ndarray:
    """What must come before what, by way of others too. Raises ValueError for a circle."""
    found = np.array(before, dtype=bool)
    for middle in range(len(found)):
        found |= np.outer(found[:, middle], found[middle])
    if found.diagonal().any():
        raise ValueError(t("what must come first must come after itself"))
    return found


def _exact(first: Floats, between: Floats, before: np.ndarray) -> tuple[int, ...]:
    """Held and Karp: the cheapest way to have made each set of visits and stand at one of them."""
    count = len(first)
    if not count:
        return ()
    needs = [int(sum(1 << a for a in range(count) if before[a, b])) for b in range(count)]
    best = np.full((1 << count, count), np.inf)
    came = np.full((1 << count, count), -1, dtype=int)
    for visit in range(count):
        if not needs[visit]:
            best[1 << visit, visit] = first[visit]
    for made in range(1, 1 << count):
        here = best[made]
        if not np.isfinite(here).any():
            continue
        for visit in range(count):
            if made >> visit & 1 or needs[visit] & ~made:
                continue
            costs = here + between[:, visit]
            last = int(costs.argmin())
            grown = made | 1 << visit
            if costs[last] < best[grown, visit] - _GAIN:
                best[grown, visit], came[grown, visit] = costs[last], last
    made = (1 << count) - 1
    visit = int(best[made].argmin())
    order = []
    while visit >= 0:
        order.append(visit)
        made, visit = made & ~(1 << visit), int(came[made, visit])
    return tuple(order[::-1])


def _inserted(first: Floats, between: Floats, before: np.ndarray) -> list[int]:
    """Each visit, in an order that keeps `before`, put where it costs least."""
    waiting = list(range(len(first)))
    order: list[int] = []
    while waiting:
        visit = next(v for v in waiting if not before[[w for w in waiting if w != v], v].any())
        waiting.remove(visit)
        low = max((place + 1 for place, other in enumerate(order) if before[other, visit]), default=0)
        high = min((place for place, other in enumerate(order) if before[visit, other]), default=len(order))
        costs = [_added(order, place, [visit], first, between) for place in range(low, high + 1)]
        order.insert(low + int(np.argmin(costs)), visit)
    return order


def _nearest(first: Floats, between: Floats, before: np.ndarray) -> list[int]:
    """Always on to the visit that is nearest among those that nothing must come before any more."""
    waiting = set(range(len(first)))
    order: list[int] = []
    while waiting:
        free = [v for v in sorted(waiting) if not before[sorted(waiting), v].any()]
        costs = between[order[-1], free] if order else first[free]
        order.append(free[int(costs.argmin())])
        waiting.remove(order[-1])
    return order


def _added(order: Sequence[int], place: int, run: Sequence[int], first: Floats, between: Floats) -> float:
    """What putting a run of visits before `place` adds to the way to it and from it."""
    into = first[run[0]] if place == 0 else between[order[place - 1], run[0]]
    if place == len(order):
        return float(into)
    lost = first[order[0]] if place == 0 else between[order[place - 1], order[place]]
    return float(into + between[run[-1], order[place]] - lost)


def _improved(order: list[int], first: Floats, between: Floats, before: np.ndarray) -> tuple[int, ...]:
    """Runs of visits moved or reversed, every gain taken, until none is left."""
    for _ in range(_ROUNDS):
        better = _moved(order, first, between, before)
        if better == order:
            better = _reversed(order, first, between, before) or order
        if better == order:
            break
        order = better
    return tuple(order)


def _moved(order: list[int], first: Floats, between: Floats, before: np.ndarray) -> list[int]:
    """The order after each run was moved, either way round, to where it costs least."""
    count = len(order)
    for size in range(1, min(_RUN, count - 1) + 1):
        for start in range(count - size + 1):
            run, rest = order[start : start + size], order[:start] + order[start + size :]
            low = int(np.nonzero(before[np.ix_(rest, run)].any(axis=1))[0].max(initial=-1)) + 1
            high = int(np.nonzero(before[np.ix_(run, rest)].any(axis=0))[0].min(initial=len(rest)))
            now = _inside(run, between) + _added(rest, start, run, first, between)
            for turned in _ways(run, before):
                added = _all_added(rest, turned, first, between)[low : high + 1]
                place = low + int(added.argmin())
                if _inside(turned, between) + added[place - low] < now - _GAIN:
                    order = rest[:place] + turned + rest[place:]
                    break
    return order


def _inside(run: Sequence[int], between: Floats) -> float:
    return float(between[run[:-1], run[1:]].sum())


def _all_added(order: Sequence[int], run: Sequence[int], first: Floats, between: Floats) -> Floats:
    """(len(order) + 1,) what `_added` gives for every place."""
    into = np.concatenate([first[run[:1]], between[order, run[0]]])
    onward = np.append(between[run[-1], order], 0.0)
    lost = np.concatenate([first[order[:1]], between[order[:-1], order[1:]], [0.0]])
    out: Floats = into + onward - lost
    return out


def _ways(run: list[int], before: np.ndarray) -> list[list[int]]:
    """A run, and the same backwards where nothing in it must keep its order."""
    if len(run) == 1 or before[np.ix_(run, run)].any():
        return [run]
    return [run, run[::-1]]


def _reversed(order: list[int], first: Floats, between: Floats, before: np.ndarray) -> list[int] | None:
    """The order with a longer run backwards; None where nothing is gained."""
    count, cost = len(order), cost_of(order, first, between)
    for start in range(count - _RUN):
        for end in range(start + 2, count + 1):
            run = order[start:end]
            if before[run[:-1], run[-1]].any():
                break  # and so for every longer run
            if len(run) > _RUN:
                turned = order[:start] + run[::-1] + order[end:]
                if cost_of(turned, first, between) < cost - _GAIN:
                    return turned
    return None
