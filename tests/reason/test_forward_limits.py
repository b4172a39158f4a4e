"""Every limit of the engine is refused by our own check, by name, and what we allow does run."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from diag.errors import DiagError
from diag.knowledge.schema import Condition, Rule
from diag.reason import forward as module
from diag.reason.engine import DurableMatcher, available
from diag.reason.forward import Fact, RuleLimitError, check_limits, forward
from diag.reason.matcher import PlainMatcher


def rule(name: str, *when: Mapping[str, Any]) -> Rule:
    return Rule.model_validate(
        {
            "id": f"horn/{name}",
            "title": name,
            "when": when,
            "then": [{"stop": "battery-off"}],
            "because": "test",
            "source": "common practice, no source",
            "state": "tested",
        }
    )


def unchecked(name: str, *conditions: Condition) -> Rule:
    """A rule as a loader other than ours might make it: the model's own limits not applied."""
    return rule(name, {"check": "a", "is": "x"}).model_copy(update={"when": conditions})


def subjects(count: int) -> list[Rule]:
    return [rule(f"r{number}", {"check": f"c{number}", "is": "x"}) for number in range(count)]


def words(count: int) -> list[Rule]:
    return [rule(f"r{number}", {"check": "a", "is": f"w{number}"}) for number in range(count)]


def bounds(count: int) -> list[Rule]:
    return [rule(f"r{number}", {"check": "a", "above": number}) for number in range(count)]


def negations(count: int) -> list[Rule]:
    return [rule(f"r{number}", {"check": "a", "light": f"is-not w{number}"}) for number in range(count)]


def mixed(count: int) -> list[Rule]:
    """One word among the bounds: of all words on a field one can be true besides them."""
    return [*words(2), *bounds(count - 1)]


def identical(count: int) -> list[Rule]:
    same = {"check": "a", "is": "x"}
    return [rule(f"r{number}", same, {"check": f"c{number}", "is": "x"}) for number in range(count)]


def nested(count: int) -> list[Rule]:
    """Two levels of tests that can all be true: the engine holds those of both at once."""
    first = [rule(f"a{number}", {"check": "a", "light": f"is-not w{number}"}) for number in range(count)]
    second = [
        rule(f"b{number}", {"check": "a", "light": "is-not w0", "rhythm": f"is-not w{number}"})
        for number in range(count)
    ]
    return first + second


def conditions(count: int) -> list[Rule]:
    whens = [Condition.model_validate({"check": f"c{number}", "is": "x"}) for number in range(count)]
    return [unchecked("many", *whens)]


@pytest.mark.parametrize(
    ("make", "most", "named", "text"),
    [
        (subjects, 400, "horn/r400", "more than 400 different tests follow circuit horn;"),
        (words, 400, "horn/r400", "more than 400 different tests follow circuit horn, check:a;"),
        (bounds, 60, "horn/r60", "more than 60 tests on check:a can be true at once"),
        (negations, 60, "horn/r60", "more than 60 tests on check:a can be true at once"),
        (mixed, 60, "horn/r59", "more than 60 tests on check:a can be true at once"),
        (nested, 30, "horn/b29", "more than 60 tests on check:a can be true at once"),
        (identical, 250, "horn/r250", "more than 250 rules share the test circuit horn, check:a, word is x"),
        (conditions, 16, "horn/many", "found 17 conditions; expected at most 16"),
    ],
)
def test_limit_is_refused_one_beyond_what_is_allowed(make: Any, most: int, named: str, text: str) -> None:
    """Beyond its limits the engine hangs or fails in mid-job; the author must hear it when loading."""
    assert check_limits({"horn": make(most)}) == []
    problems = check_limits({"horn": make(most + 1)})
    assert len(problems) == 1
    assert problems[0].startswith(f"rule {named}: ")
    assert text in problems[0]


def test_too_many_rules_in_a_circuit_are_refused() -> None:
    """The engine's table of actions is fixed at 4096."""
    many = [rule(f"r{n}", {"check": f"c{n % 300}", "is": f"w{n // 300}"}) for n in range(4097)]
    assert check_limits({"horn": many[:-1]}) == []
    assert check_limits({"horn": many}) == [
        "rule horn/r4096: circuit horn has 4097 rules; expected at most 4096. Split the circuit into two files.",
    ]


@pytest.mark.parametrize(
    ("test", "text"),
    [
        ({"above": float("inf")}, "found the bound inf for a; expected a finite number"),
        ({"below": float("nan")}, "found the bound nan for a; expected a finite number"),
        ({"above": 1e22}, "found the bound 1e+22 for a; expected a finite number of at most 1000000"),
        ({"between": (-2e6, 1.0)}, "found the bound -2000000.0 for a"),
        ({"between": (2.0, 1.0)}, "expected the smaller number first"),
    ],
)
def test_bound_that_no_engine_can_hold_is_refused(test: dict[str, Any], text: str) -> None:
    """Exponents are an error in the engine, and large integers saturate into false matches."""
    plain = Condition.model_validate({"check": "a", "above": 1})
    bad = unchecked("bad", plain.model_copy(update={"above": None, **test}))
    problems = check_limits({"horn": [bad]})
    assert len(problems) == 1
    assert problems[0].startswith("rule horn/bad: ")
    assert text in problems[0]


def test_every_overstepped_limit_is_told_in_one_run() -> None:
    """An author mends all at once, not one error a run; a limit is told once, not for each rule beyond."""
    problems = check_limits({"horn": subjects(420), "stop": bounds(70) + conditions(17)})
    assert [problem.partition(":")[0] for problem in problems] == ["rule horn/r400", "rule horn/many", "rule horn/r60"]


def test_retired_rules_do_not_count_against_limits() -> None:
    """They are kept for ever, so they would use the room up."""
    retired = [one.model_copy(update={"state": "retired"}) for one in subjects(500)]
    assert check_limits({"horn": [*retired, rule("live", {"check": "a", "is": "x"})]}) == []


def test_same_limits_hold_whatever_matcher_is_in_use() -> None:
    """Rules written where the engine is absent must not break where it is present."""
    with pytest.raises(RuleLimitError, match="rule horn/r60: more than 60") as caught:
        forward({"horn": bounds(61)}, [], PlainMatcher())
    assert isinstance(caught.value, DiagError)
    assert caught.value.problems == tuple(check_limits({"horn": bounds(61)}))


@pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
def test_engine_matcher_refuses_before_the_engine_sees_the_rules() -> None:
    """Whoever calls the matcher directly must not be able to hang the program."""
    with pytest.raises(RuleLimitError, match="rule horn/r400"):
        DurableMatcher().run("horn", subjects(513), [], frozenset())


_AT_THE_LIMIT = """
import sys
sys.path[:0] = {path!r}
import test_forward_limits as limits
limits.run_at_the_limit()
"""


def _facts(name: str, count: int) -> Sequence[Fact]:
    lamp = Fact("a", light="q", rhythm="q", word="w1" if name in ("words", "mixed") else "x", number=5000)
    return [lamp, *(Fact(f"c{number}", word="x") for number in range(count))]


def run_at_the_limit() -> None:
    """Runs each ruleset of the greatest size allowed in both matchers; in a process of its own."""
    engine = DurableMatcher()
    for make, most in (
        (subjects, 400),
        (words, 400),
        (bounds, 60),
        (negations, 60),
        (mixed, 60),
        (nested, 30),
        (identical, 250),
        (conditions, 16),
    ):
        rules = {"horn": make(most)}
        for facts in (_facts(make.__name__, most), _facts(make.__name__, most)[::-1]):
            reference = forward(rules, facts, PlainMatcher())
            assert reference.firings
            assert forward(rules, facts, engine) == reference, make.__name__
    print("all ran")


@pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
def test_what_the_limits_allow_does_run() -> None:
    """A limit set too high would let a hang through; the time-out only ends a hung engine."""
    path = [entry for entry in sys.path if entry]
    path[:0] = [__file__.rpartition("/")[0], module.__file__.rpartition("/diag/")[0]]
    done = subprocess.run(
        [sys.executable, "-c", _AT_THE_LIMIT.format(path=path)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.stdout.strip() == "all ran", done.stderr
