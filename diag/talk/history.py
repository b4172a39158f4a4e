"""Everything that happened in a job, newest last: questions with their answers beside what a sound vehicle shows,
cautions read, repairs, notes, and what was taken back.

Reads the conversation and lays out lines; must not know of keys.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.job.state import Entry
from diag.stages.course import STAGES
from diag.talk.conversation import Conversation
from diag.talk.known import BACK_ON, WHOLE
from diag.talk.screen import Line, paragraph
from diag.talk.sound import beside_words
from diag.talk.standing import PASSED, minutes_by_record
from diag.talk.wording import finding_words
from diag.texts import t

__all__ = ["Happening", "entry_words", "happenings", "history_page"]


@dataclass(frozen=True)
class Happening:
    """One thing that was done or said: number in the journal, minutes of work by then, words; `gone` where it was
    taken back or corrected."""

    seq: int
    minutes: int
    words: str
    gone: str = ""


def happenings(conversation: Conversation) -> list[Happening]:
    """All inputs of the job in the order in which they were given, conclusions among them."""
    state, records = conversation.state, conversation.keeper.records
    undone = {
        seq
        for record in records
        if record.event == "undone"
        for seq in [record.fields.get("target"), *(record.fields.get("also") or ())]
    }
    minutes = dict(zip((record.seq for record in records), minutes_by_record(records), strict=True))
    found = [(entry, "") for entry in (*state.entries, *state.concluded)]
    found += [(entry, "undone" if entry.seq in undone else "corrected") for entry in state.withdrawn]
    findings = conversation.findings()
    told = {finding.seq: finding_words(conversation.knowledge, finding) for finding in findings}
    supply_v = conversation.reasoner.supply_v(findings)
    out = []
    for entry, gone in sorted(found, key=lambda pair: pair[0].seq):
        words = entry_words(conversation, entry, told)
        beside = beside_words(conversation.reasoner, entry, supply_v) if not gone else ""
        out.append(Happening(entry.seq, minutes.get(entry.seq, 0), words + beside, gone))
    return out


def entry_words(conversation: Conversation, entry: Entry, told: dict[int, str] | None = None) -> str:
    """One input in words. `told`: words of the findings that stand, by number."""
    fields = entry.fields
    if told is not None and entry.seq in told:
        return told[entry.seq]
    step = conversation.reasoner.steps.get(str(fields.get("check")))
    title = step.title if step is not None else str(fields.get("check", ""))
    match entry.event:
        case "answered" | "found" if fields.get("check") in ("start", "symptom"):
            return _complaint(conversation, str(fields.get("value")))
        case "answered" | "found":
            return f"{title}: {_raw(fields.get('value'), str(fields.get('unit') or ''))}"
        case "not-sure":
            return t("not sure: {title}", title=title)
        case "skipped":
            reason = str(fields.get("reason"))
            return f"{PASSED.get(reason, reason)}: {title}"
        case "acknowledged":
            return _acknowledged(conversation, str(fields.get("caution")), title)
        case "remedied":
            remedy = conversation.reasoner.remedies.get(str(fields.get("remedy")))
            return t("DONE: {remedy}", remedy=remedy.title if remedy is not None else fields.get("remedy"))
        case "noted":
            return t("note: {value}", value=fields.get("text"))
        case "changed":
            return t("CHANGED at the vehicle: {value}", value=fields.get("text"))
        case "left-open":
            return t("left open: {value}", value=fields.get("text"))
        case "stage":
            stage = STAGES.get(str(fields.get("stage")), str(fields.get("stage")))
            return (
                t("stage skipped: {stage} ({fields})", stage=stage, fields=fields["skip"])
                if "skip" in fields
                else t("gone to stage: {stage}", stage=stage)
            )
        case "concluded":
            remedies = fields.get("remedies") or ()
            first = str(remedies[0].get("title")) if remedies else t("no fault found, or none that is known")
            return t("concluded: {first}", first=first)
    return title or entry.event


def _complaint(conversation: Conversation, value: str) -> str:
    if value == WHOLE:
        return t("began with: the whole vehicle")
    circuit = conversation.knowledge.circuits.get(value.removeprefix("circuit:"))
    if circuit is not None:
        return t("began with: everything in {circuit}", circuit=circuit.title)
    symptom = conversation.knowledge.symptoms.get(value)
    return t("complaint: {symptom}", symptom=symptom.title if symptom is not None else value)


def _acknowledged(conversation: Conversation, caution: str, title: str) -> str:
    if caution.startswith("stage:"):
        name = caution.removeprefix("stage:")
        return t("stage begun: {name}", name=STAGES.get(name, name))
    if caution.startswith(BACK_ON):
        return t("put back as it was")
    known = conversation.knowledge.cautions.get(caution)
    before = t(", before: {title}", title=title) if title and not title.startswith("caution:") else ""
    return (
        t("caution read{before}. {text}", before=before, text=known.text)
        if known is not None
        else t("caution read{before}", before=before)
    )


def _raw(value: object, unit: str) -> str:
    """An answer that stands no more, as it was kept."""
    if isinstance(value, dict):
        light, rhythm = str(value.get("light")), str(value.get("rhythm", "none"))
        return light if rhythm == "none" else f"{light.replace('-', ' ')}, {rhythm}"
    return f"{value} {unit}".strip()


def history_page(conversation: Conversation, width: int) -> list[Line]:
    """Everything so far, newest last: number, minute, words; what was taken back stands in brackets."""
    found = happenings(conversation)
    out = [Line(t("Record so far, newest last"), "strong"), Line()]
    if not found:
        return [*out, *paragraph(t("Nothing was answered yet."), width)]
    size = max(3, len(str(found[-1].seq)))
    clock = max(3, len(str(found[-1].minutes)))
    for one in found:
        words = f"[{one.gone}] {one.words}" if one.gone else one.words
        first = f"{one.seq:>{size}} {one.minutes:>{clock}} min  "
        indent = len(first) if width >= 60 else size + 1
        out += paragraph(
            words,
            width,
            first,
            indent=indent,
            said=t("{seq}, minute {minutes}: {words}", seq=one.seq, minutes=one.minutes, words=words),
        )
    return out
