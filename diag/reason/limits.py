"""What rules may be at most, so that every matcher can run them: told by name when they are loaded.

The engine itself hangs, crashes or takes one word for another beyond its limits (measured for durable-rules
2.0.28), so all are refused here with a margin, whichever matcher is in use.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache

from diag.errors import DiagError, Problem
from diag.knowledge.assemble import Knowledge
from diag.knowledge.schema import Condition, Rule
from diag.reason.patterns import (
    BOUND_LIMIT,
    WORD_LIMIT,
    ByIdentity,
    Compiled,
    Pattern,
    Test,
    compiled_by,
)

__all__ = ["RuleLimitError", "check_limits", "limit_problems"]

CONDITIONS_LIMIT = 16
RULES_LIMIT = 4096
CHILDREN_LIMIT = 400
"""Distinct tests that follow one test. Measured: 511 is the most that works, 512 hangs."""
IDENTICAL_LIMIT = 250
"""Rules that share one identical test. Measured: 255 works, 256 is undefined."""
TRUE_AT_ONCE_LIMIT = 60
"""Tests of one fact waiting at once. Measured: 64 works, 65 is refused in mid-job."""


class RuleLimitError(DiagError):
    """Rules that a matcher could not run; `problems` holds one message for each, naming the rule."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def check_limits(rules: Mapping[str, Sequence[Rule]]) -> list[str]:
    """One message for each rule that oversteps what the engine can carry; empty where all is well."""
    return [problem for circuit, own in rules.items() for problem in _limits(circuit, ByIdentity(own))]


def limit_problems(knowledge: Knowledge) -> list[Problem]:
    """The same for all rules of a vehicle, each with its place."""
    by_circuit: dict[str, list[Rule]] = {}
    for rule in knowledge.rules.values():
        by_circuit.setdefault(knowledge.circuit_of[rule.id], []).append(rule)
    problems = []
    for told in check_limits(by_circuit):
        named = told.removeprefix("rule ").partition(": ")[0]
        problems.append(Problem(knowledge.spots.place(named), told.removesuffix("."), code="beyond-limits"))
    return problems


@lru_cache(maxsize=256)
def _limits(circuit: str, key: ByIdentity) -> tuple[str, ...]:
    """What is no word or number at all is told alone: such rules cannot even be put into patterns."""
    odd = [problem for rule in key.rules if rule.state != "retired" for problem in _odd_values(rule)]
    return tuple(odd or _circuit_limits(circuit, compiled_by(key)))


def _odd_values(rule: Rule) -> Iterable[str]:
    """Values that matchers would take differently, or not at all. The loader gives none of these."""
    if not rule.when:
        yield f"rule {rule.id}: found no conditions; expected at least 1. Say what it follows from."
    for condition in rule.when:
        if (condition.check is None) == (condition.established is None):
            yield f"rule {rule.id}: found a condition on {condition.check!r} and {condition.established!r}; " + (
                "expected either a check or what is established."
            )
        for what, word in _words(condition):
            if not isinstance(word, str):
                yield f"rule {rule.id}: found {word!r} as {what}; expected a word. Put it in quotes."
            elif len(word) > WORD_LIMIT:
                yield (f"rule {rule.id}: found {what} of {len(word)} characters; at most {WORD_LIMIT} fit. Shorten it.")
            elif any("\ud800" <= letter <= "\udfff" for letter in word):
                yield f"rule {rule.id}: found half a character in {what} {word!r}; expected whole ones. Type it anew."
        for number in (condition.below, condition.above, *(condition.between or ())):
            if number is not None and (isinstance(number, bool) or not isinstance(number, int | float)):
                yield f"rule {rule.id}: found {number!r} as a bound; expected a number. Leave the quotes away."


def _words(condition: Condition) -> Iterable[tuple[str, object]]:
    words = {
        "the check": condition.check,
        "what is established": condition.established,
        "light": condition.light,
        "rhythm": condition.rhythm,
        "is": condition.is_,
        "is-not": condition.is_not,
    }
    return ((what, word) for what, word in words.items() if word is not None)


def _circuit_limits(circuit: str, compiled: Compiled) -> Iterable[str]:
    if len(compiled.rules) > RULES_LIMIT:
        yield (
            f"rule {compiled.rules[RULES_LIMIT].id}: circuit {circuit} has {len(compiled.rules)} rules; "
            f"expected at most {RULES_LIMIT}. Split the circuit into two files."
        )
    for rule, patterns in zip(compiled.rules, compiled.patterns, strict=True):
        yield from _rule_limits(rule, patterns)
    yield from _shared_limits(circuit, compiled)


def _rule_limits(rule: Rule, patterns: tuple[Pattern, ...]) -> Iterable[str]:
    if len(patterns) > CONDITIONS_LIMIT:
        yield (
            f"rule {rule.id}: found {len(patterns)} conditions; expected at most {CONDITIONS_LIMIT}. "
            "Let a first rule establish part of them."
        )
    for condition in rule.when:
        bounds = [condition.below, condition.above, *(condition.between or ())]
        for bound in (one for one in bounds if one is not None):
            if not math.isfinite(bound) or abs(bound) > BOUND_LIMIT:
                yield (
                    f"rule {rule.id}: found the bound {bound} for {condition.check}; expected a finite number "
                    f"of at most {BOUND_LIMIT:.0f} in the check's unit. Use a larger unit."
                )
        if condition.between is not None and condition.between[0] > condition.between[1]:
            yield (
                f"rule {rule.id}: found between {condition.between[0]} and {condition.between[1]} for "
                f"{condition.check}; expected the smaller number first. Swap the two."
            )


class _Node:
    """One test in the tree that the engine builds: children are the tests that follow it."""

    def __init__(self, rule: Rule) -> None:
        self.first = rule
        self.children: dict[object, _Node] = {}
        self.ending = 0

    def child(self, test: object, rule: Rule) -> _Node:
        return self.children.setdefault(test, _Node(rule))

    def waiting(self) -> int:
        """Most tests that can wait at once while one fact goes down from here (depth first). Of the
        equality tests on one field only one can be true."""
        if not self.children:
            return 0
        tests: list[Test] = [test for test in self.children if isinstance(test, tuple)]
        free = sum(op != "is" for _, op, _ in tests)
        fields = {field for field, op, _ in tests if op == "is"}
        return free + len(fields) + max(child.waiting() for child in self.children.values())


def _shared_limits(circuit: str, compiled: Compiled) -> Iterable[str]:
    """Limits on what rules share, told once for the rule that oversteps."""
    if not compiled.rules:
        return
    root = _Node(compiled.rules[0])
    told: set[tuple[str, str]] = set()
    for rule, patterns in zip(compiled.rules, compiled.patterns, strict=True):
        for pattern in patterns:
            node = root
            where = f"circuit {circuit}"
            for test in (pattern.subject, *pattern.tests):
                if test not in node.children and len(node.children) == CHILDREN_LIMIT and ("c", where) not in told:
                    told.add(("c", where))
                    yield (
                        f"rule {rule.id}: more than {CHILDREN_LIMIT} different tests follow {where}; expected at "
                        f"most {CHILDREN_LIMIT}. Split the circuit, or let a first rule establish a group."
                    )
                node = node.child(test, rule)
                where = _spoken(where, test)
            node.ending += 1
            if node.ending > IDENTICAL_LIMIT and ("i", where) not in told:
                told.add(("i", where))
                yield (
                    f"rule {rule.id}: more than {IDENTICAL_LIMIT} rules share the test {where}; expected at most "
                    f"{IDENTICAL_LIMIT}. Let one rule establish it and the others use that."
                )
            top = root.children[pattern.subject]
            if ("t", pattern.subject) not in told and node.ending == 1 and top.waiting() > TRUE_AT_ONCE_LIMIT:
                told.add(("t", pattern.subject))
                yield (
                    f"rule {rule.id}: more than {TRUE_AT_ONCE_LIMIT} tests on {pattern.subject} can be true at "
                    f"once; expected at most {TRUE_AT_ONCE_LIMIT}. Use fewer different bounds and `is-not`."
                )


def _spoken(where: str, test: object) -> str:
    if isinstance(test, tuple):
        return f"{where}, {test[0]} {test[1]} {test[2]}"
    return f"{where}, {test}"
