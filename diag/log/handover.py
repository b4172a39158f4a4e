"""The sheet that is handed over with a vehicle: stages, readings against limits, what was found, cured and proved,
what is open, parts to order, cautions, versions, lines to sign. Built from the report and what stands behind it.

Knows layout only where it fills the template; nothing of files.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import jinja2

from diag.log.escape import Ready, inline, markdown_environment
from diag.log.replayed import Replayed
from diag.log.report import Item, Report
from diag.stages.course import course_of
from diag.stages.fuses import FuseLine, fuse_lines
from diag.talk.stage_words import days_words, route_words
from diag.talk.staged import StageState
from diag.talk.wording import reading_words

__all__ = ["as_handover"]

_ORDERED = 0.5
"""Chance from which what a remedy needs is worth ordering."""


@dataclass(frozen=True)
class _Circuit:
    """Looks and listens of one circuit: how many were right at last, and those that were not."""

    title: str
    right: int
    odd: tuple[Item, ...]


@dataclass(frozen=True)
class _Order:
    """Something to get: for which remedy, and why."""

    part: str
    remedy: str
    why: str


def as_handover(job: Replayed, report: Report) -> str:
    """The sheet as GitHub-flavoured Markdown, to print and to sign."""
    newest = _newest(report.items)
    text = (
        _environment()
        .get_template("handover.md.j2")
        .render(
            report=report,
            stages=job.plan.stages,
            routes=_routes(job),
            readings=[item for item in newest if item.unit],
            circuits=_circuits(job, newest),
            chosen=[item for item in newest if item.sound is False and _kind(job, item) == "choose"],
            fuses=fuse_lines(job.reasoner),
            orders=_orders(job, report),
            cautions=_cautions(job, report.items),
            standing=_standing(job, newest),
            state=_state,
            fuse=_fuse,
            limits=_limits,
        )
    )
    return re.sub(r"\n{3,}", "\n\n", text).rstrip("\n") + "\n"


def _newest(items: Sequence[Item]) -> list[Item]:
    """The last answer that stands to each check, in the order in which the checks came first."""
    found: dict[str, Item] = {}
    for item in items:
        if item.event in ("answered", "found") and item.status == "standing" and item.check not in ("start", "symptom"):
            found[item.check] = item
    return list(found.values())


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


def _orders(job: Replayed, report: Report) -> list[_Order]:
    """What has to be got for remedies that are all but certain, or were carried out and not proved: nobody orders
    for a mere suspicion. Each part once."""
    out: list[_Order] = []
    beliefs, remedies = job.plan.beliefs, job.reasoner.remedies
    undone = [work.remedy for work in report.done if work.verdict in ("failed", "not-proved")]
    wanted = dict.fromkeys(undone, "carried out, not proved")
    if beliefs is not None and job.plan.unresolved:
        wanted |= {name: f"suspected, {p:.0%}" for name, p in beliefs.ranking if p >= _ORDERED}
    for name, why in wanted.items():
        if name in remedies:
            known = {order.part for order in out}
            out += [_Order(part, remedies[name].title, why) for part in remedies[name].parts if part not in known]
    return out


def _cautions(job: Replayed, items: Sequence[Item]) -> list[str]:
    """Cautions that were read in this job, and those of the remedies carried out; whoever goes on minds the same."""
    texts = [item.text for item in items if item.event == "acknowledged" and "(source:" in item.text]
    read = [text.rpartition(" (source:")[0] for text in texts]
    known, remedies = job.reasoner.knowledge.cautions, job.reasoner.remedies
    done = [remedies[treated.remedy] for treated in job.treated if treated.remedy in remedies]
    return list(dict.fromkeys([*read, *(known[name].text for plan in done for name in plan.cautions)]))


def _standing(job: Replayed, newest: Sequence[Item]) -> str:
    """How long the battery stands with the current measured with everything off."""
    for item in newest:
        step = job.reasoner.steps.get(item.check)
        if step is not None and step.stage == "key-off-current" and isinstance(item.value, int | float):
            amps = abs(float(item.value))
            said = days_words(amps) if amps >= 0.001 else "Nothing that a meter shows empties the battery."
            return f"With everything off: {reading_words(amps, 'A')}. {said}"
    return ""


def _state(stage: StageState) -> str:
    if stage.state == "skipped":
        return f"SKIPPED: {stage.reason}"
    if stage.id == "handover":
        return "this sheet"
    if not stage.of:
        return {"done": "done", "now": "in hand", "open": "open"}[stage.state]
    made = f"{stage.of - stage.left} of {stage.of} checks"
    return f"done, {made}" if stage.state == "done" else f"NOT FINISHED, {made}"


def _fuse(line: FuseLine) -> str:
    return "holds" if line.holds else "LARGE" if line.judged.goes_first else "TOO LARGE"


def _limits(item: Item) -> str:
    if item.limits is None:
        return ""
    low, high = item.limits.min, item.limits.max
    if low is not None and high is not None:
        return f"{low:g} to {high:g} {item.unit}"
    return f"at least {low:g} {item.unit}" if low is not None else f"at most {high:g} {item.unit}"


def _joined(texts: Sequence[object], by: str = ", ") -> str:
    return by.join(str(text) for text in texts)


def _cell(text: object) -> Ready:
    """Text in one cell of a table."""
    return Ready(inline(str(text)).replace("\n", " "))


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.log")
    env.filters |= {
        "layers": lambda layers: ", ".join(layer.called for layer in layers),
        "cell": _cell,
        "joined": _joined,
        "utc": lambda at: f"{at.utc[:10]} {at.utc[11:16]} UTC",
        "local": lambda at: f"{at.local[:10]} {at.local[11:16]} {at.zone}",
    }
    return env
