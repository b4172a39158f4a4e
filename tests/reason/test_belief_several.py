"""Sets of several causes: weak members are found, look-alikes share, contradictions are named."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from diag.reason.belief import ContradictionError, weigh
from diag.reason.sight import Evidence, Sight
from tests.reason.beliefs_by_hand import enumerate_sets, evidence, solved_together


def _two_weak(causes: int, seed: int) -> Evidence:
    """Eight odd findings. Causes 0 and 1 explain half of them each and are ten times rarer; all others
    explain four or five of six, so each single one is likelier, and no two of those explain all eight."""
    chance = random.Random(seed)
    rows = np.full((8, 1 + causes), 0.02)
    rows[:4, 1], rows[4:, 2] = 0.9, 0.9
    for i in range(2, causes):
        missed = {0, 7, chance.randrange(1, 7), chance.randrange(1, 7)}
        for f in set(range(8)) - missed:
            rows[f, 1 + i] = 0.9 * chance.uniform(0.8, 1.0)
    prior = np.array([0.1, 0.1, *[1.0] * (causes - 2)])
    return evidence(list(rows), list(prior / prior.sum()), flat=0.001)


@pytest.mark.parametrize("seed", range(3))
def test_a_pair_of_rare_causes_each_weak_alone_is_found(seed: int) -> None:
    """Two hundred frequent causes each are likelier than either of the two; only the two explain all."""
    e = _two_weak(220, seed)
    alone = np.log(e.prior) + np.log(np.array([f.rows[1:] for f in e.findings])).sum(axis=0)
    assert (alone > alone[:2].max()).sum() > 100
    found = weigh(e)
    assert found.several
    assert [s for s, _ in found.sets if len(s) == 2][0] == frozenset({0, 1})


def test_causes_that_look_alike_share_what_their_set_is_worth() -> None:
    """A lamp's wire off at either end shows the same; the second must not be lost because the first was solved."""
    left, right = [0.02, 0.9, 0.9, 0.9, 0.02], [0.02, 0.02, 0.02, 0.02, 0.9]
    prior = [0.3, 0.2, 0.1, 0.4]
    e = evidence([left, right], prior, flat=0.001)
    together = {(f, frozenset(s)): 0.9 for f in range(2) for n in (2, 3) for s in combinations(range(4), n)}
    found = dict(weigh(solved_together(e, together)).sets)
    expected, _, _ = enumerate_sets(e, 2)
    for i in range(3):
        # two that look alike are not weighed together, which is worth less than a hundredth here
        assert found[frozenset({i, 3})] == pytest.approx(expected[frozenset({i, 3})], rel=1e-2)
    assert found[frozenset({0, 3})] / found[frozenset({2, 3})] == pytest.approx(3.0, rel=1e-6)


def test_what_only_two_at_once_show_is_found() -> None:
    """A current that leaks through one fault because of another: no single cause makes the answer likelier
    than chance, so those that change anything there are tried together with the best."""
    rows = [[0.02, 0.9, 0.02, 0.02], [0.02, 0.02, 0.02, 0.02]]
    e = evidence(rows, [0.5, 0.3, 0.2], flat=0.2)
    solved = {(f, frozenset(s)): 0.02 for f in range(2) for n in (2, 3) for s in combinations(range(3), n)}
    solved |= {(0, frozenset({0, 2})): 0.9, (1, frozenset({0, 2})): 0.9}
    moves = np.array([True, False, True])
    e = solved_together(e, solved)
    e = replace(e, findings=tuple(replace(f, moves=moves) for f in e.findings))
    found = weigh(e)
    assert found.sets[0][0] == frozenset({0, 2})
    assert found.sets[0][1] > 0.5
    assert found.unexplained == ()


def test_an_estimate_does_not_crowd_out_what_is_solved() -> None:
    """Sets that are likely only until they are solved give way, round after round."""
    chance = random.Random(1)
    causes = 12
    rows = [[0.02, *(0.9 if i % 2 == f else 0.02 for i in range(causes))] for f in range(2)]
    rows = [[x * chance.uniform(0.97, 1.0) for x in row] for row in rows]
    e = evidence(rows, [1 / causes] * causes, flat=0.001)
    right = frozenset({4, 9})
    moves = np.ones(causes, dtype=bool)
    pairs = [frozenset(s) for s in combinations(range(causes), 2)]
    e = solved_together(e, {(f, s): 0.9 if s == right else 0.001 for f in range(2) for s in pairs})
    e = replace(e, findings=tuple(replace(f, moves=moves) for f in e.findings))
    assert weigh(e).sets[0][0] == right


def test_all_sets_of_a_round_are_solved_side_by_side() -> None:
    """Whoever solves is told beforehand for which sets it will be asked: one by one takes ten times as long."""
    e = evidence([[0.02, 0.9, 0.05, 0.02], [0.02, 0.02, 0.05, 0.9]], [0.4, 0.3, 0.3], flat=0.001)
    asked: list[tuple[int, frozenset[int]]] = []
    told: list[tuple[int, frozenset[int]]] = []

    def exact(f: int, sets: Sequence[frozenset[int]]) -> np.ndarray:
        assert all((f, s) in told for s in sets), "asked for what nobody was told of"
        asked.extend((f, s) for s in sets)
        return np.full(len(sets), 0.5)

    findings = tuple(
        replace(finding, together=lambda sets, f=f: exact(f, sets)) for f, finding in enumerate(e.findings)
    )
    e = replace(
        e, findings=findings, prepare=lambda wanted: told.extend((f, s) for f, sets in wanted.items() for s in sets)
    )
    weigh(e)
    assert asked
    assert len(asked) == len(set(asked)), "nothing is solved twice"


# ---------------------------------------------------------------- odd findings


_DARK_LEFT, _DARK_RIGHT = [0.02, 0.95, 0.02, 0.95], [0.02, 0.02, 0.95, 0.95]
_RIGHT_LIT = [0.95, 0.95, 0.02, 0.02]


def test_an_answer_that_one_cause_needs_misread_is_odd_as_far_as_that_cause_is_likely() -> None:
    """Dark on the right, then lit: one of the two was misread, and a third look says which."""
    prior = [0.4, 0.3, 0.3]
    agreed = weigh(evidence([_DARK_LEFT, _RIGHT_LIT], prior, flat=0.1))
    assert agreed.odd == () and agreed.contradictions == ()
    split = weigh(evidence([_DARK_LEFT, _RIGHT_LIT, _DARK_RIGHT], prior, flat=0.1))
    assert {odd.seq for odd in split.odd} <= {101, 102} and split.odd
    assert all(0.25 <= odd.p <= 1 for odd in split.odd)
    assert frozenset({101, 102}) in split.contradictions
    decided = weigh(evidence([_DARK_LEFT, _RIGHT_LIT, _DARK_RIGHT, _RIGHT_LIT], prior, flat=0.1))
    assert [odd.seq for odd in decided.odd] == [102], "two looks against one: the one is worth repeating"
    assert decided.odd[0].p > 0.9
    assert set(decided.contradictions) == {frozenset({101, 102}), frozenset({102, 103})}


def test_chance_of_a_misread_answer_is_the_share_of_the_sets_that_need_it() -> None:
    """Worked by hand: two causes, one answer for each, nothing else in the model."""
    rows = [[0.01, 0.9, 0.05], [0.01, 0.05, 0.9]]
    found = weigh(evidence(rows, [0.6, 0.4], flat=1e-6, healthy=1e-9))
    both = 0.35 * 0.6 * 0.4 * 0.9 * 0.9
    one, other = 0.6 * 0.9 * 0.05, 0.4 * 0.05 * 0.9
    total = both + one + other
    assert {odd.seq: pytest.approx(odd.p, rel=1e-6) for odd in found.odd} == {
        seq: p for seq, p in ((101, one / total), (100, other / total)) if p >= 0.25
    }
    assert found.contradictions == (), "the pair explains both"


def test_odd_answers_are_named_even_where_nothing_wrong_is_likeliest() -> None:
    """Nine looks as on a sound vehicle and one that is not: the one is to be looked at again."""
    good, bad = [0.95, 0.03, 0.03], [0.05, 0.9, 0.02]
    found = weigh(evidence([*[good] * 9, bad], [0.5, 0.5], flat=0.1, healthy=1.0))
    assert found.healthy > 0.9
    assert [odd.seq for odd in found.odd] == [109]


def test_certain_answers_that_contradict_are_reported_by_number() -> None:
    """No allowance for a wrong answer and no cause outside the model: an error that names them, never a
    division by zero nor the last cause left."""
    rows = [[0.0, 1.0, 0.0], [1.0, 0.0, 1.0], [1.0, 1.0, 1.0]]
    with pytest.raises(ContradictionError, match="100, 101") as caught:
        weigh(evidence(rows, [0.5, 0.5], flat=0.0, healthy=0.0, outside=0.0))
    assert caught.value.groups == (frozenset({100, 101}),)
    one_less = weigh(evidence(rows[::2], [0.5, 0.5], flat=0.0, healthy=0.0, outside=0.0))
    assert one_less.present[0] == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(6))
def test_contradictions_are_the_smallest_groups_that_no_set_explains(seed: int) -> None:
    """Against brute force over every group of findings and every set that was weighed."""
    chance = random.Random(seed)
    causes, findings = 4, 5
    rows = [[chance.choice([chance.uniform(0.6, 0.9), 0.02]) for _ in range(1 + causes)] for _ in range(findings - 1)]
    rows.append([0.9, *[0.02] * causes])
    rows.append([0.02, *[0.9 if i == 0 else 0.02 for i in range(causes)]])
    e = evidence(rows, [0.25] * causes, flat=0.1)
    found = weigh(e)
    weighed = [frozenset(s) for n in range(4) for s in combinations(range(causes), n)]
    sight = Sight(e)
    misread = sight.misread(sight.told(weighed, ()))
    groups = [
        frozenset(g)
        for n in range(1, 5)
        for g in combinations(range(len(rows)), n)
        if all(misread[s, list(g)].any() for s in range(len(weighed)))
    ]
    smallest = {frozenset(100 + f for f in g) for g in groups if not any(other < g for other in groups)}
    assert set(found.contradictions) == smallest
