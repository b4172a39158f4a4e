"""Forward rules: from facts to the rules that fire, with what each one concludes and why.

Knows what a rule means, whichever matcher runs it; must not know how a matcher works, nor how
conclusions are weighed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from diag.knowledge.schema import Conclusion, Rule
from diag.reason.limits import RuleLimitError, check_limits, limit_problems
from diag.reason.patterns import Compiled, Fact, Op, Pattern, Test, Tests, compile_rules, encode, word_test

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
