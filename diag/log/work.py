"""Work done on the vehicle, and what proved it. Knows nothing of forms or of how causes are weighed."""

from __future__ import annotations

from datetime import tzinfo

from diag.job.state import Entry
from diag.log.figures import chance_of, moment_of
from diag.log.replayed import Replayed
from diag.log.report import Done, Proof
from diag.reason.steps import Finding
from diag.talk.objects import expected_words
from diag.talk.wording import answer_words
from diag.talk.worked import proving

__all__ = ["done_of"]


def done_of(job: Replayed, zone: tzinfo | None) -> tuple[Done, ...]:
    """Remedies and changes that stand, in order."""
    return tuple(_done(job, entry, zone) for entry in job.state.standing("remedied", "changed"))


def _done(job: Replayed, entry: Entry, zone: tzinfo | None) -> Done:
    at = moment_of(entry.at, zone)
    if entry.event == "changed":
        text = str(entry.fields.get("text", ""))
        return Done(entry.seq, at, "change", "", text, True, None, (), (), (), (), "not-proved", None)
    name = str(entry.fields.get("remedy"))
    plan = job.reasoner.remedies.get(name)
    if plan is None:
        return Done(entry.seq, at, "remedy", name, name, False, None, (), (), (), (), "not-proved", None)
    before, after = job.before[entry.seq].beliefs, job.plan.beliefs
    proofs, together = _proofs(job, name, entry.period)
    newest = {proof.check: proof.sound for proof in proofs}
    verdict = "proved-together" if together else "proved"
    if not proofs:
        verdict = "not-proved"
    elif not all(newest.values()):
        verdict = "failed"
    cautions = job.reasoner.knowledge.cautions
    unproved = [job.reasoner.steps[c].title for c in plan.proof if c not in newest and c in job.reasoner.steps]
    return Done(
        entry.seq,
        at,
        "remedy",
        name,
        plan.title,
        True,
        chance_of(dict(before.ranking).get(name, 0.0)) if before is not None else None,
        plan.steps,
        tuple(cautions[c].text for c in plan.cautions if c in cautions),
        proofs,
        tuple(unproved),
        verdict,
        chance_of(dict(after.ranking).get(name, 0.0)) if after is not None else None,
    )


def _proofs(job: Replayed, remedy: str, period: int) -> tuple[tuple[Proof, ...], bool]:
    """Answers that prove a remedy or not, and whether it can only be proved together with what followed."""
    judged = job.plan.beliefs.judged if job.plan.beliefs is not None else ()
    found, together = proving(job.reasoner, judged, remedy, period)
    return tuple(_proof(job, finding) for finding, _ in found), together


def _proof(job: Replayed, finding: Finding) -> Proof:
    step, value = finding.step, finding.value
    assert step is not None and value is not None
    return Proof(
        finding.seq,
        step.id,
        step.title,
        answer_words(step, value),
        expected_words(job.reasoner, step),
        bool(job.sound(finding)),
    )
