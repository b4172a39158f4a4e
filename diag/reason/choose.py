"""The step worth its minutes: expected information about the remedy, per minute.

Knows chances and minutes; nothing of circuits, rules' conditions or the journal.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Floats
from diag.reason.belief import Posterior
from diag.reason.steps import Step

__all__ = ["Ranked", "Situation", "information", "minutes_of", "rank_steps"]

_WALK_MINUTES = 0.6
_CAUTION_MINUTES = 0.3
_ASKED_FOR = 1.6
"""How much more a step is worth that a fired rule asks for."""
_LEAST = 1e-4


@dataclass(frozen=True)
class Situation:
    """What bears on a step's cost: where the person stands, what is at hand, cautions seen, checks that
    fired rules ask for."""

    place: str | None
    acknowledged: frozenset[str]
    asked_for: frozenset[str]


@dataclass(frozen=True)
class Ranked:
    """A step with its expected information in bits and its minutes; `worth` = bits per minute, raised
    where a rule asks for it."""

    step: Step
    bits: float
    minutes: float
    worth: float


def minutes_of(step: Step, situation: Situation) -> float:
    """Minutes of a step from here: its own, walking, and reading a caution for the first time."""
    walk = _WALK_MINUTES if situation.place not in (None, step.place) else 0.0
    caution = _CAUTION_MINUTES if step.caution is not None and step.caution not in situation.acknowledged else 0.0
    return step.minutes + walk + caution


def _entropy(weights: Floats, axis: int) -> Floats:
    total = np.maximum(weights, 1e-300)
    out: Floats = -(weights * np.log2(total)).sum(axis=axis)
    return out


def information(chances: Floats, weights: Floats, groups: np.ndarray) -> float:
    """Expected bits that an answer tells about the group. `chances` (hypotheses, outcomes), `weights`
    (hypotheses,) summing to 1, `groups` (hypotheses,) numbers from 0."""
    joint = np.zeros((int(groups.max()) + 1, chances.shape[1]))
    np.add.at(joint, groups, weights[:, None] * chances)
    before = float(_entropy(joint.sum(axis=1), 0))
    outcome = joint.sum(axis=0)
    after = float(_entropy(joint, 0).sum() - _entropy(outcome, 0))  # sum over outcomes of p·H(group | outcome)
    return max(0.0, before - after)


def rank_steps(steps: Sequence[Step], table: Callable[[Step], Floats], posterior: Posterior,
               group_of: Mapping[int, str], situation: Situation) -> list[Ranked]:
    """Steps by worth, best first; ties keep the order given. `table` gives (1 + causes, outcomes)."""
    sets = [(members, p) for members, p in posterior.sets if p > _LEAST]
    names: dict[frozenset[str], int] = {frozenset(): 0}
    groups = [0]
    for members, _ in sets:
        label = frozenset(group_of[i] for i in members)
        groups.append(names.setdefault(label, len(names)))
    groups.append(len(names))  # outside the model
    weights = np.array([max(posterior.healthy, 1e-9), *(p for _, p in sets), max(posterior.outside, 1e-9)])
    weights /= weights.sum()
    labels = np.array(groups)
    singles = np.array([next(iter(members)) for members, _ in sets], dtype=int)
    several = [(row, members) for row, (members, _) in enumerate(sets, start=1) if len(members) > 1]
    out = []
    for step in steps:
        rows = table(step)
        chances = np.empty((len(weights), rows.shape[1]))
        chances[0] = rows[0]
        chances[1:-1] = rows[1 + singles]
        chances[-1] = 1.0 / rows.shape[1]
        for row, members in several:
            chances[row] = _together(rows, members)
        bits = information(chances, weights, labels)
        minutes = minutes_of(step, situation)
        worth = bits / minutes * (_ASKED_FOR if step.id in situation.asked_for else 1.0)
        out.append(Ranked(step, bits, minutes, worth))
    order = np.argsort([-ranked.worth for ranked in out], kind="stable")
    return [out[int(i)] for i in order]


def _together(rows: Floats, members: frozenset[int]) -> Floats:
    """What several causes show, as the one of them that strays furthest from healthy."""
    far = max(sorted(members), key=lambda i: float(np.abs(rows[1 + i] - rows[0]).sum()))
    out: Floats = rows[1 + far]
    return out
