"""A plain decision table: possible causes, what each check shows with each, and what it costs.

Knows chances and minutes; nothing of vehicles or of where the table comes from. The choice among the
steps of a vehicle rests on the same arithmetic.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Floats
from diag.reason.ahead import best_first
from diag.texts import t

__all__ = ["Folded", "folded", "Check", "DecisionTable", "RankedCheck", "expected_bits", "noisy_or"]


@dataclass(frozen=True)
class Check:
    """`chances` (causes, answers): chance of each answer with each cause, rows summing to 1."""

    id: str
    minutes: float
    chances: Floats


@dataclass(frozen=True)
class RankedCheck:
    """A check with the bits that its answer is expected to tell, and bits per minute."""

    check: Check
    bits: float
    worth: float


def expected_bits(chances: Floats, member: Floats) -> Floats:
    """(checks,) mutual information, in bits, of group and answer. `chances` (checks, causes, answers);
    `member` (groups, causes): weight of each cause in its group, summing to 1 in all."""
    joint = np.matmul(member[None, :, :], chances)
    answer = joint.sum(axis=1)
    group = member.sum(axis=1)
    inner = (joint * np.log2(np.maximum(joint, 1e-300))).sum(axis=(1, 2))
    inner = inner - (answer * np.log2(np.maximum(answer, 1e-300))).sum(axis=1)
    bits: Floats = np.maximum(inner - float((group * np.log2(np.maximum(group, 1e-300))).sum()), 0.0)
    return bits


def noisy_or(chances: Sequence[Floats | float], leak: float = 0.0) -> Floats:
    """Chance that at least one of several independent ways brings something about (J. Pearl, Probabilistic
    Reasoning in Intelligent Systems, 1988). `chances`: of each way alone, as if there were no other.

    `leak` is one more such way, always there: the chances of the others are those *without* it, so that two
    ways of 0.4 and 0.8 with a leak of 0.02 make 1 - 0.98 · 0.6 · 0.2 = 0.8824. Chances that were counted
    with the leak in them (the other convention, which would make 0.8776) are to be cleared of it before:
    (p - leak) / (1 - leak).
    """
    silent = np.asarray(1.0 - leak)
    for chance in chances:
        silent = silent * (1.0 - np.asarray(chance, dtype=float))
    out: Floats = 1.0 - silent
    return out


class DecisionTable:
    """Checks over the same causes. `groups`: what is done about each cause; causes of one group need not be
    told apart (each its own where None)."""

    def __init__(self, checks: Sequence[Check], groups: Sequence[Hashable] | None = None) -> None:
        if not checks:
            raise ValueError(t("a decision table needs a check"))
        self.checks = tuple(checks)
        causes = len(checks[0].chances)
        width = max(check.chances.shape[1] for check in checks)
        self._rows = np.zeros((len(checks), causes, width))
        for place, check in enumerate(checks):
            if len(check.chances) != causes:
                raise ValueError(
                    t(
                        "{check}: found {count} causes, expected {causes}",
                        check=check.id,
                        count=len(check.chances),
                        causes=causes,
                    )
                )
            self._rows[place, :, : check.chances.shape[1]] = check.chances
        self._minutes = np.array([check.minutes for check in checks])
        labels: Sequence[Hashable] = range(causes) if groups is None else groups
        names = list(dict.fromkeys(labels))
        self._belongs = np.zeros((len(names), causes))
        for cause, group in enumerate(labels):
            self._belongs[names.index(group), cause] = 1.0

    def bits(self, weights: Floats) -> Floats:
        """(checks,) bits that each check is expected to tell about the group."""
        return expected_bits(self._rows, self._belongs * (weights / weights.sum())[None, :])

    def after(self, weights: Floats, check: int) -> list[tuple[float, Floats]]:
        """Each answer that can come: its chance, and the causes' weights given it (summing to 1)."""
        joint = self._rows[check] * (weights / weights.sum())[:, None]
        return [(float(p), joint[:, o] / p) for o, p in enumerate(joint.sum(axis=0)) if p > 0]

    def rank(self, weights: Floats, *, ahead: bool = True, wrong: float | None = None) -> list[RankedCheck]:
        """Checks, the best to make now first; ties keep their order. `ahead`: think beyond the next check;
        else by bits per minute. `wrong` as in `ahead.best_first`."""
        bits = self.bits(weights)
        worth = bits / np.maximum(self._minutes, 1e-9)
        if ahead:
            alive = np.nonzero(weights > 0)[0]
            shares = weights[alive] / weights.sum()
            groups = self._belongs.argmax(axis=0)[alive]

            def rows_of(checks: Sequence[int]) -> Floats:
                rows: Floats = self._rows[list(checks)][:, alive]
                return rows

            order = best_first(bits, self._minutes, shares, groups, rows_of, None, wrong)
        else:
            order = np.argsort(-worth, kind="stable").tolist()
        return [RankedCheck(self.checks[i], float(bits[i]), float(worth[i])) for i in order]


Folded = tuple[Floats, np.ndarray]
"""Different rows of chances (rows, answers), the healthy one first, and which of them each of (1 + causes,) is."""


def folded(table: Floats) -> Folded:
    """A table (1 + causes, answers) with the rows that are as the first kept once."""
    differs = (table != table[:1]).any(axis=1)
    differs[0] = True
    place = np.where(differs, np.cumsum(differs) - 1, 0).astype(np.int32)
    return table[differs], place
