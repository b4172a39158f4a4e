"""Answers that are worth a second look: before a job ends, and what was complained of once something was changed."""

from __future__ import annotations

from diag.talk.known import Known
from diag.talk.nexts import Look

__all__ = ["changed_since", "still_odd"]


def still_odd(known: Known) -> Look | None:
    """An answer that nothing explains, seen once more before the end: it was a slip, or there is more wrong."""
    for finding in known.findings:
        step = finding.step
        if step is None or finding.seq not in known.beliefs.posterior.unexplained:
            continue
        if known.allowed(step) and step.id not in known.answered - set(known.again):
            return Look(step, again=finding.seq)
    return None


def changed_since(known: Known) -> Look | None:
    """What was complained of, seen again after someone changed something at the vehicle: it may be cured, and if not
    all else is judged by it."""
    period = known.state.period
    if known.whole or not known.treated or known.treated[-1].period != period or known.treated[-1].remedy is not None:
        return None
    if any(finding.period == period for finding in known.findings):
        return None
    for finding in known.findings:
        symptom = known.reasoner.knowledge.symptoms.get(finding.symptom or "")
        for shows in symptom.shows if symptom is not None else ():
            for condition in shows:
                step = known.reasoner.steps.get(condition.check or "")
                if step is not None and known.allowed(step):
                    return Look(step)
    return None
