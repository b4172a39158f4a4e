"""Both matchers agree on random rules: the plain one is the reference, the engine must follow it."""

from __future__ import annotations

import random
from typing import Any

import pytest

from diag.knowledge.schema import Rule
from diag.reason.engine import DurableMatcher, available
from diag.reason.forward import Fact, Outcome, forward
from diag.reason.matcher import PlainMatcher

CHECKS = ("a", "b", "c", "d")
WORDS = ("dark", "dim", "1", "true", "1.0", "5e-05", 'q"\\')
ESTABLISHED = ("u", "v", "w")
BOUNDS = (-2.5, 0, 0.1, 1e-05, 3, 12.6)
RULESETS = 320


def random_condition(rng: random.Random) -> dict[str, Any]:
    if rng.random() < 0.3:
        return {"established": rng.choice(ESTABLISHED)}
    word = rng.choice(("", "is ", "is-not ", "is-not ")) + rng.choice(WORDS)
    test: dict[str, Any] = rng.choice(
        [
            {"light": word},
            {"rhythm": word},
            {"light": word, "rhythm": rng.choice(WORDS)},
            {"is": rng.choice(WORDS)},
            {"is-not": rng.choice(WORDS)},
            {"below": rng.choice(BOUNDS)},
            {"above": rng.choice(BOUNDS)},
            {"between": sorted(rng.sample(BOUNDS, 2))},
        ]
    )
    return {"check": rng.choice(CHECKS), **test}


def random_rules(rng: random.Random, circuit: str) -> list[Rule]:
    rules = []
    for number in range(rng.randint(1, 8)):
        effect = {"establish": rng.choice(ESTABLISHED)} if rng.random() < 0.5 else {"stop": "battery-off"}
        rules.append(
            Rule.model_validate(
                {
                    "id": f"{circuit}/r{number}",
                    "title": "random",
                    "because": "random",
                    "when": [random_condition(rng) for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 4)))],
                    "then": [effect],
                    "source": "common practice, no source",
                    "state": "retired" if rng.random() < 0.1 else "tested",
                }
            )
        )
    return rules


def random_facts(rng: random.Random) -> list[Fact]:
    facts = []
    for check in rng.sample(CHECKS, rng.choice((0, 1, 3, 4, 4, 4))):
        number = rng.choice(BOUNDS) + rng.choice((0, 1e-06, -1e-06, 1e-07, 40))
        full = Fact(check, rng.choice(WORDS), rng.choice(WORDS), rng.choice(WORDS), number)
        facts.append(
            full
            if rng.random() < 0.6
            else rng.choice(
                [
                    Fact(check, light=rng.choice(WORDS), rhythm=rng.choice(WORDS)),
                    Fact(check, word=rng.choice(WORDS)),
                    Fact(check, number=number),
                    Fact(check, word=rng.choice(WORDS), number=number),
                ]
            )
        )
    return facts


@pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
def test_engine_agrees_with_plain_matcher_on_random_rules() -> None:
    """Users with and without the engine must get the same advice from the same answers."""
    engine = DurableMatcher()
    fired = established = 0
    for seed in range(RULESETS):
        rng = random.Random(seed)
        rules = {circuit: random_rules(rng, circuit) for circuit in ("horn", "stop")[: rng.randint(1, 2)]}
        for _ in range(4):
            facts = random_facts(rng)
            reference = forward(rules, facts, PlainMatcher())
            for _order in range(2):
                rng.shuffle(facts)
                assert forward(rules, facts, engine) == reference, f"seed {seed}: {facts}"
            fired += len(reference.firings)
            established += bool(reference.established)
    assert fired > RULESETS, "random rules that rarely fire would compare nothing with nothing"
    assert established > RULESETS // 4


def test_order_of_facts_does_not_change_the_plain_outcome() -> None:
    """The next question must not depend on the order in which the person looked around."""
    seen: list[Outcome] = []
    for seed in range(RULESETS):
        rng = random.Random(seed)
        rules = {"horn": random_rules(rng, "horn")}
        facts = random_facts(rng)
        seen.append(forward(rules, facts, PlainMatcher()))
        rng.shuffle(facts)
        assert forward(rules, facts, PlainMatcher()) == seen[-1]
    assert len({tuple(firing.rule_id for firing in one.firings) for one in seen}) > 10
