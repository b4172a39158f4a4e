"""Conditions and effects of rules in plain words: titles of checks and causes, how many times likelier.

Knows one vehicle's knowledge; nothing of jobs, states or pages.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any

from diag.circuit.faults import Cause, derive_causes
from diag.circuit.parts import build_network
from diag.knowledge.assemble import Knowledge
from diag.knowledge.schema import Conclusion, Condition, Rule
from diag.reason.explain import decibans
from diag.reason.forward import word_test
from diag.reason.ruled import CLEARS
from diag.reason.steps import Step, all_steps
from diag.talk.wording import answer_words, reading_words
from diag.texts import t, tn

__all__ = ["Words", "times_words"]

Object = dict[str, Any]


def times_words(weight: float) -> str:
    """A weight as one would say it: how many times likelier or less likely."""
    if weight >= 1:
        return t("{number} times likelier", number=_number(weight)) if weight > 1 else t("as likely as before")
    return t("{number} times less likely", number=_number(1 / weight))


def _number(found: float) -> str:
    return f"{found:.1f}".removesuffix(".0")


class Words:
    """Titles and sentences of one vehicle."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge

    @cached_property
    def causes(self) -> Mapping[str, Cause]:
        """Every cause of the vehicle by id."""
        return {cause.id: cause for cause in derive_causes(self.knowledge, build_network(self.knowledge))}

    @cached_property
    def steps(self) -> Mapping[str, Step]:
        """Every check of the files by id, as it is asked."""
        return {step.id: step for step in all_steps(self.knowledge, None)}

    def cause(self, name: str) -> str:
        """A cause in words; of one that this vehicle cannot have, its id."""
        found = self.causes.get(name)
        return found.title if found is not None else name

    def check(self, name: str) -> str:
        """A check's title."""
        found = self.knowledge.checks.get(name)
        return found.title if found is not None else name

    # ------------------------------------------------------------ conditions

    def condition(self, condition: Condition) -> Object:
        """One condition: `text` in words, and the `check` or the `established` word that it is about."""
        if condition.established is not None:
            makers = [rule for rule in self.knowledge.rules.values() if _makes(rule, condition.established)]
            from_ = t(" or ").join(f"`{rule.title}`" for rule in makers[:3]) or t("no rule of this vehicle")
            text = t(
                "concluded before: {established} (by {value})",
                established=condition.established.replace("-", " "),
                value=from_,
            )
            return {"text": text, "established": condition.established, "made-by": [rule.id for rule in makers]}
        tests = t(" and ").join(self._tests(condition))
        return {"text": f"{self.check(condition.check or '')}: {tests}", "check": condition.check}

    def _tests(self, condition: Condition) -> Iterator[str]:
        step = self.steps.get(condition.check or "")
        unit = step.unit if step is not None and step.unit is not None else ""

        def word(found: str) -> str:
            return answer_words(step, found) if step is not None else found.replace("-", " ")

        for name, test in (("light", condition.light), ("rhythm", condition.rhythm)):
            if test is not None:
                how, what = word_test(test)
                said = t("no {name}", name=name) if what == "none" else what.replace("-", " ")
                yield said if how == "is" else t("not {said}", said=said)
        if condition.is_ is not None:
            yield word(condition.is_)
        if condition.is_not is not None:
            yield t("not {word}", word=word(condition.is_not))
        if condition.below is not None:
            yield t("below {reading}", reading=_reading(condition.below, unit))
        if condition.above is not None:
            yield t("above {reading}", reading=_reading(condition.above, unit))
        if condition.between is not None:
            low, high = condition.between
            yield t("from {reading} to {reading_2}", reading=_reading(low, unit), reading_2=_reading(high, unit))

    # ------------------------------------------------------------ effects

    def effect(self, effect: Conclusion) -> Object:
        """One effect: `kind`, `id`, `text` in words, and for a weight `times` and `decibans`."""
        knowledge = self.knowledge
        if effect.points_to is not None or effect.clears is not None:
            cause = effect.points_to or effect.clears or ""
            weight = float(effect.weight or 1) if effect.points_to is not None else CLEARS
            kind = "points-to" if effect.points_to is not None else "clears"
            db = decibans(weight)
            text = t("{cause}: {times} ({db:+.0f} db)", cause=self.cause(cause), times=times_words(weight), db=db)
            return {"kind": kind, "id": cause, "text": text, "times": round(weight, 4), "decibans": round(db, 1)}
        if effect.establish is not None:
            users = [rule for rule in knowledge.rules.values() if _uses(rule, effect.establish)]
            build = tn(", on which {n} rule builds", ", on which {n} rules build", len(users)) if users else ""
            text = f"{effect.establish.replace('-', ' ')}{build}"
            return {"kind": "establish", "id": effect.establish, "text": text, "used-by": [r.id for r in users]}
        if effect.ask is not None:
            return {"kind": "ask", "id": effect.ask, "text": self.check(effect.ask)}
        kind, name = ("warn", effect.warn) if effect.warn is not None else ("stop", effect.stop)
        caution = knowledge.cautions.get(name or "")
        return {"kind": kind, "id": name, "text": caution.text if caution is not None else name}


def _reading(number: float, unit: str) -> str:
    return reading_words(number, unit).replace(".00 ", " ").replace(".0 ", " ") if unit else f"{number:g}"


def _makes(rule: Rule, word: str) -> bool:
    return any(effect.establish == word for effect in rule.then)


def _uses(rule: Rule, word: str) -> bool:
    return any(condition.established == word for condition in rule.when)
