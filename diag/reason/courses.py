"""What sets of causes say of each finding in every course of the remedies, worked out once for all courses in which
the same causes are gone while a finding was made. Knows nothing of priors or of how findings came about.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diag.circuit.network import Floats
from diag.reason.sight import Sight

__all__ = ["Courses"]


class Courses:
    """Of these sets, until more is asked of the network."""

    def __init__(self, sight: Sight, sets: Sequence[frozenset[int]]) -> None:
        self.sight, self.sets = sight, sets
        self._members = sight.members(sets)
        self._took = [took for took, _ in sight.patterns()]
        self._here = {period: np.nonzero(sight.period == period)[0] for period in sight.answered}
        self._blocks: dict[tuple[int, bytes], tuple[int, Floats]] = {}

    def sums(self) -> Floats:
        """(courses, sets) log chance of all findings together, each as often as it was answered."""
        out = np.zeros((len(self._took), len(self.sets)))
        added: dict[tuple[int, int], tuple[int, Floats]] = {}  # what courses have in common is added up once
        for course in range(len(self._took)):
            node, total = 0, out[course]
            for period in self.sight.answered:
                number, block = self._block(period, course)
                if (node, number) not in added:
                    own = block * self.sight.times[self._here[period], None]
                    added[node, number] = 1 + len(added), np.add.reduce(np.vstack([total[None, :], own]), axis=0)
                node, total = added[node, number]
            out[course] = total
        return out

    def told(self, course: np.ndarray) -> Floats:
        """(sets, findings) log chance of each finding, for each set in the course of that number."""
        out = np.zeros((len(self.sets), len(self.sight.rows)))
        for number in np.unique(course).tolist():
            mine = np.nonzero(course == number)[0]
            for period in self.sight.answered:
                out[np.ix_(mine, self._here[period])] = self._block(period, number)[1][:, mine].T
        return out

    def _block(self, period: int, course: int) -> tuple[int, Floats]:
        """(findings of the period, sets), and its number."""
        gone = self.sight.gone(self._took[course], period)
        key = (period, gone.tobytes())
        if key not in self._blocks:
            self._blocks[key] = len(self._blocks), self.sight.told_in(self._here[period], gone, self._members)
        return self._blocks[key]
