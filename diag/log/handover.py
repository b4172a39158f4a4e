"""The sheet that is handed over with a vehicle: stages, readings against limits, what was found, cured and proved,
what is open, parts to order, cautions, versions, lines to sign. Built from the report and what stands behind it.

Knows layout only where it fills the template; nothing of files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import jinja2

from diag.log.orders import cautions_of, newest_of, orders_of
from diag.log.replayed import Replayed
from diag.log.report import Item, Moment, Report
from diag.log.words import bounds_words, is_utc, layers_words
from diag.sheet.escape import Ready, inline, markdown_environment, tidy
from diag.sheet.woven import markdown_texts
from diag.stages.course import course_of
from diag.stages.fuses import FuseLine, fuse_lines
from diag.talk.stage_words import days_words, route_words
from diag.talk.staged import StageState
from diag.talk.telling import nothing_open_words
from diag.talk.wording import reading_words
from diag.texts import t

__all__ = ["as_handover"]


@dataclass(frozen=True)
class _Circuit:
    """Looks and listens of one circuit: how many were right at last, and those that were not."""

    title: str
    right: int
    odd: tuple[Item, ...]


def as_handover(job: Replayed, report: Report) -> str:
    """The sheet as GitHub-flavoured Markdown, to print and to sign."""
    newest = newest_of(report.items)
    text = (
        _environment()
        .get_template("handover.md.j2")
        .render(
            report=report,
            answered=next((item.at for item in reversed(report.items) if _answers(item)), report.last),
            nothing_open=nothing_open_words(len(report.to_tell)),
            stages=job.plan.stages,
            routes=_routes(job),
            readings=[item for item in newest if item.unit],
            circuits=_circuits(job, newest),
            chosen=[item for item in newest if item.sound is False and _kind(job, item) == "choose"],
            fuses=fuse_lines(job.reasoner),
            orders=orders_of(job, report),
            cautions=cautions_of(job, report.items),
            standing=_standing(job, newest),
            state=_state,
            fuse=_fuse,
            limits=_limits,
        )
    )
    return tidy(text)


def _answers(item: Item) -> bool:
    return item.event in ("answered", "found") and item.status == "standing"


def _kind(job: Replayed, item: Item) -> str:
    step = job.reasoner.steps.get(item.check)
    return step.kind if step is not None else ""


def _circuits(job: Replayed, newest: Sequence[Item]) -> list[_Circuit]:
    by: dict[str, list[Item]] = {}
    for item in newest:
        step = job.reasoner.steps.get(item.check)
        if step is not None and step.kind in ("look", "listen") and (not step.generated or step.stage is not None):
            by.setdefault(step.circuit, []).append(item)
    titles, open_ = job.reasoner.knowledge.circuits, {finding.seq for finding in job.plan.unresolved}
    out = []
    for name, items in by.items():
        odd = tuple(item for item in items if item.sound is False and item.number in open_)
        out.append(_Circuit(titles[name].title if name in titles else name, len(items) - len(odd), odd))
    return out


def _routes(job: Replayed) -> list[tuple[str, str]]:
    """How long each walk takes in the order asked, and what that saves."""
    course = course_of(job.reasoner, job.plan.helper)
    titles = {stage.id: stage.title for stage in job.plan.stages}
    return [(titles[name], " ".join(route_words(route))) for name, route in course.routes.items() if name in titles]


def _standing(job: Replayed, newest: Sequence[Item]) -> str:
    """How long the battery stands with the current measured with everything off."""
    for item in newest:
        step = job.reasoner.steps.get(item.check)
        if step is not None and step.stage == "key-off-current" and isinstance(item.value, int | float):
            amps = abs(float(item.value))
            said = days_words(amps) if amps >= 0.001 else t("Nothing that a meter shows empties the battery.")
            return t("With everything off: {reading}. {said}", reading=reading_words(amps, "A"), said=said)
    return ""


def _state(stage: StageState) -> str:
    if stage.state == "skipped":
        return t("SKIPPED: {reason}", reason=stage.reason)
    if stage.id == "handover":
        return t("this sheet")
    if not stage.of:
        return {"done": "done", "now": t("in hand"), "open": "open"}[stage.state]
    made = t("{number} of {of} checks", number=stage.of - stage.left, of=stage.of)
    return t("done, {made}", made=made) if stage.state == "done" else t("NOT FINISHED, {made}", made=made)


def _fuse(line: FuseLine) -> str:
    return t("holds") if line.holds else t("LARGE") if line.judged.goes_first else t("TOO LARGE")


def _limits(item: Item) -> str:
    return "" if item.limits is None else bounds_words(item.limits, item.unit)


def _joined(texts: Sequence[object], by: str = ", ") -> str:
    return by.join(str(text) for text in texts)


def _cell(text: object) -> Ready:
    """Text in one cell of a table."""
    return Ready(inline(str(text)).replace("\n", " "))


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.log")
    env.globals |= markdown_texts()
    env.filters |= {
        "layers": layers_words,
        "cell": _cell,
        "joined": _joined,
        "utc": _utc,
        "both": lambda at: _utc(at) if is_utc(at) else f"{_local(at)} ({_utc(at)})",
    }
    return env


def _utc(at: Moment) -> str:
    return t("{utc} {utc_2} UTC", utc=at.utc[:10], utc_2=at.utc[11:16])


def _local(at: Moment) -> str:
    return f"{at.local[:10]} {at.local[11:16]} {at.zone}"
