"""Both matchers agree on random rules: the plain one is the reference, the engine must follow it.

The engine never gives back what a ruleset took, so the rulesets are gone through in processes of their own.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from diag.knowledge.load import default_vehicle, load_knowledge
from diag.knowledge.schema import Condition, Rule
from diag.reason.engine import DurableMatcher, available
from diag.reason.forward import Fact, Outcome, forward, word_test
from diag.reason.matcher import PlainMatcher

CHECKS = ("a", "b", "c", "d")
WORDS = ("dark", "dim", "1", "true", "1.0", "5e-05", 'q"\\')
ESTABLISHED = ("u", "v", "w")
BOUNDS = (-2.5, 0, 0.1, 1e-05, 3, 12.6)
RULESETS = 1000
BATCHES = 4
AFRESH = 60
"""Rulesets after which a new matcher is taken: one of them makes 200 at most."""
STEPS = 7


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


def random_step(rng: random.Random, told: list[Fact], taken: list[Fact]) -> str:
    """Does to what was told what a person does: says more, takes the newest back, says it again, corrects, or tells
    all in another order. `taken`: what was taken back, newest last."""
    does = rng.choice(("tell", "tell", "tell", "undo", "undo", "redo", "correct", "shuffle"))
    if does == "tell":
        told.extend(random_facts(rng)[:2])
    elif does == "undo" and told:
        taken.append(told.pop())
    elif does == "redo" and taken:
        told.append(taken.pop())
    elif does == "correct" and told:
        place = rng.randrange(len(told))
        for fact in random_facts(rng):
            if fact.check == told[place].check:
                told[place] = fact
    elif does == "shuffle":
        rng.shuffle(told)
    return does


def run_batch(batch: int) -> dict[str, int]:
    """Every fourth ruleset through both matchers, one step of the telling after the other. Raises AssertionError with
    the seed where they differ."""
    engine = DurableMatcher()
    seen = dict.fromkeys(("rulesets", "runs", "fired", "established", "undone", "restored"), 0)
    for number, seed in enumerate(range(batch, RULESETS, BATCHES)):
        if number % AFRESH == AFRESH - 1:
            engine = DurableMatcher()
        rng = random.Random(seed)
        rules = {circuit: random_rules(rng, circuit) for circuit in ("horn", "stop")[: rng.randint(1, 2)]}
        told, taken = random_facts(rng), list[Fact]()
        before: dict[tuple[Fact, ...], Outcome] = {}
        for step in range(STEPS):
            does = random_step(rng, told, taken) if step else "begin"
            reference = forward(rules, told, PlainMatcher())
            found = forward(rules, told, engine)
            assert found == reference, f"seed {seed}, step {step} ({does}): {told}"
            if does == "undo" and tuple(told) in before:
                seen["restored"] += 1
                assert found == before[tuple(told)], f"seed {seed}, step {step}: what was taken back left a trace"
            before[tuple(told)] = found
            seen["runs"] += 1
            seen["fired"] += len(reference.firings)
            seen["established"] += bool(reference.established)
            seen["undone"] += does == "undo"
        assert engine.rulesets_left > 0, "beyond its rulesets the matcher is the plain one"
        seen["rulesets"] += 1
    return seen


_BATCH = """
import json, sys
sys.path[:0] = {path!r}
import test_forward_differential as own
print(json.dumps(own.run_batch({batch})))
"""


@pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
def test_engine_agrees_with_plain_matcher_on_random_rules() -> None:
    """Users with and without the engine must get the same advice from the same answers, whatever is told, in what
    order, and what of it is taken back; the time-out only ends a hung engine."""
    path = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
    total: dict[str, int] = {}
    for batch in range(BATCHES):
        done = subprocess.run(
            [sys.executable, "-c", _BATCH.format(path=path, batch=batch)],
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        for word, count in json.loads(done.stdout).items():
            total[word] = total.get(word, 0) + count
    assert total["rulesets"] == RULESETS
    assert total["runs"] == RULESETS * STEPS
    assert total["fired"] > 2 * RULESETS, "random rules that rarely fire would compare nothing with nothing"
    assert total["established"] > RULESETS
    assert total["undone"] > RULESETS and total["restored"] > RULESETS // 3, total


def test_order_of_facts_does_not_change_the_plain_outcome() -> None:
    """The next question must not depend on the order in which the person looked around."""
    seen: list[Outcome] = []
    for seed in range(RULESETS // 3):
        rng = random.Random(seed)
        rules = {"horn": random_rules(rng, "horn")}
        facts = random_facts(rng)
        seen.append(forward(rules, facts, PlainMatcher()))
        rng.shuffle(facts)
        assert forward(rules, facts, PlainMatcher()) == seen[-1]
    assert len({tuple(firing.rule_id for firing in one.firings) for one in seen}) > 10


def _fact_near(rng: random.Random, conditions: list[Condition]) -> Fact:
    """A finding that one of the conditions on its check takes, or just does not."""
    one = rng.choice(conditions)
    light, rhythm = (None if text is None else word_test(text)[1] for text in (one.light, one.rhythm))
    bounds = [bound for bound in (one.below, one.above, *(one.between or ())) if bound is not None]
    return Fact(
        one.check or "",
        light=light and rng.choice((light, light, "normal", "dark")),
        rhythm=rhythm and rng.choice((rhythm, rhythm, "steady")),
        word=one.is_ or (one.is_not and rng.choice((one.is_not, "another"))),
        number=rng.choice(bounds) + rng.choice((-1.0, -1e-3, 0.0, 1e-3, 1.0)) if bounds else None,
    )


@pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
def test_engine_agrees_with_plain_matcher_on_the_shipped_rules() -> None:
    """All rules of the whole demo pickup, few findings or one for every check that rules speak of, more and more and
    then taken back again."""
    knowledge = load_knowledge(default_vehicle())
    rules: dict[str, list[Rule]] = {}
    checks: dict[str, list[Condition]] = {}
    for one in knowledge.rules.values():
        rules.setdefault(knowledge.circuit_of[one.id], []).append(one)
        for condition in one.when:
            if condition.check is not None:
                checks.setdefault(condition.check, []).append(condition)
    engine, rng, fired = DurableMatcher(), random.Random(7), set[str]()
    for _ in range(12):
        facts = [_fact_near(rng, checks[name]) for name in rng.sample(sorted(checks), len(checks))]
        for count in (3, 20, 100, len(facts), 20, 0):
            reference = forward(rules, facts[:count], PlainMatcher())
            assert forward(rules, facts[:count], engine) == reference
            fired |= {firing.rule_id for firing in reference.firings}
    assert engine.rulesets_left > 0
    assert len(fired) > len(knowledge.rules) // 4, "findings that fire few rules would compare little"
