"""Which sets of several causes are worth weighing: those that a quick estimate puts first, and the
likeliest smallest sets that explain everything a sound vehicle would not show.

Knows how findings are seen and how frequent causes are; nothing of posteriors.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diag.circuit.network import Floats
from diag.reason.candidates import likeliest_hitting_sets
from diag.reason.sight import Sight

__all__ = ["Proposed", "mended", "propose"]

_CANDIDATES = 160
"""Causes that are paired with each other; some 13,000 pairs are estimated in a few milliseconds."""
_SOLVED = 36
"""Sets by estimate that the network is asked about; whoever is likelier than these seldom comes later."""
_HITTING = 20
"""Smallest sets that explain all; they find what the estimate, which adds up, puts far down."""
_MENDED, _MENDS = 2, 16
_LISTED = 160
_EXTENDED = 10
_CHUNK = 4096
_FAR = -50.0
Proposed = tuple[list[frozenset[int]], list[frozenset[int]]]
"""Sets to be solved exactly, and further ones to be weighed by the estimate."""


def propose(sight: Sight, log_prior: Floats, size: int, smaller: Sequence[frozenset[int]]) -> Proposed:
    """Sets of `size` causes, each cause standing for those that no finding tells from it. Of causes that are
    alike one is enough: a second would explain nothing more. `smaller`: the likeliest sets of one less."""
    candidates = _candidates(sight, log_prior)
    if size == 2:
        first, second = np.triu_indices(len(candidates), 1)
        members = np.stack([candidates[first], candidates[second]], axis=1)
    else:
        grown = {
            frozenset({*(int(sight.stands_for[i]) for i in found), int(more)})
            for found in smaller[:_EXTENDED]
            for more in candidates
        }
        members = np.array(sorted(sorted(s) for s in grown if len(s) == size), dtype=int).reshape(-1, size)
    rough = _rough(sight, log_prior, members)
    order = np.argsort(-rough, kind="stable")[:_LISTED]
    ranked = [frozenset(members[i].tolist()) for i in order]
    hitting = _hitting(sight, log_prior, candidates, size)
    solved = list(dict.fromkeys([*ranked[:_SOLVED], *hitting]))
    return solved, [s for s in ranked if s not in set(solved)]


def mended(sight: Sight, log_prior: Floats, best: Sequence[frozenset[int]]) -> list[frozenset[int]]:
    """The likeliest sets with one more cause that changes whatever they need to be misread: two faults may
    show together what neither shows alone."""
    standing = list(dict.fromkeys(frozenset(int(sight.stands_for[i]) for i in s) for s in best))[:_MENDED]
    alone = np.unique(sight.stands_for)
    out: dict[frozenset[int], None] = {}
    if not standing:
        return []
    for chosen, misread in zip(standing, sight.misread(sight.told(standing, sight.all_took)), strict=True):
        if not misread.any():
            continue
        there = np.array([~sight.gone(sight.all_took, int(period)) for period in sight.period[misread]], dtype=bool)
        moved = sight.times[misread] @ (sight.moves[misread] & there)[:, alone]
        able = moved == moved.max(initial=0)
        order = np.argsort(-np.where(able, log_prior[alone], -np.inf), kind="stable")[: int(able.sum())]
        more = [int(alone[i]) for i in order if int(alone[i]) not in chosen][:_MENDS]
        out.update(dict.fromkeys(chosen | {i} for i in more))
    return list(out)


def _odd(sight: Sight) -> np.ndarray:
    """Indices of findings that a healthy vehicle does not explain."""
    return np.nonzero(~sight.explained[:, 0])[0]


def _able(sight: Sight, f: int) -> np.ndarray:
    """(causes,) True where a cause may be behind an odd finding: it makes it likely, or, where none does
    alone, it changes what is found."""
    there = ~sight.gone(sight.all_took, int(sight.period[f]))
    able: np.ndarray = sight.explained[f, 1:] & there
    return able if able.any() else sight.moves[f] & there


def _candidates(sight: Sight, log_prior: Floats) -> np.ndarray:
    """Causes that explain something a healthy vehicle would not show, best first."""
    odd, rows = _odd(sight), sight.rows
    alone = np.unique(sight.stands_for)
    gain = (sight.times[odd, None] * np.maximum(rows[odd, 1:] - rows[odd, :1], 0.0)).sum(axis=0)
    score = log_prior + gain
    found: dict[int, None] = {}
    share = max(6, _CANDIDATES // (2 * max(1, int(sight.times[odd].sum()))))
    for f in odd:  # each odd finding brings its own best, or one symptom crowds out the others
        own = log_prior[alone] + rows[f, 1 + alone] + np.where(_able(sight, int(f))[alone], 0.0, _FAR)
        found.update(dict.fromkeys(alone[np.argsort(-own, kind="stable")[:share]].tolist()))
    found.update(dict.fromkeys(alone[np.argsort(-score[alone], kind="stable")].tolist()))
    return np.array(sorted(list(found)[:_CANDIDATES]), dtype=int)


def _rough(sight: Sight, log_prior: Floats, members: np.ndarray) -> Floats:
    """Log weight of each row of members, remedies all taken, several touching causes as the best of them."""
    total: Floats = log_prior[members].sum(axis=1)
    for start in range(0, len(members), _CHUNK):
        part = members[start : start + _CHUNK]
        among = np.unique(part)
        for f in range(len(sight.rows)):
            there = sight.touch[f] & ~sight.gone(sight.all_took, int(sight.period[f]))
            if not there[among].any():
                total[start : start + _CHUNK] += sight.times[f] * sight.rows[f, 0]
                continue
            own = np.where(there, sight.rows[f, 1:], -np.inf)[part].max(axis=1)
            total[start : start + _CHUNK] += sight.times[f] * np.where(np.isneginf(own), sight.rows[f, 0], own)
    return total


def _hitting(sight: Sight, log_prior: Floats, candidates: np.ndarray, size: int) -> list[frozenset[int]]:
    """The likeliest smallest sets of up to `size` causes, one of which makes each odd finding likely. What a
    cause would have to be misread in besides counts against it."""
    families = [frozenset(candidates[_able(sight, int(f))[candidates]].tolist()) for f in _odd(sight)]
    conflicts = [family for family in families if family]
    less = np.minimum(sight.rows[:, 1:] - sight.rows[:, :1], 0.0) * sight.times[:, None]
    against = np.where(sight.explained[:, :1] & sight.touch, less, 0.0).sum(axis=0)
    weight = {int(i): float(log_prior[i] + against[i]) for i in candidates}
    return [s for s in likeliest_hitting_sets(conflicts, weight, size, 2 * _HITTING) if len(s) == size][:_HITTING]
