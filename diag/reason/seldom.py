"""Faults that come and go: at any moment there or not, whatever was found a minute ago.

Mixes rows of chances that others computed: the row of the fault while it is there, and the row without it.
Knows nothing of circuits, steps or priors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np

from diag.circuit.network import Floats

__all__ = ["Seldom"]

_Set = frozenset[int]


class Seldom:
    """The causes that come and go, by index from 0: (the cause that each is like while it is there, the chance
    that it is). Each answer is a moment of its own; rows are 0 healthy, then one a cause."""

    def __init__(self, at_times: Mapping[int, tuple[int, float]]) -> None:
        self._like = {i: like for i, (like, _) in at_times.items()}
        self._shows = {i: shows for i, (_, shows) in at_times.items()}
        self._rows = np.array([1 + i for i in at_times], dtype=int)
        self._there = np.array([1 + like for like, _ in at_times.values()], dtype=int)
        self._chance = np.array([shows for _, shows in at_times.values()])

    @property
    def causes(self) -> frozenset[int]:
        """Those that come and go."""
        return frozenset(self._like)

    def mixed(self, rows: Floats, of: np.ndarray | None = None) -> Floats:
        """The same with what each of them shows at a moment taken by chance. `of`: which of all rows these are, in
        rising order and `joined`, where they are not all."""
        if not len(self._rows):
            return rows
        mine, there, shows = self._rows, self._there, self._chance
        if of is not None:
            here = np.isin(mine, of)
            mine, there, shows = np.searchsorted(of, mine[here]), np.searchsorted(of, there[here]), shows[here]
        out = rows.copy()
        chance = shows.reshape(-1, *[1] * (rows.ndim - 1))
        out[mine] = chance * rows[there] + (1 - chance) * rows[:1]
        return out

    def joined(self, chosen: np.ndarray) -> np.ndarray:
        """(rows,) those chosen, and with each fault also the one that is like it now and then."""
        out = chosen.copy()
        out[self._rows] = chosen[self._there]
        return out

    def there(self, rows: Floats) -> Floats:
        """The same with what each of them shows while it is there."""
        out = rows.copy()
        out[self._rows] = rows[self._there]
        return out

    # ------------------------------------------------------------ several causes

    def states(self, sets: Sequence[_Set]) -> list[_Set]:
        """What has to be solved for these sets: each of their faults that come and go there, or not."""
        return list(dict.fromkeys(state for members in sets for state, _ in self._of(members) if state))

    def mixed_sets(self, sets: Sequence[_Set], states: Sequence[_Set], rows: Floats) -> Floats:
        """(sets,) from the chances of `states`; `rows` (1 + states,) begins with the healthy one."""
        place = {state: 1 + n for n, state in enumerate(states)}
        return np.array(
            [
                sum(chance * rows[place[state] if state else 0] for state, chance in self._of(members))
                for members in sets
            ]
        )

    def _of(self, members: _Set) -> list[tuple[_Set, float]]:
        """States of one set, with the chance of each."""
        moving = sorted(members & self._like.keys())
        steady = members - self._like.keys()
        out = []
        for there in product((True, False), repeat=len(moving)):
            state, chance = set(steady), 1.0
            for i, yes in zip(moving, there, strict=True):
                chance *= self._shows[i] if yes else 1 - self._shows[i]
                if yes:
                    state.add(self._like[i])
            out.append((frozenset(state), chance))
        return out
