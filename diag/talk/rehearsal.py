"""A simulated fitter at a vehicle with a hidden fault: answers asks from the computed truth.

Uses predictions only, never chances of misjudging or beliefs; where the network cannot say what a
choice would show, the fitter answers what the rules' own weights hold for that cause, else `not-sure`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

import numpy as np

from diag.circuit import observe
from diag.circuit.behaviour import Shown
from diag.circuit.predict import HEALTHY
from diag.knowledge import schema
from diag.knowledge.targets import part_of_target
from diag.reason.metered import wants_instrument
from diag.reason.operates import plain
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step, Value, fits
from diag.texts import t

__all__ = ["SimulatedFitter"]

Object = dict[str, Any]
_SAYS = 3.0
"""A choice answer is given for a cause that makes it this many times likelier than usual."""


class SimulatedFitter:
    """Answers as someone would at a vehicle with these causes. `causes` are ids; remedies cure them. `luck`
    says at each answer whether what comes and goes is there; without it, it always is."""

    def __init__(self, reasoner: Reasoner, causes: Sequence[str], luck: Random | None = None) -> None:
        if reasoner.predictor is None:
            raise ValueError(t("a rehearsal needs the wiring"))
        self.reasoner, self.predictor = reasoner, reasoner.predictor
        self.left = [reasoner.index[cause] for cause in causes]
        self._luck = luck
        self._seen: dict[tuple[int, ...], dict[str, Value]] = {}

    @property
    def cured(self) -> bool:
        """Whether nothing is wrong any more."""
        return not self.left

    def remedy(self, remedy_id: str) -> bool:
        """Carry out a remedy; True where it cured something."""
        before = len(self.left)
        self.left = [i for i in self.left if self.reasoner.remedy_of[i] != remedy_id]
        return len(self.left) < before

    # ------------------------------------------------------------ what is there to see

    def truth(self, step: Step) -> Value | None:
        """What this vehicle shows at a step; None where only rules could say and none does."""
        there, all_left = [i for i in self.left if self._there(i)], self.left
        self.left = there
        try:
            return self._shows(step)
        finally:
            self.left = all_left

    def _there(self, cause: int) -> bool:
        return self._luck is None or self._luck.random() < self.reasoner.causes[cause].shows

    def _shows(self, step: Step) -> Value | None:
        if not self.reasoner.chances.computed(step):
            return self._chosen(step)
        net, knowledge = self.predictor.network, self.reasoner.knowledge
        none = np.zeros(2)
        limits, system_v = dict(knowledge.vocabulary.light_limits), knowledge.vehicle.system_v
        if wants_instrument(step):
            return self._read(step, limits)
        shown = self._shown(step)
        part = part_of_target(knowledge, step.target)
        if part is None:
            return None
        target = (step.target or "").split(".")[0]
        there = self.predictor.there(step.operate)
        held = np.array([0.0, float(any(there[1 + i] and target in self.reasoner.held(i) for i in self.left))])
        words = observe.part_words(
            shown, net, step.target or "", part.kind, none, limits, system_v, held, looked=step.kind == "look"
        )
        return step.outcomes[int(words[1].argmax())]

    def _shown(self, step: Step) -> Shown:
        """Row 0 healthy, row 1 this vehicle."""
        healthy = self.predictor.shown(step.operate).rows([HEALTHY])
        if not self.left:
            return Shown.stacked([healthy, healthy])
        if len(self.left) == 1:
            return self.predictor.shown(step.operate).rows([HEALTHY, 1 + self.left[0]])
        return Shown.stacked([healthy, self.predictor.shown_sets(step.operate, [frozenset(self.left)])])

    def _read(self, step: Step, limits: Mapping[str, float]) -> Value | None:
        """What an instrument shows on this vehicle; None where the number means nothing."""
        metered = self.reasoner.chances.metered
        assert metered is not None
        row, sets = 0, None
        if len(self.left) == 1:
            row = 1 + self.left[0]
        elif self.left:
            row, sets = 1, [frozenset(self.left)]
        if step.kind != "measure":
            rows = 1 + (len(sets) if sets is not None else len(self.reasoner.causes))
            return step.outcomes[int(metered.words(step, np.zeros(rows), limits, sets)[row].argmax())]
        number = metered.number(step, row, sets)
        if np.isnan(number):
            return None
        if step.unit == "ohm":
            return number if np.isinf(number) else float(f"{number:.3g}")
        return round(number, 2)

    def _chosen(self, step: Step) -> Value | None:
        if step.kind != "choose":
            return None
        table = self.reasoner.chances.table(step, self._context())
        usual = table[HEALTHY]
        for i in self.left:
            lift = table[1 + i] / usual
            if lift.max() >= _SAYS:
                return step.outcomes[int((table[1 + i] * (lift >= _SAYS)).argmax())]
        return step.outcomes[int(usual.argmax())]

    def _context(self) -> dict[str, Value]:
        """Everything that looks, sounds and meters show now, for rules that build on it."""
        key = tuple(self.left)
        if key not in self._seen:
            found = {
                step.id: self.truth(step)
                for step in self.reasoner.steps.values()
                if not step.generated and self.reasoner.chances.computed(step)
            }
            self._seen[key] = {check: value for check, value in found.items() if value is not None}
        return self._seen[key]

    # ------------------------------------------------------------ how the job begins, and answers

    def complaint(self) -> str | None:
        """The first symptom of the files that this vehicle shows; else a circuit with something odd to
        see; None where no look or listen shows anything."""
        knowledge = self.reasoner.knowledge
        for symptom in knowledge.symptoms.values():
            if any(all(self._meets(condition) for condition in alternative) for alternative in symptom.shows):
                return symptom.id
        for step in self.reasoner.steps.values():
            if not step.generated and step.kind in ("look", "listen") and plain(step.operate):
                table = self.reasoner.chances.table(step)
                if self.truth(step) != step.outcomes[int(table[HEALTHY].argmax())]:
                    return f"circuit:{step.circuit}"
        return None

    def _meets(self, condition: schema.Condition) -> bool:
        step = self.reasoner.steps.get(condition.check or "")
        if step is None or not self.reasoner.chances.computed(step):
            added = step is not None and any(not self.reasoner.causes[i].electrical for i in self.left)
            if step is None or not added:
                return False
        found = self.truth(step)
        return found is not None and fits(condition, found)

    def answer(self, ask: Object) -> Object:
        """The input that answers an ask."""
        if ask["check"] == "start":
            return {
                "answer": ask["id"],
                "value": self.complaint() or f"circuit:{next(iter(self.reasoner.knowledge.circuits))}",
            }
        if ask["kind"] == "do":
            return {"answer": ask["id"], "value": "done"}
        found = self.truth(self.reasoner.steps[ask["check"]])
        if found is None:
            return {"answer": ask["id"], "value": "not-sure"}
        if isinstance(found, tuple):
            return {"answer": ask["id"], "value": {"light": found[0], "rhythm": found[1]}}
        return {"answer": ask["id"], "value": "OL" if found == float("inf") else found}
