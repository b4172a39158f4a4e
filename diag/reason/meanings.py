"""What each answer to a step would mean: how likely it is now, and what would be held likely after it.

Knows chances and beliefs; nothing of what is asked next or of how it is worded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Floats
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.steps import Step, Value
from diag.texts import t

__all__ = ["OUTSIDE", "SOUND", "Meaning", "Moved", "Outlook", "meanings"]

SOUND, OUTSIDE = "nothing-wrong", "not-in-the-model"
"""What may come first after an answer besides a remedy."""
_SETS = 80
"""The rest has a few percent together at most; it counts as if spread like these."""
_LEAST, _NAMED, _MOST_NAMED = 0.01, 0.1, 2
"""Answers below the first chance are left out; of what an answer raises, so many are named from the second."""
_RAISES, _CLEARS, _CLEARED_FROM = 1.15, 1 / 3, 0.05
"""An answer speaks for what it makes so many times likelier, and clears what was likely and is a third then."""


@dataclass(frozen=True)
class Moved:
    """A remedy (or SOUND, OUTSIDE) with its chance after an answer and `now`, before it."""

    name: str
    then: float
    now: float


@dataclass(frozen=True)
class Meaning:
    """One answer to a step, or a range of readings in words: `chance` of it; what it `raises`, likeliest first,
    and what it `clears`; both empty where it changes little."""

    value: Value | str
    chance: float
    raises: tuple[Moved, ...]
    clears: tuple[Moved, ...]


class Outlook:
    """Chances of answers to come, given what is believed. Several causes together show what the one of them
    does that strays furthest from healthy."""

    def __init__(self, reasoner: Reasoner, beliefs: Beliefs) -> None:
        self.reasoner, self.beliefs = reasoner, beliefs
        posterior = beliefs.posterior
        sets = posterior.sets[:_SETS]
        self._rows = _padded([members for members, _ in sets])
        self._p = np.array([p for _, p in sets])
        if len(sets):
            self._p *= max(1 - posterior.healthy - posterior.outside, 0.0) / self._p.sum()
        names: dict[str, int] = {}
        needed = [{names.setdefault(reasoner.remedy_of[i], len(names)) for i in members} for members, _ in sets]
        self._needs = np.zeros((len(names), len(sets)))
        for column, rows in enumerate(needed):
            self._needs[list(rows), column] = self._p[column]
        self._names = [*names, SOUND, OUTSIDE]

    def _table(self, step: Step) -> Floats:
        return self.reasoner.chances.table(step, self.beliefs.context)

    def of_set(self, step: Step, members: frozenset[int]) -> Floats:
        """(outcomes,) chance of each answer with exactly these causes present."""
        table = self._table(step)
        row: Floats = table[_far(table, _padded([members]))[0]]
        return row

    def joint(self, step: Step) -> Floats:
        """(remedies + 2, outcomes) chance of each answer together with the need of each remedy, then with
        nothing wrong, then with a cause outside the model."""
        table, posterior = self._table(step), self.beliefs.posterior
        needed = self._needs @ table[_far(table, self._rows)]
        flat = np.full(table.shape[1], posterior.outside / table.shape[1])
        out: Floats = np.vstack([needed, posterior.healthy * table[0], flat])
        return out

    def total(self, step: Step) -> Floats:
        """(outcomes,) chance of each answer."""
        table, posterior = self._table(step), self.beliefs.posterior
        sets = self._p @ table[_far(table, self._rows)]
        out: Floats = sets + posterior.healthy * table[0] + posterior.outside / table.shape[1]
        return out

    def meanings(self, step: Step, most: int) -> list[Meaning]:
        """The likeliest answers, in their order where they are readings; readings side by side that put the
        same first are one range."""
        joint, total = self.joint(step), self.total(step)
        now = joint.sum(axis=1)
        best = np.where(joint > _RAISES * now[:, None] * total, joint, 0.0).argmax(axis=0)
        groups: list[list[int]] = []
        for column in range(len(total)):
            if step.kind == "measure" and groups and best[groups[-1][-1]] == best[column]:
                groups[-1].append(column)
            else:
                groups.append([column])
        chances = [float(total[group].sum()) for group in groups]
        order = sorted(range(len(groups)), key=lambda g: -chances[g])[:most]
        kept = [g for g in order if chances[g] >= _LEAST]
        if step.kind == "measure":
            kept.sort()
        return [
            Meaning(
                self.spoken(step, groups[g][0], groups[g][-1]),
                chances[g],
                *self._moved(now, joint[:, groups[g]].sum(axis=1) / max(chances[g], 1e-300)),
            )
            for g in kept
        ]

    def _moved(self, now: Floats, then: Floats) -> tuple[tuple[Moved, ...], tuple[Moved, ...]]:
        def named(mask: np.ndarray, by: Floats) -> tuple[Moved, ...]:
            order = [i for i in np.argsort(-by, kind="stable").tolist() if mask[i]][:_MOST_NAMED]
            return tuple(Moved(self._names[i], float(then[i]), float(now[i])) for i in order)

        raised = (then >= _NAMED) & (then > _RAISES * now)
        return named(raised, then), named((now >= _CLEARED_FROM) & (then < _CLEARS * now), now)

    def spoken(self, step: Step, column: int, last: int | None = None) -> Value | str:
        """An answer; for readings, the range from `column` to `last` in words."""
        last = column if last is None else last
        if step.kind != "measure":
            return step.outcomes[column]
        edges = self.reasoner.chances.edges(step)
        unit = step.unit or ""
        if unit == "ohm" and self.reasoner.chances.computed(step):
            edges = tuple(10**edge for edge in edges)
            if column == len(edges):
                return "OL"
        low = _round(edges[column - 1], unit) if column > 0 else ""
        high = _round(edges[last], unit) if last < len(edges) else ""
        if low and high:
            return t("{low} to {high}", low=low, high=high)
        return t("below {high}", high=high) if high else t("above {low}", low=low) if low else t("any reading")


def meanings(reasoner: Reasoner, beliefs: Beliefs, step: Step, most: int = 6) -> list[Meaning]:
    """What the likeliest answers to a step would mean."""
    return Outlook(reasoner, beliefs).meanings(step, most)


def _padded(sets: Sequence[frozenset[int]]) -> np.ndarray:
    """(sets, members) rows of a table; row 0, healthy, fills up."""
    out = np.zeros((len(sets), max([1, *map(len, sets)])), dtype=int)
    for row, members in enumerate(sets):
        out[row, : len(members)] = [i + 1 for i in members]
    return out


def _far(table: Floats, rows: np.ndarray) -> np.ndarray:
    """For each set the row of its member that strays furthest from healthy."""
    away = np.abs(table - table[0]).sum(axis=1)
    out: np.ndarray = rows[np.arange(len(rows)), away[rows].argmax(axis=1)]
    return out


def _round(number: float, unit: str) -> str:
    """A bound as one would read it off a meter."""
    if unit == "ohm" and number >= 1000:
        return f"{number / 1000:.0f} kohm"
    return f"{number:.1f} {unit}" if abs(number) < 20 else f"{number:.0f} {unit}"
