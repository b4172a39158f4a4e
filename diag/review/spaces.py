"""The answers that each check may get, and which of them meet a rule's conditions: what rules have in common is seen
by comparing sets of answers.

A measurement has endless answers; one inside every stretch that the bounds of the conditions part is enough. Knows
nothing of causes or weights.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.reason.steps import Value, all_steps, fits

__all__ = ["Met", "Spaces", "believable", "spelt_value"]

_MOST_VOLTS = 3.0
"""Times the system volts that a meter may show: a dynamo without its regulator gives about twice; from memory."""
_MOST_AMPS = 1000.0
"""A starter that is held still takes some hundreds; from memory."""


def believable(unit: str | None, system_v: float) -> tuple[float, float]:
    """The least and the largest number that a measurement may give, in its unit."""
    if unit == "V":
        return -_MOST_VOLTS * system_v, _MOST_VOLTS * system_v
    if unit == "A":
        return -_MOST_AMPS, _MOST_AMPS
    return 0.0, math.inf


def spelt_value(value: Value) -> str:
    """An answer as a file would write it."""
    if isinstance(value, tuple):
        return value[0] if value[0] == "dark" else "/".join(value)
    return f"{value:g}" if isinstance(value, float) else value


@dataclass(frozen=True)
class Met:
    """What some conditions ask for: of each check the answers that meet them (by number), and what must be
    established."""

    answers: Mapping[str, frozenset[int]]
    words: frozenset[str] = frozenset()

    @property
    def possible(self) -> bool:
        """Whether some answers meet all of it."""
        return all(self.answers.values())

    def within(self, other: Met) -> bool:
        """Whether everything that meets this meets the other too."""
        return other.words <= self.words and all(
            check in self.answers and self.answers[check] <= allowed for check, allowed in other.answers.items()
        )

    def beside(self, other: Met) -> bool:
        """Whether both can be met at once."""
        shared = self.answers.keys() & other.answers.keys()
        return all(self.answers[check] & other.answers[check] for check in shared)


class Spaces:
    """Answers by check, for one vehicle."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._words: dict[str, Sequence[Value]] = {
            step.id: step.outcomes for step in all_steps(knowledge, None) if step.kind != "measure"
        }
        self._checks = knowledge.checks
        self._system_v = knowledge.vehicle.system_v
        bounds: dict[str, set[float]] = {}
        ways = [rule.when for rule in knowledge.rules.values()]
        ways += [way for symptom in knowledge.symptoms.values() for way in symptom.shows]
        for condition in (one for way in ways for one in way):
            found = (condition.below, condition.above, *(condition.between or ()))
            bounds.setdefault(condition.check or "", set()).update(edge for edge in found if edge is not None)
        self._bounds = bounds
        self._kept: dict[str, tuple[Value, ...]] = {}

    def answers(self, check: str) -> tuple[Value, ...]:
        """What a check may be answered with."""
        if check not in self._kept:
            known = self._checks[check]
            if known.kind == "do":
                self._kept[check] = ("done",)
            elif known.kind == "measure":
                self._kept[check] = tuple(self._numbers(known))
            else:
                self._kept[check] = tuple(self._words[check])
        return self._kept[check]

    def _numbers(self, check: schema.Check) -> Iterable[float]:
        low, high = believable(check.unit, self._system_v)
        top = high if math.isfinite(high) else 1e6
        edges = sorted({low, top, *(edge for edge in self._bounds.get(check.id, ()) if low <= edge <= top)})
        yield from edges
        yield from (0.5 * (one + two) for one, two in zip(edges[:-1], edges[1:], strict=True))
        if not math.isfinite(high):
            yield high  # no continuity

    def met(self, conditions: Iterable[schema.Condition]) -> Met:
        """What these conditions ask for, all together. Checks that do not exist are left out."""
        found: dict[str, frozenset[int]] = {}
        words = set()
        for condition in conditions:
            if condition.established is not None:
                words.add(condition.established)
            elif condition.check is not None and condition.check in self._checks:
                values = self.answers(condition.check)
                allowed = frozenset(i for i, value in enumerate(values) if fits(condition, value))
                found[condition.check] = found.get(condition.check, allowed) & allowed
        return Met(found, frozenset(words))
