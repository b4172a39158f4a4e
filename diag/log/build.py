"""Builds the report of a job from its records and a reasoner; a pure function of the two and a time zone.

Knows nothing of files, nor of the forms a report is told in.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from pathlib import PureWindowsPath

from diag import __version__
from diag.job.layered import layer_changes, told_of
from diag.job.records import Record
from diag.log.chronicle import items_of
from diag.log.figures import moment_of
from diag.log.reasoning import conflicts_of, stages_of, trail_of
from diag.log.replayed import Replayed, replayed
from diag.log.report import Conflict, Done, Item, Report, Vehicle, Versions
from diag.log.work import done_of
from diag.reason.reasoner import Reasoner
from diag.talk.plan import Conclude, End, Start
from diag.talk.telling import to_tell
from diag.texts import t

__all__ = ["build_report", "report_of"]


def build_report(
    reasoner: Reasoner, records: Sequence[Record], job: str, messages: Sequence[str] = (), zone: tzinfo | None = None
) -> Report:
    """The report. `job`: name of the journal; `messages` on its file; `zone` for local times (None: this
    machine's). Raises ValueError where the records do not begin a job."""
    return report_of(replayed(reasoner, records), job, messages, zone)


def report_of(lived: Replayed, job: str, messages: Sequence[str] = (), zone: tzinfo | None = None) -> Report:
    """The same of a job that was lived through again already."""
    items, done = items_of(lived, zone), done_of(lived, zone)
    conflicts = conflicts_of(lived, lived.plan.beliefs) if lived.plan.beliefs is not None else ()
    return Report(
        job,
        _vehicle(lived),
        moment_of(lived.state.opened_at, zone),
        moment_of(_last_at(lived), zone),
        _versions(lived),
        lived.state.without,
        lived.state.instruments,
        tuple(messages),
        _status(lived),
        tuple(item.found for item in items if item.check in ("start", "symptom") and _stands(item)),
        items,
        stages_of(lived, zone),
        done,
        trail_of(lived),
        conflicts,
        lived.unknown,
        _open(lived, items, done, conflicts),
        to_tell(lived.reasoner, lived.plan),
    )


_ASIDE = ("asked", "concluded", "proved", "resumed")
"""Records of the program's own: whoever only looks at a page adds some."""


def _last_at(job: Replayed) -> str:
    """When something was put in last."""
    return next(record.at for record in reversed(job.records) if record.event not in _ASIDE)


def _stands(item: Item) -> bool:
    return item.status == "standing" and item.event in ("answered", "found")


def _vehicle(job: Replayed) -> Vehicle:
    known = job.reasoner.knowledge.vehicle
    return Vehicle(
        job.state.vehicle,
        known.title
        if known.vehicle == job.state.vehicle
        else t("{vehicle} (weighed as: {known})", vehicle=job.state.vehicle, known=known.title),
        PureWindowsPath(job.state.vehicle_file).name,  # its folders say more of the user than of the vehicle
        known.system_v,
        known.earth,
        known.history,
        (
            *known.alterations,
            *(f"{done.date} {done.kind}: {'; '.join(done.what)}" for done in known.history_of_alterations),
        ),
    )


def _versions(job: Replayed) -> Versions:
    knowledge = job.reasoner.knowledge
    now, then = knowledge.content_hash, job.state.layers
    layers = told_of(knowledge.layers)
    return Versions(
        job.state.tool,
        job.state.engine,
        job.state.knowledge,
        __version__,
        job.reasoner.matcher.name,
        now,
        now != job.state.knowledge,
        then,
        layers,
        layer_changes(then, layers) if then is not None and now != job.state.knowledge else (),
        len(knowledge.replaced),
    )


def _status(job: Replayed) -> str:
    match job.plan.next:
        case Start():
            return "not-begun"
        case End():
            return "done" if job.treated else "no-fault-found"
        case Conclude(remedies, _, reason):
            return "concluded" if remedies else reason
        case _:
            return "in-progress"


def _open(job: Replayed, items: Sequence[Item], done: Sequence[Done], conflicts: Sequence[Conflict]) -> tuple[str, ...]:
    """What the plan leaves open, told in full, and what only the log can see."""
    told = {t("unexplained: answer {number}", number=conflict.number) for conflict in conflicts}
    out = [text for text in job.plan.open_items if text not in told]
    if isinstance(job.plan.next, Start):
        out.append(t("everything: nothing was asked or answered yet"))
    elif _status(job) == "in-progress":
        out.append(t("the job was left before its last question: more would have been asked"))
    out += [
        t("unexplained: answer {number} ({finding})", number=conflict.number, finding=conflict.finding)
        for conflict in conflicts
    ]
    answered = {item.check for item in items if _stands(item)}
    for item in items:
        if item.event == "not-sure" and item.status == "standing" and item.check not in answered:
            out.append(t("not decided (not sure): {item}", item=item.title))
    for work in done:
        if work.verdict == "not-proved" and work.kind == "remedy":
            out.append(t("not proved, no check was made after it: {work}", work=work.title))
        elif work.verdict == "failed":
            bad = ", ".join(f"{proof.title} ({proof.found})" for proof in work.proofs if not proof.sound)
            out.append(t("carried out but not proved: {work}; afterwards still wrong: {bad}", work=work.title, bad=bad))
    if job.unknown:
        numbers = ", ".join(map(str, job.unknown))
        out.append(t("left aside, today's knowledge does not know the check or its answer: {numbers}", numbers=numbers))
    return tuple(dict.fromkeys(out))
