"""Why a remedy is held likely, what speaks against it, and what each answer would mean.

Every line carries the chain: answer → computed prediction or rule → weight. Knows chances and rules;
nothing of screens or journals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Floats
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.ruled import weighed
from diag.reason.steps import Finding, Step, Value, fits

__all__ = ["Meaning", "Reason", "meanings", "reasons_for", "rules_behind", "weight_words"]


@dataclass(frozen=True)
class Reason:
    """One finding for or against a remedy. `weight`: how many times likelier the answer is with it than
    with the rivals; `source`: `computed`, or the rule that gives the weight; `rules`: rules that say the
    same in words."""

    finding: Finding
    weight: float
    source: str
    rules: tuple[str, ...]


@dataclass(frozen=True)
class Meaning:
    """One answer to a step: how likely it is, and the remedy it would put first with its chance."""

    value: Value | str
    chance: float
    remedy: str | None
    p: float


def weight_words(weight: float) -> str:
    """A likelihood ratio in plain words."""
    size, side = max(weight, 1 / max(weight, 1e-12)), "for" if weight >= 1 else "against"
    if size < 1.3:
        return "says little"
    strength = "a little" if size < 3 else "clearly" if size < 10 else "strongly" if size < 50 else "decisively"
    return f"{strength} {side} it"


def reasons_for(reasoner: Reasoner, beliefs: Beliefs, remedy: str) -> list[Reason]:
    """Findings by the size of their weight for `remedy`, against all rival causes by their priors."""
    mine = np.zeros(len(reasoner.causes), dtype=bool)
    for i, name in reasoner.remedy_of.items():
        mine[i] = name == remedy
    share = _within(beliefs.posterior.present, mine, reasoner.prior)
    rivals = np.where(mine, 0.0, reasoner.prior)
    out = []
    for finding, told in beliefs.judged:
        here = float((told.rows[1:] * share).sum())
        there = float((told.rows[1:] * rivals).sum() / max(rivals.sum(), 1e-12))
        rules = rules_behind(reasoner, beliefs, finding, np.nonzero(mine)[0].tolist())
        computed = reasoner.predictor is not None and (finding.step is None or reasoner.chances.computed(finding.step))
        source = "computed" if computed else (rules[0] if rules else "usual share")
        out.append(Reason(finding, here / max(there, 1e-12), source, rules))
    out.sort(key=lambda reason: -abs(float(np.log(max(reason.weight, 1e-12)))))
    return out


def _within(present: Floats, mine: np.ndarray, prior: Floats) -> Floats:
    """Shares of a remedy's causes: as likely now, else as frequent."""
    inside = np.where(mine, present, 0.0)
    if inside.sum() < 1e-9:
        inside = np.where(mine, prior, 0.0)
    out: Floats = inside / max(float(inside.sum()), 1e-300)
    return out


def rules_behind(reasoner: Reasoner, beliefs: Beliefs, finding: Finding, causes: Sequence[int]) -> tuple[str, ...]:
    """Fired rules that rest on a finding and speak of one of these causes, most conditions first."""
    wanted = {reasoner.causes[i].id for i in causes}
    if finding.step is None or finding.value is None:
        return ()
    found = []
    for firing in beliefs.firings:
        if finding.step.id not in firing.facts:
            continue
        rule = reasoner.knowledge.rules[firing.rule_id]
        holds = all(fits(condition, finding.value) for condition in rule.when if condition.check == finding.step.id)
        if holds and any(weighed(effect)[0] in wanted for effect in rule.then):
            found.append((-len(rule.when), rule.id))
    return tuple(rule_id for _, rule_id in sorted(found))


def meanings(reasoner: Reasoner, beliefs: Beliefs, step: Step, most: int = 4) -> list[Meaning]:
    """What the likeliest answers to a step would mean."""
    table = reasoner.chances.table(step, beliefs.context)
    posterior = beliefs.posterior
    joint: dict[str | None, Floats] = {None: posterior.healthy * table[0] + posterior.outside / table.shape[1]}
    for members, chance in posterior.sets[:120]:
        far = max(sorted(members), key=lambda i: float(np.abs(table[1 + i] - table[0]).sum()))
        name = reasoner.remedy_of[far]
        joint[name] = joint.get(name, np.zeros(table.shape[1])) + chance * table[1 + far]
    total = sum(joint.values(), np.zeros(table.shape[1]))
    names = [name for name in joint if name is not None]
    out = []
    for column in np.argsort(-total)[:most]:
        best = max(names, key=lambda name: float(joint[name][column]), default=None)
        p = float(joint[best][column] / total[column]) if best is not None else 0.0
        out.append(Meaning(_spoken(reasoner, step, int(column)), float(total[column]), best, p))
    return [meaning for meaning in out if meaning.chance > 0.02]


def _spoken(reasoner: Reasoner, step: Step, column: int) -> Value | str:
    if step.kind != "measure":
        return step.outcomes[column]
    edges = reasoner.chances.edges(step)
    unit = step.unit or ""
    if unit == "ohm" and reasoner.chances.computed(step):
        edges = tuple(10**edge for edge in edges)
        if column == len(edges):
            return "OL"
    if column == 0:
        return f"below {_round(edges[0], unit)}"
    if column == len(edges):
        return f"above {_round(edges[-1], unit)}"
    return f"{_round(edges[column - 1], unit)} to {_round(edges[column], unit)}"


def _round(number: float, unit: str) -> str:
    """A bound as one would read it off a meter."""
    if unit == "ohm" and number >= 1000:
        return f"{number / 1000:.0f} kohm"
    return f"{number:.1f} {unit}" if abs(number) < 20 else f"{number:.0f} {unit}"
