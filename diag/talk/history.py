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
from diag.talk.standing import minutes_so_far
from diag.talk.wording import finding_words

__all__ = ["Happening", "entry_words", "happenings", "history_page"]

_PASSED = {"cannot-reach": "can't reach", "no-instrument": "no such instrument", "later": "later"}


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
    minutes = {record.seq: minutes_so_far(records[: i + 1]) for i, record in enumerate(records)}
    found = [(entry, "") for entry in (*state.entries, *state.concluded)]
    found += [(entry, "undone" if entry.seq in undone else "corrected") for entry in state.withdrawn]
    told = {finding.seq: finding_words(conversation.knowledge, finding) for finding in conversation.findings()}
    out = []
    for entry, gone in sorted(found, key=lambda pair: pair[0].seq):
        words = entry_words(conversation, entry, told)
        beside = beside_words(conversation, entry) if not gone else ""
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
            return f"not sure: {title}"
        case "skipped":
            reason = str(fields.get("reason"))
            return f"{_PASSED.get(reason, reason)}: {title}"
        case "acknowledged":
            return _acknowledged(conversation, str(fields.get("caution")), title)
        case "remedied":
            remedy = conversation.reasoner.remedies.get(str(fields.get("remedy")))
            return f"DONE: {remedy.title if remedy is not None else fields.get('remedy')}"
        case "noted":
            return f"note: {fields.get('text')}"
        case "changed":
            return f"CHANGED at the vehicle: {fields.get('text')}"
        case "left-open":
            return f"left open: {fields.get('text')}"
        case "stage":
            stage = STAGES.get(str(fields.get("stage")), str(fields.get("stage")))
            return f"stage skipped: {stage} ({fields['skip']})" if "skip" in fields else f"gone to stage: {stage}"
        case "concluded":
            remedies = fields.get("remedies") or ()
            first = str(remedies[0].get("title")) if remedies else "no fault found, or none that is known"
            return f"concluded: {first}"
    return title or entry.event


def _complaint(conversation: Conversation, value: str) -> str:
    if value == WHOLE:
        return "began with: the whole vehicle"
    circuit = conversation.knowledge.circuits.get(value.removeprefix("circuit:"))
    if circuit is not None:
        return f"began with: everything in {circuit.title}"
    symptom = conversation.knowledge.symptoms.get(value)
    return f"complaint: {symptom.title if symptom is not None else value}"


def _acknowledged(conversation: Conversation, caution: str, title: str) -> str:
    if caution.startswith("stage:"):
        name = caution.removeprefix("stage:")
        return f"stage begun: {STAGES.get(name, name)}"
    if caution.startswith(BACK_ON):
        return "put back as it was"
    known = conversation.knowledge.cautions.get(caution)
    before = f", before: {title}" if title and not title.startswith("caution:") else ""
    return f"caution read{before}. {known.text}" if known is not None else f"caution read{before}"


def _raw(value: object, unit: str) -> str:
    """An answer that stands no more, as it was kept."""
    if isinstance(value, dict):
        light, rhythm = str(value.get("light")), str(value.get("rhythm", "none"))
        return light if rhythm == "none" else f"{light.replace('-', ' ')}, {rhythm}"
    return f"{value} {unit}".strip()


def history_page(conversation: Conversation, width: int) -> list[Line]:
    """Everything so far, newest last: number, minute, words; what was taken back stands in brackets."""
    found = happenings(conversation)
    out = [Line("Record so far, newest last", "strong"), Line()]
    if not found:
        return [*out, *paragraph("Nothing was answered yet.", width)]
    size = max(3, len(str(found[-1].seq)))
    clock = max(3, len(str(found[-1].minutes)))
    for one in found:
        words = f"[{one.gone}] {one.words}" if one.gone else one.words
        first = f"{one.seq:>{size}} {one.minutes:>{clock}} min  "
        indent = len(first) if width >= 60 else size + 1
        out += paragraph(words, width, first, indent=indent, said=f"{one.seq}, minute {one.minutes}: {words}")
    return out
