"""What is odd and still to be cured, by problem, and which problem is worth its work first.

Knows beliefs; nothing of journals or of how it is told.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from diag.reason.belief import PAIR_RATE
from diag.reason.posterior import Posterior
from diag.reason.problems import split
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.sight import EXPLAINS, Sight

__all__ = ["Problem", "problems_of", "work_saved"]

_PROVE_MINUTES = 3.0
_NAMED = 3


@dataclass(frozen=True)
class Problem:
    """Signs, by number of the answer, that one fault may explain; the remedies that would most likely cure it,
    with the chance of each were it a single fault, and `worth`: signs that are hoped to go, by the minute."""

    signs: tuple[int, ...]
    likely: tuple[tuple[str, float], ...]
    worth: float


def problems_of(reasoner: Reasoner, beliefs: Beliefs, open_: Collection[int]) -> tuple[Problem, ...]:
    """Signs by problem, what saves most work first. `open_`: answers that are odd and still to be explained."""
    evidence = beliefs.evidence
    sight = Sight(evidence)
    log_prior = np.log(evidence.prior + 1e-300)
    groups = split(sight, log_prior, float(np.log(PAIR_RATE)))
    seqs = [[evidence.findings[i].seq for i in group if evidence.findings[i].seq in open_] for group in groups]
    told = {seq for group in seqs for seq in group}
    seqs += [[seq] for seq in sorted(open_) if seq not in told]
    found = [_problem(reasoner, beliefs, tuple(group)) for group in seqs if group]
    return tuple(sorted(found, key=lambda problem: (-problem.worth, problem.signs)))


def _problem(reasoner: Reasoner, beliefs: Beliefs, signs: tuple[int, ...]) -> Problem:
    score = np.log(beliefs.evidence.prior + 1e-300)
    for finding, told in beliefs.judged:
        if finding.seq in signs:
            score = score + np.log(told.rows[1:] + 1e-300)
    chance = np.exp(score - score.max())
    chance /= chance.sum()
    needed: dict[str, float] = {}
    for i in np.argsort(-chance, kind="stable")[:60].tolist():
        remedy = reasoner.remedy_of[i]
        needed[remedy] = needed.get(remedy, 0.0) + float(chance[i])
    likely = tuple(sorted(needed.items(), key=lambda pair: (-pair[1], pair[0]))[:_NAMED])
    plan = reasoner.remedies[likely[0][0]]
    return Problem(signs, likely, len(signs) * likely[0][1] / (plan.minutes + _PROVE_MINUTES))


def work_saved(reasoner: Reasoner, beliefs: Beliefs, problem: Posterior) -> float:
    """Signs that curing what is likeliest in a problem would take away, by the minute of its remedy."""
    if not problem.sets:
        return 0.0
    members, p = problem.sets[0]
    rows = [1 + i for i in members]
    signs = 0
    for _, told in beliefs.judged:
        best = float(told.rows.max())
        signs += float(told.rows[0]) < EXPLAINS * best < float(told.rows[rows].max())
    minutes = sum(reasoner.remedies[name].minutes for name in {reasoner.remedy_of[i] for i in members})
    return p * signs / (minutes + _PROVE_MINUTES)
