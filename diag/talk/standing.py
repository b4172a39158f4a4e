"""What stands in a job, in words for a screen: where we are, minutes so far, older answers, what undo takes back.

Reads the conversation; must not know how wide a screen is or which keys it has.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from diag.errors import DiagError
from diag.job.folder import jobs_folder
from diag.job.records import Record
from diag.reason.steps import Step
from diag.stages.course import HANDOVER, STAGES
from diag.stages.faults import problems_of
from diag.talk.conversation import CORRECTED, Conversation
from diag.talk.known import WHOLE
from diag.talk.objects import ask_of, start_of
from diag.talk.plan import Look
from diag.talk.wording import finding_words
from diag.texts import t, tn

__all__ = [
    "passed_so_far",
    "answers_so_far",
    "ask_again",
    "ask_for",
    "open_problems",
    "caution_known",
    "error_words",
    "job_name",
    "PASSED",
    "minutes_by_record",
    "minutes_so_far",
    "newest_words",
    "not_cured",
    "symptom_ask",
    "whereabouts",
    "whereabouts_parts",
]

Object = dict[str, Any]
_LONGEST_PAUSE_S = 30 * 60
"""A longer gap between two records is a pause, not work. Common practice, no source."""
PASSED = {
    "not-sure": t("not sure"),
    "cannot-reach": t("can't reach"),
    "no-instrument": t("no such instrument"),
    "later": "later",
}


def minutes_so_far(records: Sequence[Record]) -> int:
    """Minutes of work between the records; nights and breaks between sittings left out."""
    return minutes_by_record(records)[-1] if records else 0


def minutes_by_record(records: Sequence[Record]) -> list[int]:
    """The same up to each record."""
    total, out = 0.0, [0] if records else []
    for before, after in zip(records, records[1:], strict=False):
        gap = (after.time - before.time).total_seconds()
        if after.event != "resumed" and 0 < gap <= _LONGEST_PAUSE_S:
            total += gap
        out.append(round(total / 60))
    return out


def job_name(job: str) -> str:
    """What `diag resume` takes: the name alone for a job in the usual folder, else its path."""
    path = Path(job)
    return path.stem if path.parent == jobs_folder() else job


def whereabouts(conversation: Conversation, ask: Object | None) -> str:
    """Circuit, place, minutes so far and number of answers, on one line."""
    return " | ".join(whereabouts_parts(conversation, ask))


def whereabouts_parts(conversation: Conversation, ask: Object | None) -> list[str]:
    """The stage if any, circuit, place, minutes so far, number of answers."""
    knowledge = conversation.knowledge
    step = conversation.reasoner.steps.get(ask["check"]) if ask is not None else None
    parts = [knowledge.vehicle.title if step is None else _circuits_of(conversation, ask, step)]
    stage = conversation.plan.stages and (conversation.plan.stage or HANDOVER)
    if stage:
        parts = [STAGES[stage], *(parts if step is not None else [])]
    if step is not None:
        parts.append(knowledge.places.get(step.place, step.place.replace("-", " ")))
    count = len(conversation.state.standing("answered", "found"))
    parts.append(f"{minutes_so_far(conversation.keeper.records)} min")
    parts.append(tn("{n} answer", "{n} answers", count))
    return parts


def _circuits_of(conversation: Conversation, ask: Object | None, step: Step) -> str:
    """Title of the circuit of a question; of all where several are looked at together."""
    circuits, steps = conversation.knowledge.circuits, conversation.reasoner.steps
    group = [steps[item["check"]] for item in (ask or {}).get("group", ())] or [step]
    titles = list(dict.fromkeys(circuits[one.circuit].title for one in group))
    return titles[0] if len(titles) == 1 else t("{titles} and {number} more", titles=titles[0], number=len(titles) - 1)


def answers_so_far(conversation: Conversation) -> list[tuple[int, str]]:
    """Number and words of every answer that stands, in order."""
    return [(f.seq, finding_words(conversation.knowledge, f)) for f in conversation.findings()]


def passed_so_far(conversation: Conversation) -> list[tuple[int, str]]:
    """Number and words of every question that was passed over, or of whose answer nobody was sure, in order."""
    steps, out = conversation.reasoner.steps, []
    for entry in conversation.state.standing("not-sure", "skipped"):
        step = steps.get(str(entry.fields.get("check")))
        if step is not None:
            reason = str(entry.fields.get("reason", "not-sure"))
            out.append((entry.seq, f"{step.title}: {PASSED.get(reason, reason)}"))
    return out


def not_cured(told: Mapping[str, Any]) -> str:
    """What to say beside an answer by which a remedy is not proved; else empty."""
    return t(". NOT CURED by: {told}. Going on.", told=told["not-cured"]) if "not-cured" in told else ""


def newest_words(conversation: Conversation) -> str:
    """The newest standing input in words; empty where there is none."""
    entry = conversation.state.newest()
    if entry is None:
        return ""
    others = len(conversation.state.with_it(entry))
    for seq, words in answers_so_far(conversation):
        if seq == entry.seq:
            return t("{words}, and {others} more", words=words, others=others) if others else words
    fields, steps = entry.fields, conversation.reasoner.steps
    step = steps.get(str(fields.get("check")))
    title = step.title if step is not None else str(fields.get("check", ""))
    match entry.event:
        case "not-sure":
            return t("not sure: {title}", title=title)
        case "skipped":
            reason = str(fields.get("reason"))
            return f"{PASSED.get(reason, reason)}: {title}"
        case "acknowledged" if str(fields.get("caution")).startswith("stage:"):
            name = str(fields.get("caution")).removeprefix("stage:")
            return t("begun: {name}", name=STAGES.get(name, name))
        case "acknowledged":
            return t("caution read and done")
        case "remedied":
            remedy = conversation.reasoner.remedies.get(str(fields.get("remedy")))
            return t("done: {remedy}", remedy=remedy.title if remedy is not None else fields.get("remedy"))
        case "noted":
            return t("note added")
        case "stage":
            stage = STAGES.get(str(fields.get("stage")), str(fields.get("stage")))
            return t("skipped: {stage}", stage=stage) if "skip" in fields else t("gone to: {stage}", stage=stage)
        case "left-open":
            return t("left open: {value}", value=fields.get("text"))
        case "changed":
            return t("change at the vehicle written down")
    if entry.event not in ("answered", "found"):
        return title
    return t("began with: {what}", what=t("the whole vehicle") if fields.get("value") == WHOLE else fields.get("value"))


def caution_known(conversation: Conversation, ask: Object) -> bool:
    """Whether the caution of a check was already read and acknowledged in this job."""
    step = conversation.reasoner.steps.get(ask["check"])
    read = {e.fields.get("caution") for e in conversation.state.standing("acknowledged")}
    return step is not None and step.caution in read


def symptom_ask(conversation: Conversation, only: Sequence[str] | None = None) -> Object:
    """The list of symptoms as an ask: all, or those that unclear words may have meant."""
    known = conversation.knowledge.symptoms
    return start_of(conversation.knowledge, "", list(known) if only is None else [s for s in only if s in known])


def ask_again(conversation: Conversation, seq: int) -> Object:
    """The ask behind an older answer. Raises DiagError where no standing answer has that number."""
    entry = next((e for e in conversation.state.standing(*CORRECTED) if e.seq == seq), None)
    if entry is None:
        numbers = sorted(n for n, _ in [*answers_so_far(conversation), *passed_so_far(conversation)])
        known = ", ".join(map(str, numbers)) or t("none yet")
        raise DiagError(t("No answer has the number {seq}. Answers so far: {known}.", seq=seq, known=known))
    check = str(entry.fields.get("check"))
    if check in ("start", "symptom"):
        ask = start_of(conversation.knowledge, "", None)
        if check == "symptom":
            ask = symptom_ask(conversation)
        return ask
    step = conversation.reasoner.steps.get(check)
    if step is None:
        raise DiagError(t("Answer {seq} is to a check that today's knowledge does not have; undo it instead.", seq=seq))
    return ask_of(conversation.reasoner, conversation.plan, Look(step), "")


def ask_for(conversation: Conversation, check: str) -> Object:
    """The ask of one check by itself, out of its turn."""
    return ask_of(conversation.reasoner, conversation.plan, Look(conversation.reasoner.steps[check]), "")


def open_problems(conversation: Conversation) -> list[tuple[tuple[int, ...], str]]:
    """What is odd and unresolved, by problem: the numbers of the answers and their words."""
    plan, knowledge = conversation.plan, conversation.knowledge
    if plan.beliefs is None:
        return []
    words = {f.seq: finding_words(knowledge, f) for f in plan.unresolved}
    found = problems_of(conversation.reasoner, plan.beliefs, set(words))
    return [(problem.signs, "; ".join(words[seq] for seq in problem.signs)) for problem in found]


_PLAIN = {
    "unclear": t("Several fit: choose one of these."),
    "not-understood": t("Nothing on the list is like that. Use other words, or a number of the list."),
    "not-text": t("Some words are needed here."),
    "nothing-to-undo": t("There is nothing to undo."),
    "unknown-circuit": t("This vehicle has no such circuit. Take a number of the list."),
    "cannot-skip": t("This is not passed over: answer it, or undo."),
}


def error_words(error: Object) -> str:
    """An error of the conversation for a person: what was found, what was expected."""
    plain = _PLAIN.get(str(error["code"]))
    if plain is not None:
        return plain
    text = str(error["text"])
    said = text[:1].upper() + text[1:]
    if error["expected"] and str(error["expected"]) not in text:
        said += ("" if said.endswith(".") else ".") + t(" Expected: {expected}.", expected=error["expected"])
    return said
