"""Answers that are worth a second look before a job ends."""

from __future__ import annotations

from diag.talk.known import Known
from diag.talk.nexts import Look

__all__ = ["still_odd"]


def still_odd(known: Known) -> Look | None:
    """An answer that nothing explains, seen once more before the end: it was a slip, or there is more wrong."""
    for finding in known.findings:
        step = finding.step
        if step is None or finding.seq not in known.beliefs.posterior.unexplained:
            continue
        if known.allowed(step) and step.id not in known.answered - set(known.again):
            return Look(step, again=finding.seq)
    return None
