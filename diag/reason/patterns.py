"""Rules and facts in the form that matchers compare: plain words and whole numbers, one pattern a subject.

Knows what a condition means; must not know which matcher runs it, nor what follows from a rule.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from numbers import Real
from typing import Literal

from diag.knowledge.schema import Condition, Rule
from diag.texts import t

__all__ = [
    "BOUND_LIMIT",
    "WORD_LIMIT",
    "ByIdentity",
    "Compiled",
    "Fact",
    "Op",
    "Pattern",
    "Test",
    "Tests",
    "compile_rules",
    "compiled_by",
    "encode",
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
WORD_LIMIT = 1000
"""Characters of a word or id. Measured: from 65,535 bytes on the engine takes words for equal that are not."""


@dataclass(frozen=True)
class Fact:
    """What one check showed: words for a lamp (light, rhythm), one word for the rest, or a number
    in the check's unit. `math.inf` stands for no continuity and is above every bound.

    Raises ValueError for a number that is not one (NaN, a truth, text) and for a word that is not text.
    """

    check: str
    light: str | None = None
    rhythm: str | None = None
    word: str | None = None
    number: float | None = None

    def __post_init__(self) -> None:
        if self.number is not None:
            if isinstance(self.number, bool) or not isinstance(self.number, Real):
                raise ValueError(
                    t("check {check}: found {number!r}, expected a number", check=self.check, number=self.number)
                )
            if self.number != self.number:
                raise ValueError(t("check {check}: found NaN, expected a number or infinity", check=self.check))
        for word in (self.light, self.rhythm, self.word):
            if not isinstance(word, str | None):
                raise ValueError(t("check {check}: found {word!r}, expected a word", check=self.check, word=word))


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
    if not abs(number) <= 2 * BOUND_LIMIT:  # written so that NaN, which the limits will refuse, ends here
        return BEYOND if number > 0 else -BEYOND
    return round(number * 1e6)


def _whole(word: str) -> str:
    """Text that UTF-8 can hold (half of a surrogate pair, as odd input brings, it cannot), and not endless."""
    return word[: WORD_LIMIT + 1].encode("utf-8", "surrogatepass").decode("utf-8", "replace")


def encode(fact: Fact) -> dict[str, str | int]:
    """The fields that tests compare; those the fact does not have are left out. A word that no rule may have is
    cut and cleaned to one that still equals none."""
    words = {"light": fact.light, "rhythm": fact.rhythm, "word": fact.word}
    fields: dict[str, str | int] = {key: _whole(word) for key, word in words.items() if word is not None}
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


class ByIdentity:
    """A key that is cheap where a rule is not: rules are frozen, so the same objects mean the same
    content, and holding them here keeps their ids from being given to others."""

    __slots__ = ("_key", "rules")

    def __init__(self, rules: Sequence[Rule]) -> None:
        self.rules = tuple(rules)
        self._key = tuple(map(id, self.rules))

    def __hash__(self) -> int:
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ByIdentity) and self._key == other._key


@lru_cache(maxsize=256)
def compiled_by(key: ByIdentity) -> Compiled:
    live = tuple(rule for rule in key.rules if rule.state != "retired")
    patterns = tuple(_patterns(rule) for rule in live)
    plain = [[[pattern.subject, pattern.tests] for pattern in one] for one in patterns]
    digest = hashlib.sha256(json.dumps(plain).encode()).hexdigest()
    subjects = frozenset(pattern.subject for one in patterns for pattern in one)
    return Compiled(live, patterns, subjects, digest)


def compile_rules(rules: Sequence[Rule]) -> Compiled:
    """The rules that are not retired, in the form matchers run; remembered for the same rules."""
    return compiled_by(ByIdentity(rules))
