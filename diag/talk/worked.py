"""Whether the work that was done cured it, by what was seen since: proved, NOT cured, or not proved yet.

A pure function of plan and state; decides nothing.
"""

from __future__ import annotations

from diag.job.state import JobState
from diag.reason.reasoner import Reasoner
from diag.talk.known import SURPRISE, seldom_sound
from diag.talk.plan import Plan
from diag.texts import t

__all__ = ["work_words"]


def work_words(reasoner: Reasoner, plan: Plan, state: JobState) -> list[str]:
    """Title of each remedy carried out, in order, with what came of it."""
    out = []
    for entry in state.standing("remedied"):
        name = str(entry.fields.get("remedy"))
        remedy = reasoner.remedies.get(name)
        if remedy is None:
            out.append(name)
            continue
        sound = _seen_since(reasoner, plan, name, entry.period)
        if not sound:
            out.append(t("{title}: not proved", title=remedy.title))
        elif all(sound.values()):
            out.append(t("{title}: proved", title=remedy.title))
        else:
            out.append(t("{title}: NOT cured by it", title=remedy.title))
    return out


def _seen_since(reasoner: Reasoner, plan: Plan, name: str, period: int) -> dict[str, bool]:
    """Checks that tell whether a remedy cured it, and whether each was right: those seen before the next work, else
    the first ones later."""
    remedy = reasoner.remedies[name]
    judged = plan.beliefs.judged if plan.beliefs is not None else ()
    rows = [1 + reasoner.index[cause] for cause in remedy.cures if cause in reasoner.index]
    telling = set(remedy.proof)
    for finding, told in judged:
        if finding.step is None or finding.period >= period or not rows:
            continue
        if float(told.rows[rows].max()) > SURPRISE * float(told.rows.max()) and seldom_sound(told):
            telling.add(finding.step.id)
    for later in range(period, max((f.period for f, _ in judged), default=0) + 1):
        found = {
            f.step.id: not seldom_sound(told)
            for f, told in judged
            if f.step is not None and f.period == later and f.step.id in telling
        }
        if found:
            return found
    return {}
