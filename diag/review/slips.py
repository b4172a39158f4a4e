"""How the judgements on rules say what they found: one problem, at the entry of the layer that is looked over.

Knows wording and places; nothing of what is judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from diag.errors import Place, Problem, Severity
from diag.knowledge.assemble import Knowledge

__all__ = ["Slips"]


class Slips:
    """Gathers problems of one vehicle's knowledge. `mine`: whether a file is among those looked over."""

    def __init__(self, knowledge: Knowledge, mine: Callable[[str], bool]) -> None:
        self.know = knowledge
        self._mine = mine
        self.found: list[Problem] = []

    def place(self, name: str, *loc: str | int) -> Place:
        """Where an entry, or something inside it, stands."""
        return self.know.spots.place(name, *loc)

    def own(self, name: str) -> bool:
        """Whether an entry stands in a file that is looked over."""
        return self._mine(self.place(name).file)

    def kin(self, one: str, other: str) -> bool:
        """Whether two entries stand in one circuit, and both in its variants or both outside: else each file, and each
        variant, says what it has to say by itself."""
        inside = [name in self.know.spots.bases and self.know.spots.bases[name][1][:1] for name in (one, other)]
        return inside[0] == inside[1] and self.know.circuit_of.get(one) == self.know.circuit_of.get(other)

    def owned(self, names: Iterator[str]) -> list[str]:
        """Those of the entries that stand in files looked over."""
        return [name for name in names if self.own(name)]

    def say(
        self,
        place: Place,
        what: str,
        found: str = "",
        expected: str = "",
        mend: str = "",
        *,
        code: str,
        severity: Severity = "warning",
    ) -> None:
        """Report a problem, once."""
        problem = Problem(place, what, found, expected, mend, code, severity)
        if self._mine(place.file) and problem not in self.found:
            self.found.append(problem)
