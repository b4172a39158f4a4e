"""The next step against brute-force information and the arithmetic of half-splitting."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from diag.reason.belief import Posterior, weigh
from diag.reason.choose import Situation, StepTable, minutes_of
from diag.reason.steps import Step
from tests.reason.beliefs_by_hand import evidence

_HERE = Situation(None, frozenset(), frozenset())
_CERTAIN = 1e-9
"""A perfect probe, but for what keeps logarithms finite."""


def _step(name: str, minutes: float = 1.0, place: str = "bench", **more: object) -> Step:
    return Step(name, name, "choose", {}, "chain", place, minutes, **more)  # type: ignore[arg-type]


# ---------------------------------------------------------------- information


def _bits_by_hand(posterior: Posterior, group_of: Mapping[int, str], table: np.ndarray) -> float:
    """Mutual information of the remedies needed and the answer, summed term by term."""
    outcomes = table.shape[1]
    weighed: list[tuple[object, float, Sequence[float]]] = [(frozenset(), posterior.healthy, table[0])]
    for members, chance in posterior.sets:
        shift = {i: float(np.abs(table[1 + i] - table[0]).sum()) for i in sorted(members)}
        most = max(shift, key=lambda i: shift[i])
        weighed.append((frozenset(group_of[i] for i in members), chance, table[1 + most]))
    total = sum(chance for _, chance, _ in weighed)
    joint: dict[tuple[object, int], float] = {}
    for group, chance, row in weighed:
        for answer in range(outcomes):
            joint[group, answer] = joint.get((group, answer), 0.0) + chance / total * float(row[answer])
    of_group: dict[object, float] = {}
    of_answer: dict[int, float] = {}
    for (group, answer), p in joint.items():
        of_group[group] = of_group.get(group, 0.0) + p
        of_answer[answer] = of_answer.get(answer, 0.0) + p
    return sum(p * math.log2(p / (of_group[g] * of_answer[a])) for (g, a), p in joint.items() if p > 0)


def _random_posterior(chance: random.Random, causes: int) -> Posterior:
    sets = [frozenset([i]) for i in range(causes)] + [frozenset(chance.sample(range(causes), 2)) for _ in range(4)]
    weights = [chance.uniform(0.02, 1.0) for _ in range(len(set(sets)) + 2)]
    total = sum(weights)
    shares = [w / total for w in weights]
    listed = sorted(zip(dict.fromkeys(sets), shares[2:], strict=True), key=lambda pair: -pair[1])
    return Posterior(tuple(listed), np.zeros(causes), shares[0], shares[1], (), True)


@pytest.mark.parametrize("seed", range(8))
def test_information_is_the_mutual_information_of_remedy_and_answer(seed: int) -> None:
    """Bits about which remedy is needed, not about which cause: causes with one remedy need not be told apart."""
    chance = random.Random(seed)
    causes = 7
    tables = {}
    for i in range(6):
        outcomes = chance.choice([2, 3, 5])
        rows = np.array([[chance.uniform(0.01, 1.0) for _ in range(outcomes)] for _ in range(1 + causes)])
        tables[f"s{i}"] = rows / rows.sum(axis=1, keepdims=True)
    steps = [_step(name) for name in tables]
    posterior = _random_posterior(chance, causes)
    group_of = {i: f"remedy-{i % 3}" for i in range(causes)}
    found = StepTable(steps, lambda step: tables[step.id]).information(posterior, group_of)
    by_hand = [_bits_by_hand(posterior, group_of, tables[step.id]) for step in steps]
    np.testing.assert_allclose(found, by_hand, atol=1e-9)
    assert (found >= 0).all()


def test_a_step_that_only_tells_causes_of_one_remedy_apart_is_worth_nothing() -> None:
    """A filament broken or missing: the lamp is renewed either way."""
    table = np.array([[0.5, 0.5], [0.98, 0.02], [0.02, 0.98]])
    posterior = Posterior(((frozenset([0]), 0.5), (frozenset([1]), 0.5)), np.zeros(2), 0.0, 0.0, (), False)
    one = StepTable([_step("s")], lambda step: table).information(posterior, {0: "renew", 1: "renew"})
    two = StepTable([_step("s")], lambda step: table).information(posterior, {0: "renew", 1: "clean"})
    assert one[0] == pytest.approx(0.0, abs=1e-6)
    assert two[0] == pytest.approx(1 + 0.98 * math.log2(0.98) + 0.02 * math.log2(0.02), abs=1e-6)


def test_information_never_exceeds_what_is_unknown() -> None:
    """No answer tells more than the entropy of the remedies, nor more than its own."""
    chance = random.Random(5)
    posterior = _random_posterior(chance, 6)
    group_of = {i: f"r{i}" for i in range(6)}
    perfect = np.eye(7)
    found = StepTable([_step("s")], lambda step: perfect).information(posterior, group_of)[0]
    groups: dict[frozenset[str], float] = {frozenset(): posterior.healthy}
    for members, p in posterior.sets:
        key = frozenset(group_of[i] for i in members)
        groups[key] = groups.get(key, 0.0) + p
    unknown = -sum(p * math.log2(p) for p in [*groups.values(), posterior.outside])
    assert 0 < found <= unknown + 1e-9


# ---------------------------------------------------------------- minutes


def test_walking_cautions_and_a_running_engine_cost_minutes() -> None:
    """Nearer, safer and calmer checks come first when they tell as much."""
    here = Situation("rear", frozenset({"read"}), frozenset())
    own = minutes_of(_step("s", 2.0, "rear"), here)
    assert own == pytest.approx(2.0)
    assert minutes_of(_step("s", 2.0, "front"), here) > own
    assert minutes_of(_step("s", 2.0, "front"), Situation(None, frozenset(), frozenset())) == pytest.approx(own)
    assert minutes_of(_step("s", 2.0, "rear", caution="new"), here) > own
    assert minutes_of(_step("s", 2.0, "rear", caution="read"), here) == pytest.approx(own)
    running = Step("s", "s", "choose", {"engine": "running"}, "chain", "rear", 2.0)
    assert minutes_of(running, here) > own


def test_ties_keep_the_order_of_the_steps_and_only_allowed_ones_are_ranked() -> None:
    """The same answers must bring the same question every time."""
    table = np.array([[0.5, 0.5], [0.9, 0.1], [0.1, 0.9]])
    posterior = Posterior(((frozenset([0]), 0.5), (frozenset([1]), 0.5)), np.zeros(2), 0.0, 0.0, (), False)
    steps = [_step(name) for name in ("a", "b", "c")]
    ranker = StepTable(steps, lambda step: table)
    names = [r.step.id for r in ranker.rank(posterior, {0: "x", 1: "y"}, _HERE, lambda step: step.id != "b")]
    assert names == ["a", "c"]
    asked = Situation(None, frozenset(), frozenset({"c"}))
    raised = ranker.rank(posterior, {0: "x", 1: "y"}, asked, lambda step: True)
    assert [r.step.id for r in raised] == ["c", "a", "b"], "a rule that asks for a check brings it forward"


# ---------------------------------------------------------------- half-splitting


def _probes(weights: Sequence[float], minutes: Mapping[int, float] | None = None) -> tuple[list[int], float, str]:
    """For each broken segment of a chain, the number of perfect probes until it is known; the expected
    minutes; the first probe. Probe j lies behind segment j and is live where the fault lies further on."""
    count = len(weights)
    prior = np.array(weights) / sum(weights)
    tables = {}
    for j in range(count - 1):
        live = np.array([1.0] + [0.0 if fault <= j else 1.0 for fault in range(count)])
        live = np.clip(live, _CERTAIN, 1 - _CERTAIN)
        tables[f"p{j}"] = np.stack([live, 1 - live], axis=1)
    steps = [_step(f"p{j}", (minutes or {}).get(j, 1.0)) for j in range(count - 1)]
    ranker = StepTable(steps, lambda step: tables[step.id])
    group_of = {i: f"segment-{i}" for i in range(count)}
    numbers, cost, first = [], 0.0, ""
    for fault in range(count):
        rows: list[np.ndarray] = []
        asked = 0
        while True:
            posterior = weigh(evidence(rows, prior, flat=0.5, healthy=1e-9, outside=1e-12))
            if posterior.present.max() > 0.999:
                assert int(posterior.present.argmax()) == fault, "the probes lead to the broken segment"
                break
            best = ranker.rank(posterior, group_of, _HERE, lambda step: True)[0]
            first = first or best.step.id
            table = tables[best.step.id]
            rows.append(table[:, int(table[1 + fault].argmax())])
            asked += 1
            cost += float(prior[fault]) * best.minutes
            assert asked < count, "no probe is made twice"
        numbers.append(asked)
    return numbers, cost, first


@pytest.mark.parametrize(
    ("count", "mean", "worst"),
    [(2, 1.0, 1), (3, 5 / 3, 2), (4, 2.0, 2), (5, 2.4, 3), (6, 8 / 3, 3), (8, 3.0, 3), (10, 3.4, 4), (16, 4.0, 4)],
)
def test_equal_segments_are_half_split(count: int, mean: float, worst: int) -> None:
    """k + 2(N - 2^k)/N probes with k = floor(log2 N), worst ceil(log2 N) (Knuth, The Art of Computer Programming,
    volume 3, from memory; recomputed). From one end to the other it would be (N - 1)(N + 2)/(2N)."""
    numbers, _, _ = _probes([1.0] * count)
    assert np.mean(numbers) == pytest.approx(mean, abs=1e-9)
    assert max(numbers) == worst
    if count > 4:
        assert np.mean(numbers) < (count - 1) * (count + 2) / (2 * count) - 0.2


def test_unequal_segments_are_cut_by_their_chances() -> None:
    """Split by count 3.0, at the midpoint of the chances 2.7, best 2.6 (recomputed; own instance)."""
    weights = [0.40, 0.05, 0.05, 0.05, 0.05, 0.10, 0.10, 0.20]
    numbers, _, _ = _probes(weights)
    mean = float(np.dot(numbers, weights))
    assert 2.6 - 1e-9 <= mean <= 2.7 + 1e-9


def test_a_middle_that_is_hard_to_reach_is_not_probed_first() -> None:
    """Eight equal segments, the middle point 6 minutes and the others 1: by count 8.0 minutes, best 4.375."""
    numbers, cost, first = _probes([1.0] * 8, {3: 6.0})
    assert first in ("p2", "p4")
    assert 4.375 - 1e-9 <= cost < 5.0
    assert max(numbers) <= 4
