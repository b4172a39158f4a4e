"""The step worth its minutes: expected information about the remedy per minute, and what comes after it.

Knows chances and minutes; nothing of circuits, rules' conditions or the journal.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.circuit.network import Floats
from diag.reason.ahead import best_first
from diag.reason.belief import Posterior
from diag.reason.steps import Step
from diag.reason.tables import Folded, expected_bits, folded

__all__ = ["CAUTION_MINUTES", "WALK_MINUTES", "Ranked", "Situation", "StepTable", "minutes_of", "rank"]

WALK_MINUTES = 0.6
CAUTION_MINUTES = 0.6
_ENGINE_MINUTES = 1.5
_PROP_MINUTES = 2.0
_ASKED_FOR = 3.0
"""How much more a step is worth that a fired rule asks for."""
_WRONG_MINUTES = 30.0
"""What acting on the likeliest and finding it sound costs: a remedy carried out in vain and its proof."""
_TOUCHES, _TELLING = 0.02, 2e-3
_SUSPECT = 0.04
"""A remedy is suspected from this share of the leading one's chance."""
_BRANCHES, _NEXT = 3, 4
"""Answers of the step that seems best after which the best steps are looked for anew, and how many."""
_POOL = 48
"""Steps, the best by bits per minute, that are thought of as coming first or later."""
_LEAST, _WEIGHED = 3e-4, 90
"""Sets below this chance, or beyond this many, do not change which step is best."""


@dataclass(frozen=True)
class Situation:
    """What bears on a step's cost: where the person stands, what is at hand, cautions seen, checks that
    fired rules ask for, and whether nobody is there to help (then controls have to be propped)."""

    place: str | None
    acknowledged: frozenset[str]
    asked_for: frozenset[str]
    alone: bool = True
    volts_first: float = 0.0
    """Minutes to measure the battery first, which every other reading of volts is judged by; 0 once known."""


@dataclass(frozen=True)
class Ranked:
    """A step with its expected information in bits and its minutes; `worth` = bits per minute, raised
    where a rule asks for it."""

    step: Step
    bits: float
    minutes: float
    worth: float


def minutes_of(step: Step, situation: Situation) -> float:
    """Minutes of a step from here: its own, walking, starting the engine, a caution read for the first time."""
    walk = WALK_MINUTES if situation.place not in (None, step.place) else 0.0
    caution = CAUTION_MINUTES if step.caution is not None and step.caution not in situation.acknowledged else 0.0
    engine = _ENGINE_MINUTES if step.operate.get("engine") == "running" else 0.0
    prop = _PROP_MINUTES if situation.alone and "helper" in step.instruments else 0.0
    volts = situation.volts_first if step.kind == "measure" and step.unit == "V" else 0.0
    return step.minutes + walk + caution + engine + prop + volts


@dataclass(frozen=True)
class _Stack:
    """Steps with equally many answers. `places` (S,): which steps. `rows` (R, answers): their different rows, one
    step after the other; `at` (S, 1 + causes): where each stands; `touches` (S, 1 + causes): where a cause changes
    what a step shows."""

    places: np.ndarray
    rows: Floats
    at: np.ndarray
    touches: np.ndarray

    @staticmethod
    def of(places: np.ndarray, tables: Sequence[Folded]) -> _Stack:
        starts = np.cumsum([0, *(len(rows) for rows, _ in tables[:-1])])
        at = np.stack([(start + place).astype(np.int32) for start, (_, place) in zip(starts, tables, strict=True)])
        moves = [0.5 * np.abs(rows - rows[place[0]]).sum(axis=1) > _TOUCHES for rows, place in tables]
        touches = np.stack([moved[place] for moved, (_, place) in zip(moves, tables, strict=True)])
        return _Stack(places, np.concatenate([rows for rows, _ in tables]), at, touches)

    def chances(self, steps: np.ndarray, rows: np.ndarray) -> Floats:
        """(steps, rows, answers)."""
        out: Floats = self.rows[self.at[steps[:, None], rows[None, :]]]
        return out


class StepTable:
    """Steps with their chances stacked, so that all are ranked in a few array operations."""

    def __init__(self, steps: Sequence[Step], table: Callable[[Step], Floats | Folded]) -> None:
        self.steps = tuple(steps)
        by_width: dict[int, list[int]] = {}
        tables = [found if isinstance(found, tuple) else folded(found) for found in map(table, steps)]
        for i, (rows, _) in enumerate(tables):
            by_width.setdefault(rows.shape[1], []).append(i)
        self._stacks = [_Stack.of(np.array(found), [tables[i] for i in found]) for found in by_width.values()]

    def information(self, posterior: Posterior, group_of: Mapping[int, str]) -> Floats:
        """(steps,) expected bits that an answer tells about which remedies are needed."""
        suspects = _Suspects.of(posterior, group_of)
        bits = np.zeros(len(self.steps))
        for places, chances in self.telling(suspects):
            bits[places] = expected_bits(chances, suspects.member)
        return bits

    def telling(self, suspects: _Suspects) -> list[tuple[np.ndarray, Floats]]:
        """Steps that some suspect changes, by their number of answers: places of the steps, and (steps, 1 + sets,
        answers) chances. The others tell nothing."""
        rows = np.array([1 + i for members, _ in suspects.sets for i in members], dtype=int)
        share = np.array([p for members, p in suspects.sets for _ in members])
        members = [members for members, _ in suspects.sets]
        out = []
        for stack in self._stacks:
            telling = stack.touches[:, rows] @ share > _TELLING
            if telling.any():
                out.append((stack.places[telling], _of_sets(stack, np.nonzero(telling)[0], members)))
        return out

    def rank(
        self, posterior: Posterior, group_of: Mapping[int, str], situation: Situation, allowed: Callable[[Step], bool]
    ) -> list[Ranked]:
        """Allowed steps, the best to ask now first; ties keep the order of the steps."""
        return rank([self], posterior, group_of, situation, allowed)


def rank(
    tables: Sequence[StepTable],
    posterior: Posterior,
    group_of: Mapping[int, str],
    situation: Situation,
    allowed: Callable[[Step], bool],
) -> list[Ranked]:
    """Allowed steps of all tables that tell anything, the best to ask now first: the likeliest few by the minutes
    that are expected until it is known what to do, the rest by bits per minute."""
    suspects = _Suspects.of(posterior, group_of)
    found: list[Ranked] = []
    felt: list[float] = []
    rows: list[Floats] = []
    for table in tables:
        for places, chances in table.telling(suspects):
            bits = expected_bits(chances, suspects.member).tolist()
            for row, (place, told) in enumerate(zip(places.tolist(), bits, strict=True)):
                step = table.steps[place]
                if allowed(step):
                    minutes = minutes_of(step, situation)
                    felt.append(_felt(step, minutes, situation))
                    found.append(Ranked(step, told, minutes, told / felt[-1]))
                    rows.append(chances[row])
    best = np.argsort(-np.array([ranked.worth for ranked in found]), kind="stable")
    thought_of = best[:_POOL].tolist()
    pool = np.zeros((len(thought_of), len(suspects.weights), max((rows[i].shape[1] for i in thought_of), default=0)))
    for place, i in enumerate(thought_of):
        pool[place, :, : rows[i].shape[1]] = rows[i]
    pool_felt = np.array([felt[i] for i in thought_of])

    def rows_of(chosen: Sequence[int]) -> Floats:
        out: Floats = pool[list(chosen)]
        return out

    def minutes_after(first: int, later: Sequence[int]) -> Floats:
        step = found[thought_of[first]].step
        there = replace(
            situation,
            place=step.place,
            volts_first=0.0 if step.unit == "V" else situation.volts_first,
            acknowledged=situation.acknowledged | ({step.caution} if step.caution is not None else frozenset()),
        )
        steps = [found[thought_of[i]].step for i in later]
        return np.array([_felt(step, minutes_of(step, there), there) for step in steps])

    def after_answers(first: int) -> Sequence[int]:
        """Steps that tell most, by the minute, once the first was answered: each likely answer has its own."""
        out: list[int] = []
        for answer in np.argsort(-(suspects.weights @ pool[first]), kind="stable")[:_BRANCHES]:
            given = suspects.member * pool[first, :, answer][None, :]
            later = expected_bits(pool, given / max(float(given.sum()), 1e-300)) / np.maximum(pool_felt, 1e-9)
            out += np.argsort(-later, kind="stable")[:_NEXT].tolist()
        return out

    order = best_first(
        np.array([found[i].bits for i in thought_of]),
        pool_felt,
        suspects.weights,
        suspects.groups,
        rows_of,
        minutes_after,
        _WRONG_MINUTES,
        after_answers,
    )
    return [found[i] for i in [*(thought_of[i] for i in order), *best[_POOL:].tolist()]]


def _felt(step: Step, minutes: float, situation: Situation) -> float:
    """Minutes, less where a fired rule asks for the step."""
    return minutes / (_ASKED_FOR if step.id in situation.asked_for else 1.0)


@dataclass(frozen=True)
class _Suspects:
    """Sets that still matter, with their chances, and by group of what would be done about them: `member`
    (groups, 1 + sets) weights that sum to 1, nothing wrong first; the same as `weights` and `groups` (1 + sets,)."""

    sets: tuple[tuple[frozenset[int], float], ...]
    member: Floats
    weights: Floats
    groups: np.ndarray

    @staticmethod
    def of(posterior: Posterior, group_of: Mapping[int, str]) -> _Suspects:
        sets = tuple((members, p) for members, p in posterior.sets[:_WEIGHED] if p > _LEAST)
        needed: dict[str, float] = {}
        for members, p in sets:
            for remedy in {group_of[i] for i in members}:
                needed[remedy] = needed.get(remedy, 0.0) + p
        least = _SUSPECT * max(needed.values(), default=0.0)
        names: dict[frozenset[str], int] = {frozenset(): 0}
        groups = [0]
        for members, _ in sets:  # what nobody suspects yet is one group: to part it would be idle
            label = frozenset(group_of[i] if needed[group_of[i]] >= least else "" for i in members)
            groups.append(names.setdefault(label, len(names)))
        # a cause outside the model answers anything: asking cannot tell it from the rest, only answers can
        weights = np.array([max(posterior.healthy, 1e-9), *(p for _, p in sets)])
        weights /= weights.sum()
        member = np.zeros((len(names), len(weights)))
        member[groups, np.arange(len(weights))] = weights
        return _Suspects(sets, member, weights, np.array(groups))


def _of_sets(stack: _Stack, chosen: np.ndarray, sets: Sequence[frozenset[int]]) -> Floats:
    """(chosen steps, 1 + sets, outcomes): healthy, then each set.

    Several causes together show what the one of them does that strays furthest from healthy.
    """
    first = np.array([0, *(1 + min(members) for members in sets)], dtype=int)
    chances = stack.chances(chosen, first)
    for row, members in enumerate(sets, start=1):
        if len(members) > 1:
            rows = stack.chances(chosen, np.array([1 + i for i in sorted(members)]))
            far = np.abs(rows - chances[:, :1]).sum(axis=2).argmax(axis=1)
            chances[:, row] = rows[np.arange(len(chosen)), far]
    return chances
