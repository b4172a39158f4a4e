"""The objects that go out: asks, do-first cautions, conclusions, with their words, reasons and weights.

Pure functions of reasoner and plan; knows nothing of journals or of how objects travel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from diag.circuit.observe import LOOKS
from diag.knowledge.assemble import Knowledge
from diag.reason.explain import reasons_for
from diag.reason.meanings import meanings
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.steps import LED_TESTER, TEST_LAMP, Step, Value
from diag.talk.known import WHOLE
from diag.talk.plan import Conclude, DoFirst, Look, Plan
from diag.talk.set_up import meter_of, points_of, set_up
from diag.talk.taught_words import taught_words
from diag.talk.whys import after_words, line_of
from diag.talk.wording import answer_words, back_on_words, finding_words, reading_words, said_words, step_words
from diag.texts import t

__all__ = [
    "ask_of",
    "circuit_choices",
    "conclusion_of",
    "do_of",
    "expected_number",
    "expected_of",
    "expected_words",
    "means_of",
    "odd_of",
    "start_of",
    "symptom_choices",
    "why_words",
]

Object = dict[str, Any]
_EVIDENCE = 8


def circuit_choices(knowledge: Knowledge) -> dict[str, str]:
    """Circuits that can be checked as a whole: those with looks or listens of their own."""
    return {
        name: circuit.title
        for name, circuit in knowledge.circuits.items()
        if any(check.kind in ("look", "listen") for check in circuit.checks)
    }


def symptom_choices(knowledge: Knowledge) -> list[str]:
    """Symptom ids in the order of the files."""
    return list(knowledge.symptoms)


def start_of(knowledge: Knowledge, ask_id: str, only: Sequence[str] | None) -> Object:
    """The first ask; `only`: the symptoms that unclear words may have meant."""
    names = list(only) if only is not None else symptom_choices(knowledge)
    choices = [{"value": name, "label": knowledge.symptoms[name].title} for name in names]
    if only is None:
        choices += [
            {"value": f"circuit:{name}", "label": t("Check everything: {title}", title=title)}
            for name, title in circuit_choices(knowledge).items()
        ]
        choices.append({"value": WHOLE, "label": t("The whole vehicle, from before power to handover")})
    text = (
        t("Which of these is it?") if only is not None else t("What is wrong? Say it in your words, or name a circuit.")
    )
    return {
        "type": "ask",
        "id": ask_id,
        "check": "start",
        "kind": "choose",
        "operate": {},
        "unit": None,
        "choices": choices,
        "text": text,
        "place": None,
        "minutes": 0.0,
        "instruments": [],
        "expected": None,
        "why": t("Everything else follows from what was seen."),
        "means": [],
    }


def do_of(reasoner: Reasoner, do: DoFirst, ask_id: str) -> Object:
    """A caution to be acknowledged, or what goes back on before anything else."""
    step = do.step
    caution = (
        back_on_words(reasoner.knowledge, do.restore) if do.restore else reasoner.knowledge.cautions[do.caution].text
    )
    why = (
        t("The last check or repair left it so; all that follows counts on it.")
        if do.restore
        else t("Before: {step}.", step=step.title)
        if step is not None
        else t("Rule {rule}: {because}", rule=do.rule, because=reasoner.knowledge.rules[do.rule].because)
        if do.rule is not None
        else t("Safety.")
    )
    return {
        "type": "ask",
        "id": ask_id,
        "check": step.id if step is not None else f"caution:{do.caution}",
        "kind": "do",
        "operate": dict(step.operate) if step is not None else {},
        "unit": None,
        "choices": [{"value": "done", "label": t("Done")}],
        "text": caution if do.restore else t("CAUTION: {caution}", caution=caution),
        "caution": caution,
        "caution-id": do.caution,
        **({"restores": list(do.restore)} if do.restore else {}),
        "place": step.place if step is not None else None,
        "minutes": 0.3,
        "instruments": [],
        "expected": "done",
        "why": why,
        "means": [],
    }


_AGAIN = t("Once more, as this does not agree with the rest. ")


def ask_of(reasoner: Reasoner, plan: Plan, look: Look, ask_id: str) -> Object:
    """A question, with what a sound vehicle shows and why it is asked."""
    step = look.step
    out: Object = {
        "type": "ask",
        "id": ask_id,
        "check": step.id,
        "kind": step.kind,
        "operate": dict(step.operate),
        "unit": step.unit,
    }
    for name in ("target", "red", "black", "through"):
        if getattr(step, name) is not None:
            out[name] = getattr(step, name)
    out |= {
        "choices": _choices(step),
        "text": _AGAIN * (look.again is not None) + step_words(reasoner.knowledge, step),
        "place": step.place,
        "minutes": round(step.minutes, 2),
        "instruments": list(step.instruments),
        "expected": expected_of(reasoner, step),
        "why": why_words(reasoner, plan, look),
        "means": means_of(reasoner, plan.beliefs, step) if plan.beliefs is not None else [],
        **_hands_of(reasoner, step),
    }
    if look.again is not None:
        out["again"] = look.again
    if look.proof is not None:
        out["proves"] = "neighbour" if look.neighbour is not None else "cure"
    if step.caution is not None:
        out["caution"] = reasoner.knowledge.cautions[step.caution].text
    return out


def _hands_of(reasoner: Reasoner, step: Step) -> Object:
    """`setup`: rows of what to set and to touch; `meter`: how it is set; `leads`: what touches which terminal;
    `flashes`: of a tester, whether a flasher unit is in that circuit."""
    knowledge, number = reasoner.knowledge, expected_number(reasoner, step)
    out: Object = {"setup": [{"label": row.label, "words": row.words} for row in set_up(knowledge, step, number)]}
    meter = meter_of(step, knowledge.vehicle.system_v, number)
    if meter is not None:
        out["meter"] = {"measures": meter.measures, "range": meter.top, "socket": meter.socket, "words": meter.words}
    if step.target in (TEST_LAMP, LED_TESTER):
        out["flashes"] = any(
            part.kind == "flasher-unit" and knowledge.circuit_of[name] == step.circuit
            for name, part in knowledge.parts.items()
        )
    leads = points_of(knowledge, step)
    if leads:
        out["leads"] = dict(leads)
    return out


def _choices(step: Step) -> list[Object]:
    if step.outcomes == LOOKS:
        return []
    return [{"value": value, "label": answer_words(step, value)} for value in step.outcomes]


def expected_of(reasoner: Reasoner, step: Step) -> Any:
    """What a sound vehicle shows, in the form of an answer; None where nobody can say."""
    chances = reasoner.chances
    if step.kind == "measure":
        if not chances.computed(step):
            return None
        mean = float(chances.healthy_reading(step))
        if math.isnan(mean):
            return None
        return "OL" if mean >= 1e6 else round(mean, 2)
    row = chances.table(step)[0]
    value: Value = step.outcomes[int(row.argmax())]
    return {"light": value[0], "rhythm": value[1]} if isinstance(value, tuple) else value


def expected_number(reasoner: Reasoner, step: Step) -> float | None:
    """The reading of a sound vehicle in the step's unit, inf for no continuity; None where nobody can say."""
    found = expected_of(reasoner, step) if step.kind == "measure" else None
    return None if found is None else math.inf if found == "OL" else float(found)


def expected_words(reasoner: Reasoner, step: Step) -> str:
    """The same in words."""
    found = expected_of(reasoner, step)
    if found is None:
        return ""
    if isinstance(found, dict):
        return answer_words(step, (found["light"], found["rhythm"]))
    if isinstance(found, float):
        return reading_words(found, step.unit or "")
    return answer_words(step, found)


def why_words(reasoner: Reasoner, plan: Plan, look: Look) -> str:
    """Why this is asked now."""
    if look.proof is not None:
        if look.neighbour is not None:
            return t("Neighbour {neighbour}. The work may have disturbed it.", neighbour=look.neighbour)
        return t("Proves: {title}.", title=reasoner.remedies[look.proof].title)
    if look.walk is not None:
        return t("Checks everything in: {title}.", title=reasoner.knowledge.circuits[look.walk].title)
    parts = []
    if look.again is not None:
        parts.append(
            t("Answer {again} does not agree with the others: seen once more, it counts or falls.", again=look.again)
        )
    if look.ranked is None and plan.treated and plan.treated[-1].remedy is None and look.again is None:
        changed = plan.treated[-1].period
        if all(finding.period < changed for finding in plan.findings):
            return t("What was complained of, once more: something was changed since.")
    if plan.beliefs is None or look.ranked is None:
        return parts[0] if parts else t("All later readings are judged by it.")
    named = {reasoner.knowledge.circuit_of[f.symptom] for f in plan.findings if f.symptom is not None}
    if named and look.step.circuit not in {*named, "supply", "shared", ""}:
        parts.append(t("Another circuit than the one complained of: it shows whether what both share still works."))
    if look.rule is not None:
        parts.append(t("{because} (rule {rule})", because=reasoner.knowledge.rules[look.rule].because, rule=look.rule))
    parts.append(
        t(
            "About {minutes:.1f} min with the way there; should leave some {value:.0%} of the suspects.",
            minutes=look.ranked.minutes,
            value=2 ** (-look.ranked.bits),
        )
    )
    return " ".join(parts)


def means_of(reasoner: Reasoner, beliefs: Beliefs, step: Step) -> list[Object]:
    """What each of the likeliest answers to a step would mean: `value` as it would be given (for a reading,
    the range in words), its `chance`, and in `text` what it would speak for and what it would clear."""
    out = []
    for meaning in meanings(reasoner, beliefs, step):
        value: Any = meaning.value
        if isinstance(value, tuple):
            value = {"light": value[0], "rhythm": value[1]}
        said, then = said_words(step, meaning.value), after_words(reasoner, meaning)
        out.append({"value": value, "chance": round(meaning.chance, 3), "text": f"{said}: {then}"})
    return out


def conclusion_of(reasoner: Reasoner, plan: Plan, conclude: Conclude) -> Object:
    """The conclusion with remedies, causes, evidence, steps and cautions."""
    assert plan.beliefs is not None
    knowledge, posterior = reasoner.knowledge, plan.beliefs.posterior
    remedies = []
    for name, p in conclude.remedies:
        remedy = reasoner.remedies[name]
        causes = sorted(
            ((cause, float(posterior.present[reasoner.index[cause]])) for cause in remedy.cures),
            key=lambda pair: -pair[1],
        )
        tried = sum(one.remedy == name for one in plan.treated)
        again = [t("This was tried already and did not cure it: make sure that it was done, or suspect the new part.")]
        closed = [t("You said that its place cannot be reached: it has to be opened up for this.")]
        learned = taught_words(reasoner, [reasoner.index[cause] for cause, _ in causes[:1]])
        evidence = [line_of(knowledge, reason) for reason in reasons_for(reasoner, plan.beliefs, name)[:_EVIDENCE]]
        remedies.append(
            {
                "id": name,
                "title": remedy.title,
                "p": round(p, 4),
                "causes": [
                    {"id": cause, "title": reasoner.causes[reasoner.index[cause]].title, "p": round(q, 4)}
                    for cause, q in causes[:4]
                    if q >= 0.001 or cause == causes[0][0]
                ],
                "evidence": evidence,
                **({"learned": learned} if learned else {}),
                **({"out-of-reach": True} if remedy.place in plan.closed else {}),
                "steps": [*(again if tried else []), *(closed if remedy.place in plan.closed else []), *remedy.steps],
                "parts": list(remedy.parts),
                "minutes": remedy.minutes,
                "cautions": [knowledge.cautions[c].text for c in remedy.cautions if c in knowledge.cautions],
                "proof": list(remedy.proof),
            }
        )
    return {
        "type": "conclude",
        "final": conclude.final,
        "reason": conclude.reason,
        "remedies": remedies,
        "outside": round(posterior.outside, 4),
        **odd_of(knowledge, plan.beliefs),
    }


def odd_of(knowledge: Knowledge, beliefs: Beliefs) -> Object:
    """Answers that speak against the rest: seqs that what is held likeliest leaves `unexplained`; `odd`, those
    that were likely misread, the one most worth another look first, with the chance of that; groups of seqs
    that nothing explains together."""
    posterior = beliefs.posterior
    words = {finding.seq: finding_words(knowledge, finding) for finding, _ in beliefs.judged}
    return {
        "unexplained": list(posterior.unexplained),
        "odd": [
            {"seq": odd.seq, "text": words[odd.seq], "p": round(odd.p, 4)} for odd in posterior.odd if odd.seq in words
        ],
        "contradictions": [sorted(group) for group in posterior.contradictions],
    }
