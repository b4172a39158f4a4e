"""The plain matcher: the reference for what rules mean, and the one that serves where the rule
engine is not to be had. Must not know of any engine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.knowledge.schema import Rule
from diag.reason.forward import Fact, Pattern, Test, compile_rules, encode
from diag.texts import t

__all__ = ["PlainMatcher"]

_Known = dict[str, Mapping[str, str | int]]


class PlainMatcher:
    """Tries every rule that has not fired until a round brings nothing new."""

    name = t("plain matcher")

    def run(
        self,
        circuit: str,
        rules: Sequence[Rule],
        facts: Sequence[Fact],
        established: frozenset[str],
    ) -> tuple[Rule, ...]:
        """See `Matcher.run`."""
        compiled = compile_rules(rules)
        known: _Known = {f"check:{fact.check}": encode(fact) for fact in facts}
        known |= {f"established:{word}": {} for word in established}
        fired: set[int] = set()
        size = -1
        while size != len(fired):
            size = len(fired)
            for index, patterns in enumerate(compiled.patterns):
                if index not in fired and all(_holds(pattern, known) for pattern in patterns):
                    fired.add(index)
                    for effect in compiled.rules[index].then:
                        if effect.establish is not None:
                            known[f"established:{effect.establish}"] = {}
        return tuple(compiled.rules[index] for index in sorted(fired))


def _holds(pattern: Pattern, known: _Known) -> bool:
    fields = known.get(pattern.subject)
    return fields is not None and all(_true(test, fields) for test in pattern.tests)


def _true(test: Test, fields: Mapping[str, str | int]) -> bool:
    """A test on a field that the fact does not have is false, `is-not` too."""
    field, op, wanted = test
    found = fields.get(field)
    if found is None:
        return False
    if op == "is":
        return found == wanted
    if op == "is-not":
        return found != wanted
    if isinstance(found, str) or isinstance(wanted, str):
        return False
    match op:
        case "below":
            return found < wanted
        case "above":
            return found > wanted
        case "at-least":
            return found >= wanted
        case "at-most":
            return found <= wanted
