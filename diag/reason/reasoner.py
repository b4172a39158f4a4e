"""From standing findings to beliefs: prior, chances, rules and posterior of one vehicle put together.

A pure function of knowledge and findings; knows nothing of journals, screens or wording.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.faults import Cause, derive_causes
from diag.circuit.network import Floats
from diag.circuit.parts import build_network
from diag.circuit.predict import Predictor
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key
from diag.reason.belief import Evidence, Judged, Posterior, Treatment, weigh
from diag.reason.chances import Chances, Told, weighed
from diag.reason.choose import Ranked, Situation, StepTable
from diag.reason.forward import Fact, Firing, Matcher, forward
from diag.reason.remedies import plan_remedies
from diag.reason.steps import Finding, Step, Value, all_steps

__all__ = ["Beliefs", "Reasoner", "Treated"]

_HEALTHY_PRIOR, _COMPLAINT_PRIOR = 1.0, 0.05
"""Prior of nothing wrong, against 1 for some single cause: when proving, and after a complaint."""
_CHANGED_TAKES = 0.3
"""Chance that an unnamed change by the fitter cured whatever was wrong; common practice, no source."""
_MISSES = 0.05
"""Chance that a remedy did not take."""
_SHOWS = 0.35


@dataclass(frozen=True)
class Treated:
    """A remedy carried out (None: something unnamed was changed); it begins `period`."""

    period: int
    remedy: str | None


@dataclass(frozen=True)
class Beliefs:
    """What follows from the findings. `ranking`: remedies with the chance that each is needed now,
    likeliest first. `firings` of the current period, `established` words, checks that fired rules ask
    for, cautions they warn of or stop for, with the rule that does."""

    posterior: Posterior
    ranking: tuple[tuple[str, float], ...]
    firings: tuple[Firing, ...]
    established: frozenset[str]
    asked_for: Mapping[str, str]
    warnings: Mapping[str, str]
    stops: Mapping[str, str]
    judged: tuple[tuple[Finding, Told], ...]


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
        self.causes = self._known_causes()
        self.index = {cause.id: i for i, cause in enumerate(self.causes)}
        self.steps: dict[str, Step] = {step.id: step for step in all_steps(knowledge, predictor)}
        self._by_content = {_content(step): step for step in reversed(self.steps.values())}
        self.chances = Chances(
            knowledge,
            predictor,
            self.rules,
            [c.id for c in self.causes],
            [c.spread for c in self.causes],
            [float(c.mode == "seized") for c in self.causes],
        )
        frequency = np.array([cause.frequency for cause in self.causes])
        self.prior: Floats = frequency / frequency.sum()
        self.remedies = plan_remedies(knowledge, self.causes, self._what_shows())
        self.remedy_of = {self.index[cause]: plan.id for plan in self.remedies.values() for cause in plan.cures}
        self.complaints = self.chances.complaints(list(knowledge.symptoms.values()), self.steps)
        self._table = StepTable(list(self.steps.values()), self.chances.table)

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

    def step_like(
        self,
        check: str,
        kind: str,
        operate: Mapping[str, str],
        target: str | None,
        red: str | None,
        black: str | None,
        through: str | None,
        unit: str | None,
    ) -> Step | None:
        """The step that an answer record describes: by what was done, else by its id."""
        found = self._by_content.get((kind, operate_key(operate), target, red, black, through, unit))
        if found is not None and kind != "choose":
            return found
        return self.steps.get(check)

    # ------------------------------------------------------------ beliefs

    def beliefs(
        self, findings: Sequence[Finding], treated: Sequence[Treated] = (), *, proving: bool = False
    ) -> Beliefs:
        """Everything that follows. `proving`: the job checks a circuit that nobody has complained of, so
        that all being well is as likely as not. Raises DiagError where the rule engine fails."""
        supply_v = self._supply_v(findings)
        judged: list[tuple[Finding, Told]] = []
        rows: list[Judged] = []
        for finding in findings:
            told = self._told(finding, supply_v)
            if told is None:
                continue
            judged.append((finding, told))
            rows.append(Judged(finding.seq, finding.period, told.rows, told.flat, self._together(finding, supply_v)))
        last = max([f.period for f in findings] + [t.period for t in treated], default=0)
        ruled = np.zeros((last + 1, len(self.causes)))
        firings: tuple[Firing, ...] = ()
        established: frozenset[str] = frozenset()
        for period in range(last + 1):
            facts = self._facts([f for f in findings if f.period == period])
            outcome = forward(self._by_circuit, list(facts.values()), self.matcher)
            ruled[period] = self._ruled(outcome.firings, judged, period)
            firings, established = outcome.firings, outcome.established
        evidence = Evidence(
            tuple(rows),
            tuple(self._treatment(t) for t in treated),
            self.prior,
            _HEALTHY_PRIOR if proving else _COMPLAINT_PRIOR,
            self.knowledge.kinds.outside_chance,
            ruled,
        )
        posterior = weigh(evidence)
        asked, warned, stopped = _effects(firings)
        return Beliefs(posterior, self._ranking(posterior), firings, established, asked, warned, stopped, tuple(judged))

    def _told(self, finding: Finding, supply_v: float | None) -> Told | None:
        if finding.symptom is not None:
            return self.complaints.get(finding.symptom)
        if finding.step is None or finding.value is None:
            return None
        return self.chances.told(finding.step, finding.value, supply_v)

    def _together(
        self, finding: Finding, supply_v: float | None
    ) -> Callable[[Sequence[frozenset[int]]], Floats] | None:
        step, value = finding.step, finding.value
        if step is None or value is None or not self.chances.computed(step):
            return None
        return lambda sets: self.chances.told_sets(step, value, sets, supply_v)

    def _supply_v(self, findings: Sequence[Finding]) -> float | None:
        """Battery volts at rest as last measured in this job, in V."""
        for finding in reversed(findings):
            step = finding.step
            if (
                step is not None
                and step.red is not None
                and step.red.endswith(".B+")
                and step.unit == "V"
                and not step.operate
                and isinstance(finding.value, float)
                and self.knowledge.parts[step.red.split(".")[0]].kind == "battery"
            ):
                low, high = 0.75 * self.knowledge.vehicle.system_v, 1.15 * self.knowledge.vehicle.system_v
                return finding.value if low <= finding.value <= high else None
        return None

    def _treatment(self, treated: Treated) -> Treatment:
        if treated.remedy is None:
            return Treatment(treated.period, None, _CHANGED_TAKES)
        plan = self.remedies.get(treated.remedy)
        cures = frozenset(self.index[cause] for cause in plan.cures) if plan is not None else frozenset()
        return Treatment(treated.period, cures, 1 - _MISSES)

    def _ranking(self, posterior: Posterior) -> tuple[tuple[str, float], ...]:
        needed: dict[str, float] = {}
        for members, chance in posterior.sets:
            for remedy in {self.remedy_of[i] for i in members}:
                needed[remedy] = needed.get(remedy, 0.0) + chance
        return tuple(sorted(needed.items(), key=lambda pair: (-pair[1], pair[0])))

    # ------------------------------------------------------------ rules

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
        for finding in findings:
            if finding.step is not None and finding.value is not None:
                facts[finding.step.id] = _fact(finding.step.id, finding.value)
        return facts

    def _ruled(self, firings: Sequence[Firing], judged: Sequence[tuple[Finding, Told]], period: int) -> Floats:
        """(causes,) log weights of fired rules with several conditions, each cause's strongest first.

        A rule that rests on anything computed counts nothing here: the network has already spoken. Of
        rules that share a check, the one with most conditions counts.
        """
        makers: dict[str, list[Firing]] = {}
        for firing in firings:
            for effect in firing.effects:
                if effect.establish is not None:
                    makers.setdefault(effect.establish, []).append(firing)
        by_cause: dict[int, list[tuple[frozenset[str], float]]] = {}
        for firing in firings:
            checks = _grounds(firing, makers, frozenset())
            if len(checks) < 2 or any(self.chances.computed(self.steps[c]) for c in checks if c in self.steps):
                continue
            for effect in firing.effects:
                cause, weight = weighed(effect)
                if cause in self.index:
                    by_cause.setdefault(self.index[cause], []).append((checks, weight))
        answers = {f.step.id: told for f, told in judged if f.step is not None and f.period == period}
        out = np.zeros(len(self.causes))
        for row, rules in by_cause.items():
            used: set[str] = set()
            for checks, weight in sorted(rules, key=lambda pair: (-len(pair[0]), sorted(pair[0]))):
                if used & checks:
                    continue
                used |= checks
                out[row] += np.log(weight)
                for check in checks & answers.keys():  # what single rules said of it is part of this already
                    rows = answers[check].rows
                    out[row] -= np.log(rows[1 + row] / rows[0])
        return out

    # ------------------------------------------------------------ the next step

    def rank(self, beliefs: Beliefs, situation: Situation, allowed: Callable[[Step], bool]) -> list[Ranked]:
        """Allowed steps by what they are worth now."""
        return self._table.rank(beliefs.posterior, self.remedy_of, situation, allowed)


def _content(step: Step) -> tuple[object, ...]:
    return (step.kind, operate_key(step.operate), step.target, step.red, step.black, step.through, step.unit)


def _fact(check: str, value: Value) -> Fact:
    if isinstance(value, tuple):
        return Fact(check, light=value[0], rhythm=value[1])
    if isinstance(value, str):
        return Fact(check, word=value)
    return Fact(check, number=value)


def _as_fact(condition: schema.Condition) -> Fact | None:
    """The fact that a complaint states; None where it only excludes something."""
    light, rhythm = (_plain(condition.light), _plain(condition.rhythm))
    if condition.check is None or not (light or rhythm or condition.is_):
        return None
    return Fact(condition.check, light=light, rhythm=rhythm, word=condition.is_)


def _plain(test: str | None) -> str | None:
    if test is None or test.startswith("is-not "):
        return None
    return test.removeprefix("is ").strip()


def _grounds(firing: Firing, makers: Mapping[str, Sequence[Firing]], seen: frozenset[str]) -> frozenset[str]:
    """Checks that a firing rests on, through whatever was established on the way."""
    out: set[str] = set()
    for fact in firing.facts:
        word = fact.removeprefix("established:")
        if word == fact:
            out.add(fact)
        elif word not in seen:
            for maker in makers.get(word, ()):
                out |= _grounds(maker, makers, seen | {word})
    return frozenset(out)


def _effects(firings: Sequence[Firing]) -> tuple[dict[str, str], dict[str, str], dict[str, str]]:
    def named(kind: str) -> Iterator[tuple[str, str]]:
        for firing in firings:
            for effect in firing.effects:
                found = getattr(effect, kind)
                if found is not None:
                    yield found, firing.rule_id

    return dict(named("ask")), dict(named("warn")), dict(named("stop"))
