"""The parts list of a job: what the works carried out call for, and what is to be ordered, as Markdown.

Says what the remedies name; whether a part was used nobody wrote down. Knows layout only in the template.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import jinja2

from diag.circuit.kinds.wires import wire_title
from diag.knowledge.ends import load_ends
from diag.log.orders import Order, orders_of, suspected_of
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.log.words import both_words
from diag.paper.needed import Needed, needed_for
from diag.sheet.escape import markdown_environment, tidy
from diag.sheet.woven import markdown_texts

__all__ = ["Need", "as_parts", "fitted_of"]


@dataclass(frozen=True)
class Need:
    """What one work calls for. `title` of the work, `number` of its record; `parts` to have at hand, in the remedy's
    words, and `lines`: the same as they are bought; `about`: titles of the parts and wires that it works on, for one
    whose needs nobody wrote down."""

    title: str
    number: int
    parts: tuple[str, ...]
    lines: tuple[Needed, ...]
    about: tuple[str, ...]


def fitted_of(job: Replayed, report: Report) -> tuple[Need, ...]:
    """Parts of every remedy carried out, in order; changes in the fitter's own words name none."""
    return tuple(_need(job, work.remedy, work.title, work.number) for work in report.done)


def _need(job: Replayed, remedy: str, title: str, number: int) -> Need:
    plan = job.reasoner.remedies.get(remedy)
    parts = plan.parts if plan is not None else ()
    return Need(title, number, parts, _lines(job, remedy, parts), () if parts else _about(job, remedy))


def _lines(job: Replayed, remedy: str, parts: tuple[str, ...]) -> tuple[Needed, ...]:
    return needed_for(job.reasoner.knowledge, load_ends(), _subjects(job, remedy), parts)


def _subjects(job: Replayed, remedy: str) -> tuple[str, ...]:
    """Ids of the parts and wires that a remedy works on."""
    plan = job.reasoner.remedies.get(remedy)
    causes = plan.cures if plan is not None else ()
    return tuple(dict.fromkeys(job.reasoner.causes[job.reasoner.index[cause]].subject for cause in causes))


def _about(job: Replayed, remedy: str) -> tuple[str, ...]:
    """Titles of what a remedy works on, without those that are no part or wire."""
    knowledge, subjects = job.reasoner.knowledge, _subjects(job, remedy)
    titles = [knowledge.parts[name].title for name in subjects if name in knowledge.parts]
    return (
        *titles,
        *(wire_title(knowledge.wires[name], knowledge.parts) for name in subjects if name in knowledge.wires),
    )


def _ordered(job: Replayed, order: Order) -> list[tuple[Needed, Order]]:
    return [(line, order) for line in _lines(job, order.of, (order.part,))]


def as_parts(job: Replayed, report: Report) -> str:
    """The list as GitHub-flavoured Markdown."""
    remedies, listed = job.reasoner.remedies, {name for name, _ in suspected_of(job)}
    bare = [_need(job, name, remedies[name].title, 0) for name in sorted(listed) if not remedies[name].parts]
    text = (
        _environment()
        .get_template("parts.md.j2")
        .render(
            report=report,
            fitted=fitted_of(job, report),
            orders=[pair for order in orders_of(job, report) for pair in _ordered(job, order)],
            bare=bare,
        )
    )
    return tidy(text)


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.paper")
    env.globals |= markdown_texts()
    env.filters |= {"both": both_words, "joined": lambda texts: "; ".join(map(str, texts))}
    return env
