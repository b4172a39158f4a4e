"""Whether the work that was done cured it, by what was seen since: proved, NOT cured, or not proved yet.

A pure function of plan and state; decides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from diag.job.state import JobState
from diag.reason.chances import Told
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding
from diag.talk.known import seldom_sound
from diag.talk.plan import Plan
from diag.talk.telling import explains
from diag.texts import t

__all__ = ["proving", "work_words"]

Judged = tuple[Finding, Told]


def work_words(reasoner: Reasoner, plan: Plan, state: JobState) -> list[str]:
    """Title of each remedy carried out, in order, with what came of it."""
    judged = plan.beliefs.judged if plan.beliefs is not None else ()
    out = []
    for entry in state.standing("remedied"):
        name = str(entry.fields.get("remedy"))
        remedy = reasoner.remedies.get(name)
        if remedy is None:
            out.append(name)
            continue
        sound = {
            f.step.id: not seldom_sound(told) for f, told in proving(reasoner, judged, name, entry.period)[0] if f.step
        }
        if not sound:
            out.append(t("{title}: not proved", title=remedy.title))
        elif all(sound.values()):
            out.append(t("{title}: proved", title=remedy.title))
        else:
            out.append(t("{title}: NOT cured by it", title=remedy.title))
    return out


def proving(reasoner: Reasoner, judged: Sequence[Judged], remedy: str, period: int) -> tuple[list[Judged], bool]:
    """Answers that prove a remedy or not, with their chances: those before the next work, else the first ones later,
    when it can only be proved together with what followed (True)."""
    telling = set(reasoner.remedies[remedy].proof)
    telling |= {f.step.id for f, told in judged if f.step and f.period < period and explains(reasoner, told, remedy)}
    for later in range(period, max((f.period for f, _ in judged), default=0) + 1):
        found = [(f, told) for f, told in judged if f.step and f.period == later and f.step.id in telling]
        if found:
            return found, later > period
    return [], False
