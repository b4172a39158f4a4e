"""Signs that have nothing to do with each other are weighed apart, and together come out as if every set had
been written down."""

from __future__ import annotations

import random

import numpy as np
import pytest

from diag.reason.belief import weigh
from diag.reason.sight import Evidence
from tests.reason.beliefs_by_hand import enumerate_sets, evidence


def _apart(problems: int, each: int, seed: int, outside: float = 1e-9) -> Evidence:
    """One odd finding a problem, made likely by `each` causes of its own, and a sound answer that a third of all
    causes would spoil."""
    chance = random.Random(seed)
    causes = problems * each
    rows = np.full((problems + 1, 1 + causes), 0.001)
    rows[problems] = 0.9
    for f in range(problems):
        for i in range(each):
            rows[f, 1 + f * each + i] = chance.uniform(0.5, 0.95)
    for i in range(0, causes, 3):
        rows[problems, 1 + i] = 0.004
    prior = np.array([chance.uniform(0.2, 1.0) for _ in range(causes)])
    return evidence(list(rows), list(prior / prior.sum()), flat=0.001, outside=outside)


@pytest.mark.parametrize("seed", range(4))
def test_two_problems_apart_equal_every_set_written_down(seed: int) -> None:
    """Two faults in two circuits: the short lists, put together, are the long list."""
    e = _apart(2, 5, seed)
    found = weigh(e)
    expected, healthy, _ = enumerate_sets(e, 2)
    assert len(found.problems) == 2
    pairs = {s: p for s, p in expected.items() if len(s) <= 2}
    likely = [pair for pair in sorted(pairs.items(), key=lambda pair: -pair[1]) if pair[1] > 0.02]
    assert len(likely) > 5
    for members, p in likely:
        assert dict(found.sets)[members] == pytest.approx(p, rel=0.08)
    assert found.healthy == pytest.approx(healthy, abs=1e-6)


def test_four_faults_at_once_are_all_suspected() -> None:
    """A loom just fitted may have four things wrong; each sign keeps its own causes, however many there are."""
    e = _apart(4, 6, 1)
    found = weigh(e)
    assert len(found.problems) == 4
    assert sum(found.present) == pytest.approx(4.0, abs=0.4), found.present
    for f in range(4):
        own = found.present[f * 6 : f * 6 + 6]
        free = np.array([i % 3 != 0 for i in range(f * 6, f * 6 + 6)])
        weight = np.where(free, 0.9, 0.004) * e.prior[f * 6 : f * 6 + 6] * e.findings[f].rows[1 + f * 6 : 7 + f * 6]
        assert own / own.sum() == pytest.approx(weight / weight.sum(), rel=0.05)


def test_a_cause_that_both_share_keeps_two_signs_together() -> None:
    """A missing earth behind two dark lamps is one fault, not two."""
    e = _apart(2, 5, 0)
    rows = [np.append(f.rows, [0.9]) for f in e.findings]
    shared = evidence(rows, np.append(e.prior, [0.05]), flat=0.001)
    found = weigh(shared)
    assert not found.problems
    assert found.sets[0][0] == frozenset({10})


def test_no_order_of_the_findings_changes_what_is_believed() -> None:
    """Problems are told apart by what is common to them, not by what was found first."""
    e = _apart(3, 4, 2)
    turned = Evidence(e.findings[::-1], e.treatments, e.prior, e.healthy, e.outside)
    assert weigh(turned).present == pytest.approx(weigh(e).present, rel=1e-9)


def test_a_lie_beside_a_fault_stays_a_lie_or_a_fault() -> None:
    """A sign that was perhaps misread is a problem whose `healthy` is the chance of that."""
    e = _apart(2, 5, 3)
    findings = (e.findings[0], e.findings[2])
    misread = np.full(11, 0.04)
    misread[6:] = 0.9
    lie = type(e.findings[1])(200, 0, misread, 0.001)
    found = weigh(Evidence((*findings, lie), (), e.prior, 1e-9, 1e-9))
    expected, _, _ = enumerate_sets(Evidence((*findings, lie), (), e.prior, 1e-9, 1e-9), 2)
    alone = sum(p for members, p in expected.items() if len(members) == 1)
    assert sum(p for members, p in found.sets if len(members) == 1) == pytest.approx(alone, abs=0.05)
