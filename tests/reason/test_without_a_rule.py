"""Leaving one rule out beside it gives what a vehicle without that rule would.

source of all expectations: the same tables made from files without the rule
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.reason.matcher import PlainMatcher
from diag.reason.reasoner import Reasoner


@pytest.mark.parametrize("rule", ["horn/silent-though-fused", "horn/silent-alone", "stop-lamps/volts-leave-pedal"])
def test_a_reasoner_without_a_rule_is_that_of_files_without_it(rules_alone: Reasoner, rule: str) -> None:
    """Whether a rule does harm is judged by it; what is remembered of the tables with the rule must not show."""
    knowledge = rules_alone.knowledge
    for step in rules_alone.steps.values():
        rules_alone.chances.table(step)
    lesser = rules_alone.without(rule)
    others = {name: one for name, one in knowledge.rules.items() if name != rule}
    made = Reasoner(replace(knowledge, rules=others), None, PlainMatcher())
    assert [one.id for one in lesser.rules] == [one.id for one in made.rules]
    assert lesser.causes == made.causes, "another rule must speak of every cause, or the two cannot be compared"
    different = 0
    for step in made.steps.values():
        if made.chances.edges(step) != lesser.chances.edges(step):
            continue  # bounds of the rule itself still part the readings
        assert np.allclose(made.chances.table(step), lesser.chances.table(step)), step.id
        different += not np.allclose(lesser.chances.table(step), rules_alone.chances.table(step))
    for name, told in made.complaints.items():
        assert np.allclose(told.rows, lesser.complaints[name].rows), name
    assert different or len(knowledge.rules[rule].when) > 1
