"""What happened, in order: answers with what was expected, cautions, notes, skips, work, corrections.

Knows records and wording; nothing of what the answers mean for causes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import tzinfo
from typing import Any

from diag.job.layered import layers_of
from diag.job.state import Entry
from diag.log.figures import moment_of
from diag.log.replayed import Replayed
from diag.log.report import Item, Limits
from diag.reason.steps import Finding, Step
from diag.stages.coil import REMINDER
from diag.stages.course import STAGES
from diag.talk.findings import finding_of
from diag.talk.known import BACK_ON, WHOLE
from diag.talk.objects import circuit_choices, expected_words
from diag.talk.staged import COIL_BACK_ON
from diag.talk.wording import answer_words, operate_words, step_words
from diag.texts import t

__all__ = ["items_of"]


def items_of(job: Replayed, zone: tzinfo | None) -> tuple[Item, ...]:
    """Every input of a person, also withdrawn ones, with sittings and instruments, by number."""
    marks = _marks(job)
    entries = [*job.state.entries, *job.state.withdrawn, *job.state.resumed]
    items = [_item(job, entry, zone, marks) for entry in entries]
    for record in job.records:
        if record.event == "instruments":
            have = record.fields.get("have", ())
            text = ", ".join(str(name).replace("-", " ") for name in have) or t("none")
            items.append(Item(record.seq, moment_of(record.at, zone), record.event, 0, text=text))
    return tuple(sorted(items, key=lambda item: item.number))


def _marks(job: Replayed) -> dict[int, tuple[str, int]]:
    """For each seq that no longer stands: corrected or withdrawn, and by which record."""
    gone = {entry.seq for entry in job.state.withdrawn}
    marks: dict[int, tuple[str, int]] = {}
    for record in job.records:
        replaces, target = record.fields.get("replaces"), record.fields.get("target")
        if record.event in ("answered", "found") and isinstance(replaces, int) and replaces in gone:
            marks[replaces] = ("corrected", record.seq)
    for record in job.records:
        target = record.fields.get("target")
        if record.event == "undone" and isinstance(target, int) and target in gone:
            marks[target] = ("withdrawn", record.seq)
            also = record.fields.get("also")
            marks |= {seq: ("withdrawn", record.seq) for seq in also if seq in gone} if isinstance(also, list) else {}
    return marks


def _item(job: Replayed, entry: Entry, zone: tzinfo | None, marks: Mapping[int, tuple[str, int]]) -> Item:
    status, marked_by = marks.get(entry.seq, ("standing", None))
    check = entry.fields.get("check")
    replaces = entry.fields.get("replaces")
    base = Item(
        entry.seq,
        moment_of(entry.at, zone),
        entry.event,
        entry.period,
        status,
        marked_by,
        replaces if isinstance(replaces, int) else None,
        check=check if isinstance(check, str) else "",
    )
    match entry.event:
        case "answered" | "found":
            return _answer(job, entry, base)
        case "skipped" | "not-sure":
            reason = str(entry.fields.get("reason", "")).replace("-", " ")
            return replace(base, title=_title(job, base.check), text=reason or t("not sure"))
        case "acknowledged" if base.check.startswith("stage:"):
            name = base.check.removeprefix("stage:")
            return replace(base, event="stage", text=t("begun: {name}", name=STAGES.get(name, name)))
        case "stage":
            name, skip = str(entry.fields.get("stage")), entry.fields.get("skip")
            said = f"{STAGES.get(name, name)}{(t(' skipped: {skip}', skip=skip) if skip is not None else '')}"
            return replace(base, text=said)
        case "acknowledged" if (put_right := _put_right(str(entry.fields.get("caution")))) is not None:
            return replace(base, text=put_right)
        case "acknowledged":
            caution = job.reasoner.knowledge.cautions.get(str(entry.fields.get("caution")))
            text = caution.text if caution is not None else str(entry.fields.get("caution"))
            source = t(" (source: {source})", source=caution.source) if caution is not None else ""
            return replace(base, title=_title(job, base.check), text=f"{text}{source}")
        case "remedied":
            name = str(entry.fields.get("remedy"))
            plan = job.reasoner.remedies.get(name)
            return replace(base, known=plan is not None, text=plan.title if plan is not None else name)
        case "resumed":
            layers = "".join(f", {layer.called}" for layer in layers_of(entry.fields) or ())
            known = t(
                "tool {value}, knowledge {value_2}{layers}",
                value=entry.fields.get("tool"),
                value_2=entry.fields.get("knowledge"),
                layers=layers,
            )
            return replace(base, text=known)
        case _:
            return replace(base, text=str(entry.fields.get("text", "")))


def _put_right(mark: str) -> str | None:
    """What was done at the vehicle between two checks, in words; None for a caution that was read."""
    if mark.startswith(BACK_ON):
        return t("What the check before had left off is back on.")
    if mark.startswith(REMINDER):
        return t("The coil has been live for some minutes with the engine stopped.")
    return t("The wire is back on terminal 15 of the coil.") if mark == COIL_BACK_ON else None


def _title(job: Replayed, check: str) -> str:
    if check.startswith("caution:"):
        return t("at once, a rule says so")
    step = job.reasoner.steps.get(check)
    return step.title if step is not None else check


def _answer(job: Replayed, entry: Entry, base: Item) -> Item:
    value = entry.fields.get("value")
    if entry.fields.get("check") in ("start", "symptom"):
        return _complaint(job, str(value), replace(base, value=value))
    found = finding_of(job.reasoner, entry)
    if found is None or found.step is None or found.value is None:
        return _unknown(job, entry, base)
    return _known(job, found, found.step, replace(base, value=value))


def _known(job: Replayed, finding: Finding, step: Step, base: Item) -> Item:
    knowledge, texts = job.reasoner.knowledge, job.step_texts
    if step.id not in texts:
        operated = operate_words(knowledge, step.operate)
        texts[step.id] = expected_words(job.reasoner, step), step_words(knowledge, step), operated
    expected, instruction, operated = texts[step.id]
    computed = job.reasoner.chances.computed(step)
    return replace(
        base,
        check=step.id,
        title=step.title,
        instruction=instruction,
        operated=operated,
        expected=expected,
        expected_from="" if not expected else "computed" if computed else "usual answer",
        found=answer_words(step, finding.value) if finding.value is not None else "",
        unit=step.unit or "",
        limits=_limits(step, finding.value),
        sound=job.sound(finding),
    )


def _limits(step: Step, value: Any) -> Limits | None:
    limits = step.limits
    if limits is None or not isinstance(value, float):
        return None
    met = (limits.min is None or value >= limits.min) and (limits.max is None or value <= limits.max)
    return Limits(limits.min, limits.max, limits.source, met)


def _complaint(job: Replayed, told: str, base: Item) -> Item:
    knowledge = job.reasoner.knowledge
    if told.startswith("circuit:"):
        name = told.removeprefix("circuit:")
        title = circuit_choices(knowledge).get(name)
        return replace(base, title=t("To be checked"), found=title or name, known=title is not None)
    if told == WHOLE:
        return replace(base, title=t("To be proved"), found=t("the whole vehicle, in stages"))
    symptom = knowledge.symptoms.get(told)
    return replace(
        base, title=t("Complaint"), found=told if symptom is None else symptom.title, known=symptom is not None
    )


def _unknown(job: Replayed, entry: Entry, base: Item) -> Item:
    """As much as the record itself says of a check that today's knowledge does not have."""
    fields = entry.fields
    operate = fields.get("operate")
    controls = {str(c): str(p) for c, p in operate.items()} if isinstance(operate, Mapping) else {}
    value = fields.get("value")
    points = ", ".join(
        f"{name} {fields[name]}" for name in ("target", "red", "black", "through") if fields.get(name) is not None
    )
    unit = fields.get("unit")
    unit = unit if isinstance(unit, str) else ""
    if isinstance(value, Mapping):
        found = ", ".join(str(word) for word in value.values())
    else:
        found = value if isinstance(value, str) else json.dumps(value)
        found = f"{found} {unit}".rstrip()
    return replace(
        base,
        known=False,
        title=base.check or t("a check without a name"),
        instruction=points,
        operated=operate_words(job.reasoner.knowledge, controls),
        found=found,
        value=value,
        unit=unit,
    )
