"""Minimal hitting sets, conflicts and candidates against brute force on whatever can be diagnosed."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import combinations, permutations

import pytest

from diag.reason.candidates import Candidates, HittingSets, likeliest_hitting_sets, minimal_hitting_sets, smallest


def _by_force(conflicts: Sequence[frozenset[int]], members: Sequence[int]) -> set[frozenset[int]]:
    """Every minimal hitting set, by looking at every subset."""
    hits = [
        frozenset(s)
        for n in range(len(members) + 1)
        for s in combinations(members, n)
        if all(set(s) & conflict for conflict in conflicts)
    ]
    return {s for s in hits if not any(other < s for other in hits)}


def _family(chance: random.Random, members: int, size: int) -> list[frozenset[int]]:
    return [frozenset(chance.sample(range(members), chance.randint(1, 4))) for _ in range(size)]


@pytest.mark.parametrize("seed", range(40))
def test_minimal_hitting_sets_equal_brute_force(seed: int) -> None:
    """Conflicts that contain others, in any number: a pruning that assumes them minimal loses sets."""
    chance = random.Random(seed)
    family = _family(chance, 8, chance.randint(0, 9))
    found = minimal_hitting_sets(family)
    assert len(found) == len(set(found))
    assert set(found) == _by_force(family, range(8))
    assert [len(s) for s in found] == sorted(len(s) for s in found)
    short = [s for s in _by_force(family, range(8)) if len(s) <= 2]
    assert set(minimal_hitting_sets(family, most=2)) == set(short), "a bound on size loses only the larger ones"


@pytest.mark.parametrize("seed", range(10))
def test_order_of_arrival_does_not_matter(seed: int) -> None:
    """Findings come as the person happens to look."""
    chance = random.Random(100 + seed)
    family = _family(chance, 7, 5)
    expected = _by_force(family, range(7))
    for order in permutations(family):
        found: HittingSets[int] = HittingSets()
        for conflict in order:
            found.add(conflict)
        assert set(found.sets) == expected
        assert set(found.conflicts) == set(smallest(family))


def test_a_conflict_of_nobody_leaves_no_candidate() -> None:
    """Nothing at all explains it: no set may be given as if it did."""
    found: HittingSets[int] = HittingSets()
    assert found.sets == (frozenset(),)
    assert found.add({1, 2})
    assert not found.add({1, 2, 3}), "what a smaller conflict says already is nothing new"
    assert found.add(())
    assert found.sets == ()
    assert likeliest_hitting_sets([frozenset({1}), frozenset()], {1: -1.0}, 3, 5) == []


@pytest.mark.parametrize("seed", range(30))
def test_likeliest_hitting_sets_are_the_first_of_all_by_weight(seed: int) -> None:
    """Found best first without making all of them; the order must be that of the sums."""
    chance = random.Random(200 + seed)
    family = _family(chance, 9, chance.randint(1, 6))
    weight = {i: -chance.uniform(0.1, 9.0) for i in range(9)}
    every = sorted((s for s in _by_force(family, range(9)) if len(s) <= 3), key=lambda s: -sum(weight[i] for i in s))
    assert likeliest_hitting_sets(family, weight, 3, 4) == every[:4]
    assert likeliest_hitting_sets(family, weight, 3, 1000) == every


class _Hydraulics:
    """Nothing electrical: pumps and valves in a row of pipes. A pressure is right where every part before it
    works; a right pressure says so of all of them, a wrong one that not all do."""

    components = ("pump", "filter", "valve", "hose", "cylinder")

    def consistent(self, sound: frozenset[str], observations: Sequence[tuple[int, bool]]) -> bool:
        right = max([n for n, good in observations if good], default=0)
        wrong = [n for n, good in observations if not good]
        return all(n > right and not set(self.components[right:n]) <= sound for n in wrong)


def test_a_row_of_pipes_is_diagnosed_without_any_circuit() -> None:
    """The interface is three things: components, observations, and whether they agree."""
    found = Candidates(_Hydraulics())
    assert found.sets == (frozenset(),)
    found.observe((4, False))
    assert set(found.single()) == {"pump", "filter", "valve", "hose"}
    found.observe((2, True))
    assert set(found.single()) == {"valve", "hose"}
    assert found.conflicts == (frozenset({"valve", "hose"}),)
    found.observe((3, False))
    assert found.single() == ("valve",)
    found.observe((5, True))
    assert found.sets == (), "right behind what is wrong: the readings contradict each other"
    assert found.conflicts == (frozenset(),)


class _Random:
    """A model whose conflicts are given outright."""

    def __init__(self, family: Sequence[frozenset[int]], members: int) -> None:
        self.components, self.family, self.asked = tuple(range(members)), family, 0

    def consistent(self, sound: frozenset[int], observations: Sequence[int]) -> bool:
        self.asked += 1
        return not any(self.family[n] <= sound for n in observations)


@pytest.mark.parametrize("seed", range(15))
def test_conflicts_and_candidates_of_any_model_are_all_found(seed: int) -> None:
    """Each observation uncovers a conflict; conflicts and candidates are each other's hitting sets."""
    chance = random.Random(300 + seed)
    family = _family(chance, 9, 6)
    model = _Random(family, 9)
    found = Candidates(model)
    for n in range(len(family)):
        found.observe(n)
        assert set(found.conflicts) == set(smallest(family[: n + 1]))
        assert set(found.sets) == _by_force(family[: n + 1], range(9))
    assert model.asked < 6 * 2**9, "fewer looks at the model than trying every subset after every observation"
