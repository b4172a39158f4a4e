"""From standing findings to beliefs: prior, chances, rules and posterior of one vehicle put together.

A pure function of knowledge and findings; knows nothing of journals, screens or wording.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from diag.circuit.faults import Cause, derive_causes
from diag.circuit.network import Floats
from diag.circuit.parts import build_network
from diag.circuit.predict import Predictor
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.bridging import BRIDGED, UNPLUGGED
from diag.knowledge.taught import times_met
from diag.reason.belief import Evidence, Judged, Posterior, Treatment, weigh
from diag.reason.chances import Chances, Told
from diag.reason.choose import Ranked, Situation, StepTable, rank
from diag.reason.forward import Fact, Firing, Matcher, Outcome, forward
from diag.reason.gathered import contexts, counting
from diag.reason.limited import series_lamp_steps
from diag.reason.metered import wants_instrument
from diag.reason.operates import points_of
from diag.reason.remedies import plan_remedies
from diag.reason.ruled import weighed
from diag.reason.steps import SERIES_LAMP, Deed, Finding, Step, Value, all_steps, own_step

__all__ = ["Beliefs", "Reasoner", "Treated", "kept_still"]

_HEALTHY_PRIOR, _COMPLAINT_PRIOR = 1.0, 0.05
"""Prior of nothing wrong, against 1 for some single cause: when proving, and after a complaint."""
_CHANGED_TAKES = 0.3
"""Chance that an unnamed change by the fitter cured whatever was wrong; common practice, no source."""
_MISSES = 0.05
"""Chance that a remedy did not take."""
_KEPT_STILL = ("seized", "stuck")
"""Modes of a part that then neither sounds nor moves, whatever its feed."""
_SHOWS = 0.35
_WEIGHED_KEPT, _COLUMNS_KEPT = 8, 8192
_FIRED_KEPT = 256
"""What the rules say of so many groups of answers is kept: a note or a repeat changes nothing of it."""
_OPEN = 0.5
"""A problem whose signs were less likely misread, or cured, than this is still to be solved."""


@dataclass(frozen=True)
class Treated:
    """A remedy carried out (None: something unnamed was changed); it begins `period`."""

    period: int
    remedy: str | None


@dataclass(frozen=True)
class Beliefs:
    """What follows from the findings. `ranking`: remedies with the chance that each is needed now,
    likeliest first. `firings` of the current period, `established` words, checks that fired rules ask
    for, cautions they warn of or stop for, with the rule that does. `context`: answers of the period by
    check. `evidence`: what the posterior was weighed from."""

    posterior: Posterior
    ranking: tuple[tuple[str, float], ...]
    firings: tuple[Firing, ...]
    established: frozenset[str]
    asked_for: Mapping[str, str]
    warnings: Mapping[str, str]
    stops: Mapping[str, str]
    judged: tuple[tuple[Finding, Told], ...]
    context: Mapping[str, Value]
    evidence: Evidence


class Reasoner:
    """Weighs causes and ranks steps for one vehicle.

    `predictor` None: the loom is not described and rules carry the belief alone. `with_rules` False:
    the network carries it alone.
    """

    def __init__(
        self, knowledge: Knowledge, predictor: Predictor | None, matcher: Matcher, *, with_rules: bool = True
    ) -> None:
        self.knowledge, self.predictor, self.matcher = knowledge, predictor, matcher
        self.rules = tuple(r for r in knowledge.rules.values() if r.state != "retired") if with_rules else ()
        self._by_circuit: dict[str, list[schema.Rule]] = {circuit: [] for circuit in knowledge.circuits}
        for rule in self.rules:
            self._by_circuit[knowledge.circuit_of[rule.id]].append(rule)
        self._fired: dict[frozenset[Fact], Outcome] = {}
        self._posteriors: dict[object, tuple[Evidence, Posterior]] = {}
        self._columns: dict[tuple[str, Value], int] = {}
        self.causes = self._known_causes()
        self.index = {cause.id: i for i, cause in enumerate(self.causes)}
        limited = series_lamp_steps(knowledge) if predictor is not None else ()
        self.steps: dict[str, Step] = {step.id: step for step in (*all_steps(knowledge, predictor), *limited)}
        self._by_deed = {Deed.of(step).key: step for step in reversed(self.steps.values())}
        self.chances = Chances(
            knowledge,
            predictor,
            self.rules,
            [c.id for c in self.causes],
            [c.spread for c in self.causes],
            [self.held(i) for i in range(len(self.causes))],
            {
                i: (self.index[cause.of], cause.shows)
                for i, cause in enumerate(self.causes)
                if cause.of in self.index and cause.shows < 1
            },
        )
        frequency = np.array([cause.frequency for cause in self.causes])
        self.published: Floats = frequency / frequency.sum()
        """The prior without what was learned."""
        met = frequency * [times_met(knowledge, c.kind, c.mode, c.subject, c.id) for c in self.causes]
        self.prior: Floats = met / met.sum()
        self.remedies = plan_remedies(knowledge, self.causes, self._what_shows())
        self.remedy_of = {self.index[cause]: plan.id for plan in self.remedies.values() for cause in plan.cures}
        self.complaints = self.chances.complaints(list(knowledge.symptoms.values()), self.steps)
        self._limited_steps = [step for step in self.steps.values() if step.target == SERIES_LAMP]
        self._limited_table: StepTable | None = None
        computed = [s for s in self.steps.values() if self.chances.computed(s) and s.target != SERIES_LAMP]
        for step in sorted(computed, key=lambda step: operate_key(step.operate)):  # what one operate shows at a go
            self.chances.folded(step)
        self._computed_steps = StepTable(computed, self.chances.folded)
        self._ruled_steps = [step for step in self.steps.values() if not self.chances.computed(step)]
        self._ruled_table: tuple[list[Floats], StepTable] | None = None

    def without(self, rule_id: str) -> Reasoner:
        """The same with one rule not there, its causes and steps as they were: what the rule changes is seen beside
        it."""
        out = copy(self)
        out.rules = tuple(rule for rule in self.rules if rule.id != rule_id)
        out._by_circuit = {name: [r for r in own if r.id != rule_id] for name, own in self._by_circuit.items()}
        out.chances = self.chances.without(rule_id)
        out.complaints = out.chances.complaints(list(self.knowledge.symptoms.values()), self.steps)
        out._ruled_table, out._fired, out._posteriors = None, {}, {}
        return out

    def _known_causes(self) -> tuple[Cause, ...]:
        if self.predictor is not None:
            return self.predictor.causes
        derived = derive_causes(self.knowledge, build_network(self.knowledge))
        spoken = {weighed(effect)[0] for rule in self.rules for effect in rule.then}
        return tuple(cause for cause in derived if cause.id in spoken or not cause.electrical)

    def _what_shows(self) -> dict[str, list[str]]:
        """For each cause the written looks and listens whose likeliest answer it changes, most so first."""
        shift = np.zeros((len(self.steps), 1 + len(self.causes)))
        names = []
        for row, step in enumerate(s for s in self.steps.values() if not s.generated and s.kind in ("look", "listen")):
            names.append(step.id)
            table = self.chances.table(step)
            shift[row] = 0.5 * np.abs(table - table[0]).sum(axis=1)
        out = {}
        for i, cause in enumerate(self.causes):
            order = np.argsort(-shift[: len(names), 1 + i], kind="stable")
            out[cause.id] = [names[r] for r in order if shift[r, 1 + i] > _SHOWS]
        return out

    def held(self, cause: int) -> frozenset[str]:
        """The parts that a cause (by index) keeps from moving while it is there: a seized horn or motor, a relay
        whose contact is welded."""
        return kept_still(self.causes[cause])

    def step_like(self, check: str, deed: Deed) -> Step | None:
        """The step that an answer record describes: by what was done, else by its id, else made from it.

        None where the network does not know the place or the controls.
        """
        named = self.steps.get(check)
        if named is not None and Deed.of(named).key == deed.key:  # of two that ask for one deed the one that was asked
            return named
        found = self._by_deed.get(deed.key)
        if found is not None and deed.kind != "choose":
            return found
        if check in self.steps:
            return self.steps[check]
        if self.predictor is None or not self._may_operate(deed.operate):
            return None
        step = own_step(self.knowledge, deed)
        if step is None or not self.chances.computed(step):
            return None
        self.predictor.look_at(step.operate, points_of(self.knowledge, step))
        return step

    def _may_operate(self, operate: Mapping[str, str]) -> bool:
        controls = self.knowledge.controls
        return all(
            p in controls[c]
            if c in controls
            else (c == UNPLUGGED and p in self.knowledge.terminals)
            or (c == BRIDGED and self.knowledge.bridge_problem(p) is None)
            for c, p in operate.items()
        )

    # ------------------------------------------------------------ beliefs

    def beliefs(
        self, findings: Sequence[Finding], treated: Sequence[Treated] = (), *, proving: bool = False
    ) -> Beliefs:
        """Everything that follows. `proving`: the job checks a circuit that nobody has complained of, so
        that all being well is as likely as not. Raises DiagError where the rule engine fails."""
        evidence, judged = self.evidence(findings, treated, proving=proving)
        last = max([f.period for f in findings] + [t.period for t in treated], default=0)
        now = [finding for finding in findings if finding.period == last]
        outcome = self.fired(now)
        firings, established = outcome.firings, outcome.established
        posterior = self._weighed(evidence, self.supply_v(findings))
        asked, warned, stopped = _effects(firings)
        return Beliefs(
            posterior,
            self.ranking(posterior),
            firings,
            established,
            asked,
            warned,
            stopped,
            judged,
            self.values(now),
            evidence,
        )

    def _weighed(self, evidence: Evidence, supply_v: float | None) -> Posterior:
        """The posterior, as it was where the same was weighed just before: after a note, a repeat or an undo."""
        rows = tuple((f.seq, f.period, id(f.rows)) for f in evidence.findings)
        key = (rows, evidence.treatments, evidence.healthy, supply_v)
        known = self._posteriors.get(key)
        if known is None:
            known = self._posteriors[key] = evidence, weigh(evidence)  # it keeps its rows, so ids stay theirs
            while len(self._posteriors) > _WEIGHED_KEPT:
                self._posteriors.pop(next(iter(self._posteriors)), None)
        return known[1]

    def evidence(
        self, findings: Sequence[Finding], treated: Sequence[Treated] = (), *, proving: bool = False
    ) -> tuple[Evidence, tuple[tuple[Finding, Told], ...]]:
        """What the causes are weighed by, and the chances of each answer. `proving` as in `beliefs`."""
        supply_v = self.supply_v(findings)
        judged: list[tuple[Finding, Told]] = []
        rows: list[Judged] = []
        weighed_in: list[Finding] = []
        known: dict[tuple[str, Value], Told] = {}
        count = counting(findings, self._column)
        beside = contexts(findings, self.chances.computed, lambda finding: self.values([finding]))
        for place, (finding, context) in enumerate(zip(findings, beside, strict=True)):
            said = None if finding.step is None or finding.value is None else (finding.step.id, finding.value)
            told = known.get(said) if said is not None else None
            if told is None:
                own = finding.step is not None and self.tells_supply(finding.step)
                scale = None if own else supply_v  # the measure of all is not scaled by itself
                told = self._told(finding, scale, context)
                if told is None:
                    continue
                if said is not None and finding.step is not None and self.chances.computed(finding.step):
                    known[said] = told
            judged.append((finding, told))
            if place in count:
                together = self._together(finding, supply_v)
                moves = self.chances.moves(finding.step) if together is not None and finding.step is not None else None
                weighed_in.append(finding)
                rows.append(Judged(finding.seq, finding.period, told.rows, told.flat, together, moves))
        evidence = Evidence(
            tuple(rows),
            tuple(self._treatment(t) for t in treated),
            self.prior,
            _HEALTHY_PRIOR if proving else _COMPLAINT_PRIOR,
            self.knowledge.kinds.outside_chance,
            lambda wanted: self._solve(weighed_in, wanted),
            fickle=self.chances.seldom.causes,
        )
        return evidence, tuple(judged)

    def _column(self, step: Step, value: Value) -> int:
        key = (step.id, value)
        if key not in self._columns:
            if len(self._columns) >= _COLUMNS_KEPT:
                self._columns.clear()
            self._columns[key] = self.chances.column(step, value)
        return self._columns[key]

    def _told(self, finding: Finding, supply_v: float | None, context: Mapping[str, Value]) -> Told | None:
        if finding.symptom is not None:
            return self.complaints.get(finding.symptom)
        if finding.step is None or finding.value is None:
            return None
        return self.chances.told(finding.step, finding.value, supply_v, context)

    def _together(
        self, finding: Finding, supply_v: float | None
    ) -> Callable[[Sequence[frozenset[int]]], Floats] | None:
        step, value = finding.step, finding.value
        if step is None or value is None or not self.chances.computed(step):
            return None
        return lambda sets: self.chances.told_sets(step, value, sets, supply_v)

    def _solve(self, findings: Sequence[Finding], wanted: Mapping[int, Sequence[frozenset[int]]]) -> None:
        """Solves all sets that will be asked about side by side; test lamps are put in place one by one."""
        if self.predictor is not None:
            self.predictor.solve_sets(
                (step.operate, members)
                for f, sets in wanted.items()
                if (step := findings[f].step) is not None and (step.kind == "measure" or not wants_instrument(step))
                for members in self.chances.seldom.states(sets)
                if len(members) > 1
            )

    def supply_v(self, findings: Sequence[Finding]) -> float | None:
        """Battery volts at rest as last measured in this job, in V."""
        for finding in reversed(findings):
            if finding.step is not None and isinstance(finding.value, float) and self.tells_supply(finding.step):
                low, high = 0.75 * self.knowledge.vehicle.system_v, 1.15 * self.knowledge.vehicle.system_v
                return finding.value if low <= finding.value <= high else None
        return None

    def tells_supply(self, step: Step) -> bool:
        """Whether a step measures the battery at rest, by which all other volts are judged."""
        return self.chances.tells_supply(step)

    def _treatment(self, treated: Treated) -> Treatment:
        if treated.remedy is None:
            return Treatment(treated.period, None, _CHANGED_TAKES)
        plan = self.remedies.get(treated.remedy)
        cures = frozenset(self.index[cause] for cause in plan.cures) if plan is not None else frozenset()
        return Treatment(treated.period, cures, 1 - _MISSES)

    def ranking(self, posterior: Posterior) -> tuple[tuple[str, float], ...]:
        """Remedies with the chance that each is needed now, likeliest first."""
        absent: dict[str, float] = {}
        for problem in posterior.problems or (posterior,):
            needed: dict[str, float] = {}
            for members, chance in problem.sets:
                for remedy in {self.remedy_of[i] for i in members}:
                    needed[remedy] = needed.get(remedy, 0.0) + chance
            for remedy, p in needed.items():
                absent[remedy] = absent.get(remedy, 1.0) * (1 - min(p, 1.0))
        inside = 1 - posterior.outside if posterior.problems else 1.0
        needed = {remedy: inside * (1 - p) for remedy, p in absent.items()}
        return tuple(sorted(needed.items(), key=lambda pair: (-pair[1], pair[0])))

    # ------------------------------------------------------------ rules

    def fired(self, findings: Sequence[Finding]) -> Outcome:
        """The rules that fire on these findings of one period, and what they establish. Raises DiagError where the
        rule engine fails."""
        facts = list(self._facts(findings).values())
        known = frozenset(facts)
        outcome = self._fired.get(known)
        if outcome is None:
            outcome = self._fired[known] = forward(self._by_circuit, facts, self.matcher)
            while len(self._fired) > _FIRED_KEPT:
                self._fired.pop(next(iter(self._fired)), None)
        return outcome

    def _facts(self, findings: Sequence[Finding]) -> dict[str, Fact]:
        """Newest answer of each check; a complaint that means one thing only counts where no answer does."""
        facts: dict[str, Fact] = {}
        for finding in findings:
            if finding.symptom in self.knowledge.symptoms:
                shows = self.knowledge.symptoms[finding.symptom or ""].shows
                if len(shows) == 1:
                    for condition in shows[0]:
                        fact = _as_fact(condition)
                        if fact is not None:
                            facts.setdefault(fact.check, fact)
        newest = {f.step.id: f.value for f in findings if f.step is not None and f.value is not None}
        facts.update({check: _fact(check, value) for check, value in newest.items()})
        return facts

    def values(self, findings: Sequence[Finding]) -> dict[str, Value]:
        """Newest answer of each check among findings of one period; a complaint that means one thing stands in where
        no answer does."""
        values: dict[str, Value] = {}
        for fact in self._facts(findings).values():
            if fact.number is not None:
                values[fact.check] = fact.number
            elif fact.light is not None or fact.rhythm is not None:
                values[fact.check] = (fact.light or "normal", fact.rhythm or "steady")
            elif fact.word is not None:
                values[fact.check] = fact.word
        return values

    # ------------------------------------------------------------ the next step

    def rank(
        self,
        beliefs: Beliefs,
        situation: Situation,
        allowed: Callable[[Step], bool],
        first: Callable[[Posterior], float] | None = None,
    ) -> list[Ranked]:
        """Allowed steps, the best to ask now first. Of several problems the one that is nearest to its end, or
        of which `first` gives most."""
        posterior = beliefs.posterior
        if posterior.problems:
            open_ = [problem for problem in posterior.problems if problem.healthy < _OPEN and problem.sets]
            posterior = max(open_, key=first or (lambda found: self.ranking(found)[0][1]), default=posterior)
        tables = [self.chances.table(step, beliefs.context) for step in self._ruled_steps]
        if self._ruled_table is None or any(
            new is not old for new, old in zip(tables, self._ruled_table[0], strict=True)
        ):
            known = {step.id: table for step, table in zip(self._ruled_steps, tables, strict=True)}
            self._ruled_table = tables, StepTable(self._ruled_steps, lambda step: known[step.id])
        tables_now = [self._computed_steps, self._ruled_table[1]]
        if any(map(allowed, self._limited_steps)):  # solved in the network one by one, so only where it is asked for
            if self._limited_table is None:
                self._limited_table = StepTable(self._limited_steps, self.chances.folded)
            tables_now.append(self._limited_table)
        return rank(tables_now, posterior, self.remedy_of, situation, allowed)


def kept_still(cause: Cause) -> frozenset[str]:
    """The parts that a cause keeps from moving, whatever feeds them."""
    flags = cause.change.flags if cause.change is not None else frozenset()
    return frozenset(part for part, _, mode in (flag.rpartition(":") for flag in flags) if mode in _KEPT_STILL)


def _fact(check: str, value: Value) -> Fact:
    if isinstance(value, tuple):
        return Fact(check, light=value[0], rhythm=value[1])
    if isinstance(value, str):
        return Fact(check, word=value)
    return Fact(check, number=value)


def _as_fact(condition: schema.Condition) -> Fact | None:
    """The fact that a complaint states; None where it only excludes something."""
    light, rhythm = (_plain(condition.light), _plain(condition.rhythm))
    if condition.light == "is-not dark":
        light = "normal"
    if condition.check is None or not (light or rhythm or condition.is_):
        return None
    return Fact(condition.check, light=light, rhythm=rhythm, word=condition.is_)


def _plain(test: str | None) -> str | None:
    if test is None or test.startswith("is-not "):
        return None
    return test.removeprefix("is ").strip()


def _effects(firings: Sequence[Firing]) -> tuple[dict[str, str], dict[str, str], dict[str, str]]:
    def named(kind: str) -> Iterator[tuple[str, str]]:
        for firing in firings:
            for effect in firing.effects:
                found = getattr(effect, kind)
                if found is not None:
                    yield found, firing.rule_id

    return dict(named("ask")), dict(named("warn")), dict(named("stop"))
