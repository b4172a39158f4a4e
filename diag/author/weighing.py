"""Which signs tell a cause from its rivals, how strongly they speak, and which causes would show them too.

Takes chances from where diagnosing takes them: the network where it computes, usual shares elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz, utils

from diag.author.signs import Sign
from diag.circuit.network import Floats
from diag.reason.reasoner import Reasoner
from diag.reason.sight import EXPLAINS

__all__ = ["STRENGTHS", "Scene", "matched_causes"]

STRENGTHS = {"little": 2.0, "clearly": 6.0, "strongly": 20.0}
"""A rule's weight in words: times likelier than usual (common practice, no source)."""
_MOST_CONDITIONS = 3
_WORTH = math.log(1.5)
"""A further condition is taken where the odds gain more than this."""
_OWN, _SURE = 0.9, 0.85
"""Share of an answer's best chance that a cause which only rules know is taken to give it; how often the signs of
a rule are there with its cause, as far as one vehicle can tell (common practice, no source)."""
_PAIRS, _BETTER, _SAME = 5, math.log(10), 0.1


@dataclass(frozen=True)
class Variation:
    """A fault that is there only while a control stands in a position. `gain`: how much better that agrees with
    all that was seen than one that is always there, as a natural logarithm."""

    control: str
    position: str
    gain: float


class Scene:
    """The signs of a job and what was right, as each cause would show them."""

    def __init__(self, reasoner: Reasoner, signs: Sequence[Sign], right: Sequence[Sign] = ()) -> None:
        self.reasoner, self.signs, self.right = reasoner, tuple(signs), tuple(right)
        self.every = (*self.signs, *self.right)
        self._odd = len(self.signs)
        self._every = self._rows(self.every)
        self.rows, self._right = self._every[: self._odd], self._every[self._odd :]
        """(signs, 1 + causes) chance of each sign."""
        self.computed = tuple(reasoner.chances.computed(sign.step) for sign in self.every)

    def _rows(self, signs: Sequence[Sign]) -> Floats:
        count = 1 + len(self.reasoner.causes)
        told = [self.reasoner.chances.told(sign.step, sign.value).rows for sign in signs]
        out: Floats = np.array(told) if told else np.zeros((0, count))
        return out

    # ------------------------------------------------------------ what a cause shows

    def shown_by(self, like: str | None, at: Mapping[str, str] | None = None, held: Collection[int] = ()) -> Floats:
        """(signs and right ones,) chance of each with a cause like a known one, there only in the positions `at`
        (which also held at the answers `held`). None: one that only rules know, taken to show them all."""
        best: Floats = self._every.max(axis=1) if len(self._every) else np.zeros(0)
        if like is None or like not in self.reasoner.index:
            return _OWN * best
        row = 1 + self.reasoner.index[like]
        there = np.array([sign.seq in held or self._stands(sign, at or {}) for sign in self.every], dtype=bool)
        out: Floats = np.where(there, self._every[:, row], self._every[:, 0])
        return out

    def _stands(self, sign: Sign, at: Mapping[str, str]) -> bool:
        controls = self.reasoner.knowledge.controls
        return all(sign.step.operate.get(c, controls.get(c, ("",))[0]) == position for c, position in at.items())

    def agreement(self) -> Floats:
        """(causes,) share of the answers that each cause would show. Where a check was odd once and right once only
        the odd answer counts."""
        odd = {sign.step.id for sign in self.signs}
        keep = [i for i, sign in enumerate(self.every) if i < self._odd or sign.step.id not in odd]
        if not keep:
            return np.zeros(len(self.reasoner.causes))
        rows = self._every[keep]
        out: Floats = (rows[:, 1:] >= EXPLAINS * rows.max(axis=1, keepdims=True)).mean(axis=0)
        return out

    @property
    def fickle(self) -> bool:
        """Whether a check was odd once and right once with nothing done in between."""
        return bool({sign.step.id for sign in self.signs} & {sign.step.id for sign in self.right})

    def explainers(self, most: int) -> list[str]:
        """Derived causes that would show all the signs that are computed, commonest first."""
        keep = [i for i, computed in enumerate(self.computed[: self._odd]) if computed]
        if not keep:
            return []
        rows = self.rows[keep]
        good = (rows[:, 1:] >= EXPLAINS * rows.max(axis=1, keepdims=True)).all(axis=0)
        fit = np.log(np.maximum(rows[:, 1:], 1e-12)).sum(axis=0) + np.log(self.reasoner.prior + 1e-12)
        order = [int(i) for i in np.argsort(-fit, kind="stable") if good[i]]
        found = [self.reasoner.causes[i] for i in order]
        return [cause.id for cause in found if cause.electrical and cause.of is None][:most]

    def variations(self, like: str) -> list[Variation]:
        """Positions of controls in which a fault like this would have to be, the best first: those that are used to
        look at its circuit."""
        if like not in self.reasoner.index or not len(self.rows):
            return []
        knowledge, row = self.reasoner.knowledge, 1 + self.reasoner.index[like]
        pairs = {
            (control, position)
            for sign in (*self.signs, *self.right)
            for check in knowledge.circuits.get(sign.step.circuit, knowledge.circuits["supply"]).checks
            for control in check.operate
            for position in knowledge.controls.get(control, ())
            if control not in ("battery",)
        }
        always = self._fit(row, {})
        found = [Variation(c, p, self._fit(row, {c: p}) - always) for c, p in sorted(pairs)]
        rest = {control: positions[0] for control, positions in knowledge.controls.items()}
        found = [v for v in found if v.gain > _SAME or (v.gain > -_SAME and rest[v.control] != v.position)]
        return sorted(found, key=lambda v: (-v.gain, v.control, v.position))[:_PAIRS]

    def better(self, variation: Variation) -> bool:
        """Whether a variation agrees so much better that it is proposed."""
        return variation.gain > _BETTER

    def _fit(self, row: int, at: Mapping[str, str]) -> float:
        total = 0.0
        for signs, rows in ((self.signs, self.rows), (self.right, self._right)):
            for sign, chances in zip(signs, rows, strict=True):
                total += math.log(max(float(chances[row if self._stands(sign, at) else 0]), 1e-12))
        return total

    # ------------------------------------------------------------ the rule

    def telling(self, mine: Floats, own: Collection[str], *, by_eye: bool) -> tuple[int, ...]:
        """The fewest answers (by place: the signs, then what was right) that tell a cause from all others, at most
        three and at least one of them odd. `mine`: its chances; `own`: causes that are no rivals; `by_eye`: at least
        one that nobody computes, where there is one."""
        if not self._odd:
            return ()
        rivals = self._rivals(own)
        chosen: list[int] = []
        uncomputed = [i for i, computed in enumerate(self.computed[: self._odd]) if not computed]
        odds = -math.inf
        while len(chosen) < min(_MOST_CONDITIONS, len(self.every)):
            left = [i for i in range(len(self.every)) if i not in chosen]
            if not chosen:  # what was right tells a cause only beside what was not
                left = uncomputed if by_eye and uncomputed else left[: self._odd]
            best = max(left, key=lambda i: self._odds([*chosen, i], mine, rivals))
            gained = self._odds([*chosen, best], mine, rivals)
            if chosen and gained - odds < _WORTH:
                break
            chosen.append(best)
            odds = gained
        return tuple(sorted(chosen))

    def _rivals(self, own: Collection[str]) -> Floats:
        out: Floats = self.reasoner.prior.copy()
        out[[self.reasoner.index[cause] for cause in own if cause in self.reasoner.index]] = 0.0
        return out

    def _odds(self, chosen: Sequence[int], mine: Floats, rivals: Floats) -> float:
        others = float((rivals * self._every[list(chosen), 1:].prod(axis=0)).sum())
        return float(np.log(np.maximum(mine[list(chosen)], 1e-12)).sum()) - math.log(max(others, 1e-15))

    def strength(self, chosen: Sequence[int], own: Collection[str]) -> str:
        """How strongly the signs speak for the cause, as a word of STRENGTHS: from how often they are met with
        others. Those that nobody computes count, for only these are weighed by a rule."""
        counted = [i for i in chosen if not self.computed[i]] or list(chosen)
        rivals = self._rivals(own)
        if not counted or rivals.sum() <= 0:
            return "clearly"
        otherwise = float((rivals * self._every[counted, 1:].prod(axis=0)).sum() / rivals.sum())
        ratio = math.log(_SURE / max(otherwise, 1e-3))
        return min(STRENGTHS, key=lambda word: abs(math.log(STRENGTHS[word]) - ratio))

    def lookalikes(self, chosen: Sequence[int], own: Collection[str], most: int = 2) -> list[str]:
        """Titles of the likeliest other causes that show these signs as well."""
        if not chosen:
            return []
        rows = self._every[list(chosen)]
        joint = self._rivals(own) * rows[:, 1:].prod(axis=0)
        good = (rows[:, 1:] >= EXPLAINS * rows.max(axis=1, keepdims=True)).all(axis=0)
        order = [int(i) for i in np.argsort(-joint, kind="stable") if joint[i] > 0 and good[i]]
        return [self.reasoner.causes[i].title for i in order if self.reasoner.causes[i].of is None][:most]


def matched_causes(scene: Scene, text: str, most: int) -> list[str]:
    """Derived causes that a person's own words may mean and that would show what was seen, best first."""
    reasoner = scene.reasoner
    said = utils.default_process(text)
    explained = scene.agreement()
    scored = []
    for i, cause in enumerate(reasoner.causes):
        if cause.of is None:
            words = utils.default_process(f"{cause.title} {cause.subject.replace('-', ' ')}")
            alike = fuzz.token_set_ratio(said, words) / 100
            scored.append((-(alike + 0.7 * float(explained[i])), -cause.frequency, cause.id))
    return [name for _, _, name in sorted(scored)[:most]]
