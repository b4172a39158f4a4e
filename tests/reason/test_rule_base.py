"""The shipped rule base: big enough, chained, and not at odds with the network. That its rules have earned the states
they claim is tested in tests/author."""

from __future__ import annotations

import pytest

from diag.knowledge.schema import Rule
from diag.reason.forward import Fact, forward
from diag.reason.matcher import PlainMatcher
from diag.reason.reasoner import Reasoner
from diag.reason.ruled import ground
from diag.reason.steps import Value, fits

CIRCUITS = ("turn-signals", "horn", "stop-lamps", "headlamps", "oil-warning", "charge-warning")


def test_rules_over_the_circuits_are_many(reasoner: Reasoner) -> None:
    """Six circuits need some dozens of rules before an undescribed loom can be diagnosed at all."""
    counts = {name: len(reasoner.knowledge.circuits[name].rules) for name in CIRCUITS}
    print(counts)
    assert sum(counts.values()) >= 60


@pytest.mark.parametrize("circuit", CIRCUITS)
def test_every_circuit_has_a_chain_two_deep(reasoner: Reasoner, circuit: str) -> None:
    """A rule that builds on what another rule of its circuit established."""
    rules = reasoner.knowledge.circuits[circuit].rules
    made = {effect.establish for rule in rules for effect in rule.then if effect.establish is not None}
    assert any(condition.established in made for rule in rules for condition in rule.when)


def _restates(rule: Rule) -> bool:
    effects = [effect for effect in rule.then if effect.points_to is not None or effect.clears is not None]
    return len(rule.when) == 1 and rule.when[0].check is not None and len(effects) == 1 and len(rule.then) == 1


def test_no_rule_is_a_mere_restatement_of_one_finding_as_one_cause(reasoner: Reasoner) -> None:
    """That would be a lookup, not an expert's rule."""
    assert [rule.id for rule in reasoner.knowledge.rules.values() if _restates(rule)] == []


def test_what_moves_the_belief_is_what_the_matcher_fires(reasoner: Reasoner) -> None:
    """The weights are traced to checks beforehand; they must hold exactly when the engine fires the rule."""
    answers: dict[str, Value] = {}
    for rule in reasoner.rules:
        for condition in rule.when:
            step = reasoner.steps.get(condition.check or "")
            if step is not None and step.id not in answers:
                values = step.outcomes or (0.0, 5.0, 12.4)
                answers[step.id] = next((v for v in values if fits(condition, v)), values[0])
    facts = [
        Fact(check, light=v[0], rhythm=v[1])
        if isinstance(v, tuple)
        else Fact(check, word=v)
        if isinstance(v, str)
        else Fact(check, number=v)
        for check, v in answers.items()
    ]
    by_circuit: dict[str, list[Rule]] = {}
    for rule in reasoner.rules:
        by_circuit.setdefault(reasoner.knowledge.circuit_of[rule.id], []).append(rule)
    fired = {firing.rule_id for firing in forward(by_circuit, facts, PlainMatcher()).firings}
    held = {grounded.rule_id for grounded in ground(reasoner.rules) if grounded.holds(answers)}
    assert held == fired
    assert len(fired) > 30


def test_computed_rules_point_the_way_the_network_does(reasoner: Reasoner) -> None:
    """Where every check of a rule is computed, the network is asked whether the cause makes it likelier."""
    against: dict[str, list[tuple[str, float]]] = {}
    for rule in reasoner.rules:
        found = reasoner.chances.direction(rule, reasoner.steps)
        for effect in rule.then:
            if effect.points_to in found and found[effect.points_to] < 0.8:
                against.setdefault(rule.id, []).append((effect.points_to, round(found[effect.points_to], 3)))
    assert against == {}
