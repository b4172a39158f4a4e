"""What a job leaves to be told though no work of it is open: what was mended and not tried again, fuses that are large.

Reads the plan; decides nothing that comes next.
"""

from __future__ import annotations

from diag.reason.chances import Told
from diag.reason.reasoner import Reasoner, Treated
from diag.reason.sight import EXPLAINS
from diag.reason.steps import Finding
from diag.stages.fuses import fuse_lines
from diag.talk.known import seldom_sound
from diag.talk.plan import Plan, Start
from diag.talk.wording import answer_words
from diag.texts import t, tn

__all__ = ["cured_by", "explains", "nothing_open_words", "to_tell"]


def explains(reasoner: Reasoner, told: Told | None, remedy: str) -> bool:
    """Whether a fault that `remedy` cures gives an answer with these chances, and a healthy vehicle does not."""
    plan = reasoner.remedies.get(remedy)
    if told is None or plan is None:
        return False
    rows, best = [1 + reasoner.index[cause] for cause in plan.cures], float(told.rows.max())
    return seldom_sound(told) and any(told.rows[row] >= EXPLAINS * best for row in rows)


def cured_by(
    reasoner: Reasoner, treated: tuple[Treated, ...], told: Told | None, finding: Finding, but: str = ""
) -> str:
    """Title of a remedy other than `but`, carried out after the finding, that explains it; else empty."""
    for work in treated:
        name = work.remedy
        if name is not None and name != but and work.period > finding.period and explains(reasoner, told, name):
            return reasoner.remedies[name].title
    return ""


def to_tell(reasoner: Reasoner, plan: Plan) -> tuple[str, ...]:
    """In words, the newest answer to each check where it was odd and explained by later work; then, in a job that does
    not prove the whole vehicle, the fuses that the wire behind them does not bear. Empty before the start."""
    if isinstance(plan.next, Start):
        return ()
    judged = {finding.seq: told for finding, told in plan.beliefs.judged} if plan.beliefs is not None else {}
    newest = {finding.step.id: finding for finding in plan.findings if finding.step is not None}
    out = []
    for finding in newest.values():
        if finding.step is None or finding.value is None:
            continue
        if cured_by(reasoner, plan.treated, judged.get(finding.seq), finding):
            out.append(
                t(
                    "mended and not tried again: {title} (it was: {found})",
                    title=finding.step.title,
                    found=answer_words(finding.step, finding.value),
                )
            )
    if not plan.stages:  # which lists them among what is open
        out += [
            t("not what this job was about: {line}", line=line.words) for line in fuse_lines(reasoner) if not line.holds
        ]
    return tuple(dict.fromkeys(out))


def nothing_open_words(count: int) -> str:
    """The sentence where no work is open and so many points are to be told."""
    if not count:
        return t("Nothing is open.")
    return tn("No work is open, but {n} point is to be told.", "No work is open, but {n} points are to be told.", count)
