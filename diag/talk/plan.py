"""What comes next in a job: a pure function of its state. Start, caution, question, proof, conclusion,
or the end. Knows how to decide; not how anything is worded or transported.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from diag.job.state import JobState
from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.steps import Finding, Step
from diag.stages.course import FAULTS
from diag.talk.deciding import best, rule_first
from diag.talk.findings import findings_of
from diag.talk.known import Known, somebody_complained
from diag.talk.leaving import open_items, put_back, unexplained_words
from diag.talk.nexts import Conclude, DoFirst, End, Look, Next, Start
from diag.talk.staged import Staged, StageState

__all__ = ["Conclude", "DoFirst", "End", "Look", "Next", "Plan", "Start", "plan_next", "unexplained_words"]


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
    stage: str | None = None
    """Where a job that proves the whole vehicle stands; None for any other."""
    stages: tuple[StageState, ...] = ()
    unresolved: tuple[Finding, ...] = ()
    """What is odd in such a job, and neither cured nor left open."""
    helper: bool = False
    closed: frozenset[str] = frozenset()
    """Places that the person cannot reach."""


def plan_next(reasoner: Reasoner, state: JobState) -> Plan:
    """What comes next. Raises DiagError where the rule engine fails."""
    findings, treated, proving, _ = findings_of(reasoner, state)
    started = any(e.fields.get("check") in ("start", "symptom") for e in state.standing("answered", "found"))
    if not started and not findings:
        return Plan(Start(), None, (), tuple(treated), None)
    beliefs = reasoner.beliefs(findings, treated, proving=proving is not None and not somebody_complained(findings))
    known = Known(reasoner, state, findings, treated, proving, beliefs)
    if known.whole:
        staged = Staged(known)
        if staged.stage == FAULTS and staged.confirmed:
            beliefs = reasoner.beliefs(findings, treated)
            known = Known(reasoner, state, findings, treated, proving, beliefs)
            staged = Staged(known)
        chosen, open_ = staged.next(), staged.open_items()
        return Plan(
            chosen,
            beliefs,
            tuple(findings),
            tuple(treated),
            proving,
            open_,
            known.allowed,
            staged.stage,
            staged.states(),
            staged.unresolved,
            "helper" in known.instruments,
            frozenset(known.closed_places),
        )
    return Plan(
        _next(known),
        beliefs,
        tuple(findings),
        tuple(treated),
        proving,
        open_items(known),
        known.allowed,
        closed=frozenset(known.closed_places),
    )


def _next(known: Known) -> Next:
    """What the best next thing is, after what the last check took off is back on."""
    chosen = rule_first(known) or best(known)
    if isinstance(chosen, Look | End) or (isinstance(chosen, DoFirst) and chosen.step is not None):
        step = None if isinstance(chosen, End) else chosen.step
        off = put_back(known, step.operate if step is not None else {})
        if off is not None:
            return off
    return chosen
