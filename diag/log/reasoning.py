"""The chain of reasoning: at every point where work was done, and at the end, what was held likely and why.

Everything is computed anew from the answers that stood then. Knows nothing of forms or files.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo

import numpy as np

from diag.circuit.network import Floats
from diag.log.figures import chance_of, moment_of, predicted_words
from diag.log.replayed import Replayed
from diag.log.report import (
    Candidate,
    Cause,
    Conflict,
    Evidence,
    FiredRule,
    OddAnswer,
    RuledOut,
    RuleRef,
    Stage,
    Suspect,
    Trail,
    TrailRow,
)
from diag.reason.explain import Reason, reasons_for, weight_words
from diag.reason.forward import Firing
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.steps import Finding
from diag.talk.known import WHOLE
from diag.talk.objects import expected_words
from diag.talk.plan import Conclude, Plan
from diag.talk.taught_words import taught_words
from diag.talk.wording import finding_words
from diag.texts import t

__all__ = ["conflicts_of", "stages_of", "trail_of"]

_MOST, _LEAST = 5, 0.02
_ONCE, _NOW, _LISTED = 0.01, 0.005, 12
"""A remedy counts as ruled out that once had the first chance and now has less than the second."""
_STILL = 0.05
_COLUMNS = 5


def stages_of(job: Replayed, zone: tzinfo | None) -> tuple[Stage, ...]:
    """A stage before each remedy or change that stands, and one at the end if anything was answered."""
    stages: list[Stage] = []
    named: set[str] = set()
    for entry in job.state.standing("remedied", "changed"):
        plan = job.before[entry.seq]
        remedy = str(entry.fields.get("remedy")) if entry.event == "remedied" else ""
        chosen = remedy if remedy in job.reasoner.remedies else ""
        if plan.beliefs is not None:
            kind = "remedy" if entry.event == "remedied" else "change"
            stages.append(_stage(job, plan, plan.beliefs, kind, entry.seq, entry.at, chosen, named, zone))
    if job.plan.beliefs is not None:
        stages.append(_stage(job, job.plan, job.plan.beliefs, "end", None, job.state.last_at, "", named, zone))
    return tuple(stages)


def _stage(
    job: Replayed,
    plan: Plan,
    beliefs: Beliefs,
    kind: str,
    number: int | None,
    at: str,
    chosen: str,
    named: set[str],
    zone: tzinfo | None,
) -> Stage:
    posterior = beliefs.posterior
    likely = [(name, p) for name, p in beliefs.ranking if p >= _LEAST][:_MOST]
    if chosen and chosen not in dict(likely):
        likely.append((chosen, dict(beliefs.ranking).get(chosen, 0.0)))
    argued = [chosen] if chosen else []
    if likely and likely[0][0] not in argued and likely[0][1] >= _STILL and posterior.healthy < 0.5:
        argued.append(likely[0][0])
    reason = plan.next.reason if isinstance(plan.next, Conclude) else ""
    ruled_out = _ruled_out(job, beliefs, number, named, likely[0] if likely else ("", 0.0)) if argued else ()
    named |= {out.id for out in ruled_out}
    return Stage(
        kind,
        number,
        moment_of(at, zone),
        chosen,
        reason,
        tuple(_candidate(job.reasoner, beliefs, name, p) for name, p in likely),
        chance_of(posterior.healthy),
        chance_of(posterior.outside),
        tuple(line for name in argued for line in _evidence(job, beliefs, name)),
        tuple(_fired(job.reasoner, firing, _answers(plan)) for firing in beliefs.firings),
        ruled_out,
        conflicts_of(job, beliefs, chosen),
        _odd(job, beliefs),
        tuple(tuple(sorted(group)) for group in posterior.contradictions),
    )


def _odd(job: Replayed, beliefs: Beliefs) -> tuple[OddAnswer, ...]:
    words = {finding.seq: finding_words(job.reasoner.knowledge, finding) for finding, _ in beliefs.judged}
    return tuple(OddAnswer(o.seq, words[o.seq], chance_of(o.p)) for o in beliefs.posterior.odd if o.seq in words)


def _candidate(reasoner: Reasoner, beliefs: Beliefs, name: str, p: float) -> Candidate:
    plan, present = reasoner.remedies[name], beliefs.posterior.present
    causes = sorted(((cause, float(present[reasoner.index[cause]])) for cause in plan.cures), key=lambda c: -c[1])
    cautions = reasoner.knowledge.cautions
    return Candidate(
        name,
        plan.title,
        chance_of(p),
        tuple(
            Cause(cause, reasoner.causes[reasoner.index[cause]].title, chance_of(q))
            for cause, q in causes
            if q >= 0.001 or cause == causes[0][0]
        ),
        plan.steps,
        tuple(cautions[c].text for c in plan.cautions if c in cautions),
        plan.parts,
        plan.minutes,
        taught_words(reasoner, [reasoner.index[cause] for cause, _ in causes[:1]]),
    )


# ---------------------------------------------------------------- evidence


def _evidence(job: Replayed, beliefs: Beliefs, remedy: str) -> list[Evidence]:
    reasoner = job.reasoner
    likeliest = max(
        (reasoner.index[cause] for cause in reasoner.remedies[remedy].cures),
        key=lambda i: (float(beliefs.posterior.present[i]), float(reasoner.prior[i])),
    )
    return [_line(job, reason, remedy, likeliest) for reason in reasons_for(reasoner, beliefs, remedy)]


def _line(job: Replayed, reason: Reason, remedy: str, cause: int) -> Evidence:
    reasoner, finding = job.reasoner, reason.finding
    return Evidence(
        remedy,
        finding.seq,
        finding_words(reasoner.knowledge, finding),
        _rounded(reason.weight),
        weight_words(reason.weight),
        reason.source,
        predicted_words(reasoner, finding.step, cause) if finding.step is not None else "",
        expected_words(reasoner, finding.step) if finding.step is not None else "",
        tuple(_ref(reasoner, rule) for rule in reason.rules),
        job.explained_by(finding, remedy) if reason.weight < 1 else "",
    )


def _rounded(weight: float) -> float:
    return float(f"{weight:.3g}")


def _ref(reasoner: Reasoner, rule_id: str) -> RuleRef:
    rule = reasoner.knowledge.rules[rule_id]
    return RuleRef(rule.id, rule.title, rule.because, rule.source)


def conflicts_of(job: Replayed, beliefs: Beliefs, but: str = "") -> tuple[Conflict, ...]:
    """Answers that the likeliest faults leave unexplained, with what explained them later."""
    findings = {finding.seq: finding for finding in job.findings}
    return tuple(
        Conflict(seq, finding_words(job.reasoner.knowledge, findings[seq]), job.explained_by(findings[seq], but))
        for seq in beliefs.posterior.unexplained
        if seq in findings
    )


# ---------------------------------------------------------------- rules


def _answers(plan: Plan) -> Mapping[str, Finding]:
    """Newest answer to each check in the period of the plan."""
    last = max([f.period for f in plan.findings] + [one.period for one in plan.treated], default=0)
    return {f.step.id: f for f in plan.findings if f.step is not None and f.period == last}


def _fired(reasoner: Reasoner, firing: Firing, answers: Mapping[str, Finding]) -> FiredRule:
    rests: list[str] = []
    for fact in firing.facts:
        word = fact.removeprefix("established:")
        if word != fact:
            rests.append(t("established: {word}", word=word.replace("-", " ")))
        elif fact in answers:
            rests.append(
                t(
                    "answer {seq} ({finding})",
                    seq=answers[fact].seq,
                    finding=finding_words(reasoner.knowledge, answers[fact]),
                )
            )
        else:
            rests.append(t("the complaint"))
    concludes: list[str] = []
    established: list[str] = []
    for effect in firing.effects:
        if effect.points_to is not None:
            concludes.append(
                t(
                    "points to {cause}, weight {weight:g}",
                    cause=_cause(reasoner, effect.points_to),
                    weight=effect.weight,
                )
            )
        elif effect.clears is not None:
            concludes.append(t("clears {cause}", cause=_cause(reasoner, effect.clears)))
        elif effect.establish is not None:
            concludes.append(t("establishes: {establish}", establish=effect.establish.replace("-", " ")))
            established.append(effect.establish)
        elif effect.ask is not None:
            step = reasoner.steps.get(effect.ask)
            concludes.append(t("asks for: {step}", step=step.title if step is not None else effect.ask))
        else:
            name = effect.warn or effect.stop or ""
            caution = reasoner.knowledge.cautions.get(name)
            concludes.append(f"{'warns' if effect.warn else 'stops'}: {caution.text if caution else name}")
    return FiredRule(_ref(reasoner, firing.rule_id), tuple(rests), tuple(concludes), tuple(established))


def _cause(reasoner: Reasoner, cause: str) -> str:
    return reasoner.causes[reasoner.index[cause]].title if cause in reasoner.index else cause


# ---------------------------------------------------------------- ruled out, and the trail


def _ruled_out(
    job: Replayed, beliefs: Beliefs, number: int | None, named: set[str], best: tuple[str, float]
) -> tuple[RuledOut, ...]:
    """Remedies once suspected that were not carried out, with the answer that speaks most against each: not
    one that another fault, since put right, explains."""
    peaks: dict[str, float] = {}
    for i, remedy in job.reasoner.remedy_of.items():
        peaks[remedy] = peaks.get(remedy, 0.0) + float(job.reasoner.prior[i])
    for point in job.points:
        if number is not None and point.entry.seq >= number:
            break
        for remedy, p in point.beliefs.ranking:
            peaks[remedy] = max(peaks.get(remedy, 0.0), p)
    now = dict(beliefs.ranking)
    out_of_it = named | {one.remedy for one in job.treated if one.remedy is not None}
    gone = [r for r, p in peaks.items() if p > _ONCE and now.get(r, 0.0) < _NOW and r not in out_of_it]
    gone.sort(key=lambda remedy: (-peaks[remedy], remedy))
    winner = best[0] if best[1] >= 0.5 else ""
    return tuple(_out(job, beliefs, remedy, peaks[remedy], now.get(remedy, 0.0), winner) for remedy in gone[:_LISTED])


def _out(job: Replayed, beliefs: Beliefs, remedy: str, peak: float, now: float, winner: str) -> RuledOut:
    title, words_of = job.reasoner.remedies[remedy].title, job.reasoner.knowledge
    against = job.reasoner.remedies[winner].title if winner else ""
    weights = [
        (weight, finding)
        for weight, finding in (
            _against(job, beliefs, remedy, winner)
            if winner
            else [(reason.weight, reason.finding) for reason in reasons_for(job.reasoner, beliefs, remedy)]
        )
        if weight < 1 / 1.3 and not job.explained_by(finding, winner)
    ]
    if not weights:
        return RuledOut(remedy, title, chance_of(peak), chance_of(now), None, "", None, "", against)
    weight, finding = min(weights, key=lambda pair: pair[0])
    return RuledOut(
        remedy,
        title,
        chance_of(peak),
        chance_of(now),
        finding.seq,
        finding_words(words_of, finding),
        _rounded(weight),
        weight_words(weight),
        against,
    )


def _against(job: Replayed, beliefs: Beliefs, remedy: str, winner: str) -> list[tuple[float, Finding]]:
    """How many times likelier each answer is with the causes of `remedy` than with the winner's."""

    def shares(name: str, chances: Floats) -> Floats:
        mine = np.zeros(len(job.reasoner.causes))
        rows = [job.reasoner.index[cause] for cause in job.reasoner.remedies[name].cures]
        mine[rows] = chances[rows]
        out: Floats = mine / max(float(mine.sum()), 1e-300)
        return out

    loser, best = shares(remedy, job.reasoner.prior), shares(winner, beliefs.posterior.present)
    return [
        (float((told.rows[1:] * loser).sum()) / max(float((told.rows[1:] * best).sum()), 1e-12), finding)
        for finding, told in beliefs.judged
    ]


def trail_of(job: Replayed) -> Trail:
    """How the likeliest remedies moved with every record that counts: first those carried out, then those
    that were held likeliest at any time."""
    peaks: dict[str, float] = {}
    for point in job.points:
        for name, p in point.beliefs.ranking:
            peaks[name] = max(peaks.get(name, 0.0), p)
    done = dict.fromkeys(
        one.remedy for one in job.treated if one.remedy is not None and one.remedy in job.reasoner.remedies
    )
    rest = sorted((name for name in peaks if name not in done), key=lambda name: (-peaks[name], name))
    columns = [*done, *rest[: max(2, _COLUMNS - len(done))]]
    findings = {finding.seq: finding for finding in job.findings}
    rows = []
    for point in job.points:
        seq, posterior = point.entry.seq, point.beliefs.posterior
        chances = dict(point.beliefs.ranking)
        if seq in findings:
            words = finding_words(job.reasoner.knowledge, findings[seq])
        elif point.entry.event == "remedied":
            plan = job.reasoner.remedies.get(str(point.entry.fields.get("remedy")))
            words = t("carried out: {plan}", plan=plan.title if plan is not None else point.entry.fields.get("remedy"))
        elif point.entry.event == "changed":
            words = t("changed: {value}", value=point.entry.fields.get("text", ""))
        elif point.entry.fields.get("value") == WHOLE:
            words = t("the whole vehicle to be proved")
        else:
            words = t("everything in one circuit to be checked")
        rows.append(
            TrailRow(
                seq,
                words,
                tuple(chance_of(chances.get(name, 0.0)) for name in columns),
                chance_of(posterior.healthy),
                chance_of(posterior.outside),
            )
        )
    suspects = tuple(Suspect(_letter(i), name, job.reasoner.remedies[name].title) for i, name in enumerate(columns))
    return Trail(suspects, tuple(rows), job.counted)


def _letter(index: int) -> str:
    return chr(ord("A") + index) if index < 26 else f"Z{index - 25}"
