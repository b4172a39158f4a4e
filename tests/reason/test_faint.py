"""Faults that are not solved because they show at nothing that is looked at: the answers' chances stay the same."""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.predict import Predictor
from diag.knowledge.assemble import operate_key
from diag.knowledge.load import load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Deed
from tests.vehicles import SIX

_SAME = 0.1
"""Largest change of any answer's chance: the last digit of a meter, and the scatter of a fault's own size, which
blurs a test lamp's light also where the fault moves it by a microvolt only."""


@pytest.fixture(scope="module")
def sparing() -> Reasoner:
    """The same vehicle, with only what somebody looks at worked out."""
    knowledge = load_knowledge(SIX)
    predictor = Predictor(knowledge, step_operates(knowledge), None, None, looked_at(knowledge))
    return Reasoner(knowledge, predictor, default_matcher())


def test_every_answer_is_as_likely_as_with_everything_solved(reasoner: Reasoner, sparing: Reasoner) -> None:
    """All steps, all causes: looks, sounds, volts, amps, ohms, test lamps, jumpers."""
    worst, where = 0.0, ""
    assert list(sparing.steps) == list(reasoner.steps)
    for name, step in reasoner.steps.items():
        away = np.abs(sparing.chances.table(step) - reasoner.chances.table(step)).max(axis=1)
        row = int(away.argmax())
        if away[row] > worst:
            cause = reasoner.causes[row - 1].id if row else "healthy"
            worst, where = float(away[row]), f"{name}, {cause}"
    print(f"{worst:.4f} apart at most, at {where}")
    assert worst < _SAME, where


def test_much_less_is_solved(sparing: Reasoner, reasoner: Reasoner) -> None:
    """Or the trouble would be for nothing: rows that differ from the healthy vehicle, over all operates."""
    few, many = (
        sum(int(r.predictor.stirred(o).sum()) for o in step_operates(r.knowledge))  # type: ignore[union-attr]
        for r in (sparing, reasoner)
    )
    print(f"{few} rows in place of {many}")
    assert few < 0.5 * many


def test_what_somebody_measures_of_his_own_accord_is_worked_out_then(sparing: Reasoner, reasoner: Reasoner) -> None:
    """A terminal that no check of that operate looks at: the horn's feed while the left signal is on."""
    operate = {"ignition": "on", "turn": "left"}
    points = looked_at(sparing.knowledge)[operate_key(operate)]
    assert "horn.71" not in points
    deed = Deed("measure", operate, red="horn.71", black="body", unit="V")
    step, other = sparing.step_like("own", deed), reasoner.step_like("own", deed)
    assert step is not None and other is not None
    np.testing.assert_allclose(sparing.chances.table(step), reasoner.chances.table(other), atol=_SAME)
    broken = 1 + sparing.index["horn-feed.open"]
    assert np.abs(sparing.chances.table(step)[broken] - sparing.chances.table(step)[0]).max() > 0.5
