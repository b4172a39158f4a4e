"""Looking further than one check: expected minutes until the cause is known, for each check to begin with.

Few causes left: every order of the checks that part them is weighed, exactly where answers are certain.
Many left: each first check is followed by those with the most information per minute. Knows chances and
minutes only; nothing of steps, circuits or beliefs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from diag.circuit.network import Floats

__all__ = ["best_first", "minutes_left"]

_OVERLAP = 0.3
"""Two causes are told apart by a check where their answers have less than this in common."""
_COLUMNS = 5
"""Answers of a check that are followed one by one, the likeliest; the others as one."""
_EFFORT = 150_000
"""Subsets of causes times answers times checks that are looked at: about 5 ms on one core. Beyond, and with
so many causes at most, one goes on greedily after the first check."""
_CAUSES = 48
_FIRST, _LATER = 10, 16
"""Checks that may come first, and later, the best by information per minute."""
_SHARE = 0.2
"""A check worth less than this share of the best at once is not thought through."""
_NOTHING = 1e-9
_NEVER = 1e12


def best_first(
    bits: Floats,
    minutes: Floats,
    weights: Floats,
    rows_of: Callable[[Sequence[int]], Floats],
    minutes_after: Callable[[int, Sequence[int]], Floats] | None = None,
    wrong: float | None = None,
) -> list[int]:
    """Indices of checks, the best to begin with first; ties keep their order.

    `bits` (checks,) information of each alone and `minutes` (checks,) each; `weights` (causes,);
    `rows_of(checks)` (checks, causes, answers) chances; `minutes_after(first, checks)` minutes once one was
    made (the same where None); `wrong`: minutes lost where the likeliest cause is acted on and is not it
    (None: the cause has to be known).
    """
    worth = bits / np.maximum(minutes, 1e-9)
    order: list[int] = np.argsort(-worth, kind="stable").tolist()
    telling = [i for i in order[: max(_FIRST, _LATER)] if bits[i] > _NOTHING]
    first = [i for i in telling[:_FIRST] if worth[i] >= _SHARE * worth[telling[0]]]
    if wrong is None:  # what is worth nothing at once may still be what must be known in the end
        first = telling[:_FIRST]
    if len(first) < 2:
        return order
    later = telling[:_LATER]
    after = np.array([minutes[later] if minutes_after is None else minutes_after(i, later) for i in first])
    left = minutes_left(rows_of(later), weights, minutes[first], after, [later.index(i) for i in first], wrong)
    thought = [first[i] for i in np.argsort(np.round(left, 9), kind="stable")]
    return thought + [i for i in order if i not in thought]


def minutes_left(
    rows: Floats, weights: Floats, minutes: Floats, after: Floats, first: Sequence[int], wrong: float | None = None
) -> Floats:
    """(first,) expected minutes until the cause is known, beginning with each check of `first`.

    `rows` (checks, causes, answers) chances; `weights` (causes,) summing to 1; `minutes` (first,);
    `after` (first, checks) minutes of each check once the first was made. Exact for certain answers
    while the causes are few; infinite where a cause can never be known and nothing may be tried.
    """
    leaves, owner = _answers(rows[list(first)] * weights[None, :, None])
    kept = np.sort(np.argsort(-weights, kind="stable")[:_CAUSES])
    parts, chances = _parts(rows[:, kept]), leaves[:, kept]
    few = 2 ** min(len(kept), 30) * len(leaves) * len(rows) <= _EFFORT
    cost = (_exact if few else _greedy)(parts, chances, after[owner], wrong)
    out = minutes.astype(float).copy()
    np.add.at(out, owner, cost)
    return out


def _answers(joint: Floats) -> tuple[Floats, np.ndarray]:
    """(leaves, causes) weight of each cause with each answer that can come, and (leaves,) whose answer it is."""
    leaves, owner = [], []
    for place, table in enumerate(joint):
        by_size = np.argsort(-table.sum(axis=0), kind="stable")
        columns = [table[:, o] for o in by_size[:_COLUMNS]]
        if len(by_size) > _COLUMNS:
            columns.append(table[:, by_size[_COLUMNS:]].sum(axis=1))
        for column in columns:
            if column.sum() > 1e-9:
                leaves.append(column)
                owner.append(place)
    return np.array(leaves), np.array(owner)


def _parts(rows: Floats) -> np.ndarray:
    """(checks, parts) bit masks of causes that a check does not tell apart; 0 where there are fewer parts."""
    checks, causes, _ = rows.shape
    alike = np.minimum(rows[:, :, None, :], rows[:, None, :, :]).sum(axis=3) > _OVERLAP
    for _ in range(max(1, int(np.ceil(np.log2(max(causes, 2)))))):  # what is like a third is alike
        alike = (alike.astype(np.uint8) @ alike.astype(np.uint8)) > 0
    masks = (alike << np.arange(causes)[None, None, :]).sum(axis=2)
    out = np.zeros((checks, causes), dtype=np.int64)
    for c, found in enumerate(masks):
        different = np.unique(found)
        out[c, : len(different)] = different
    return out[:, : max(1, int((out > 0).sum(axis=1).max(initial=1)))]


def _exact(parts: np.ndarray, chances: Floats, minutes: Floats, wrong: float | None) -> Floats:
    """(leaves,) least expected minutes, times the chance of the leaf, by dynamic programming over the subsets of
    causes. `chances` (leaves, causes) weights, `minutes` (leaves, checks)."""
    causes = chances.shape[1]
    every = np.arange(2**causes)
    held = ((every[:, None] >> np.arange(causes)[None, :]) & 1).astype(bool)
    size = held.sum(axis=1)
    total = chances @ held.T.astype(float)
    best = np.where(held[None], chances[:, None, :], 0.0).max(axis=2)
    cost = np.zeros((len(chances), 2**causes))
    for members in range(2, causes + 1):
        subsets = every[size == members]
        pieces = subsets[:, None, None] & parts[None, :, :]
        parted = (pieces != subsets[:, None, None]).all(axis=2)
        made = cost[:, pieces[:, :, 0]]
        for k in range(1, parts.shape[1]):
            made = made + cost[:, pieces[:, :, k]]
        made = made + minutes[:, None, :] * total[:, subsets][:, :, None]
        least = np.where(parted[None], made, _NEVER).min(axis=2, initial=_NEVER)
        doubt = (total - best)[:, subsets]
        if wrong is not None:
            least = np.minimum(least, wrong * doubt)
        cost[:, subsets] = np.where(doubt > _NOTHING * total[:, subsets], least, 0.0)  # one left: it is known
    found: Floats = cost[:, -1]
    return found


def _greedy(parts: np.ndarray, chances: Floats, minutes: Floats, wrong: float | None) -> Floats:
    """(leaves,) the same by going on with the most information per minute: never below the least, and beginning
    with the check that it says is best is never worse than going on so from the beginning."""
    within = ((parts[:, :, None] >> np.arange(chances.shape[1])[None, None, :]) & 1).astype(float)
    levels: list[tuple[Floats, np.ndarray, Floats]] = []
    nodes, above, spent = chances, np.arange(len(chances)), minutes
    while len(nodes):
        total = nodes.sum(axis=1)
        doubt = total - nodes.max(axis=1)
        given_up = np.full(len(nodes), _NEVER) if wrong is None else wrong * doubt
        known = doubt <= _NOTHING * total
        pieces = np.einsum("ng,ckg->nck", nodes, within)
        gain = _weighed_log(total)[:, None] - _weighed_log(pieces).sum(axis=2)
        rate = np.where(gain > _NOTHING * total[:, None], gain / np.maximum(spent, 1e-9), 0.0)
        best = rate.argmax(axis=1)
        here = np.arange(len(nodes))
        going = ~known & (rate[here, best] > 0)
        made = np.where(going, spent[here, best] * total, _NEVER)
        levels.append((np.where(known, 0.0, made), above, np.where(known, 0.0, given_up)))
        split = nodes[going][:, None, :] * within[best[going]]
        some = split.sum(axis=2) > 0
        nodes, above = split[some], np.nonzero(going)[0][np.nonzero(some)[0]]
        spent = spent[above]
    below = np.zeros(0)
    for level in reversed(range(len(levels))):
        made, _, given_up = levels[level]
        if level + 1 < len(levels):
            np.add.at(made, levels[level + 1][1], below)
        below = np.minimum(made, given_up)
    return below


def _weighed_log(weights: Floats) -> Floats:
    out: Floats = weights * np.log(np.maximum(weights, 1e-300))
    return out
