"""The cheapest way to find the cause in a table of certain answers, and what it cannot be below.

Written apart from the product, over sets of causes by name: it is what the product is measured against.
"""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from diag.reason.tables import Check, DecisionTable

__all__ = ["Table", "cheapest", "cost_bound", "entropy_bits", "huffman_length", "policy_cost", "random_table"]


@dataclass(frozen=True)
class Table:
    """`prior` of each cause; for each check its minutes and the answer that each cause gives."""

    prior: tuple[float, ...]
    minutes: tuple[float, ...]
    answers: tuple[tuple[int, ...], ...]

    def decision(self, wrong_answer: float = 0.0) -> DecisionTable:
        """As the product takes it. `wrong_answer`: chance that an answer is misread, spread over the others."""
        checks = []
        for number, (minutes, given) in enumerate(zip(self.minutes, self.answers, strict=True), start=1):
            width = max(2, max(given) + 1)
            rows = np.full((len(given), width), wrong_answer / (width - 1))
            rows[np.arange(len(given)), list(given)] = 1 - wrong_answer
            checks.append(Check(f"t{number}", minutes, rows))
        return DecisionTable(checks)

    def parts(self, causes: frozenset[int], check: int) -> dict[int, frozenset[int]]:
        """Causes by the answer that they give."""
        found: dict[int, set[int]] = {}
        for cause in causes:
            found.setdefault(self.answers[check][cause], set()).add(cause)
        return {answer: frozenset(part) for answer, part in found.items()}


def cheapest(table: Table) -> tuple[float, int | None]:
    """Least expected minutes to know the cause, and the check to begin with (the first of equal ones)."""

    @cache
    def best(causes: frozenset[int]) -> tuple[float, int | None]:
        if len(causes) < 2:
            return 0.0, None
        weight = sum(table.prior[i] for i in causes)
        found: tuple[float, int | None] = (math.inf, None)
        for check, minutes in enumerate(table.minutes):
            parts = table.parts(causes, check)
            if len(parts) > 1:
                cost = minutes * weight + sum(best(part)[0] for part in parts.values())
                if cost < found[0] - 1e-12:
                    found = (cost, check)
        return found

    return best(frozenset(range(len(table.prior))))


def policy_cost(table: Table, *, ahead: bool = True, minutes: bool = True) -> tuple[float, dict[int, int]]:
    """Expected minutes when every next check is the product's choice, and how many checks each cause takes.

    `ahead` False: by bits per minute alone; `minutes` False: by bits alone. Raises AssertionError where a
    choice tells nothing.
    """
    chooser = table.decision()
    flat = Table(table.prior, (1.0,) * len(table.minutes), table.answers).decision()
    names = {check.id: place for place, check in enumerate(chooser.checks)}
    made: dict[int, int] = {}

    def cost(causes: frozenset[int], depth: int) -> float:
        if len(causes) == 1:
            made[next(iter(causes))] = depth
            return 0.0
        weights = np.array([table.prior[i] if i in causes else 0.0 for i in range(len(table.prior))])
        ranked = (chooser if minutes else flat).rank(weights, ahead=ahead)
        check = names[ranked[0].check.id]
        parts = table.parts(causes, check)
        assert len(parts) > 1, "a check was chosen that tells nothing"
        return table.minutes[check] * float(weights.sum()) + sum(cost(part, depth + 1) for part in parts.values())

    return cost(frozenset(range(len(table.prior))), 0), made


def entropy_bits(prior: Sequence[float]) -> float:
    """Bits missing: no tree of two-way checks has a smaller mean depth (C. Shannon, 1948)."""
    return -sum(p * math.log2(p) for p in prior if p > 0)


def huffman_length(prior: Sequence[float]) -> float:
    """Least mean depth of any tree of two-way checks (D. Huffman, 1952)."""
    heap = [(p, n) for n, p in enumerate(prior)]
    heapq.heapify(heap)
    total, ticket = 0.0, len(heap)
    while len(heap) > 1:
        a, b = heapq.heappop(heap)[0], heapq.heappop(heap)[0]
        total += a + b
        heapq.heappush(heap, (a + b, ticket))
        ticket += 1
    return total


def cost_bound(depth: float, minutes: Sequence[float]) -> float:
    """Minutes that a tree of this mean depth costs at least: the cheapest checks, each once on a path."""
    cost, left = 0.0, depth
    for each in sorted(minutes):
        cost += each * min(1.0, max(left, 0.0))
        left -= 1.0
    return cost


def random_table(seed: int, causes: tuple[int, int] = (5, 8), checks: tuple[int, int] = (6, 10)) -> Table:
    """A seeded table whose two-way checks tell every pair of causes apart. Minutes 1 to 8."""
    chance = random.Random(seed)
    count, many = chance.randint(*causes), chance.randint(*checks)
    weights = [chance.expovariate(1.0) + 0.02 for _ in range(count)]
    prior = tuple(w / sum(weights) for w in weights)
    while True:
        answers = [tuple(chance.randint(0, 1) for _ in range(count)) for _ in range(many)]
        answers = [row for row in dict.fromkeys(answers) if 0 < sum(row) < count]
        columns: Mapping[tuple[int, ...], int] = {tuple(row[i] for row in answers): i for i in range(count)}
        if answers and len(columns) == count:
            minutes = tuple(float(chance.choice([1, 2, 3, 4, 5, 8])) for _ in answers)
            return Table(prior, minutes, tuple(answers))
