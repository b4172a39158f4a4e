"""A job replayed with today's knowledge: what led before each remedy, when it was sure, which rules fired.

Pure functions of knowledge and records; `concluded` records are not believed, everything is weighed anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from weakref import WeakKeyDictionary

from diag.errors import DiagError
from diag.job.records import Record
from diag.job.state import Entry, JobState
from diag.job.state import replay as state_of
from diag.knowledge.assemble import Knowledge
from diag.reason.engine import default_matcher
from diag.reason.reasoner import Reasoner, Treated
from diag.reason.steps import Finding
from diag.replay.compare import Difference, compare
from diag.replay.forms import SURE, Carried, Expected, Outcome
from diag.replay.jobs import Job, jobs_in
from diag.replay.weighing import Believed, Weighing
from diag.talk.findings import findings_of
from diag.talk.known import somebody_complained
from diag.talk.plan import plan_next
from diag.texts import t

__all__ = [
    "Carried",
    "Difference",
    "Expected",
    "Job",
    "Outcome",
    "Weighing",
    "compare",
    "fired_in",
    "jobs_in",
    "outcome",
]

_WEIGHING: WeakKeyDictionary[Reasoner, Weighing] = WeakKeyDictionary()
_BARE: WeakKeyDictionary[Knowledge, Reasoner] = WeakKeyDictionary()


def outcome(reasoner: Reasoner, records: Sequence[Record], name: str, weighing: Weighing | None = None) -> Outcome:
    """What comes of a job with this knowledge; a job that cannot be replayed says why in `problem`. `weighing`: of
    this reasoner, where many jobs are replayed together; it remembers what they have in common."""
    try:
        state = state_of(records)
    except ValueError as error:
        return Outcome(
            name,
            "",
            problem=t("{error}; found `{event}`", error=error, event=records[0].event if records else t("nothing")),
        )
    try:
        if weighing is None:
            weighing = _WEIGHING.setdefault(reasoner, Weighing(reasoner))
            weighing.begin()
        return _Replay(weighing, state).outcome(name)
    except (DiagError, ValueError) as error:
        return Outcome(name, state.vehicle, problem=str(error))


def fired_in(knowledge: Knowledge, records: Sequence[Record]) -> frozenset[str]:
    """Ids of the rules that fire in any period of a job, without any network: quick. A measurement that no file
    asks for fires no rule. Raises ValueError where the records do not begin a job, DiagError where the rule
    engine fails."""
    if knowledge not in _BARE:
        _BARE[knowledge] = Reasoner(knowledge, None, default_matcher())
    reasoner = _BARE[knowledge]
    findings, _, _, _ = findings_of(reasoner, state_of(records))
    return _fired(reasoner, findings)


def _fired(reasoner: Reasoner, findings: Sequence[Finding]) -> frozenset[str]:
    """Rules that fire on the findings of any one period."""
    fired: set[str] = set()
    for period in {finding.period for finding in findings}:
        here = [finding for finding in findings if finding.period == period]
        fired.update(firing.rule_id for firing in reasoner.fired(here).firings)
    return frozenset(fired)


class _Replay:
    """One job and what stands at each of its points."""

    def __init__(self, weighing: Weighing, state: JobState) -> None:
        self.weighing, self.reasoner, self.state = weighing, weighing.reasoner, state
        self.findings, self.treated, self.proving, self.unknown = findings_of(self.reasoner, state)
        self._by_seq = {finding.seq: finding for finding in self.findings}

    def outcome(self, name: str) -> Outcome:
        entries = self.state.entries
        carried = [
            self._carried(index, str(entry.fields.get("remedy")))
            for index, entry in enumerate(entries)
            if entry.event == "remedied"
        ]
        end = self._believed(len(entries))
        remedies = [one.remedy for one in carried]
        fired = _fired(self.reasoner, self.findings)
        pointing, against = self._about(fired, remedies)
        return Outcome(
            name,
            self.state.vehicle,
            len(self.state.standing("answered", "found")),
            tuple(carried),
            end.leader,
            end.causes,
            end.healthy,
            self._sure_after(),
            tuple(self.unknown),
            tuple(remedy for remedy in dict.fromkeys(remedies) if remedy not in self.reasoner.remedies),
            tuple(sorted(fired)),
            pointing,
            against,
        )

    def _carried(self, index: int, remedy: str) -> Carried:
        before = self._believed(index)
        p, rank = before.place(remedy)
        leader, leader_p = before.leader or ("", 0.0)
        return Carried(remedy, p, rank, leader, leader_p, before.causes)

    def _about(self, fired: frozenset[str], remedies: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Of the rules that fired, those that point to a cause which was cured, and those that clear one."""
        plans = self.reasoner.remedies
        cured = {cause for remedy in remedies if remedy in plans for cause in plans[remedy].cures}
        rules = [self.reasoner.knowledge.rules[rule] for rule in sorted(fired)]
        pointing = (rule.id for rule in rules if any(effect.points_to in cured for effect in rule.then))
        against = (rule.id for rule in rules if any(effect.clears in cured for effect in rule.then))
        return tuple(pointing), tuple(against)

    # ------------------------------------------------------------ points of the job

    def _standing(self, count: int) -> tuple[list[Finding], list[Treated]]:
        """Findings and treatments once the first `count` entries stood."""
        entries = self.state.entries[:count]
        findings = [self._by_seq[entry.seq] for entry in entries if entry.seq in self._by_seq]
        treated = [
            Treated(entry.period, str(entry.fields.get("remedy")) if entry.event == "remedied" else None)
            for entry in entries
            if entry.event in ("remedied", "changed")
        ]
        return findings, treated

    def _believed(self, count: int) -> Believed:
        """What was believed then, as the conversation would have it."""
        findings, treated = self._standing(count)
        if self.proving == "whole":  # a stage may have confirmed what was odd
            beliefs = plan_next(self.reasoner, self.state.until(count)).beliefs
            if beliefs is None:
                return Believed((), (), 0.0)
            return self.weighing.short(beliefs.posterior)
        if not findings and self.proving is None:
            return Believed((), (), 0.0)
        proving = self.proving is not None and not somebody_complained(findings)
        return self.weighing.believed(findings, treated, proving=proving)

    def _sure_after(self) -> int | None:
        """Looked for backwards, so that only answers that came after it are weighed."""
        entries = self.state.entries
        last = next((index for index, entry in enumerate(entries) if entry.event == "remedied"), len(entries))
        places = [index for index, entry in enumerate(entries[:last]) if _is_answer(entry)]
        sure, leader = None, ""
        for count in range(len(places), 0, -1):
            found = self._believed(places[count - 1] + 1).leader
            if found is None or found[1] < SURE or (leader and found[0] != leader):
                break
            sure, leader = count, found[0]
        return sure


def _is_answer(entry: Entry) -> bool:
    return entry.event in ("answered", "found")
