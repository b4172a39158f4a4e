"""Two faults at once, hidden from the program, with every lamp and sound answered from the computed truth."""

from __future__ import annotations

import pytest

from diag.reason.steps import Finding
from diag.talk.rehearsal import SimulatedFitter
from tests.reasoners import Reasoners
from tests.vehicles import SIX

PICKUP = SIX.name
PAIRS = [
    (PICKUP, "fuse-stop.blown", "hazard-switch.swapped-49-L"),
    (PICKUP, "stop-right-wire.open", "turn-switch.swapped-49a-L"),
    (PICKUP, "hazard-switch.swapped-30-49a", "fuse-turn.blown"),
    (PICKUP, "return-tail-right.open", "flasher-unit.swapped-49a-31"),
    (PICKUP, "turn-rear-left-wire.open", "hazard-switch.open-49a-L"),
    ("demo-motorcycle.yaml", "tail-wire.open", "dip-left-wire.open"),
    ("demo-trailer.yaml", "core-54.open", "cluster-trailer-right-return.open"),
]
"""Vehicle and two causes. One or both of each pair rank so low alone that they drown among a hundred single
causes, or the quick estimate is far from what the two show together."""


@pytest.mark.parametrize("pair", PAIRS, ids=["+".join(pair[1:]) for pair in PAIRS])
def test_two_faults_each_weak_alone_are_found_together(reasoners: Reasoners, pair: tuple[str, str, str]) -> None:
    """Just after a rewire two faults at once are common; with all there is to see answered, the two that
    are there must be weighed, and what is likeliest must leave no answer unexplained."""
    vehicle, *causes = pair
    reasoner = reasoners.network_alone(vehicle)
    fitter = SimulatedFitter(reasoner, causes)
    steps = [
        step
        for step in reasoner.steps.values()
        if not step.generated
        and step.kind in ("look", "listen")
        and "unplugged" not in step.operate
        and reasoner.chances.computed(step)
    ]
    findings = [Finding(seq, step, fitter.truth(step)) for seq, step in enumerate(steps, start=1)]
    posterior = reasoner.beliefs(findings).posterior
    hidden = frozenset(reasoner.index[cause] for cause in causes)
    assert posterior.several
    assert hidden in dict(posterior.sets)
    assert posterior.unexplained == ()
    assert posterior.contradictions == ()
    likeliest = posterior.sets[0][0]
    for finding in findings:
        assert finding.step is not None and finding.value is not None
        shown = reasoner.chances.told_sets(finding.step, finding.value, [likeliest, hidden])
        assert shown[0] > 0.05 * shown[1], f"{finding.step.id} is explained as well as by what is there"
