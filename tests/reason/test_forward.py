"""What a rule means: each condition, chains over rules and circuits, order, with either matcher."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from diag.knowledge.schema import Rule
from diag.reason.engine import DurableMatcher, available
from diag.reason.forward import Fact, Matcher, Outcome, forward, word_test
from diag.reason.matcher import PlainMatcher

ENGINE = pytest.param(
    "durable",
    marks=pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python"),
)


@pytest.fixture(params=["plain", ENGINE])
def matcher(request: pytest.FixtureRequest) -> Matcher:
    return PlainMatcher() if request.param == "plain" else DurableMatcher()


def rule(
    name: str,
    when: Sequence[Mapping[str, Any]],
    then: Sequence[Mapping[str, Any]] = ({"stop": "battery-off"},),
    state: str = "tested",
) -> Rule:
    return Rule.model_validate(
        {
            "id": f"horn/{name}",
            "title": name,
            "when": when,
            "then": then,
            "because": "test",
            "source": "common practice, no source",
            "state": state,
        }
    )


def fires(matcher: Matcher, condition: Mapping[str, Any], *facts: Fact) -> bool:
    return bool(forward({"horn": [rule("one", [condition])]}, facts, matcher).firings)


def ids(outcome: Outcome) -> list[str]:
    return [firing.rule_id for firing in outcome.firings]


@pytest.mark.parametrize(
    ("condition", "fact", "wanted"),
    [
        ({"light": "dark"}, Fact("c", light="dark", rhythm="none"), True),
        ({"light": "is dark"}, Fact("c", light="dark", rhythm="none"), True),
        ({"light": "is dark"}, Fact("c", light="dim", rhythm="steady"), False),
        ({"light": "is-not dark"}, Fact("c", light="dim", rhythm="steady"), True),
        ({"light": "is-not dark"}, Fact("c", light="dark", rhythm="none"), False),
        ({"light": "is-not dark"}, Fact("c", word="buzz"), False),
        ({"rhythm": "is steady"}, Fact("c", light="dim", rhythm="steady"), True),
        ({"rhythm": "is-not steady"}, Fact("c", light="dim", rhythm="fast"), True),
        ({"rhythm": "is-not steady"}, Fact("c", light="dim", rhythm="steady"), False),
        ({"light": "dim", "rhythm": "is-not fast"}, Fact("c", light="dim", rhythm="steady"), True),
        ({"light": "dim", "rhythm": "is-not fast"}, Fact("c", light="dim", rhythm="fast"), False),
        ({"light": "dim", "rhythm": "is-not fast"}, Fact("c", light="dark", rhythm="none"), False),
        ({"is": "buzz"}, Fact("c", word="buzz"), True),
        ({"is": "buzz"}, Fact("c", word="click"), False),
        ({"is": "buzz"}, Fact("other", word="buzz"), False),
        ({"is-not": "buzz"}, Fact("c", word="click"), True),
        ({"is-not": "buzz"}, Fact("c", word="buzz"), False),
        ({"is-not": "buzz"}, Fact("c", number=3), False),
        ({"below": 11.8}, Fact("c", number=11.799999), True),
        ({"below": 11.8}, Fact("c", number=11.8), False),
        ({"above": 11.8}, Fact("c", number=11.800001), True),
        ({"above": 11.8}, Fact("c", number=11.8), False),
        ({"between": [0.1, 0.3]}, Fact("c", number=0.1), True),
        ({"between": [0.1, 0.3]}, Fact("c", number=0.1 + 0.2), True),
        ({"between": [0.1, 0.3]}, Fact("c", number=0.300001), False),
        ({"between": [0.1, 0.3]}, Fact("c", number=0.099999), False),
        ({"above": 1, "below": 2}, Fact("c", number=1.5), True),
        ({"above": 1, "below": 2}, Fact("c", number=2.5), False),
        ({"below": -0.5}, Fact("c", number=-12.6), True),
        ({"below": 0.00005}, Fact("c", number=5e-07), True),
        ({"below": 0.00005}, Fact("c", number=5e-05), False),
        ({"above": 1e6}, Fact("c", number=math.inf), True),
        ({"above": 1e6}, Fact("c", number=1e22), True),
        ({"above": 1e6}, Fact("c", number=1e6), False),
        ({"below": -1e6}, Fact("c", number=-math.inf), True),
        ({"below": 5}, Fact("c", word="4"), False),
        ({"is": "4"}, Fact("c", number=4), False),
        ({"is": "11"}, Fact("c", word="11.0"), False),
        ({"is": "true"}, Fact("c", word="1"), False),
        ({"is": "11"}, Fact("c", word="11"), True),
        ({"is": 'a "quoted\\ Ω\n word'}, Fact("c", word='a "quoted\\ Ω\n word'), True),
    ],
)
def test_condition_holds_only_as_written(
    matcher: Matcher,
    condition: dict[str, Any],
    fact: Fact,
    wanted: bool,
) -> None:
    """A condition that means more or less than its words sends people to the wrong part."""
    assert fires(matcher, {"check": "c", **condition}, fact) is wanted


def test_nan_is_refused_where_it_enters() -> None:
    """NaN compares false with everything, so a rule would silently stay quiet."""
    with pytest.raises(ValueError, match="found NaN"):
        Fact("c", number=math.nan)


def test_word_alone_is_a_word_even_if_it_reads_is() -> None:
    """A word named `is` or `is-not` must not turn into an empty test."""
    assert word_test("is") == ("is", "is")
    assert word_test(" is-not  dark ") == ("is-not", "dark")
    assert word_test("too-bright") == ("is", "too-bright")


def test_rule_needs_all_its_conditions_and_fires_once(matcher: Matcher) -> None:
    """Evidence counted twice or on half its conditions weighs wrongly."""
    both = rule("both", [{"check": "a", "is": "click"}, {"check": "b", "light": "dark"}, {"check": "a", "is-not": "x"}])
    a, b = Fact("a", word="click"), Fact("b", light="dark", rhythm="none")
    assert ids(forward({"horn": [both]}, [a], matcher)) == []
    for facts in ([a, b], [b, a], [a, b, a, b]):
        outcome = forward({"horn": [both]}, facts, matcher)
        assert ids(outcome) == ["horn/both"]
        assert outcome.firings[0].facts == ("a", "b")
        assert outcome.firings[0].effects == both.then
        assert outcome.firings[0].circuit == "horn"


def test_last_fact_of_a_check_counts(matcher: Matcher) -> None:
    """A corrected answer replaces the earlier one; both together would fire opposite rules."""
    rules = {"horn": [rule("buzz", [{"check": "a", "is": "buzz"}]), rule("click", [{"check": "a", "is": "click"}])]}
    assert ids(forward(rules, [Fact("a", word="buzz"), Fact("a", word="click")], matcher)) == ["horn/click"]


def test_chain_two_deep_inside_a_circuit_in_any_order(matcher: Matcher) -> None:
    """Intermediate conclusions must reach rules written before and after the one that makes them."""
    last = rule("last", [{"established": "second"}, {"check": "b", "above": 1}])
    middle = rule("middle", [{"established": "first"}], [{"establish": "second"}])
    begin = rule("begin", [{"check": "a", "is": "click"}], [{"establish": "first"}, {"warn": "hot"}])
    facts = [Fact("a", word="click"), Fact("b", number=2)]
    for order in ([last, middle, begin], [begin, middle, last], [middle, last, begin]):
        outcome = forward({"horn": order}, facts, matcher)
        assert ids(outcome) == [one.id for one in order]
        assert outcome.established == {"first", "second"}
    assert outcome.firings[1].facts == ("established:second", "b")
    assert ids(forward({"horn": [last, middle, begin]}, facts[1:], matcher)) == []


def test_chain_goes_over_circuits_and_back(matcher: Matcher) -> None:
    """A feed proven in one circuit frees the suspects of another, in whatever order files are read."""
    rules = {
        "stop": [rule("end", [{"established": "two"}], [{"establish": "three"}])],
        "horn": [
            rule("begin", [{"check": "a", "is": "click"}], [{"establish": "one"}]),
            rule("back", [{"established": "three"}, {"established": "one"}]),
        ],
        "wiper": [rule("middle", [{"established": "one"}], [{"establish": "two"}])],
    }
    outcome = forward(rules, [Fact("a", word="click")], matcher)
    assert [(firing.circuit, firing.rule_id) for firing in outcome.firings] == [
        ("stop", "horn/end"),
        ("horn", "horn/begin"),
        ("horn", "horn/back"),
        ("wiper", "horn/middle"),
    ]
    assert outcome.established == {"one", "two", "three"}


def test_rules_that_only_prove_each_other_stay_quiet(matcher: Matcher) -> None:
    """A circle of conclusions without a finding behind it must not lift itself."""
    rules = {
        "horn": [
            rule("a", [{"established": "x"}], [{"establish": "y"}]),
            rule("b", [{"established": "y"}], [{"establish": "x"}]),
        ]
    }
    assert forward(rules, [Fact("a", word="click")], matcher) == Outcome((), frozenset())


def test_retired_rule_is_skipped(matcher: Matcher) -> None:
    """A retired rule stays in the file for old journals but must no longer count."""
    rules = {
        "horn": [
            rule("old", [{"check": "a", "is": "click"}], [{"establish": "x"}], state="retired"),
            rule("new", [{"check": "a", "is": "click"}], state="draft"),
        ],
        "stop": [rule("only-old", [{"check": "a", "is": "click"}], state="retired")],
    }
    outcome = forward(rules, [Fact("a", word="click")], matcher)
    assert ids(outcome) == ["horn/new"]
    assert not outcome.established


def test_no_rules_no_facts_give_nothing(matcher: Matcher) -> None:
    """A vehicle with an empty circuit is odd but no reason to fail."""
    assert forward({}, [], matcher) == Outcome((), frozenset())
    assert forward({"horn": []}, [Fact("a", word="x")], matcher) == Outcome((), frozenset())
    assert ids(forward({"horn": [rule("a", [{"check": "a", "is": "x"}])]}, [], matcher)) == []


def test_runs_do_not_leak_into_each_other(matcher: Matcher) -> None:
    """Undone answers must be gone: every run starts from its own facts only."""
    rules = {
        "horn": [
            rule("chain", [{"check": "a", "is": "click"}], [{"establish": "x"}]),
            rule("use", [{"established": "x"}, {"check": "b", "is": "buzz"}]),
        ]
    }
    for _ in range(3):
        assert ids(forward(rules, [Fact("a", word="click")], matcher)) == ["horn/chain"]
        assert ids(forward(rules, [Fact("b", word="buzz")], matcher)) == []
        assert len(ids(forward(rules, [Fact("b", word="buzz"), Fact("a", word="click")], matcher))) == 2
