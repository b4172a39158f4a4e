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
_DEPTH, _SMALL, _KNOWN, _LEAST_RATE = 4, 0.005, 0.01, 0.02
"""How far answers are followed, down to which chance, until how little is in doubt, and while a check tells at
least so many bits a minute."""
_WIDE = 40
"""Beliefs after the same number of answers that are followed on, the likeliest."""
_MERGED = 0.04
"""Causes of one group whose chances differ by less than this are followed as one."""
_EFFORT = 150_000
"""Subsets of causes times answers times checks that are looked at: about 5 ms on one core. Beyond, and with
so many causes at most, one goes on greedily after the first check."""
_CAUSES = 48
_FIRST, _THOUGHT, _LATER = 10, 5, 16
"""Checks that may come first, and later, the best by information per minute."""
_SHARE = 0.6
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
    more: Callable[[int], Sequence[int]] | None = None,
) -> list[int]:
    """Indices of checks, the best to begin with first; ties keep their order.

    `bits` (checks,) information of each alone and `minutes` (checks,) each; `weights` (causes,), `groups`
    (causes,) what would be done about each, from 0; `rows_of(checks)` (checks, causes, answers) chances;
    `minutes_after(first, checks)` minutes once one was made (the same where None); `wrong`: minutes lost
    where the likeliest group is acted on and is not it (None: it has to be known); `more(first)` further
    checks that may be best once the first was made.
    """
    worth = bits / np.maximum(minutes, 1e-9)
    order: list[int] = np.argsort(-worth, kind="stable").tolist()
    telling = [i for i in order[: max(_FIRST, _LATER)] if bits[i] > _NOTHING]
    first = [i for i in telling[:_THOUGHT] if worth[i] >= _SHARE * worth[telling[0]]]
    if wrong is None:  # what is worth little at once may still be what must be known in the end
        first = telling[:_FIRST]
    if len(first) < 2:
        return order
    later = telling[:_LATER]
    if more is not None:
        later = list(dict.fromkeys([*later, *more(first[0])]))
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
    rows, weights, of = _merged(rows, weights, groups[kept])
    member = (np.unique(of)[:, None] == of[None, :]).astype(float)
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


def _merged(rows: Floats, weights: Floats, groups: np.ndarray) -> tuple[Floats, Floats, np.ndarray]:
    """The same with causes of one group that no check tells apart as one."""
    steps = np.round(rows.transpose(1, 0, 2) / _MERGED).reshape(len(groups), -1)
    marks = np.concatenate([groups[:, None], steps], axis=1)
    _, first, place = np.unique(marks, axis=0, return_index=True, return_inverse=True)
    place = place.reshape(-1)
    belongs = np.zeros((len(first), len(groups)))
    belongs[place, np.arange(len(groups))] = weights
    total = belongs.sum(axis=1)
    merged = np.matmul(belongs[None], rows) / np.maximum(total, 1e-300)[None, :, None]
    return merged, total, groups[first]


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
    minute, no check twice, and acts where it is known what to do or nothing tells any more.

    `member` (groups, causes) 1 where a cause is in a group; `leaves` (leaves, causes) weights; `made` (leaves,
    checks); `minutes` (leaves, checks).
    """
    if wrong is not None:  # half the digits are enough, and twice as quick
        rows, member, leaves = rows.astype(np.float32), member.astype(np.float32), leaves.astype(np.float32)
        minutes = minutes.astype(np.float32)
    nothing = _NOTHING if wrong is None else 1e-6  # float32 has no more
    certain, least, small = (_KNOWN, _LEAST_RATE, _SMALL) if wrong is not None else (_NOTHING, 0.0, 0.0)
    levels: list[tuple[Floats, np.ndarray]] = []
    nodes, above, spent = leaves, np.arange(len(leaves)), minutes
    for level in range(_DEPTH + 1):
        if not len(nodes):
            break
        total, of_group = nodes.sum(axis=1), nodes @ member.T
        doubt = total - of_group.max(axis=1)
        acted = np.full(len(nodes), _NEVER) if wrong is None else wrong * doubt
        known = doubt <= certain * total
        unknown = _log(total) - _log(of_group).sum(axis=1)
        rate = np.zeros((len(nodes), len(rows)))
        open_ = np.nonzero(~known)[0]
        split = np.matmul(member[None, None] * nodes[open_, None, None, :], rows[None])
        bits = unknown[open_, None] - (_log(split.sum(axis=2)).sum(axis=2) - _log(split).sum(axis=(2, 3)))
        telling = ~made[open_] & (bits > nothing * total[open_, None])
        rate[open_] = np.where(telling, bits / np.maximum(spent[open_], 1e-9), 0.0)
        best = rate.argmax(axis=1)
        here = np.arange(len(nodes))
        top = rate[here, best]
        going = ~known & (top > least * total)
        guess = np.minimum(acted, unknown * total / np.maximum(top, 1e-12))
        cut = going & ((total <= small) | (level == _DEPTH))
        cost = np.where(known, 0.0 if wrong is None else acted, np.where(cut, guess, acted))
        wide = going & ~cut
        if wide.sum() > _WIDE:
            cut |= wide & (total < np.sort(total[wide])[-_WIDE])
            cost = np.where(cut, guess, cost)
        going &= ~cut
        levels.append((np.where(going, spent[here, best] * total, cost), above))
        answers = rows[best[going]].transpose(0, 2, 1) * nodes[going][:, None, :]
        parent, _ = some = np.nonzero(answers.sum(axis=2) > nothing * total[going][:, None])
        from_ = np.nonzero(going)[0][parent]
        made = made[from_]
        made[np.arange(len(from_)), best[from_]] = True
        nodes, above, spent = answers[some], from_, spent[from_]
    below, above = np.zeros(0), np.zeros(0, dtype=int)
    for cost, owner in reversed(levels):
        np.add.at(cost, above, below)
        below, above = cost, owner
    return below


def _log(weights: Floats) -> Floats:
    out: Floats = weights * np.log2(np.maximum(weights, 1e-37))
    return out
