"""Which answers stay unexplained where there are two faults.

source of all expectations: chances written by hand; common practice, no source
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diag.reason.belief import weigh
from tests.reason.beliefs_by_hand import evidence


def test_an_answer_that_many_further_faults_would_explain_is_not_called_unexplained() -> None:
    """Of ten causes of a second symptom each is less likely than a misread answer, and all together likelier:
    after the first repair the second symptom is no riddle."""
    others = 10
    prior = np.array([0.1, *[0.09] * others])
    first = [0.01, 0.9, *[0.01] * others]
    second = [0.03, 0.03, *[0.9] * others]
    found = weigh(evidence([first, first, second], prior))
    assert found.starts[0][0] == {0}, "the single fault is the likeliest set"
    assert found.unexplained == ()
    few = weigh(evidence([[0.01, 0.9, 0.01], [0.01, 0.9, 0.01], [0.03, 0.03, 0.9]], [0.999, 0.001]))
    assert few.starts[0][0] == {0} and few.unexplained == (102,), "one rare cause does not outweigh a slip"


def test_what_only_two_together_show_is_solved_though_neither_moves_it() -> None:
    """A reading that no single cause gives, and none alone changes: the network is asked what both show."""
    flat = 0.07
    base = evidence([[0.01, 0.9, 0.01], [0.01, 0.01, 0.9], [0.002, 0.002, 0.002]], [0.5, 0.5], flat=flat)
    asked: list[frozenset[int]] = []

    def together(sets):  # type: ignore[no-untyped-def]
        asked.extend(sets)
        return np.array([0.8 if s == {0, 1} else 0.002 for s in sets])

    third = replace(base.findings[2], together=together, moves=np.zeros(2, dtype=bool))
    found = weigh(replace(base, findings=(*base.findings[:2], third)))
    assert frozenset({0, 1}) in asked
    assert found.sets[0][0] == {0, 1} and found.unexplained == ()
