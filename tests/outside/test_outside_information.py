"""What a check is worth, in bits, against the entropies of a general library.

source: SciPy, scipy.stats.entropy and scipy.special.rel_entr; the definition: C. Shannon, A Mathematical Theory of
Communication, 1948 (from memory)
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import rel_entr  # type: ignore[import-untyped]
from scipy.stats import entropy  # type: ignore[import-untyped]

from diag.reason.reasoner import Reasoner
from diag.reason.tables import Check, DecisionTable


def _table(seed: int) -> tuple[DecisionTable, np.ndarray, list[np.ndarray]]:
    """Checks of two to six answers over three to forty causes, some answers impossible; and chances of the causes."""
    chance = np.random.default_rng(seed)
    causes = int(chance.integers(3, 40))
    rows = []
    for _ in range(8):
        found = chance.dirichlet(np.full(int(chance.integers(2, 7)), 0.4), causes)
        found[found < 0.01] = 0.0
        rows.append(found / found.sum(axis=1, keepdims=True))
    checks = [Check(f"t{n}", float(chance.integers(1, 9)), row) for n, row in enumerate(rows)]
    return DecisionTable(checks), chance.dirichlet(np.ones(causes)), rows


@pytest.mark.parametrize("seed", range(12))
def test_bits_of_a_check_are_the_librarys(seed: int) -> None:
    """Entropy of the causes less what is left of it on average; and the divergence of the joint from its margins."""
    table, weights, rows = _table(seed)
    bits = table.bits(weights)
    for found, row in zip(bits, rows, strict=True):
        joint = weights[:, None] * row
        answers = joint.sum(axis=0)
        left = sum(p * entropy(joint[:, k] / p, base=2) for k, p in enumerate(answers) if p > 0)
        assert found == pytest.approx(entropy(weights, base=2) - left, abs=1e-9)
        assert found == pytest.approx(float(rel_entr(joint, np.outer(weights, answers)).sum()) / np.log(2), abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_the_check_ranked_first_gives_most_bits_a_minute(seed: int) -> None:
    """By the library's figures, where nothing is thought ahead."""
    table, weights, rows = _table(seed)
    worth = []
    for check, row in zip(table.checks, rows, strict=True):
        joint = weights[:, None] * row
        told = float(rel_entr(joint, np.outer(weights, joint.sum(axis=0))).sum()) / np.log(2)
        worth.append((told / check.minutes, check.id))
    ranked = [found.check.id for found in table.rank(weights, ahead=False)]
    assert ranked[0] == max(worth)[1]


def test_bits_of_the_real_checks_are_the_librarys(network_alone: Reasoner) -> None:
    """The table of a vehicle's own checks, chances as the reasoner has them before any answer."""
    reasoner = network_alone
    posterior = reasoner.beliefs([]).posterior
    weights = np.asarray(posterior.present, dtype=float)
    weights = weights / weights.sum()
    steps = [step for step in reasoner.steps.values() if step.id in reasoner.knowledge.checks][:60]
    rows = [np.asarray(reasoner.chances.table(step))[1:] for step in steps]
    table = DecisionTable([Check(step.id, 1.0, row) for step, row in zip(steps, rows, strict=True)])
    seen = 0
    for found, row in zip(table.bits(weights), rows, strict=True):
        joint = weights[:, None] * row
        expected = float(rel_entr(joint, np.outer(weights, joint.sum(axis=0))).sum()) / np.log(2)
        assert found == pytest.approx(expected, abs=1e-9)
        seen += expected > 0.05
    assert seen > 10
