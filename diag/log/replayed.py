"""A job lived through again: what was believed after each record that counts, and which answers are those
of a healthy vehicle. Computed anew with the knowledge given; `concluded` records are not trusted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from diag.job.records import Record
from diag.job.state import Entry, JobState, replay
from diag.reason.chances import Told
from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.steps import Finding
from diag.talk.findings import findings_of
from diag.talk.known import seldom_sound, somebody_complained
from diag.talk.plan import Plan, plan_next
from diag.talk.telling import cured_by, explains

__all__ = ["Point", "Replayed", "replayed"]

_WORK = ("remedied", "changed")
_EVERY, _SPREAD = 300, 60
"""Of a job with more records that count than the first, about the second number are worked out, spread over it."""


@dataclass(frozen=True)
class Point:
    """What was believed once `entry` stood."""

    entry: Entry
    beliefs: Beliefs


@dataclass(frozen=True)
class Replayed:
    """A job with its beliefs. `before`: for each remedy or change (by seq), the plan just before it;
    `unknown`: seqs that mean nothing to this knowledge; `told`: chances of each standing answer by seq. `counted`: how
    many records count; a long job has fewer `points`: a spread of them, and the last of each period.
    `step_texts`: what is the same of each step however often it was answered, kept here by who words it."""

    reasoner: Reasoner
    records: tuple[Record, ...]
    state: JobState
    findings: tuple[Finding, ...]
    treated: tuple[Treated, ...]
    unknown: tuple[int, ...]
    points: tuple[Point, ...]
    before: dict[int, Plan]
    plan: Plan
    told: dict[int, Told]
    counted: int = 0
    step_texts: dict[str, tuple[str, str, str]] = field(default_factory=dict)

    def sound(self, finding: Finding) -> bool | None:
        """Whether a healthy vehicle gives this answer; None for complaints."""
        if finding.step is None or finding.value is None:
            return None
        told = self.told.get(finding.seq) or self.reasoner.chances.told(finding.step, finding.value)
        return not seldom_sound(told)

    def explains(self, remedy: str, finding: Finding) -> bool:
        """Whether a fault that `remedy` cures gives this answer, and a healthy vehicle does not."""
        return explains(self.reasoner, self.told.get(finding.seq), remedy)

    def explained_by(self, finding: Finding, but: str) -> str:
        """Title of a remedy other than `but`, carried out after the finding, that explains it; else empty."""
        return cured_by(self.reasoner, self.treated, self.told.get(finding.seq), finding, but)


def replayed(reasoner: Reasoner, records: Sequence[Record]) -> Replayed:
    """The job's state and beliefs. Raises ValueError where the records do not begin a job, DiagError where
    the rule engine fails."""
    state = replay(records)
    findings, treated, _, unknown = findings_of(reasoner, state)
    before: dict[int, Plan] = {}
    points: list[Point] = []
    strange = set(unknown)
    count = [
        index
        for index, entry in enumerate(state.entries)
        if entry.event in _WORK or (entry.event in ("answered", "found") and entry.seq not in strange)
    ]
    worked_out = _spread(state, count)
    for index in worked_out:
        entry = state.entries[index]
        if entry.event in _WORK:
            before[entry.seq] = plan_next(reasoner, state.until(index))
        beliefs = _beliefs(reasoner, state.until(index + 1))
        if beliefs is not None:
            points.append(Point(entry, beliefs))
    plan = plan_next(reasoner, state)
    told = {finding.seq: told for finding, told in plan.beliefs.judged} if plan.beliefs is not None else {}
    return Replayed(
        reasoner,
        tuple(records),
        state,
        tuple(findings),
        tuple(treated),
        tuple(unknown),
        tuple(points),
        before,
        plan,
        told,
        len(count) if len(worked_out) < len(count) else len(points),
    )


def _spread(state: JobState, count: Sequence[int]) -> list[int]:
    """Of the places of entries that count those to be worked out: all of a usual job; of a long one the first, some
    spread over it, every work, and the last of each period."""
    if len(count) <= _EVERY:
        return list(count)
    each = -(-len(count) // _SPREAD)
    work = [index for index in count if state.entries[index].event in _WORK]
    before = [count[place - 1] for place, index in enumerate(count) if place and state.entries[index].event in _WORK]
    return sorted({*count[::each], *work, *before, count[-1]})


def _beliefs(reasoner: Reasoner, state: JobState) -> Beliefs | None:
    findings, treated, proving, _ = findings_of(reasoner, state)
    if not findings and proving is None:
        return None
    return reasoner.beliefs(findings, treated, proving=proving is not None and not somebody_complained(findings))
