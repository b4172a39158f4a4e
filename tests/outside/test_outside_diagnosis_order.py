"""The order of trying remedies, and of checks, against least expected cost.

Trying in order of chance over cost: J. Kadane, H. Simon, 1975 and 1977; D. Heckerman, J. Breese,
K. Rommelse, Decision-theoretic troubleshooting, Communications of the ACM, 1995 (from memory). Shared
dismantling: T. J. Ottosen, F. V. Jensen, The cost of troubleshooting cost clusters with inside
information, 2010. Sequences of tests: K. Pattipati, M. Alexandridis, Application of heuristic search and
information theory to sequential fault diagnosis, IEEE Trans. SMC 20, 1990 (from memory). The instances
are own ones; their figures come from every order, or from dynamic programming.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from diag.reason.repairs import Try, best_order, expected_minutes
from tests.bench.choice import chain
from tests.bench.optimal import Table, cheapest, cost_bound, entropy_bits, huffman_length, policy_cost, random_table

# ---------------------------------------------------------------- trying

FIVE = [
    Try("fuse", 0.15, 2),
    Try("relay", 0.20, 5),
    Try("connector", 0.35, 10),
    Try("wire", 0.25, 20),
    Try("module", 0.05, 40),
]


def test_chance_over_cost_is_the_cheapest_of_all_orders() -> None:
    """20.75 of 120 orders; the worst 68.05, the mean 44.40; likeliest first would cost 27.40."""
    costs = [expected_minutes(order) for order in permutations(FIVE)]
    assert len(costs) == 120
    found = best_order(FIVE[::-1])
    assert [t.id for t in found] == ["fuse", "relay", "connector", "wire", "module"]
    assert expected_minutes(found) == pytest.approx(20.75) == min(costs)
    assert max(costs) == pytest.approx(68.05)
    assert float(np.mean(costs)) == pytest.approx(44.40)
    assert sorted(costs)[1] == pytest.approx(21.00)
    likeliest = sorted(FIVE, key=lambda t: -t.p)
    assert expected_minutes(likeliest) == pytest.approx(27.40)


def test_the_last_one_untried_can_turn_the_order() -> None:
    """Two parts, .9 for 10 and .1 for 2: with the last one tried too 10.2 and chance over cost is right; if the
    last is known to be it, 2.0, and the other way round."""
    likely, cheap = Try("likely", 0.9, 10), Try("cheap", 0.1, 2)
    paid = best_order([cheap, likely])
    assert [t.id for t in paid] == ["likely", "cheap"]
    assert expected_minutes(paid) == pytest.approx(10.2)
    assert expected_minutes([cheap, likely]) == pytest.approx(11.0)
    skipped = best_order([likely, cheap], last_paid=False)
    assert [t.id for t in skipped] == ["cheap", "likely"]
    assert expected_minutes(skipped, last_paid=False) == pytest.approx(2.0)
    assert expected_minutes([likely, cheap], last_paid=False) == pytest.approx(10.0)
    assert expected_minutes(best_order(FIVE, last_paid=False), last_paid=False) == pytest.approx(18.75)


def test_a_shared_cover_turns_the_order() -> None:
    """A cover of 10 minutes is opened once before either inner part: 16.80, where chance over cost pays 18.40."""
    outside, one, two = Try("outside", 0.4, 8), Try("one", 0.4, 4, "cover"), Try("two", 0.2, 2, "cover")
    cover = {"cover": 10.0}
    found = best_order([one, two, outside], cover)
    assert [t.id for t in found] == ["outside", "one", "two"]
    assert expected_minutes(found, cover) == pytest.approx(16.80)
    assert expected_minutes([one, two, outside], cover) == pytest.approx(18.40)
    assert min(expected_minutes(order, cover) for order in permutations([one, two, outside])) == pytest.approx(16.80)
    assert expected_minutes(best_order([outside, one, two])) == pytest.approx(8.40), "without the cover"


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("last_paid", [True, False], ids=["last-tried", "last-known"])
def test_the_order_is_the_cheapest_of_all_whatever_is_shared(seed: int, last_paid: bool) -> None:
    """Five or six remedies, some behind one of two covers, against every order."""
    chance = np.random.default_rng(seed)
    shares = chance.dirichlet(np.ones(int(chance.integers(2, 7)))) * chance.choice([1.0, 0.8])
    covers = [None, None, "left", "right"]
    tries = [
        Try(f"r{i}", float(p), float(chance.integers(1, 30)), covers[int(chance.integers(4))])
        for i, p in enumerate(shares)
    ]
    access = {"left": float(chance.integers(0, 20)), "right": float(chance.integers(0, 20))}
    best = min(expected_minutes(order, access, last_paid=last_paid) for order in permutations(tries))
    found = best_order(tries, access, last_paid=last_paid)
    assert expected_minutes(found, access, last_paid=last_paid) == pytest.approx(best, abs=1e-9)
    assert sorted(t.id for t in found) == sorted(t.id for t in tries)


# ---------------------------------------------------------------- sequences of checks


def _columns(rows: list[str]) -> tuple[tuple[int, ...], ...]:
    """Answers by check, from one row a cause."""
    return tuple(tuple(int(row[check]) for row in rows) for check in range(len(rows[0])))


T1 = Table((0.70, 0.01, 0.02, 0.10, 0.17), (1.0,) * 5, _columns(["00000", "01001", "00110", "10011", "11000"]))
T2 = Table(
    (0.25, 0.20, 0.20, 0.15, 0.15, 0.05),
    (1.0, 2.0, 3.0, 4.0, 5.0, 8.0),
    _columns(["011011", "000001", "011101", "011111", "010111", "110110"]),
)
T2_FLAT = Table(T2.prior, (1.0,) * 6, T2.answers)


def test_five_states_where_the_most_even_split_misleads() -> None:
    """Optimum 2.12, most information first 2.71; looking ahead finds the optimum, which begins with t2."""
    assert entropy_bits(T1.prior) == pytest.approx(1.3063, abs=5e-5)
    assert huffman_length(T1.prior) == pytest.approx(1.4600)
    assert cheapest(T1) == (pytest.approx(2.12), 1)
    assert policy_cost(T1, ahead=False)[0] == pytest.approx(2.71)
    assert policy_cost(T1)[0] == pytest.approx(2.12)
    first = T1.decision().rank(np.array(T1.prior))[0].check.id
    assert first == "t2"
    assert T1.decision().rank(np.array(T1.prior), ahead=False)[0].check.id == "t1"


def test_six_faults_where_information_per_minute_misleads() -> None:
    """Optimum 8.15, information per minute 9.20, information alone 8.50; with equal minutes all 2.55."""
    assert entropy_bits(T2.prior) == pytest.approx(2.4660, abs=5e-5)
    assert cost_bound(entropy_bits(T2.prior), T2.minutes) == pytest.approx(4.3979, abs=5e-5)
    assert cost_bound(huffman_length(T2.prior), T2.minutes) == pytest.approx(4.65)
    assert cheapest(T2) == (pytest.approx(8.15), 2)
    assert policy_cost(T2, ahead=False)[0] == pytest.approx(9.20)
    assert policy_cost(T2, ahead=False, minutes=False)[0] == pytest.approx(8.50)
    assert policy_cost(T2)[0] == pytest.approx(8.15)
    for ahead in (True, False):
        assert policy_cost(T2_FLAT, ahead=ahead)[0] == pytest.approx(2.55)
    assert cheapest(T2_FLAT)[0] == pytest.approx(2.55)
    assert T2.decision().rank(np.array(T2.prior), ahead=False)[0].check.id == "t2"


@pytest.mark.parametrize("seed", range(60))
def test_looking_ahead_is_the_optimum_and_bounds_hold(seed: int) -> None:
    """Bound from entropy <= bound from Huffman's length <= optimum = looking ahead <= information per minute;
    every leaf of every tree holds exactly one cause (`policy_cost` ends nowhere else)."""
    table = random_table(seed)
    best, _ = cheapest(table)
    ahead, made = policy_cost(table)
    greedy, _ = policy_cost(table, ahead=False)
    low, lower = (
        cost_bound(huffman_length(table.prior), table.minutes),
        cost_bound(entropy_bits(table.prior), table.minutes),
    )
    assert lower <= low + 1e-9 <= best + 2e-9
    assert ahead == pytest.approx(best, rel=1e-9)
    assert best <= greedy + 1e-9
    assert set(made) == set(range(len(table.prior)))


@pytest.mark.parametrize("seed", range(8))
def test_many_causes_cost_little_over_the_optimum(seed: int) -> None:
    """Ten to thirteen causes are too many to think through to the end; looking ahead stays near. Never below
    the optimum, as a law; the ceilings are what these instances show."""
    table = random_table(1000 + seed, (10, 13), (14, 20))
    best, _ = cheapest(table)
    ahead, _ = policy_cost(table)
    greedy, _ = policy_cost(table, ahead=False)
    assert best - 1e-9 <= ahead <= 1.1 * best
    assert ahead <= greedy * 1.02


# ---------------------------------------------------------------- a chain


@pytest.mark.parametrize(
    ("count", "mean", "worst"),
    [
        *(
            (2, 1.0, 1),
            (3, 5 / 3, 2),
            (4, 2.0, 2),
            (5, 2.4, 3),
            (6, 8 / 3, 3),
            (7, 20 / 7, 3),
            (8, 3.0, 3),
            (10, 3.4, 4),
        ),
        *((12, 11 / 3, 4), (16, 4.0, 4), (20, 4.4, 5), (32, 5.0, 5), (64, 6.0, 6), (100, 6.72, 7)),
    ],
)
def test_a_chain_of_equal_segments_is_half_split(count: int, mean: float, worst: int) -> None:
    """k + 2(N - 2^k)/N probes with k = floor(log2 N), ceil(log2 N) at worst (D. Knuth, The Art of Computer
    Programming, volume 3, section 6.2.1, from memory; recomputed); the technique: R. Miller, J. Folley, P. Smith,
    Systematic trouble shooting and the half-split technique, 1953 (from memory)."""
    found, made = policy_cost(chain([1.0] * count))
    assert found == pytest.approx(mean, abs=1e-9)
    assert max(made.values()) == worst


def test_a_chain_of_unequal_segments_is_cut_by_chances() -> None:
    """By count 3.0, at the midpoint of the chances 2.7; best 2.6, which equals Huffman's length."""
    weights = [0.40, 0.05, 0.05, 0.05, 0.05, 0.10, 0.10, 0.20]
    assert cheapest(chain(weights)) == (pytest.approx(2.6), 0)
    assert huffman_length(weights) == pytest.approx(2.6)
    assert policy_cost(chain(weights), ahead=False)[0] == pytest.approx(2.7)
    assert policy_cost(chain(weights))[0] == pytest.approx(2.6)


def test_a_middle_that_is_hard_to_reach_is_gone_around() -> None:
    """The middle point 6 minutes, the others 1: by count 8.0, best 4.375, and the first cut is not the middle."""
    table = chain([1.0] * 8, [6.0 if point == 3 else 1.0 for point in range(7)])
    assert cheapest(table)[0] == pytest.approx(4.375)
    assert policy_cost(table)[0] == pytest.approx(4.375)
    assert table.decision().rank(np.array(table.prior))[0].check.id != "t4"
