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
_ANSWERS = 5
"""Answers of a check that are followed, the likeliest one by one and the others as one."""
_DEPTH, _SMALL, _KNOWN, _DARED = 6, 0.01, 0.01, 0.04
"""How far answers are followed, down to which chance, and until how little is in doubt."""
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
    groups: np.ndarray,
    rows_of: Callable[[Sequence[int]], Floats],
    minutes_after: Callable[[int, Sequence[int]], Floats] | None = None,
    wrong: float | None = None,
) -> list[int]:
    """Indices of checks, the best to begin with first; ties keep their order.

    `bits` (checks,) information of each alone and `minutes` (checks,) each; `weights` (causes,), `groups`
    (causes,) what would be done about each, from 0; `rows_of(checks)` (checks, causes, answers) chances;
    `minutes_after(first, checks)` minutes once one was made (the same where None); `wrong`: minutes lost
    where the likeliest group is acted on and is not it (None: it has to be known).
    """
    worth = bits / np.maximum(minutes, 1e-9)
    order: list[int] = np.argsort(-worth, kind="stable").tolist()
    telling = [i for i in order[: max(_FIRST, _LATER)] if bits[i] > _NOTHING]
    first = [i for i in telling[:_FIRST] if worth[i] >= _SHARE * worth[telling[0]]]
    if wrong is None:  # what is worth little at once may still be what must be known in the end
        first = telling[:_FIRST]
    if len(first) < 2:
        return order
    later = telling[:_LATER]
    after = np.array([minutes[later] if minutes_after is None else minutes_after(i, later) for i in first])
    places = [later.index(i) for i in first]
    left = minutes_left(rows_of(later), weights, groups, minutes[first], after, places, wrong)
    thought = [first[i] for i in np.argsort(np.round(left, 9), kind="stable")]
    return thought + [i for i in order if i not in thought]


def minutes_left(
    rows: Floats,
    weights: Floats,
    groups: np.ndarray,
    minutes: Floats,
    after: Floats,
    first: Sequence[int],
    wrong: float | None = None,
) -> Floats:
    """(first,) expected minutes until the group is known, beginning with each check of `first`.

    `rows` (checks, causes, answers) chances; `weights` (causes,) summing to 1; `groups` (causes,) from 0;
    `minutes` (first,); `after` (first, checks) minutes of each check once the first was made. Exact for
    certain answers while the groups are few; beyond all bounds where a group can never be known and
    nothing may be tried.
    """
    kept = np.sort(np.argsort(-weights, kind="stable")[:_CAUSES])
    rows, weights = _likeliest(rows[:, kept], weights[kept]), weights[kept]
    member = (np.unique(groups[kept])[:, None] == groups[kept][None, :]).astype(float)
    joint = (rows[list(first)] * weights[None, :, None]).transpose(0, 2, 1)
    owner, _ = some = np.nonzero(joint.sum(axis=2) > _NOTHING)
    leaves = joint[some]
    if 2 ** min(len(member), 30) * len(leaves) * len(rows) <= _EFFORT and rows.max(axis=2).min() > 1 - _NOTHING:
        of_group = (rows * weights[None, :, None]).transpose(0, 2, 1) @ member.T
        share = of_group.transpose(0, 2, 1) / (member @ weights)[None, :, None]
        cost = _exact(_parts(share), leaves @ member.T, after[owner], wrong)
    else:
        made = np.zeros((len(leaves), len(rows)), dtype=bool)
        made[np.arange(len(leaves)), np.array(first)[owner]] = True
        cost = _followed(rows, member, leaves, made, after[owner], wrong)
    out = minutes.astype(float).copy()
    np.add.at(out, owner, cost)
    return out


def _likeliest(rows: Floats, weights: Floats) -> Floats:
    """The same with only the likeliest answers of each check one by one, the others as one."""
    if rows.shape[2] <= _ANSWERS:
        return rows
    order = np.argsort(-(rows * weights[None, :, None]).sum(axis=1), axis=1, kind="stable")
    rows = np.take_along_axis(rows, order[:, None, :], axis=2)
    return np.concatenate([rows[:, :, : _ANSWERS - 1], rows[:, :, _ANSWERS - 1 :].sum(axis=2, keepdims=True)], axis=2)


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


def _followed(
    rows: Floats, member: Floats, leaves: Floats, made: np.ndarray, minutes: Floats, wrong: float | None
) -> Floats:
    """(leaves,) expected minutes, times the chance of the leaf, when one goes on with the most information per
    minute, no check twice. Beginning with the check that this says is best is never worse, so far as the
    chances are right, than going on so from the beginning.

    `member` (groups, causes) 1 where a cause is in a group; `leaves` (leaves, causes) weights; `made` (leaves,
    checks); `minutes` (leaves, checks).
    """
    levels: list[tuple[Floats, Floats, np.ndarray]] = []
    nodes, above, spent = leaves, np.arange(len(leaves)), minutes
    for level in range(_DEPTH + 1):
        if not len(nodes):
            break
        total, of_group = nodes.sum(axis=1), nodes @ member.T
        doubt = total - of_group.max(axis=1)
        acted = np.full(len(nodes), _NEVER) if wrong is None else wrong * doubt
        given_up = np.where(doubt <= _DARED * total, acted, _NEVER)
        split = np.matmul(member[None, None] * nodes[:, None, None, :], rows[None])
        unknown = _log(total) - _log(of_group).sum(axis=1)
        bits = unknown[:, None] - (_log(split.sum(axis=2)).sum(axis=2) - _log(split).sum(axis=(2, 3)))
        rate = np.where(made | (bits < _NOTHING * total[:, None]), 0.0, bits / np.maximum(spent, 1e-9))
        best = rate.argmax(axis=1)
        here = np.arange(len(nodes))
        known = doubt <= (_KNOWN if wrong is not None else _NOTHING) * total
        going = ~known & (rate[here, best] > 0)
        ended = np.where(known, 0.0 if wrong is None else acted, np.where(going, 0.0, acted))
        if level == _DEPTH or (wrong is not None and not (total > _SMALL).any()):
            ended = np.where(going, unknown * total / np.maximum(rate[here, best], 1e-9), ended)
            levels.append((ended, given_up, above))
            break
        small = going & (total <= (_SMALL if wrong is not None else 0.0))
        ended = np.where(small, unknown * total / np.maximum(rate[here, best], 1e-9), ended)
        going &= ~small
        levels.append((np.where(going, spent[here, best] * total, ended), given_up, above))
        answers = rows[best[going]].transpose(0, 2, 1) * nodes[going][:, None, :]
        parent, _ = some = np.nonzero(answers.sum(axis=2) > _NOTHING * total[going][:, None])
        from_ = np.nonzero(going)[0][parent]
        made = made[from_]
        made[np.arange(len(from_)), best[from_]] = True
        nodes, above, spent = answers[some], from_, spent[from_]
    below = np.zeros(0)
    for level in reversed(range(len(levels))):
        cost, given_up, _ = levels[level]
        if level + 1 < len(levels):
            np.add.at(cost, levels[level + 1][2], below)
        below = np.minimum(cost, given_up)
    return below


def _log(weights: Floats) -> Floats:
    out: Floats = weights * np.log2(np.maximum(weights, 1e-300))
    return out
