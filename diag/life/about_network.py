"""What the computed network says of a rule's conditions: does what the rule points to make them likelier?

Solves only the operates of the rule's own checks, so that it is quick on a whole vehicle. Knows nothing of wording.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diag.circuit.predict import Predictor
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.schema import Rule
from diag.reason.chances import Chances
from diag.reason.operates import operate_of
from diag.reason.reasoner import kept_still
from diag.reason.steps import all_steps

__all__ = ["AGREES", "AGAINST", "Said", "network_on"]

AGREES, AGAINST = 1.25, 0.8
"""From so many times likelier than with the mean of all causes on the network agrees, down to so many it is against;
between them it does not tell."""


@dataclass(frozen=True)
class Said:
    """What is computed of one condition: for each cause that the rule speaks of, how many times likelier it makes the
    condition than the mean of all causes."""

    condition: int
    times: Mapping[str, float]

    def verdict(self, rule: Rule) -> str:
        """`agrees` where a cause that the rule points to makes the condition likelier, `against` where all of them
        make it less likely, `no difference` between; of a rule that only clears, the other way round."""
        points = {cause: times for cause, times in self.times.items() if _points(rule, cause)}
        found = list((points or {cause: 1 / max(times, 1e-9) for cause, times in self.times.items()}).values())
        if not found:
            return "no difference"
        best = max(found)
        return "agrees" if best >= AGREES else "against" if best <= AGAINST else "no difference"


def _points(rule: Rule, cause: str) -> bool:
    return any(effect.points_to == cause and float(effect.weight or 1) > 1 for effect in rule.then)


def network_on(knowledge: Knowledge, rule: Rule) -> dict[int, Said]:
    """By the place of each condition in the rule that the network computes. Empty where nothing is computed."""
    checks = {condition.check for condition in rule.when if condition.check is not None}
    written = [knowledge.checks[name] for name in checks if name in knowledge.checks]
    looked = [check for check in written if check.kind not in ("choose", "do")]
    if not looked:
        return {}
    operates = {operate_key(operate): operate for operate in (operate_of(knowledge, check) for check in looked)}
    predictor = Predictor(knowledge, operates.values())
    causes = predictor.causes
    index = {cause.id: i for i, cause in enumerate(causes)}
    seldom = {i: (index[c.of], c.shows) for i, c in enumerate(causes) if c.of in index and c.shows < 1}
    held = [kept_still(cause) for cause in causes]
    chances = Chances(knowledge, predictor, (), [c.id for c in causes], [c.spread for c in causes], held, seldom)
    steps = {step.id: step for step in all_steps(knowledge, None)}
    out: dict[int, Said] = {}
    for place, condition in enumerate(rule.when):
        step = steps.get(condition.check or "")
        if step is None or not chances.computed(step):
            continue
        alone = rule.model_copy(update={"when": (condition,)})
        out[place] = Said(place, chances.direction(alone, steps))
    return out
