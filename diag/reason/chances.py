"""The chance of each answer to each step, given each cause: from exactly one place per step.

Where the network computes the step: the prediction times the table of misjudging. Otherwise: the
check's usual share of that answer moved by the weights of rules (see `ruled`). Knows nothing of which
causes are likely or of what to ask.

Rows: 0 healthy, then one a cause; the flat chance of a cause that is not in the model is separate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from diag.circuit import observe
from diag.circuit.behaviour import Shown
from diag.circuit.network import Floats
from diag.circuit.observe import LOOKS
from diag.circuit.predict import HEALTHY, Predictor
from diag.circuit.probing import Sets
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.targets import part_of_target
from diag.reason.metered import Metered, wants_instrument
from diag.reason.misread import confusion, looks_confusion
from diag.reason.ruled import RuledChances, weighed
from diag.reason.seldom import Seldom
from diag.reason.steps import BODY, Step, Value, fits
from diag.reason.tables import Folded, folded, noisy_or
from diag.texts import t

__all__ = ["Chances", "Told"]

_VOLT_EDGES = (-0.5, 0.15, 0.6, 1.5, 3.0, 5.0, 7.0, 9.0, 10.2, 11.0, 11.6, 12.1, 12.9, 13.8, 15.1)
_AMP_EDGES = (-0.3, 0.05, 0.15, 0.3, 0.6, 1.0, 1.6, 2.4, 3.2, 4.5, 6.0, 8.0, 12.0)
_LOG_OHM_EDGES = (-0.05, 0.3, 0.7, 1.1, 1.5, 2.0, 3.0, 4.0, 5.9)
_LOGISTIC = math.sqrt(3) / math.pi
_VOLT_RANGE, _AMP_RANGE, _DECADES = 15.0, 20.0, 7.0
_TOLD_RIGHT = 0.94
"""How far a complaint in a few words can be trusted; the rest says nothing."""
_ANY_TOLD = 0.06
"""Chance of each complaint where what is told does not fit the cause: of the same circuit; from elsewhere every
complaint that is listed is as likely as any other."""
_TOLD_KEPT = 2048
"""Answers whose chances are kept: the same are given again and again."""
_MOVES = 0.02
"""A cause changes what a step shows where so much of the chances of its answers lies elsewhere."""


_Answered = tuple[str, Value, float | None, tuple[bool, ...]]
"""A step, its answer, the battery volts that it is judged by, which rules hold beside it."""


def _logistic(found: Floats) -> Floats:
    out: Floats = 0.5 * (1 + np.tanh(found / 2))
    return out


@dataclass(frozen=True)
class Told:
    """Chance of one answer: `rows` (1 + causes,) and the flat chance for what is not in the model."""

    rows: Floats
    flat: float


class Chances:
    """Answers' chances for one vehicle. `predictor` None: nothing is computed (the loom is not
    described). `rules` empty: no rule speaks. `causes`: ids in the order of the rows. `held`: the parts that each
    keeps from moving. `at_times`: causes, by index from 0, that come and go: (the cause it is like while it is
    there, chance that it is)."""

    def __init__(
        self,
        knowledge: Knowledge,
        predictor: Predictor | None,
        rules: Sequence[schema.Rule],
        causes: Sequence[str],
        spreads: Sequence[float],
        held: Sequence[frozenset[str]],
        at_times: Mapping[int, tuple[int, float]] | None = None,
    ) -> None:
        self.seldom = Seldom(at_times or {})
        self.knowledge, self.predictor = knowledge, predictor
        self.metered = Metered(predictor) if predictor is not None else None
        self.causes = tuple(causes)
        self._index = {cause: i + 1 for i, cause in enumerate(self.causes)}
        self._spread = np.array([0.0, *spreads])
        self._held = (frozenset[str](), *held)
        self._limits = dict(knowledge.vocabulary.light_limits)
        self._floor = knowledge.vocabulary.misread_floor
        self._ruled = RuledChances(rules, {cause: i for i, cause in enumerate(self.causes)}, self._near)
        self._bounds: dict[str, tuple[float, ...]] = {}
        self._near_circuit: dict[str, np.ndarray] = {}
        self._folded: dict[str, Folded] = {}
        self._exact: dict[str, Floats] = {}
        self._by_rules: dict[tuple[str, tuple[bool, ...]], Floats] = {}
        self._moves: dict[str, np.ndarray] = {}
        self._told: dict[_Answered, Told] = {}
        self._computed: dict[str, tuple[Step, bool]] = {}
        misread = knowledge.vocabulary.misread
        self._look_confusion = looks_confusion(misread.get("light", {}), misread.get("rhythm", {}))

    def without(self, rule_id: str) -> Chances:
        """The same with one rule not there."""
        out = copy(self)
        out._ruled, out._by_rules, out._moves, out._told = self._ruled.without(rule_id), {}, {}, {}
        return out

    # ------------------------------------------------------------ what is computed

    def computed(self, step: Step) -> bool:
        """Whether the network, not the rules, says what this step shows."""
        known = self._computed.get(step.id)
        if known is None or known[0] is not step:
            known = self._computed[step.id] = step, self._is_computed(step)
        return known[1]

    def _is_computed(self, step: Step) -> bool:
        if self.predictor is None or step.kind == "choose":
            return False
        if wants_instrument(step):
            return True
        part = part_of_target(self.knowledge, step.target)
        return part is not None and bool(observe.answers_of(part.kind, looked=step.kind == "look"))

    def _shown_words(self, step: Step, shown: Shown, spread: Floats, held: Floats) -> Floats:
        """(rows, outcomes) before any misjudging."""
        assert self.predictor is not None
        part = part_of_target(self.knowledge, step.target)
        assert part is not None
        return observe.part_words(
            shown,
            self.predictor.network,
            step.target or "",
            part.kind,
            spread,
            self._limits,
            self.knowledge.vehicle.system_v,
            held,
            looked=step.kind == "look",
        )

    # ------------------------------------------------------------ tables for choosing

    def outcomes(self, step: Step) -> int:
        """How many different answers a step is counted to have."""
        if step.kind != "measure":
            return len(step.outcomes)
        return len(self.edges(step)) + 1

    def edges(self, step: Step) -> tuple[float, ...]:
        """Bounds that part a reading into answers (log10 of ohms)."""
        if not self.computed(step):
            return self._rule_edges(step)
        return {"V": _VOLT_EDGES, "A": _AMP_EDGES, "ohm": _LOG_OHM_EDGES}[step.unit or "V"]

    def _rule_edges(self, step: Step) -> tuple[float, ...]:
        """Every bound that a rule or a limit sets on this check."""
        if step.id in self._bounds:
            return self._bounds[step.id]
        found: set[float] = set()
        for rule in self.knowledge.rules.values():
            for condition in rule.when:
                if condition.check == step.id:
                    bounds = (condition.below, condition.above, *(condition.between or ()))
                    found.update(bound for bound in bounds if bound is not None)
        if step.limits is not None:
            found.update(bound for bound in (step.limits.min, step.limits.max) if bound is not None)
        self._bounds[step.id] = tuple(sorted(found)) or (1.0,)
        return self._bounds[step.id]

    def table(self, step: Step, context: Mapping[str, Value] | None = None) -> Floats:
        """(1 + causes, outcomes) chance of each answer, misjudging included. `context`: other answers, by
        check, that rules may build on; it changes nothing where the step is computed. Test lamps are
        taken the quick way, to choose among many; see `told` for the answer that was given."""
        if self.computed(step):
            if step.id not in self._folded:
                self._folded[step.id] = self._fold(step)
            rows, place = self._folded[step.id]
            return rows[place]
        key = (step.id, self._ruled.holding(step, context or {}))
        if key not in self._by_rules:
            values = _middles(self.edges(step)) if step.kind == "measure" else list(step.outcomes)
            chance = self._ruled.table(step, values, context or {})
            self._by_rules[key] = self.seldom.mixed((1 - self._floor) * chance + self._floor / len(values))
        return self._by_rules[key]

    def folded(self, step: Step) -> Folded:
        """`table` as its different rows, the healthy one first, and which of them each row is: most causes change
        nothing of most steps."""
        table = self.table(step)
        return self._folded[step.id] if step.id in self._folded else folded(table)

    def _fold(self, step: Step) -> Folded:
        assert self.predictor is not None
        stirred = self.predictor.stirred(step.operate) | (self._kept_still(step, None) > 0)
        if (
            step.unit not in ("V", "A")
            and wants_instrument(step)
            and BODY not in (step.red or BODY, step.black or BODY)
        ):
            stirred[:] = True  # an instrument between two points sends current where none is without it
        stirred[0] = True
        rows = np.nonzero(self.seldom.joined(stirred))[0]
        place = np.zeros(1 + len(self.causes), dtype=np.int32)
        place[rows] = np.arange(len(rows))
        return self.seldom.mixed(self._computed_table(step, rows=rows), rows), place

    def answers(self, step: Step) -> Floats:
        """`table` for an answer that was given: instruments are solved in the network."""
        if not (self.computed(step) and wants_instrument(step)):
            return self.table(step)
        if step.id not in self._exact:
            self._exact[step.id] = self.seldom.mixed(self._computed_table(step, quick=False))
        return self._exact[step.id]

    def moves(self, step: Step) -> np.ndarray:
        """(causes,) True where a cause changes what a step shows, whatever the answer."""
        if step.id not in self._moves:
            table = self.table(step)
            self._moves[step.id] = 0.5 * np.abs(table[1:] - table[:1]).sum(axis=1) > _MOVES
        return self._moves[step.id]

    def forget_sets(self) -> None:
        """Solve sets of causes anew when they are next asked for: see `Predictor.forget_sets`."""
        if self.metered is not None:
            self.metered.probing.forget_sets()

    def _near(self, step: Step) -> np.ndarray:
        """Causes that may bear on a step that nobody computes: of its circuit, what it needs, and the supply."""
        if step.circuit not in self._near_circuit:
            circuits = {step.circuit, "supply", "shared"}
            queue = [step.circuit]
            while queue:
                found = self.knowledge.circuits.get(queue.pop())
                for name in found.needs if found is not None else ():
                    if name not in circuits:
                        circuits.add(name)
                        queue.append(name)
            owner = self.knowledge.circuit_of
            self._near_circuit[step.circuit] = np.array(
                [owner.get(cause.split(".")[0], owner.get(cause, step.circuit)) in circuits for cause in self.causes]
            )
        return self._near_circuit[step.circuit]

    def _computed_table(
        self, step: Step, sets: Sets | None = None, rows: np.ndarray | None = None, *, quick: bool = True
    ) -> Floats:
        some = slice(None) if rows is None else rows
        spread = self._scatter(step, sets)[some]
        if step.kind == "measure":
            assert self.metered is not None
            readings = self.metered.readings(step, spread, sets, rows, quick=quick)
            mean = readings.mean
            if step.unit == "V" and not self.tells_supply(step) and step.operate.get("engine") != "running":
                rest = self._rest_v(sets)  # the battery is measured before, and all is judged by it
                mean = mean * rest[0] / rest[some]
            scaled = (np.array(self.edges(step))[None, :] - mean[:, None]) / (readings.width[:, None] * _LOGISTIC)
            below = np.concatenate([np.zeros((len(scaled), 1)), _logistic(scaled), np.ones((len(scaled), 1))], axis=1)
            chance = np.diff(below, axis=1)
        else:
            chance = self._true_words(step, spread, sets, rows, quick) @ self._confusion(step)
        chance = np.clip(chance, 0.0, None)
        chance /= chance.sum(axis=1, keepdims=True)
        count = chance.shape[1]
        out: Floats = (1 - self._floor) * chance + self._floor / count
        return out

    def _true_words(
        self, step: Step, spread: Floats, sets: Sets | None, rows: np.ndarray | None, quick: bool
    ) -> Floats:
        assert self.metered is not None
        if wants_instrument(step):
            return self.metered.words(step, spread, self._limits, sets, rows, quick=quick)
        shown = self.metered.probing.shown(step.operate, sets, rows)
        some = slice(None) if rows is None else rows
        return self._shown_words(step, shown, spread, self._kept_still(step, sets)[some])

    def _scatter(self, step: Step, sets: Sets | None) -> Floats:
        """Each row's own scatter, none of what is not there under the step's operate; of several causes the larger."""
        spread: Floats = self._spread * self._there(step)
        if sets is None:
            return spread
        return np.array([0.0, *(max(spread[1 + i] for i in members) for members in sets)])

    def _kept_still(self, step: Step, sets: Sets | None) -> Floats:
        """(rows,) 1 where the very part that is looked at or listened to cannot move."""
        part, there = (step.target or "").split(".")[0], self._there(step)
        if sets is None:
            return np.array([float(part in held and here) for held, here in zip(self._held, there, strict=True)])
        return np.array(
            [0.0, *(float(any(part in self._held[1 + i] and there[1 + i] for i in members)) for members in sets)]
        )

    def _there(self, step: Step) -> np.ndarray:
        """(1 + causes,) which of them are there under the step's operate."""
        assert self.predictor is not None
        return self.predictor.there(step.operate)

    def _confusion(self, step: Step) -> Floats:
        if step.outcomes == LOOKS:
            return self._look_confusion
        words = [str(outcome) for outcome in step.outcomes]
        misread = self.knowledge.vocabulary.misread
        if step.kind != "look":
            return confusion(words, misread.get("sound", {}))
        return confusion(words, misread.get("needle" if step.outcomes == observe.NEEDLES else "motor", {}))

    # ------------------------------------------------------------ the chance of one answer

    def told(
        self, step: Step, value: Value, supply_v: float | None = None, context: Mapping[str, Value] | None = None
    ) -> Told:
        """Chance of this answer for every row. `supply_v`: the battery volts measured in this job, which
        all predicted volts are scaled to. Raises ValueError for an answer the step does not have."""
        holding = () if self.computed(step) else self._ruled.holding(step, context or {})
        key = (step.id, value, supply_v, holding)
        told = self._told.get(key)
        if told is None:
            told = self._told_anew(step, value, supply_v, context)
            told.rows.flags.writeable = False  # shared by all who ask
            self._told[key] = told
            while len(self._told) > _TOLD_KEPT:
                del self._told[next(iter(self._told))]
        return told

    def _told_anew(self, step: Step, value: Value, supply_v: float | None, context: Mapping[str, Value] | None) -> Told:
        if step.kind == "measure" and self.computed(step):
            told = self._density(step, value, None, supply_v)
            return Told(self.seldom.mixed(told.rows), told.flat)
        table = self.answers(step) if self.computed(step) else self.table(step, context)
        return Told(table[:, self.column(step, value)].copy(), 1.0 / table.shape[1])

    def told_sets(
        self, step: Step, value: Value, sets: Sequence[frozenset[int]], supply_v: float | None = None
    ) -> Floats:
        """The same for sets of causes (indices from 0) present together, solved exactly, (sets,)."""
        if not self.computed(step) or not sets:
            raise ValueError(t("only computed steps say what several causes show together"))
        shown = self.seldom.states(sets)
        alone = self.told(step, value, supply_v).rows
        rows = np.array([alone[1 + min(state)] for state in shown])  # what is there alone is in the table
        solved = [n for n, state in enumerate(shown) if len(state) > 1]
        if solved and step.kind == "measure":
            rows[solved] = self._density(step, value, [shown[n] for n in solved], supply_v).rows[1:]
        elif solved:
            table = self._computed_table(step, [shown[n] for n in solved], quick=False)
            rows[solved] = table[1:, self.column(step, value)]
        return self.seldom.mixed_sets(sets, shown, np.concatenate([alone[:1], rows]))

    def column(self, step: Step, value: Value) -> int:
        """Which counted answer a value is. Raises ValueError."""
        if step.kind == "measure":
            number = float(value)  # type: ignore[arg-type]
            if step.unit == "ohm" and self.computed(step):
                number = math.log10(min(max(number, 1e-3), observe.OPEN_LINE_OHM))
            return int(np.searchsorted(np.array(self.edges(step)), number))
        return step.outcomes.index(value)

    def _density(self, step: Step, value: Value, sets: Sets | None, supply_v: float | None) -> Told:
        assert self.metered is not None
        readings = self.metered.readings(step, self._scatter(step, sets), sets)
        number, mean = float(value), readings.mean  # type: ignore[arg-type]
        if readings.logarithmic:
            number = math.log10(min(max(number, 1e-3), observe.OPEN_LINE_OHM))
        elif supply_v is not None and step.unit == "V" and step.operate.get("engine") != "running":
            mean = mean * supply_v / self._rest_v(sets)
        wide = 1.0 / {"V": _VOLT_RANGE, "A": _AMP_RANGE}.get(step.unit or "V", _DECADES)
        size = readings.width * _LOGISTIC
        away = np.minimum(np.abs(number - mean) / size, 60.0)
        density = np.exp(-away) / (size * (1 + np.exp(-away)) ** 2)
        return Told((1 - self._floor) * density + self._floor * wide, wide)

    def shown(self, step: Step, members: frozenset[int] = frozenset()) -> Value | None:
        """What a step shows with exactly these causes (indices from 0) present, at the battery volts of the
        model; none: on a sound vehicle. None where nobody computes it or it means nothing."""
        if not self.computed(step):
            return None
        assert self.metered is not None
        row, sets = (1 + next(iter(members)), None) if len(members) == 1 else (0, None)
        if len(members) > 1:
            row, sets = 1, [members]
        if step.kind != "measure":
            table = self.answers(step) if sets is None else self._computed_table(step, sets, quick=False)
            return step.outcomes[int(table[row].argmax())]
        number = self.metered.number(step, row, sets)
        return None if math.isnan(number) else number

    def true_words(self, step: Step, members: frozenset[int] = frozenset()) -> Floats:
        """(outcomes,) the chance of each word for a step that is answered in words, with exactly these causes
        (indices from 0) present and before anybody misjudges it: between two words the edge is soft. Raises
        ValueError where nobody computes it."""
        if not self.computed(step) or step.kind == "measure":
            raise ValueError(t("{step} is not computed, or is not answered in words", step=step.id))
        rows, sets = (np.array([HEALTHY, *(1 + i for i in members)]), None) if len(members) < 2 else (None, [members])
        some = slice(None) if rows is None else rows
        words = self._true_words(step, self._scatter(step, sets)[some], sets, rows, False)[-1]
        out: Floats = words / words.sum()
        return out

    def healthy_reading(self, step: Step) -> float:
        """What a meter shows on a sound vehicle, in the step's unit; nan where that means nothing.

        Raises ValueError where not computed.
        """
        if self.predictor is None or step.kind != "measure" or not self.computed(step):
            raise ValueError(t("{step} is not computed", step=step.id))
        assert self.metered is not None
        readings = self.metered.readings(step, self._spread, quick=True)
        mean = float(readings.mean[HEALTHY])
        if readings.senseless is not None and readings.senseless[HEALTHY]:
            return math.nan
        return 10**mean if readings.logarithmic else mean

    def healthy_range(self, step: Step, supply_v: float | None = None) -> tuple[float, float] | None:
        """Readings of nearly every sound vehicle, in the unit, on a battery of `supply_v` volts; None for none."""
        if step.kind != "measure" or not self.computed(step) or self.metered is None:
            return None
        readings = self.metered.readings(step, self._spread, quick=True)
        if readings.senseless is not None and readings.senseless[HEALTHY]:
            return None
        mean, away = float(readings.mean[HEALTHY]), 2.0 * float(readings.width[HEALTHY])
        if readings.logarithmic:
            return 10 ** (mean - away), 10 ** (mean + away)
        if supply_v is not None and step.unit == "V" and step.operate.get("engine") != "running":
            mean *= supply_v / float(self._rest_v()[HEALTHY])
        return mean - away, mean + away

    def tells_supply(self, step: Step) -> bool:
        """Whether a step measures the battery at rest, by which all other volts are judged."""
        if step.red is None or not step.red.endswith(".B+") or step.unit != "V" or step.operate:
            return False
        return isinstance(self.knowledge.parts.get(step.red.split(".")[0]), schema.BatteryPart)

    def _rest_v(self, sets: Sets | None = None) -> Floats:
        """(rows,) battery volts at rest, in V, that all other volts of a row were predicted with."""
        assert self.predictor is not None and self.metered is not None
        batteries = [name for name, part in self.knowledge.parts.items() if isinstance(part, schema.BatteryPart)]
        if not batteries:
            return np.array([self.knowledge.vehicle.system_v])
        shown, network = self.metered.probing.shown({}, sets), self.predictor.network
        plus, minus = (network.node(f"{batteries[0]}.{post}") for post in ("B+", "B-"))  # either may be the body's
        rest = np.abs(shown.volts[:, plus] - shown.volts[:, minus])
        out: Floats = np.where(rest > 0.5 * rest[0], rest, rest[0])  # a loose post leaves nothing to measure by
        return out

    # ------------------------------------------------------------ complaints

    def complaints(self, symptoms: Sequence[schema.Symptom], steps: Mapping[str, Step]) -> dict[str, Told]:
        """For each complaint, the chance that someone with each cause makes it.

        Any of the alternatives that it may mean must hold; of several complaints that hold a person
        makes one, so a fault that darkens everything is seldom told as a dead horn.
        """
        holds = {symptom.id: self._holds(symptom, steps) for symptom in symptoms}
        crowd = np.maximum(1.0, sum(holds.values(), np.zeros(1 + len(self.causes))))
        owner = self.knowledge.circuit_of
        circuits = [owner.get(cause.split(".")[0], owner.get(cause)) for cause in self.causes]
        rare = min(_ANY_TOLD, 1.0 / max(len(symptoms), 1))  # one of all that are listed
        # what comes and goes is complained of while it is there
        out = {}
        for name, found in holds.items():
            any_ = np.array([rare, *(_ANY_TOLD if circuit == owner[name] else rare for circuit in circuits)])
            told = _TOLD_RIGHT * found / crowd + (1 - _TOLD_RIGHT) * any_
            out[name] = Told(self.seldom.there(told), 1.5 * rare)
        return out

    def _holds(self, symptom: schema.Symptom, steps: Mapping[str, Step]) -> Floats:
        ways: list[Floats] = []
        for alternative in symptom.shows:
            holds = np.ones(1 + len(self.causes))
            for condition in alternative:
                step = steps.get(condition.check or "")
                if step is not None:
                    holds *= self._meets(step, condition)
            # a complaint is made of what stands out, not of what a sound vehicle is now and then said to show
            ways.append(np.maximum(0.0, (holds - holds[HEALTHY]) / max(1 - holds[HEALTHY], 1e-9)))
        return noisy_or(ways) + np.zeros(1 + len(self.causes))

    def _meets(self, step: Step, condition: schema.Condition) -> Floats:
        """(rows,) chance that an answer meets a condition."""
        table = self.table(step)
        values: Sequence[Value] = (
            step.outcomes
            if step.kind != "measure"
            else _middles(
                tuple(10**edge for edge in self.edges(step))
                if step.unit == "ohm" and self.computed(step)
                else self.edges(step)
            )
        )
        here = np.array([fits(condition, value) for value in values])
        out: Floats = table[:, here].sum(axis=1)
        return out

    def met(self, rule: schema.Rule, steps: Mapping[str, Step]) -> Floats | None:
        """(1 + causes,) chance that all conditions of a rule are met; None where not all its checks are computed."""
        holds = np.ones(1 + len(self.causes))
        for condition in rule.when:
            step = steps.get(condition.check or "")
            if step is None or not self.computed(step):
                return None
            holds *= self._meets(step, condition)
        return holds

    def direction(self, rule: schema.Rule, steps: Mapping[str, Step]) -> Mapping[str, float]:
        """For a rule whose checks are all computed: for each cause it speaks of, chance of all its
        conditions with the cause present over the mean of all causes."""
        holds = self.met(rule, steps)
        if holds is None:
            return {}
        mean = float(holds[1:].mean())
        spoken = [weighed(effect)[0] for effect in rule.then]
        return {cause: float(holds[self._index[cause]]) / max(mean, 1e-12) for cause in spoken if cause in self._index}


def _middles(edges: Sequence[float]) -> list[Value]:
    """A number inside each interval that the edges part."""
    if not edges:
        return [0.0]
    inner = [0.5 * (low + high) for low, high in zip(edges[:-1], edges[1:], strict=True)]
    return [edges[0] - 1.0, *inner, edges[-1] + 1.0]
