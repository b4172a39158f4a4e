"""Chances of answers where nothing is computed: usual shares, moved by the weights of rules.

A rule's weight speaks for those of its checks that the network does not compute; what it asks of
computed checks, and of answers given before, must hold. So each rule counts once, at the last of its
checks to be answered, and of rules that speak of one answer and one cause the one with most
conditions counts. Knows rules and shares; nothing of circuits' volts or of what is likely.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import product

import numpy as np

from diag.circuit.network import Floats
from diag.knowledge import schema
from diag.reason.steps import Step, Value, fits

__all__ = ["CLEARS", "Grounded", "RuledChances", "ground", "weighed"]

CLEARS = 0.05
"""The weight that `clears` stands for."""
_SOUND = 0.90
"""Share of a check's most usual answer on a vehicle with nothing wrong near it; common practice, no source."""
_RARE = 0.01
_ASIDE = 0.7
"""How far a cause near a check, of which none of the check's rules speaks, leaves it sound."""
_WAYS = 12


def weighed(effect: schema.Conclusion) -> tuple[str, float]:
    """Cause and weight of a points-to or clears; an empty cause for other effects."""
    if effect.points_to is not None:
        return effect.points_to, float(effect.weight or 1.0)
    if effect.clears is not None:
        return effect.clears, CLEARS
    return "", 1.0


@dataclass(frozen=True)
class Grounded:
    """A rule with every `established` traced to the checks behind it. `conditions` by check."""

    rule_id: str
    conditions: Mapping[str, tuple[schema.Condition, ...]]
    effects: tuple[tuple[str, float], ...]

    def holds(self, facts: Mapping[str, Value], apart_from: str = "") -> bool:
        """Whether the facts meet every condition, leaving one check aside."""
        return all(
            check in facts and all(fits(condition, facts[check]) for condition in conditions)
            for check, conditions in self.conditions.items()
            if check != apart_from
        )


def ground(rules: Sequence[schema.Rule]) -> tuple[Grounded, ...]:
    """Every way in which each rule may come to fire, in check conditions only."""
    makers: dict[str, list[schema.Rule]] = {}
    for rule in rules:
        for effect in rule.then:
            if effect.establish is not None:
                makers.setdefault(effect.establish, []).append(rule)

    def ways(rule: schema.Rule, seen: frozenset[str]) -> list[tuple[schema.Condition, ...]]:
        parts: list[list[tuple[schema.Condition, ...]]] = []
        for condition in rule.when:
            if condition.established is None:
                parts.append([(condition,)])
            elif condition.established not in seen:
                parts.append(
                    [
                        way
                        for maker in makers.get(condition.established, ())
                        for way in ways(maker, seen | {condition.established})
                    ]
                )
            else:
                parts.append([])
        return [tuple(c for part in combined for c in part) for combined in product(*parts)][:_WAYS]

    out = []
    for rule in rules:
        effects = tuple(weighed(effect) for effect in rule.then if weighed(effect)[0])
        for way in ways(rule, frozenset()):
            by_check: dict[str, list[schema.Condition]] = {}
            for condition in way:
                by_check.setdefault(condition.check or "", []).append(condition)
            out.append(Grounded(rule.id, {check: tuple(found) for check, found in by_check.items()}, effects))
    return tuple(out)


class RuledChances:
    """Tables of answers for checks that are not computed.

    `index`: cause id → row less one. `near(check id)`: mask over causes that may bear on a check, for
    lying in its circuit or one that feeds it.
    """

    def __init__(
        self, rules: Sequence[schema.Rule], index: Mapping[str, int], near: Callable[[Step], np.ndarray]
    ) -> None:
        self._index, self._near = dict(index), near
        self._by_check: dict[str, list[Grounded]] = {}
        for grounded in ground(rules):
            for check in grounded.conditions:
                self._by_check.setdefault(check, []).append(grounded)
        self._spoken = self._spoken_of()
        for found in self._by_check.values():  # the rule with most conditions comes last and so counts
            found.sort(key=lambda g: (len(g.conditions), g.rule_id))

    def without(self, rule_id: str) -> RuledChances:
        """The same with one rule not there."""
        out = copy(self)
        out._by_check = {check: [g for g in found if g.rule_id != rule_id] for check, found in self._by_check.items()}
        out._spoken = out._spoken_of()
        return out

    def _spoken_of(self) -> dict[str, list[int]]:
        return {
            check: sorted({self._index[cause] for g in found for cause, _ in g.effects if cause in self._index})
            for check, found in self._by_check.items()
        }

    def holding(self, step: Step, context: Mapping[str, Value]) -> tuple[bool, ...]:
        """Which rules that speak of a step hold with what else was answered: equal where its table is."""
        return tuple(grounded.holds(context, step.id) for grounded in self._by_check.get(step.id, ()))

    def table(self, step: Step, values: Sequence[Value], context: Mapping[str, Value]) -> Floats:
        """(1 + causes, answers). `context`: what else was answered, by check."""
        usual = np.array([step.usual.get(_spelt(value), 0.0) for value in values])
        missing = usual <= 0
        usual[missing] = 1.0 if missing.all() else _RARE
        usual /= usual.sum()
        sound = usual.copy()
        if not missing.all():
            most = int(usual.argmax())
            sound *= (1 - max(_SOUND, usual[most])) / max(1 - usual[most], 1e-9)
            sound[most] = max(_SOUND, usual[most])
        count = len(self._index)
        bystander = _ASIDE * sound + (1 - _ASIDE) * usual
        chance = np.where(self._near(step)[:, None], bystander[None, :], sound[None, :])
        chance[self._spoken.get(step.id, [])] = usual
        weight = np.ones((count, len(values)))
        for grounded in self._by_check.get(step.id, ()):
            spoken = [(self._index[cause], w) for cause, w in grounded.effects if cause in self._index]
            if not spoken or not grounded.holds(context, step.id):
                continue
            here = [all(fits(condition, value) for condition in grounded.conditions[step.id]) for value in values]
            for row, w in spoken:
                weight[row, here] = w
        chance = chance * weight
        chance /= chance.sum(axis=1, keepdims=True)
        return np.concatenate([sound[None, :], chance])


def _spelt(value: Value) -> str:
    """An answer as the keys of `usual` write it."""
    if isinstance(value, tuple):
        return value[0] if value[0] == "dark" else "/".join(value)
    return str(value)
