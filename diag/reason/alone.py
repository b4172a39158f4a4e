"""The quick half of `belief.weigh`: what is believed where one cause explains everything that was found.

The same chances, all causes at once and none listed as a set; nothing of which answers are odd. Knows rows of
chances; nothing of circuits, rules or questions.
"""

from __future__ import annotations

import numpy as np

from diag.circuit.network import Floats
from diag.reason.belief import KEPT, LIKELY, NEGLIGIBLE, Evidence
from diag.reason.posterior import Posterior
from diag.reason.sight import IMPOSSIBLE, Sight

__all__ = ["alone"]


def alone(evidence: Evidence) -> Posterior | None:
    """What `weigh` believes, without what is odd about the answers. None where several causes may be at work or
    findings contradict each other: then only `weigh` can say."""
    sight = Sight(evidence)
    now, start, none = _weights(evidence, sight)
    if evidence.most > 1 and _misread(evidence, sight, start):
        return None
    outside = (np.log(evidence.outside) if evidence.outside > 0 else IMPOSSIBLE) + sight.flat
    logs = np.concatenate([[none], now, [outside]])
    if logs.max() < 0.5 * IMPOSSIBLE:
        return None
    chances = np.exp(logs - logs.max())
    chances /= chances.sum()
    present: Floats = chances[1:-1]
    kept = np.nonzero(present > KEPT)[0]
    kept = kept[np.argsort(-present[kept], kind="stable")]
    sets = tuple((frozenset((i,)), float(present[i])) for i in kept.tolist())
    return Posterior(sets, present, float(chances[0]), float(chances[-1]), (), False)


def _weights(evidence: Evidence, sight: Sight) -> tuple[Floats, Floats, float]:
    """Log weights of each cause present now and at the start (causes,), and of none now."""
    prior = np.log(evidence.prior + 1e-300)
    sums = np.zeros((sight.periods, 1 + sight.count))
    np.add.at(sums, sight.period, sight.rows)
    now, start = np.full(sight.count, -np.inf), np.full(sight.count, -np.inf)
    none = float(np.log(max(evidence.healthy, 1e-300)) + sight.rows[:, 0].sum())
    for took, chance in sight.patterns():
        total = prior + chance
        for period in range(sight.periods):
            total = total + np.where(sight.gone(took, period), sums[period, 0], sums[period, 1:])
        gone = sight.gone(took, sight.periods - 1)
        total = np.where(total > total.max() - NEGLIGIBLE, total, -np.inf)
        start = np.logaddexp(start, total)
        now = np.logaddexp(now, np.where(gone, -np.inf, total))
        none = float(np.logaddexp(none, np.logaddexp.reduce(total[gone], initial=-np.inf)))
    return now, start, none


def _misread(evidence: Evidence, sight: Sight, start: Floats) -> bool:
    """Whether each of the likeliest causes needs a misread answer, or comes and goes as it suits."""
    likely = np.argsort(-start, kind="stable")[:LIKELY]
    likely = likely[start[likely] > -np.inf]
    if not len(likely):
        return False
    here = np.array([~sight.gone(sight.all_took, period)[likely] for period in range(sight.periods)])
    on = sight.touch[:, likely] & here[sight.period]
    told = np.where(on, sight.rows[:, 1 + likely], sight.rows[:, :1]).T
    fickle = [i in evidence.fickle for i in likely.tolist()]
    return bool((sight.misread(told).sum(axis=1) + fickle).min() > 0)
