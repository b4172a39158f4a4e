"""What may be wrong, from what cannot all be right: minimal conflicts, and the smallest sets that hit each.

A conflict is a set of components that cannot all be sound, given what was observed; a candidate is a
smallest set whose being unsound agrees with everything. Knows nothing of chances, circuits or
questions: whatever can say whether it is consistent can be diagnosed.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from itertools import count
from typing import Generic, Protocol, TypeVar

__all__ = ["Candidates", "HittingSets", "Model", "likeliest_hitting_sets", "minimal_hitting_sets", "smallest"]

T = TypeVar("T", bound=Hashable)
Seen = TypeVar("Seen")
Seen_contra = TypeVar("Seen_contra", contravariant=True)


class Model(Protocol[T, Seen_contra]):
    """Anything made of components that work together.

    `consistent(sound, observations)`: whether all observations can hold with these components sound and
    the others doing anything at all. It must be monotone: what agrees with a set agrees with each part
    of it, and with fewer observations.
    """

    @property
    def components(self) -> Sequence[T]:
        """All that can be unsound."""
        ...

    def consistent(self, sound: frozenset[T], observations: Sequence[Seen_contra]) -> bool:
        """Whether the observations allow that all of `sound` are sound."""
        ...


def smallest(sets: Iterable[frozenset[T]]) -> list[frozenset[T]]:
    """Those that contain no other one, each once, small ones first."""
    kept: list[frozenset[T]] = []
    for found in sorted(dict.fromkeys(sets), key=len):
        if not any(other <= found for other in kept):
            kept.append(found)
    return kept


class HittingSets(Generic[T]):
    """The minimal sets that share a member with each conflict so far, kept as conflicts arrive.

    The result does not depend on the order of arrival, nor on conflicts that contain others: a minimal
    set of all conflicts, less its members that only the newest asks for, is minimal for those before,
    so nothing is lost by extending only those. `most`: sets of more members are left out, which loses
    no smaller one, as sets only grow.
    """

    def __init__(self, most: int | None = None) -> None:
        self._most = most
        self._conflicts: list[frozenset[T]] = []
        self._sets: list[frozenset[T]] = [frozenset()]

    @property
    def conflicts(self) -> tuple[frozenset[T], ...]:
        """The minimal ones of the conflicts that were added."""
        return tuple(self._conflicts)

    @property
    def sets(self) -> tuple[frozenset[T], ...]:
        """Minimal hitting sets, small ones first; the empty set alone where nothing conflicts, none at all
        where a conflict is empty or no set of at most `most` members hits all."""
        return tuple(self._sets)

    def add(self, conflict: Iterable[T]) -> bool:
        """Take in one conflict. False where it says nothing new."""
        found = frozenset(conflict)
        if any(known <= found for known in self._conflicts):
            return False
        self._conflicts = [*(known for known in self._conflicts if not found < known), found]
        hit = [s for s in self._sets if s & found]
        grown = [
            s | {member}
            for s in self._sets
            if not s & found and (self._most is None or len(s) < self._most)
            for member in found
        ]
        self._sets = smallest([*hit, *(s for s in grown if not any(kept <= s for kept in hit))])
        return True


def minimal_hitting_sets(conflicts: Iterable[Iterable[T]], most: int | None = None) -> list[frozenset[T]]:
    """Minimal sets, of at most `most` members, that share a member with every conflict; small ones first."""
    found: HittingSets[T] = HittingSets(most)
    for conflict in sorted((frozenset(c) for c in conflicts), key=len):  # small ones first keep the work small
        found.add(conflict)
    return list(found.sets)


def likeliest_hitting_sets(
    conflicts: Sequence[frozenset[T]], weight: Mapping[T, float], members: int, most: int, effort: int = 4000
) -> list[frozenset[T]]:
    """The `most` minimal hitting sets of at most `members` whose weights sum highest, best first.

    `weight` of each element, at most 0 (a log chance). Found best first without making them all, where
    there would be thousands: a partial set is worth its weight and the best of what a conflict that it
    misses still costs. `effort`: partial sets looked at before what was found so far is given.
    """
    families = smallest(conflicts)
    if not families or not all(families):
        return []
    order = [sorted(family, key=lambda m: (-weight[m], str(m))) for family in families]
    best = [weight[family[0]] for family in order]
    ticket = count()

    def entry(chosen: frozenset[T], value: float) -> tuple[float, int, frozenset[T], int | None]:
        missed = [f for f, family in enumerate(families) if not chosen & family]
        if not missed:
            return -value, next(ticket), chosen, None
        hardest = min(missed, key=lambda f: (best[f], len(families[f])))
        return -(value + best[hardest]), next(ticket), chosen, hardest

    queue = [entry(frozenset(), 0.0)]
    seen: set[frozenset[T]] = {frozenset()}
    out: list[frozenset[T]] = []
    while queue and len(out) < most and effort > 0:
        _, _, chosen, missed = heapq.heappop(queue)
        effort -= 1
        if missed is None:
            if all(any(not (chosen - {m}) & family for family in families) for m in chosen):
                out.append(chosen)
            continue
        if len(chosen) == members:
            continue
        value = sum(weight[m] for m in chosen)
        for member in order[missed]:
            grown = chosen | {member}
            if grown not in seen:
                seen.add(grown)
                found = entry(grown, value + weight[member])
                if found[3] is None or len(grown) < members:
                    heapq.heappush(queue, found)
    return out


class Candidates(Generic[T, Seen]):
    """Minimal conflicts and minimal candidates of a model, kept as observations arrive.

    Every smallest set that hits all conflicts known is tried; where the rest of the components cannot
    all be sound, they are cut down to a new minimal conflict. When all sets pass, they are the minimal
    candidates, and by duality the conflicts known are all the minimal ones.
    """

    def __init__(self, model: Model[T, Seen], most: int | None = None) -> None:
        self.model = model
        self.observations: list[Seen] = []
        self._hitting: HittingSets[T] = HittingSets(most)

    def observe(self, *observations: Seen) -> None:
        """Take in observations. Conflicts found before still hold: more observations only add to them."""
        self.observations += observations
        everything = frozenset(self.model.components)
        agreed: set[frozenset[T]] = set()
        while True:
            broken = next(
                (s for s in self._hitting.sets if s not in agreed and not self._allows(everything - s)),
                None,
            )
            if broken is None:
                return
            agreed |= set(self._hitting.sets[: self._hitting.sets.index(broken)])
            self._hitting.add(self._cut_down(everything - broken))

    @property
    def conflicts(self) -> tuple[frozenset[T], ...]:
        """Minimal sets of components that cannot all be sound."""
        return self._hitting.conflicts

    @property
    def sets(self) -> tuple[frozenset[T], ...]:
        """Minimal candidates, small ones first: the empty set alone where all may be sound, none where
        nothing (within `most` members) agrees with what was observed."""
        return self._hitting.sets

    def single(self) -> tuple[T, ...]:
        """Components each of which explains everything alone; empty where no single one does."""
        return tuple(next(iter(s)) for s in self.sets if len(s) == 1)

    def _allows(self, sound: frozenset[T]) -> bool:
        return self.model.consistent(sound, self.observations)

    def _cut_down(self, sound: frozenset[T]) -> frozenset[T]:
        """A minimal part of a conflict that is one still; empty where the observations contradict each other
        whatever is unsound. Halves are tried before single components, so that a small conflict among many
        components costs few looks at the model (U. Junker, QuickXplain, 2004, from memory)."""
        if not self._allows(frozenset()):
            return frozenset()
        return _least(self._allows, frozenset(), sorted(sound, key=str), False)


def _least(allows: Callable[[frozenset[T]], bool], base: frozenset[T], rest: list[T], grown: bool) -> frozenset[T]:
    """The least of `rest` that conflicts together with `base`; `grown`: base has grown since it was last asked."""
    if grown and not allows(base):
        return frozenset()
    if len(rest) == 1:
        return frozenset(rest)
    left, right = rest[: len(rest) // 2], rest[len(rest) // 2 :]
    of_right = _least(allows, base | set(left), right, True)
    of_left = _least(allows, base | of_right, left, bool(of_right))
    return of_left | of_right
