"""What comes next in a job: a pure function of its state. Start, caution, question, proof, conclusion,
or the end. Knows how to decide; not how anything is worded or transported.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from diag.job.state import JobState
from diag.knowledge import schema
from diag.knowledge.bridging import BRIDGED, UNPLUGGED, bridge_ends
from diag.reason.choose import CAUTION_MINUTES, WALK_MINUTES, Ranked, Situation
from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.repairs import Try, best_order
from diag.reason.steps import Finding, Step, plain
from diag.talk.findings import findings_of

__all__ = [
    "Conclude",
    "DoFirst",
    "End",
    "Look",
    "Next",
    "Plan",
    "Start",
    "plan_next",
    "unexplained_words",
]

CERTAIN = 0.99
_TRY_FROM = 0.96
_LOOK_ONESELF = 3
"""Answers after which what was complained of may be looked at again."""
_REPLACE_FROM, _REPLACE_MINUTES = 0.85, 6.0
_REPLACED = frozenset({"lamp", "two-filament-lamp", "fuse", "flasher-unit", "relay"})
"""Parts that a fitter has in the box and exchanges to see whether that cures it, from this chance on."""
_ASK_AGAIN = 0.25
"""Chance that an answer was misread from which it may be asked again."""
_WELL = 0.95
_LEAST_BITS = 0.02
_LEAST_WORTH = 0.008
_TRY_DOUBT = 2.0
_PROVE_MINUTES = 3.0
_PROOFS_MORE, _BACK = 3, 4
"""Looks that prove a remedy because they were odd, or because of a complaint, at most."""
_SURPRISE = 0.25
_STANDS_OUT = 0.04
"""Chance from which one remedy is suspected more than any other might be."""


@dataclass(frozen=True)
class Start:
    """Nothing is known yet: ask what is wrong."""


@dataclass(frozen=True)
class DoFirst:
    """A caution to be acknowledged before `step`, or at once where a rule says so."""

    caution: str
    step: Step | None
    rule: str | None = None
    restore: tuple[str, ...] = ()
    """What the last check took off and goes back on now: `battery`, or terminals; a jumper's two points, which
    comes off."""


@dataclass(frozen=True)
class Look:
    """Ask this step. `proof`: it proves a remedy, or, with `neighbour`, what its work may have disturbed, and by
    way of what; `walk`: it is part of checking a circuit; `ranked`: what it was chosen for; `rule`: the rule that
    brought it forward; `again`: number of the answer that it repeats, as the others disagree with it."""

    step: Step
    proof: str | None = None
    walk: str | None = None
    ranked: Ranked | None = None
    rule: str | None = None
    again: int | None = None
    neighbour: str | None = None


@dataclass(frozen=True)
class Conclude:
    """The remedies worth carrying out, likeliest first; empty with `reason` where nothing is wrong or
    nothing more can be told apart. `final`: nothing else stays unexplained."""

    remedies: tuple[tuple[str, float], ...]
    final: bool
    reason: str


@dataclass(frozen=True)
class End:
    """The job is done; `open` items are left."""


Ranking = tuple[tuple[str, float], ...]
Next = Start | DoFirst | Look | Conclude | End


@dataclass(frozen=True)
class Plan:
    """What comes next, with the beliefs it rests on (None before the start)."""

    next: Next
    beliefs: Beliefs | None
    findings: tuple[Finding, ...]
    treated: tuple[Treated, ...]
    proving: str | None
    open_items: tuple[str, ...] = field(default=())
    allowed: Callable[[Step], bool] = field(default=lambda step: True, compare=False)
    """Whether a step may still be asked: not answered or passed over, with what is at hand."""


def plan_next(reasoner: Reasoner, state: JobState) -> Plan:
    """What comes next. Raises DiagError where the rule engine fails."""
    findings, treated, proving, _ = findings_of(reasoner, state)
    started = any(e.fields.get("check") in ("start", "symptom") for e in state.standing("answered", "found"))
    if not started and not findings:
        return Plan(Start(), None, (), tuple(treated), None)
    beliefs = reasoner.beliefs(findings, treated, proving=proving is not None and not _somebody_complained(findings))
    decided = _Decision(reasoner, state, findings, treated, proving, beliefs)
    chosen = decided.next()
    return Plan(chosen, beliefs, tuple(findings), tuple(treated), proving, decided.open_items(), decided.allowed)


def unexplained_words(seq: int) -> str:
    """The open item of an answer that nothing explains, for those who would say more of it."""
    return f"unexplained: answer {seq}"


def _somebody_complained(findings: Sequence[Finding]) -> bool:
    return any(finding.symptom is not None for finding in findings)


class _Decision:
    def __init__(
        self,
        reasoner: Reasoner,
        state: JobState,
        findings: Sequence[Finding],
        treated: Sequence[Treated],
        proving: str | None,
        beliefs: Beliefs,
    ) -> None:
        self.reasoner, self.state, self.findings, self.treated = reasoner, state, findings, treated
        self.proving, self.beliefs = proving, beliefs
        self.acknowledged = frozenset(str(e.fields.get("caution")) for e in state.standing("acknowledged"))
        self.answered = {f.step.id for f in findings if f.step is not None and f.period == state.period}
        self.odd = {odd.seq for odd in beliefs.posterior.odd if odd.p >= _ASK_AGAIN}
        self.again = self._worth_repeating()
        self.answered |= self._complained()
        self.unsure = {str(e.fields.get("check")) for e in state.standing("not-sure") if e.period == state.period}
        skipped = state.standing("skipped")
        self.closed_places = {str(e.fields.get("place")) for e in skipped if e.fields.get("reason") == "cannot-reach"}
        self.skipped = {
            str(e.fields.get("check")) for e in skipped if e.period == state.period or e.fields.get("reason") != "later"
        }
        self.instruments = set(state.instruments if state.instruments is not None else ("test-lamp", "meter"))
        self.missing = {
            name
            for e in skipped
            if e.fields.get("reason") == "no-instrument"
            for name in self._needs(str(e.fields.get("check")))
        }

    def _needs(self, check: str) -> tuple[str, ...]:
        step = self.reasoner.steps.get(check)
        return step.instruments if step is not None else ()

    def _worth_repeating(self) -> dict[str, int]:
        """Steps whose answer disagrees with the others, with its number; each is asked again once, as a second
        look decides. Which of them is most worth repeating is chosen as any other question is."""
        given: dict[str, list[int]] = {}
        for finding in self.findings:
            if finding.step is not None and finding.period == self.state.period:
                given.setdefault(finding.step.id, []).append(finding.seq)
        return {check: seqs[0] for check, seqs in given.items() if len(seqs) == 1 and seqs[0] in self.odd}

    def _complained(self) -> set[str]:
        """Checks that a complaint already answers: one that means one thing only is not asked back, until so much
        else is known that looking oneself may be the shortest way."""
        out: set[str] = set()
        if len(self.answered) >= _LOOK_ONESELF:
            return out
        for finding in self.findings:
            if finding.symptom is not None and finding.period == self.state.period and finding.seq not in self.odd:
                shows = self.reasoner.knowledge.symptoms[finding.symptom].shows
                if len(shows) == 1 and len(shows[0]) == 1 and shows[0][0].check is not None:
                    out.add(shows[0][0].check)
        return out

    # ------------------------------------------------------------ what may be asked

    def allowed(self, step: Step) -> bool:
        """Not answered, not unsure, not skipped, reachable, with the instruments at hand."""
        return (
            (step.id not in self.answered or step.id in self.again)
            and step.id not in self.unsure
            and step.id not in self.skipped
            and step.place not in self.closed_places
            and all(
                name == "helper" or (name in self.instruments and name not in self.missing) for name in step.instruments
            )
        )

    def situation(self) -> Situation:
        last = next((f.step for f in reversed(self.findings) if f.step is not None), None)
        return Situation(
            last.place if last is not None else "driver-seat",
            self.acknowledged,
            frozenset(self.beliefs.asked_for),
            "helper" not in self.instruments,
            self._volts_first(),
        )

    def _volts_first(self) -> float:
        """Minutes that the first reading of volts costs more, as the battery is measured before it."""
        first = self._battery_first()
        if first is None:
            return 0.0
        cautious = first.caution is not None and first.caution not in self.acknowledged
        return first.minutes + WALK_MINUTES + (CAUTION_MINUTES if cautious else 0.0)

    # ------------------------------------------------------------ decisions

    def next(self) -> Next:
        """What the best next thing is, after what the last check took off is back on."""
        chosen = self._best()
        if isinstance(chosen, Look | End):
            off = self._taken_off(chosen.step.operate if isinstance(chosen, Look) else {})
            if off is not None:
                return off
        return chosen

    def _taken_off(self, wanted: Mapping[str, str]) -> DoFirst | None:
        """Putting back the battery or a wire that the last check took off, unless it is to stay off."""
        entry = next(
            (
                e
                for e in reversed(self.state.entries)
                if e.event in ("answered", "found") and e.fields.get("check") not in ("start", "symptom")
            ),
            None,
        )
        operate = entry.fields.get("operate") if entry is not None else None
        if entry is None or not isinstance(operate, Mapping):
            return None
        off = [str(operate[UNPLUGGED])] if UNPLUGGED in operate else []
        off = [terminal for terminal in off if terminal != wanted.get(UNPLUGGED)]
        if BRIDGED in operate and operate[BRIDGED] != wanted.get(BRIDGED):
            off.append(str(operate[BRIDGED]))
        if operate.get("battery") == "disconnected" and wanted.get("battery") != "disconnected":
            off.append("battery")
        mark = f"back-on-{entry.seq}"
        return DoFirst(mark, None, restore=tuple(off)) if off and mark not in self.acknowledged else None

    def _best(self) -> Next:
        """The rules' stops and warnings, then proof, then a conclusion, then the best question."""
        for kind in (self.beliefs.stops, self.beliefs.warnings):
            for caution, rule in kind.items():
                if caution not in self.acknowledged and caution in self.reasoner.knowledge.cautions:
                    return DoFirst(caution, None, rule)
        proof = self._proof()
        if proof is not None:
            return self._asked(proof)
        well = self.beliefs.posterior.healthy
        walk = self._walk()
        sound = self._nothing_odd()
        if walk is not None and (sound or well > 0.5):
            return self._asked(walk)
        if well >= _WELL or (sound and self._walked()) or self._proved(well):
            odd = self._still_odd()
            if odd is not None:
                return self._asked(odd)
            return End() if self.treated or self._told("no-fault-found") else Conclude((), True, "no-fault-found")
        best, p = self.beliefs.ranking[0] if self.beliefs.ranking else ("", 0.0)
        if p >= CERTAIN:
            return self._conclude("certain")
        ranked = self._rank()
        telling = max(ranked, key=lambda found: found.worth, default=None)
        if telling is None or telling.bits < _LEAST_BITS or telling.worth < _LEAST_WORTH:
            return self._conclude("nothing-more-to-tell-apart")
        if p >= _TRY_FROM and self._cheaper_to_try(best, p, telling):
            return self._conclude("cheaper-to-try")
        if p >= _REPLACE_FROM and self._quickly_replaced(best) and self._cheaper_to_try(best, p, telling):
            return self._conclude("replace-to-test")
        chosen = ranked[0]
        asked_by, again = self.beliefs.asked_for.get(chosen.step.id), self.again.get(chosen.step.id)
        return self._asked(Look(chosen.step, ranked=chosen, rule=asked_by, again=again))

    def _still_odd(self) -> Look | None:
        """An answer that nothing explains, seen once more before the end: it was a slip, or there is more wrong."""
        for finding in self.findings:
            step = finding.step
            if step is None or finding.seq not in self.beliefs.posterior.unexplained:
                continue
            if self.allowed(step) and step.id not in self.answered - set(self.again):
                return Look(step, again=finding.seq)
        return None

    def _proved(self, well: float) -> bool:
        """Whether the last remedy is proved and nothing is left but what anyone might suspect of any vehicle: no
        answer since is odd, and no remedy stands out."""
        if not self.treated or self.beliefs.posterior.unexplained:
            return False
        now = [f for f in self.findings if f.period == self.state.period and f.step is not None]
        top = self.beliefs.ranking[0][1] if self.beliefs.ranking else 0.0
        return well > 0.5 and top < _STANDS_OUT and bool(now) and not any(self._surprises(f) for f in now)

    def _told(self, reason: str) -> bool:
        return (
            any(e.fields.get("reason") == reason and e.seq >= self.state.entries[-1].seq for e in self.state.concluded)
            if self.state.entries
            else False
        )

    def _rank(self) -> list[Ranked]:
        return self.reasoner.rank(self.beliefs, self.situation(), self.allowed)

    def _cheaper_to_try(self, remedy: str, p: float, best: Ranked) -> bool:
        """Trying costs its minutes again when it is wrong; testing on costs what is still unknown."""
        plan = self.reasoner.remedies[remedy]
        unknown = -p * math.log2(p) - (1 - p) * math.log2(max(1 - p, 1e-9))
        return unknown / max(best.worth, 1e-9) > _TRY_DOUBT * (1 - p) * (plan.minutes + _PROVE_MINUTES)

    def _quickly_replaced(self, remedy: str) -> bool:
        """Whether a part known to be good goes in so quickly that putting it in is a test like any other."""
        plan = self.reasoner.remedies[remedy]
        kinds = {self.reasoner.causes[self.reasoner.index[cause]].kind for cause in plan.cures}
        return kinds <= _REPLACED and plan.minutes <= _REPLACE_MINUTES

    def _conclude(self, reason: str) -> Conclude:
        ranking = tuple((name, p) for name, p in self.beliefs.ranking if p >= 0.02)[:5]
        if reason == "nothing-more-to-tell-apart":
            ranking = self._cheapest_first(ranking)
        rest = 0.0
        if ranking:
            cured = {i for i, name in self.reasoner.remedy_of.items() if name == ranking[0][0]}
            rest = sum(
                p
                for members, p in self.beliefs.posterior.sets
                if ranking[0][0] in {self.reasoner.remedy_of[i] for i in members} and not members <= cured
            )
            rest /= max(ranking[0][1], 1e-9)
        return Conclude(ranking, rest < 0.5, reason if ranking else "nothing-in-the-model")

    def _cheapest_first(self, ranking: Ranking) -> Ranking:
        """Remedies in the order of least expected minutes; what lies at one place shares the way there and
        what has to come off first."""
        plans = {name: self.reasoner.remedies[name] for name, _ in ranking}
        access: dict[str, float] = {}
        for plan in plans.values():
            if plan.place is not None:
                access[plan.place] = min(access.get(plan.place, plan.reach), plan.reach)
        tries = [
            Try(
                name,
                p,
                plans[name].minutes + _PROVE_MINUTES + plans[name].reach - access.get(plans[name].place or "", 0.0),
                plans[name].place,
            )
            for name, p in ranking
        ]
        return tuple((found.id, found.p) for found in best_order(tries, access))

    def _proof(self) -> Look | None:
        """The next check that proves the last remedy, unless one has already failed."""
        if not self.treated or self.treated[-1].remedy is None:
            return None
        remedy = self.treated[-1].remedy
        plan = self.reasoner.remedies.get(remedy)
        if plan is None or any(self._surprises(f) for f in self.findings if f.period == self.state.period):
            return None
        for check in dict.fromkeys([*plan.proof, *self._was_odd(plan.cures), *self._complained_of()]):
            step = self.reasoner.steps.get(check)
            if step is not None and self.allowed(step):
                return Look(step, proof=remedy)
        for neighbour in plan.neighbours:
            step = self.reasoner.steps.get(neighbour.check)
            if step is not None and self.allowed(step):
                return Look(step, proof=remedy, neighbour=neighbour.words)
        return None

    def _was_odd(self, cures: Sequence[str]) -> list[str]:
        """Looks and listens that were not as on a sound vehicle before the remedy and that it should have
        put right, the newest first."""
        rows = [1 + self.reasoner.index[cause] for cause in cures if cause in self.reasoner.index]
        found = [
            f.step.id
            for f, told in self.beliefs.judged
            if f.period == self.state.period - 1
            and f.step is not None
            and f.step.kind in ("look", "listen")
            and not f.step.generated
            and self._surprises(f)
            and float(told.rows[rows].max()) > _SURPRISE * float(told.rows.max())
        ]
        return found[::-1][:_PROOFS_MORE]

    def _complained_of(self) -> list[str]:
        """Checks that say whether what was complained of is gone: no job ends without. What was seen to be right
        since then need not be seen again."""
        out: list[str] = []
        for finding in self.findings:
            if finding.symptom is not None:
                shows = self.reasoner.knowledge.symptoms[finding.symptom].shows
                first = [alternative[0].check for alternative in shows if alternative]
                right = {
                    f.step.id
                    for f in self.findings
                    if f.step is not None and f.period > finding.period and not self._surprises(f)
                }
                if not right.isdisjoint(first):
                    continue
                out += [check for check in dict.fromkeys(first) if check is not None][:_BACK]
        return out

    def _surprises(self, finding: Finding) -> bool:
        """Whether an answer is one that a healthy vehicle seldom gives."""
        told = next((told for f, told in self.beliefs.judged if f.seq == finding.seq), None)
        return told is not None and float(told.rows[0]) < _SURPRISE * float(told.rows.max())

    def _walk(self) -> Look | None:
        """The next look or listen of the circuit that is being proved."""
        if self.proving is None or (self.treated and not self._told_since()):
            return None
        for step in self.reasoner.steps.values():
            if (
                step.circuit == self.proving
                and not step.generated
                and step.kind in ("look", "listen")
                and plain(step.operate)
                and self.allowed(step)
            ):
                return Look(step, walk=self.proving)
        return None

    def _nothing_odd(self) -> bool:
        """Whether nobody complained and every answer of the period is one that a sound vehicle gives."""
        now = [finding for finding in self.findings if finding.period == self.state.period]
        return not _somebody_complained(self.findings) and not any(self._surprises(finding) for finding in now)

    def _told_since(self) -> bool:
        """Whether the circuit to be checked was named after the last remedy."""
        return any(
            e.period == self.state.period and str(e.fields.get("value")).startswith("circuit:")
            for e in self.state.standing("answered", "found")
            if e.fields.get("check") in ("start", "symptom")
        )

    def _walked(self) -> bool:
        """Whether the circuit that is being proved, not the whole vehicle, was looked at to its end."""
        if self.proving is None or (self.treated and not self._told_since()):
            return False
        seen = any(f.step is not None and f.step.circuit == self.proving for f in self.findings)
        return seen and self._walk() is None

    def _asked(self, look: Look) -> Next:
        """The step itself, or what has to come before it: the battery's volts, or a caution."""
        step = look.step
        if step.kind == "measure" and step.unit == "V" and look.proof is None:
            first = self._battery_first()
            if first is not None and first.id != step.id:
                look, step = Look(first), first
        if step.caution is not None and step.caution not in self.acknowledged:
            caution: schema.Caution = self.reasoner.knowledge.cautions[step.caution]
            if caution.harm:
                return DoFirst(step.caution, step)
        return look

    def _battery_first(self) -> Step | None:
        """The battery's volts at rest, which all later readings are judged by, if not yet measured."""
        for step in self.reasoner.steps.values():
            if not step.generated and self.reasoner.tells_supply(step):
                seen = any(f.step is not None and f.step.id == step.id for f in self.findings)
                return step if not seen and self.allowed(step) else None
        return None

    # ------------------------------------------------------------ what is left

    def open_items(self) -> tuple[str, ...]:
        """What stays open, in words."""
        out = []
        for entry in self.state.standing("skipped"):
            reason = str(entry.fields.get("reason", "")).replace("-", " ")
            step = self.reasoner.steps.get(str(entry.fields.get("check")))
            if step is not None and step.id not in {f.step.id for f in self.findings if f.step is not None}:
                out.append(f"not checked ({reason}): {step.title}")
        answered = {f.step.id for f in self.findings if f.step is not None}
        for check in dict.fromkeys(str(e.fields.get("check")) for e in self.state.standing("not-sure")):
            step = self.reasoner.steps.get(check)
            if step is not None and check not in answered:
                out.append(f"not sure of: {step.title}")
        off = self._taken_off({})
        if off is not None:
            out += [
                "battery still disconnected"
                if name == "battery"
                else f"jumper still on: {name}"
                if bridge_ends(name) is not None
                else f"wire still off: {name}"
                for name in off.restore
            ]
        out += [f"left open: {e.fields.get('text')}" for e in self.state.standing("left-open")]
        for seq in self.beliefs.posterior.unexplained:
            out.append(unexplained_words(seq))
        if self.beliefs.posterior.healthy < _WELL:
            for name, p in self.beliefs.ranking[:3]:
                if p >= 0.05:
                    out.append(f"still suspected ({p:.0%}): {self.reasoner.remedies[name].title}")
            if self.beliefs.posterior.outside > 0.1:
                out.append(f"perhaps a cause that is not in the model ({self.beliefs.posterior.outside:.0%})")
        return tuple(out)
