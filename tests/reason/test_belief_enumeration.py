"""The belief against enumeration of every set of causes, on problems small enough for that."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from diag.reason.belief import Evidence, Posterior, Treatment, weigh
from tests.reason.beliefs_by_hand import Together, enumerate_sets, evidence, explains, solved_together

_EXACT = 1e-9
_DROPPED = 1e-5
"""Sets below this chance are not listed."""


def _same(found: Posterior, e: Evidence, most: int, together: Together | None = None) -> None:
    sets, healthy, outside = enumerate_sets(e, most, together)
    listed = dict(found.sets)
    for members, chance in sets.items():
        if chance > _DROPPED + _EXACT:
            assert listed.pop(members) == pytest.approx(chance, abs=_EXACT), sorted(members)
    assert all(chance < _DROPPED + 2 * _EXACT for chance in listed.values())
    assert found.healthy == pytest.approx(healthy, abs=_EXACT)
    assert found.outside == pytest.approx(outside, abs=_EXACT)
    present = [sum(p for s, p in sets.items() if i in s) for i in range(len(e.prior))]
    np.testing.assert_allclose(found.present, present, atol=_EXACT)
    assert list(found.sets) == sorted(found.sets, key=lambda pair: (-pair[1], sorted(pair[0])))


def _random(chance: random.Random, causes: int, findings: int, *, treated: bool = False) -> Evidence:
    def row() -> list[float]:
        """A likely and an unlikely answer, each cause with one of the two."""
        return [chance.choice([chance.uniform(0.6, 0.95), chance.uniform(0.01, 0.05)]) for _ in range(1 + causes)]

    prior = np.array([chance.uniform(0.05, 1.0) for _ in range(causes)])
    periods = [0] * findings
    treatments: list[Treatment] = []
    if treated:
        periods = sorted(chance.choice([0, 1]) for _ in range(findings))
        cured = frozenset(chance.sample(range(causes), chance.choice([1, 2])))
        treatments = [Treatment(1, chance.choice([cured, cured, None]), chance.uniform(0.3, 0.95))]
    return evidence(
        [row() for _ in range(findings)],
        list(prior / prior.sum()),
        flat=chance.uniform(0.05, 0.3),
        healthy=chance.uniform(0.01, 1.0),
        outside=chance.uniform(0.001, 0.05),
        periods=periods,
        treatments=treatments,
    )


def _most(e: Evidence) -> int:
    """How many causes at once are worth weighing: more only while none that is weighed explains everything."""
    causes = range(len(e.prior))
    for size in (1, 2):
        if any(explains(e, frozenset(s)) for n in range(1, size + 1) for s in combinations(causes, n)):
            return size
    return 3


@pytest.mark.parametrize("treated", [False, True], ids=["untreated", "treated"])
def test_three_causes_are_weighed_as_by_enumeration(treated: bool) -> None:
    """Singles, pairs and the triple, each weighed only when nothing smaller explains what was found."""
    chance = random.Random(3 + treated)
    seen = {1: 0, 2: 0, 3: 0}
    for _ in range(150):
        e = _random(chance, 3, chance.randint(1, 5), treated=treated)
        most = _most(e)
        seen[most] += 1
        found = weigh(e)
        assert found.several is (most > 1)
        _same(found, e, most)
    assert min(seen.values()) >= 5, f"the sample shows too few of one kind: {seen}"


def test_pairs_that_the_network_solves_together_are_weighed_as_by_enumeration() -> None:
    """Two faults on one lamp show what the network computes for both, not what the worse of them shows."""
    chance = random.Random(11)
    tried = 0
    while tried < 60:
        e = _random(chance, 5, chance.randint(2, 5))
        sets = [frozenset(s) for n in (2, 3) for s in combinations(range(5), n)]
        together = {(f, s): chance.uniform(0.02, 0.95) for f in range(len(e.findings)) for s in sets}
        e = solved_together(e, together)
        singles = [frozenset([i]) for i in range(5)]
        ranked, _, _ = enumerate_sets(e, 2, together)
        best = sorted((s for s in ranked if s), key=lambda s: -ranked[s])[:8]
        if any(explains(e, s) for s in singles) or not any(explains(e, s, together) for s in best):
            continue  # pairs are not weighed, or not only they
        tried += 1
        found = weigh(e)
        assert found.several
        _same(found, e, 2, together)


def test_pairs_appear_when_no_single_cause_explains_everything() -> None:
    """Two lamps dark on two circuits: each cause explains one; one misread answer is less likely than two faults."""
    dark_left = [0.02, 0.95, 0.02, 0.02]
    dark_right = [0.02, 0.02, 0.95, 0.02]
    prior = [0.3, 0.3, 0.4]
    one = weigh(evidence([dark_left], prior, flat=0.1))
    assert not one.several and all(len(s) == 1 for s, _ in one.sets)
    both = weigh(evidence([dark_left, dark_right], prior, flat=0.1))
    assert both.several
    assert both.sets[0][0] == frozenset({0, 1})
    assert both.sets[0][1] > 0.5
    assert both.unexplained == ()


def test_a_common_cause_beats_the_pair() -> None:
    """Both tell-tales dark: what they share explains both and costs one fault, so no pair is weighed."""
    rows = [[0.02, 0.95, 0.02, 0.95], [0.02, 0.02, 0.95, 0.95]]
    found = weigh(evidence(rows, [0.4, 0.4, 0.2], flat=0.1))
    assert not found.several
    assert found.sets[0][0] == frozenset({2})
    assert found.sets[0][1] > 0.9


def test_a_third_fault_is_found_when_no_pair_explains_everything() -> None:
    """After a rewire three faults at once are nothing rare."""
    rows = [[0.02, *(0.95 if cause == f else 0.02 for cause in range(4))] for f in range(3)] * 2
    found = weigh(evidence(rows, [0.25] * 4, flat=0.05))
    assert found.sets[0][0] == frozenset({0, 1, 2})


@pytest.mark.parametrize("seed", range(6))
def test_the_order_of_findings_does_not_matter(seed: int) -> None:
    """Whoever looks at the rear lamps first must come to the same conclusion."""
    chance = random.Random(seed)
    e = _random(chance, 6, 6)
    straight = weigh(e)
    for _ in range(4):
        mixed = list(e.findings)
        chance.shuffle(mixed)
        other = weigh(replace(e, findings=tuple(mixed)))
        np.testing.assert_allclose(other.present, straight.present, atol=1e-12)
        assert other.healthy == pytest.approx(straight.healthy, abs=1e-12)
        assert {s: pytest.approx(p, abs=1e-12) for s, p in other.sets} == dict(straight.sets)


@pytest.mark.parametrize("seed", range(6))
def test_everything_sums_to_one(seed: int) -> None:
    """Sets, nothing wrong and outside the model share one; only sets below 1e-5 are left off the list."""
    chance = random.Random(40 + seed)
    e = _random(chance, 12, chance.randint(0, 7), treated=bool(seed % 2))
    found = weigh(e)
    total = sum(p for _, p in found.sets) + found.healthy + found.outside
    assert 1 - 400 * _DROPPED <= total <= 1 + 1e-9
    assert found.present.min() >= 0 and found.present.max() <= 1 + 1e-9
    assert all(p > _DROPPED for _, p in found.sets)


# ---------------------------------------------------------------- remedies


def test_a_remedy_that_took_leaves_the_vehicle_sound() -> None:
    """Dark before and right after: the fault was there and is gone; nothing is said of it any more."""
    rows = [[0.02, 0.95, 0.02], [0.95, 0.02, 0.95]]
    found = weigh(evidence(rows, [0.5, 0.5], flat=0.1, periods=[0, 1], treatments=[Treatment(1, frozenset({0}))]))
    assert found.healthy > 0.95
    assert found.present[0] < 0.01


def test_a_remedy_that_did_not_help_did_not_take_or_was_the_wrong_one() -> None:
    """Dark before and still dark: another cause, or the remedy (chance 0.05) did not take."""
    dark = [0.02, 0.95, 0.95]
    before = weigh(evidence([dark], [0.8, 0.2], flat=0.1))
    assert before.present[0] == pytest.approx(0.8, abs=0.01)
    after = weigh(
        evidence([dark, dark], [0.8, 0.2], flat=0.1, periods=[0, 1], treatments=[Treatment(1, frozenset({0}))])
    )
    missed, other = 0.8 * 0.05 * 0.95**2, 0.2 * 0.95**2
    gone = 0.8 * 0.95 * 0.95 * 0.02  # cured, and the second look misread
    total = missed + other + gone
    assert after.present[0] == pytest.approx(missed / total, abs=1e-6)
    assert after.present[1] == pytest.approx(other / total, abs=1e-6)
    assert after.healthy == pytest.approx(gone / total, abs=1e-6)


def test_a_remedy_for_one_of_two_faults_leaves_the_other() -> None:
    """Two lamps dark, one mended and right: what was found of the other before still holds."""
    left, right = [0.02, 0.95, 0.02], [0.02, 0.02, 0.95]
    mended = [0.95, 0.02, 0.95]
    found = weigh(
        evidence(
            [left, right, mended], [0.5, 0.5], flat=0.1, periods=[0, 0, 1], treatments=[Treatment(1, frozenset({0}))]
        )
    )
    assert found.sets[0][0] == frozenset({1})
    assert found.sets[0][1] > 0.9


def test_an_unnamed_change_may_have_cured_anything() -> None:
    """`Something was changed` is weaker than a remedy and speaks of every cause."""
    dark = [0.02, 0.95, 0.95]
    sound = [0.95, 0.02, 0.02]
    found = weigh(
        evidence([dark, sound], [0.6, 0.4], flat=0.1, periods=[0, 1], treatments=[Treatment(1, None, takes=0.3)])
    )
    assert found.healthy == pytest.approx(0.3 * 0.95 / (0.3 * 0.95 + 0.7 * 0.02), abs=1e-6)
