"""What proves a remedy: its own checks, what was odd or complained of before it, and its neighbours."""

from __future__ import annotations

from collections.abc import Sequence

from diag.reason.sight import EXPLAINS
from diag.talk.known import SURPRISE, Known
from diag.talk.nexts import Look

__all__ = ["proof", "proved"]

_PROOFS_MORE, _BACK = 3, 4
"""Looks that prove a remedy because they were odd, or because of a complaint, at most."""
_ALL_MORE = 8
"""The same where the whole vehicle is proved."""
_STANDS_OUT = 0.04
"""Chance from which one remedy is suspected more than any other might be."""


def proof(known: Known) -> Look | None:
    """The next check that proves the last remedy, unless one has already failed."""
    if not known.treated or known.treated[-1].remedy is None:
        return None
    remedy = known.treated[-1].remedy
    plan, steps = known.reasoner.remedies.get(remedy), known.reasoner.steps
    if plan is None or any(known.surprises(f) for f in known.findings if f.period == known.state.period):
        return None
    for check in dict.fromkeys([*plan.proof, *_was_odd(known, plan.cures), *_complained_of(known)]):
        step = steps.get(check)
        if step is not None and step.id not in known.later and known.allowed(step):
            return Look(step, proof=remedy)
    for neighbour in plan.neighbours:
        step = steps.get(neighbour.check)
        if step is not None and step.id not in known.later and known.allowed(step):
            return Look(step, proof=remedy, neighbour=neighbour.words)
    return None


def proved(known: Known) -> bool:
    """Whether the last remedy is proved and nothing is left but what anyone might suspect of any vehicle: no
    answer since is odd, and no remedy stands out."""
    beliefs = known.beliefs
    if not known.treated or beliefs.posterior.unexplained:
        return False
    now = [f for f in known.findings if f.period == known.state.period and f.step is not None]
    top = beliefs.ranking[0][1] if beliefs.ranking else 0.0
    well = beliefs.posterior.healthy
    return well > 0.5 and top < _STANDS_OUT and bool(now) and not any(known.surprises(f) for f in now)


def _was_odd(known: Known, cures: Sequence[str]) -> list[str]:
    """Looks and listens that were not as on a sound vehicle before the remedy and that it should have
    put right, the newest first; where the whole vehicle is proved, what was measured too."""
    kinds = ("look", "listen", "measure") if known.whole else ("look", "listen")
    found = [
        f.step.id
        for f in known.findings
        if f.period == known.state.period - 1
        and f.step is not None
        and f.step.kind in kinds
        and (not f.step.generated or f.step.stage is not None)
        and known.surprises(f)
        and known.explains(cures, f, EXPLAINS if known.whole else SURPRISE)
    ]
    return found[::-1][: _ALL_MORE if known.whole else _PROOFS_MORE]


def _complained_of(known: Known) -> list[str]:
    """Checks that say whether what was complained of is gone: no job ends without. What was seen to be right
    since then need not be seen again."""
    out: list[str] = []
    for finding in known.findings:
        if finding.symptom is not None:
            shows = known.reasoner.knowledge.symptoms[finding.symptom].shows
            first = [alternative[0].check for alternative in shows if alternative]
            right = {
                f.step.id
                for f in known.findings
                if f.step is not None and f.period > finding.period and not known.surprises(f)
            }
            if not right.isdisjoint(first):
                continue
            out += [check for check in dict.fromkeys(first) if check is not None][:_BACK]
    return out
