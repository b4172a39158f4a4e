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
from diag.texts import t

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
        yield t("rule {rule}: found no conditions; expected at least 1. Say what it follows from.", rule=rule.id)
    for condition in rule.when:
        if (condition.check is None) == (condition.established is None):
            yield f"rule {rule.id}: found a condition on {condition.check!r} and {condition.established!r}; " + (
                t("expected either a check or what is established.")
            )
        for what, word in _words(condition):
            if not isinstance(word, str):
                yield t(
                    "rule {rule}: found {word!r} as {what}; expected a word. Put it in quotes.",
                    rule=rule.id,
                    word=word,
                    what=what,
                )
            elif len(word) > WORD_LIMIT:
                yield (
                    t(
                        "rule {rule}: found {what} of {count} characters; at most {word_limit} fit. Shorten it.",
                        rule=rule.id,
                        what=what,
                        count=len(word),
                        word_limit=WORD_LIMIT,
                    )
                )
            elif any("\ud800" <= letter <= "\udfff" for letter in word):
                yield t(
                    "rule {rule}: found half a character in {what} {word!r}; expected whole ones. Type it anew.",
                    rule=rule.id,
                    what=what,
                    word=word,
                )
        for number in (condition.below, condition.above, *(condition.between or ())):
            if number is not None and (isinstance(number, bool) or not isinstance(number, int | float)):
                yield t(
                    "rule {rule}: found {number!r} as a bound; expected a number. Leave the quotes away.",
                    rule=rule.id,
                    number=number,
                )


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
            t(
                "rule {id}: circuit {circuit} has {count} rules; expected at most {rules_limit}. "
                "Split the circuit into two files.",
                id=compiled.rules[RULES_LIMIT].id,
                circuit=circuit,
                count=len(compiled.rules),
                rules_limit=RULES_LIMIT,
            )
        )
    for rule, patterns in zip(compiled.rules, compiled.patterns, strict=True):
        yield from _rule_limits(rule, patterns)
    yield from _shared_limits(circuit, compiled)


def _rule_limits(rule: Rule, patterns: tuple[Pattern, ...]) -> Iterable[str]:
    if len(patterns) > CONDITIONS_LIMIT:
        yield (
            t(
                "rule {rule}: found {count} conditions; expected at most {conditions_limit}. Let a "
                "first rule establish part of them.",
                rule=rule.id,
                count=len(patterns),
                conditions_limit=CONDITIONS_LIMIT,
            )
        )
    for condition in rule.when:
        bounds = [condition.below, condition.above, *(condition.between or ())]
        for bound in (one for one in bounds if one is not None):
            if not math.isfinite(bound) or abs(bound) > BOUND_LIMIT:
                yield (
                    t(
                        "rule {rule}: found the bound {bound} for {check}; expected a finite number "
                        "of at most {bound_limit:.0f} in the check's unit. Use a larger unit.",
                        rule=rule.id,
                        bound=bound,
                        check=condition.check,
                        bound_limit=BOUND_LIMIT,
                    )
                )
        if condition.between is not None and condition.between[0] > condition.between[1]:
            yield (
                t(
                    "rule {rule}: found between {between} and {between_2} for {check}; expected the "
                    "smaller number first. Swap the two.",
                    rule=rule.id,
                    between=condition.between[0],
                    between_2=condition.between[1],
                    check=condition.check,
                )
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
            where = t("circuit {circuit}", circuit=circuit)
            for test in (pattern.subject, *pattern.tests):
                if test not in node.children and len(node.children) == CHILDREN_LIMIT and ("c", where) not in told:
                    told.add(("c", where))
                    yield (
                        t(
                            "rule {rule}: more than {children_limit} different tests follow {where}; "
                            "expected at most {children_limit}. Split the circuit, or let a first "
                            "rule establish a group.",
                            rule=rule.id,
                            children_limit=CHILDREN_LIMIT,
                            where=where,
                        )
                    )
                node = node.child(test, rule)
                where = _spoken(where, test)
            node.ending += 1
            if node.ending > IDENTICAL_LIMIT and ("i", where) not in told:
                told.add(("i", where))
                yield (
                    t(
                        "rule {rule}: more than {identical_limit} rules share the test {where}; "
                        "expected at most {identical_limit}. Let one rule establish it and the "
                        "others use that.",
                        rule=rule.id,
                        identical_limit=IDENTICAL_LIMIT,
                        where=where,
                    )
                )
            top = root.children[pattern.subject]
            if ("t", pattern.subject) not in told and node.ending == 1 and top.waiting() > TRUE_AT_ONCE_LIMIT:
                told.add(("t", pattern.subject))
                yield (
                    t(
                        "rule {rule}: more than {true_at_once_limit} tests on {subject} can be true "
                        "at once; expected at most {true_at_once_limit}. Use fewer different bounds "
                        "and `is-not`.",
                        rule=rule.id,
                        true_at_once_limit=TRUE_AT_ONCE_LIMIT,
                        subject=pattern.subject,
                    )
                )


def _spoken(where: str, test: object) -> str:
    if isinstance(test, tuple):
        return f"{where}, {test[0]} {test[1]} {test[2]}"
    return f"{where}, {test}"
