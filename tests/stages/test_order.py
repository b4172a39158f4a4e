"""The order of visits: as good as the best of all orders where these can be counted, and always a legal one.

source of all expectations: brute force over every order, in the test
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from diag.stages import order
from diag.stages.order import EXACT_UP_TO, cheapest_order, cost_of


def instance(seed: int, count: int, ties: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Costs that differ by direction, and a few that must come before others."""
    rng = np.random.default_rng(seed)
    first, between = rng.random(count) * 3, rng.random((count, count)) * 3
    if ties:
        first, between = np.round(first), np.round(between)
    before = np.zeros((count, count), dtype=bool)
    for _ in range(count // 3):
        a, b = sorted(rng.choice(count, 2, replace=False))
        before[a, b] = True
    return first, between, before


def legal(found: tuple[int, ...], before: np.ndarray) -> bool:
    """Whether nothing comes before what it has to follow."""
    return not any(before[b, a] for i, a in enumerate(found) for b in found[i + 1 :])


def best_of_all(first: np.ndarray, between: np.ndarray, before: np.ndarray) -> float:
    """The least cost, by trying every order."""
    return min(cost_of(one, first, between) for one in permutations(range(len(first))) if legal(one, before))


@pytest.mark.parametrize("ties", [False, True])
@pytest.mark.parametrize("count", [1, 2, 4, 6, 7])
def test_small_orders_are_the_best_there_is(count: int, ties: bool) -> None:
    """Where all orders can be counted, no other may be cheaper."""
    for seed in range(6):
        first, between, before = instance(seed, count, ties)
        found = cheapest_order(first, between, before)
        assert sorted(found) == list(range(count))
        assert legal(found, before)
        assert cost_of(found, first, between) == pytest.approx(best_of_all(first, between, before), abs=1e-9)


def test_the_search_for_long_orders_is_near_the_best(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond what is counted out, moving and reversing runs has to come near: on the average within a tenth."""
    ratios = []
    for seed in range(25):
        first, between, before = instance(100 + seed, 7)
        monkeypatch.setattr(order, "EXACT_UP_TO", 0)
        searched = cheapest_order(first, between, before)
        monkeypatch.setattr(order, "EXACT_UP_TO", EXACT_UP_TO)
        assert legal(searched, before)
        least = best_of_all(first, between, before)
        assert cost_of(searched, first, between) >= least - 1e-9
        ratios.append(cost_of(searched, first, between) / least)
    assert np.mean(ratios) < 1.1
    assert sum(ratio < 1 + 1e-9 for ratio in ratios) > len(ratios) / 2


def test_long_orders_are_legal_gain_and_are_always_alike() -> None:
    """Forty visits in two phases: everything of the first before anything of the second."""
    first, between, before = instance(7, 40)
    phase = np.arange(40) >= 20
    before |= ~phase[:, None] & phase[None, :]
    found = cheapest_order(first, between, before)
    assert found == cheapest_order(first, between, before)
    assert sorted(found) == list(range(40))
    assert legal(found, before)
    plain = tuple(range(40))
    assert legal(plain, before)
    assert cost_of(found, first, between) < 0.5 * cost_of(plain, first, between)


def test_what_must_follow_itself_is_refused() -> None:
    """A circle of demands has no order; it is told, not looped over."""
    before = np.zeros((3, 3), dtype=bool)
    before[0, 1] = before[1, 2] = before[2, 0] = True
    with pytest.raises(ValueError, match="after itself"):
        cheapest_order(np.ones(3), np.ones((3, 3)), before)
    assert cheapest_order(np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0), dtype=bool)) == ()
