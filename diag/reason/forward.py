"""Forward rules: from facts to the rules that fire, with what each one concludes and why.

Knows what a rule means, whichever matcher runs it; must not know how a matcher works, nor how
conclusions are weighed.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, Protocol

from diag.errors import DiagError, Problem
from diag.knowledge.assemble import Knowledge
from diag.knowledge.schema import Conclusion, Condition, Rule
from diag.texts import t

__all__ = [
    "Compiled",
    "Fact",
    "Firing",
    "Matcher",
    "Op",
    "Outcome",
    "Pattern",
    "RuleLimitError",
    "Test",
    "Tests",
    "check_limits",
    "compile_rules",
    "encode",
    "forward",
    "limit_problems",
    "word_test",
]

Op = Literal["is", "is-not", "below", "above", "at-least", "at-most"]
Test = tuple[str, Op, str | int]
"""Field of a fact (light, rhythm, word, number), how it is compared, and with what."""
Tests = tuple[Test, ...]

BEYOND = 10**15
"""Micro-units that stand for any number larger than a bound may be, so also for no continuity."""
BOUND_LIMIT = 1e6
"""Bounds are at most this, in the check's unit."""

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


@dataclass(frozen=True)
class Fact:
    """What one check showed: words for a lamp (light, rhythm), one word for the rest, or a number
    in the check's unit. `math.inf` stands for no continuity and is above every bound.

    Raises ValueError for a number that is not one (NaN).
    """

    check: str
    light: str | None = None
    rhythm: str | None = None
    word: str | None = None
    number: float | None = None

    def __post_init__(self) -> None:
        if self.number is not None and math.isnan(self.number):
            raise ValueError(t("check {check}: found NaN, expected a number or infinity", check=self.check))


@dataclass(frozen=True)
class Firing:
    """One rule that fired: `facts` are the checks and `established:WORD` that made it."""

    rule_id: str
    circuit: str
    facts: tuple[str, ...]
    effects: tuple[Conclusion, ...]


@dataclass(frozen=True)
class Outcome:
    """All firings, by circuit and then rule as the caller ordered them, and all that is established."""

    firings: tuple[Firing, ...]
    established: frozenset[str]


class Matcher(Protocol):
    """Finds the rules that fire; every matcher gives the same answer."""

    @property
    def name(self) -> str:
        """What is shown to the user as the engine, with its version."""

    def run(
        self,
        circuit: str,
        rules: Sequence[Rule],
        facts: Sequence[Fact],
        established: frozenset[str],
    ) -> tuple[Rule, ...]:
        """The rules that fire, each once and in the order given.

        What a fired rule establishes counts for the others at once; retired rules never fire.
        `facts` holds at most one fact a check. Raises DiagError where the engine fails.
        """


@dataclass(frozen=True)
class Pattern:
    """All tests of one rule on one subject: `check:ID` or `established:WORD`."""

    subject: str
    tests: Tests


@dataclass(frozen=True)
class Compiled:
    """A circuit's live rules in the form that matchers run."""

    rules: tuple[Rule, ...]
    patterns: tuple[tuple[Pattern, ...], ...]
    """For each rule, its patterns; all must hold."""
    subjects: frozenset[str]
    digest: str
    """Equal for equal content, whatever objects carry it."""


def word_test(text: str) -> tuple[Op, str]:
    """Comparison and word of a lamp condition: `is steady`, `is-not dark`, or just `steady`."""
    first, _, rest = text.strip().partition(" ")
    word = rest.strip()
    if first == "is" and word:
        return "is", word
    if first == "is-not" and word:
        return "is-not", word
    return "is", text.strip()


def _micro(number: float) -> int:
    """Whole micro-units: exponents and binary fractions never reach a matcher."""
    if not abs(number) <= 2 * BOUND_LIMIT:  # written so that NaN, which `check_limits` will refuse, ends here
        return BEYOND if number > 0 else -BEYOND
    return round(number * 1e6)


def encode(fact: Fact) -> dict[str, str | int]:
    """The fields that tests compare; those the fact does not have are left out."""
    words = {"light": fact.light, "rhythm": fact.rhythm, "word": fact.word}
    fields: dict[str, str | int] = {key: word for key, word in words.items() if word is not None}
    if fact.number is not None:
        fields["number"] = _micro(fact.number)
    return fields


def _tests(condition: Condition) -> Iterable[Test]:
    if condition.light is not None:
        yield "light", *word_test(condition.light)
    if condition.rhythm is not None:
        yield "rhythm", *word_test(condition.rhythm)
    if condition.is_ is not None:
        yield "word", "is", condition.is_
    if condition.is_not is not None:
        yield "word", "is-not", condition.is_not
    if condition.above is not None:
        yield "number", "above", _micro(condition.above)
    if condition.below is not None:
        yield "number", "below", _micro(condition.below)
    if condition.between is not None:
        low, high = condition.between
        yield "number", "at-least", _micro(low)
        yield "number", "at-most", _micro(high)


def _subject(condition: Condition) -> str:
    return f"check:{condition.check}" if condition.established is None else f"established:{condition.established}"


def _patterns(rule: Rule) -> tuple[Pattern, ...]:
    """One pattern a subject, so that no fact has to match two conditions; tests in one fixed order,
    so that rules share what they have in common."""
    merged: dict[str, set[Test]] = {}
    for condition in rule.when:
        merged.setdefault(_subject(condition), set()).update(_tests(condition))
    return tuple(
        Pattern(subject, tuple(sorted(tests, key=lambda test: (test[0], test[1], str(test[2])))))
        for subject, tests in merged.items()
    )


class _ByIdentity:
    """A key that is cheap where a rule is not: rules are frozen, so the same objects mean the same
    content, and holding them here keeps their ids from being given to others."""

    __slots__ = ("_key", "rules")

    def __init__(self, rules: Sequence[Rule]) -> None:
        self.rules = tuple(rules)
        self._key = tuple(map(id, self.rules))

    def __hash__(self) -> int:
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ByIdentity) and self._key == other._key


@lru_cache(maxsize=256)
def _compile(key: _ByIdentity) -> Compiled:
    live = tuple(rule for rule in key.rules if rule.state != "retired")
    patterns = tuple(_patterns(rule) for rule in live)
    plain = [[[pattern.subject, pattern.tests] for pattern in one] for one in patterns]
    digest = hashlib.sha256(json.dumps(plain).encode()).hexdigest()
    subjects = frozenset(pattern.subject for one in patterns for pattern in one)
    return Compiled(live, patterns, subjects, digest)


@lru_cache(maxsize=256)
def _limits(circuit: str, key: _ByIdentity) -> tuple[str, ...]:
    return tuple(_circuit_limits(circuit, _compile(key)))


def compile_rules(rules: Sequence[Rule]) -> Compiled:
    """The rules that are not retired, in the form matchers run; remembered for the same rules."""
    return _compile(_ByIdentity(rules))


def forward(rules: Mapping[str, Sequence[Rule]], facts: Sequence[Fact], matcher: Matcher) -> Outcome:
    """Everything that follows from the facts, over all circuits until nothing new is established.

    Of several facts of one check the last counts. Order of facts does not matter otherwise.
    Raises RuleLimitError for rules that no matcher may be given, DiagError where the engine fails.
    """
    problems = check_limits(rules)
    if problems:
        raise RuleLimitError(problems)
    newest = {f"check:{fact.check}": fact for fact in facts}
    compiled = {circuit: compile_rules(own) for circuit, own in rules.items()}
    established: frozenset[str] = frozenset()
    fired: dict[str, tuple[Rule, ...]] = {}
    waiting = set(rules)
    while waiting:
        circuit = next(name for name in rules if name in waiting)
        waiting.discard(circuit)
        of_interest = compiled[circuit].subjects
        own_facts = [newest[subject] for subject in sorted(of_interest & newest.keys())]
        if not own_facts and of_interest.isdisjoint(f"established:{word}" for word in established):
            fired[circuit] = ()  # nothing that its rules speak of is known
            continue
        fired[circuit] = matcher.run(circuit, rules[circuit], own_facts, established)
        words = {effect.establish for rule in fired[circuit] for effect in rule.then if effect.establish is not None}
        new = words - established
        established |= new
        new_subjects = {f"established:{word}" for word in new}
        waiting |= {name for name in rules if name != circuit and compiled[name].subjects & new_subjects}
    firings = tuple(_firing(circuit, rule) for circuit in rules for rule in fired[circuit])
    return Outcome(firings, established)


def _firing(circuit: str, rule: Rule) -> Firing:
    names = dict.fromkeys(
        condition.check if condition.check is not None else f"established:{condition.established}"
        for condition in rule.when
    )
    return Firing(rule.id, circuit, tuple(names), rule.then)


# ---------------------------------------------------------------- limits


def check_limits(rules: Mapping[str, Sequence[Rule]]) -> list[str]:
    """One message for each rule that oversteps what the engine can carry; empty where all is well.

    The engine itself hangs or fails in mid-job beyond its limits (measured for durable-rules
    2.0.28), so they are refused here, with a margin, whichever matcher is in use.
    """
    return [problem for circuit, own in rules.items() for problem in _limits(circuit, _ByIdentity(own))]


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


def _circuit_limits(circuit: str, compiled: Compiled) -> Iterable[str]:
    if len(compiled.rules) > RULES_LIMIT:
        yield (
            t(
                "rule {id}: circuit {circuit} has {count} rules; expected at most {rules_limit}. Split "
                "the circuit into two files.",
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
                "rule {rule}: found {count} conditions; expected at most {conditions_limit}. Let a first "
                "rule establish part of them.",
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
                        "rule {rule}: found the bound {bound} for {check}; expected a finite number of "
                        "at most {bound_limit:.0f} in the check's unit. Use a larger unit.",
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
                            "expected at most {children_limit}. Split the circuit, or let a first rule "
                            "establish a group.",
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
                        "rule {rule}: more than {identical_limit} rules share the test {where}; expected "
                        "at most {identical_limit}. Let one rule establish it and the others use that.",
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
                        "rule {rule}: more than {true_at_once_limit} tests on {subject} can be true at "
                        "once; expected at most {true_at_once_limit}. Use fewer different bounds and "
                        "`is-not`.",
                        rule=rule.id,
                        true_at_once_limit=TRUE_AT_ONCE_LIMIT,
                        subject=pattern.subject,
                    )
                )


def _spoken(where: str, test: object) -> str:
    if isinstance(test, tuple):
        return f"{where}, {test[0]} {test[1]} {test[2]}"
    return f"{where}, {test}"
