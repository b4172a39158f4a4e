"""The parts list of a job: what the works carried out call for, and what is to be ordered, as Markdown.

Says what the remedies name; whether a part was used nobody wrote down. Knows layout only in the template.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import jinja2

from diag.log.orders import orders_of, suspected_of
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.log.words import local_words, utc_words
from diag.sheet.escape import markdown_environment, tidy

__all__ = ["Need", "as_parts", "fitted_of"]


@dataclass(frozen=True)
class Need:
    """What one work calls for. `title` of the work, `number` of its record; `parts` to have at hand; `about`: titles
    of the parts and wires that it works on, for one whose needs nobody wrote down."""

    title: str
    number: int
    parts: tuple[str, ...]
    about: tuple[str, ...]


def fitted_of(job: Replayed, report: Report) -> tuple[Need, ...]:
    """Parts of every remedy carried out, in order; changes in the fitter's own words name none."""
    remedies = job.reasoner.remedies
    out = []
    for work in report.done:
        parts = remedies[work.remedy].parts if work.remedy in remedies else ()
        out.append(Need(work.title, work.number, parts, () if parts else _about(job, work.remedy)))
    return tuple(out)


def _about(job: Replayed, remedy: str) -> tuple[str, ...]:
    """Titles of what a remedy works on, without those that are no part or wire."""
    plan, knowledge = job.reasoner.remedies.get(remedy), job.reasoner.knowledge
    if plan is None:
        return ()
    subjects = dict.fromkeys(job.reasoner.causes[job.reasoner.index[cause]].subject for cause in plan.cures)
    titles = [knowledge.parts[name].title for name in subjects if name in knowledge.parts]
    return (*titles, *(knowledge.wires[name].title or name for name in subjects if name in knowledge.wires))


def as_parts(job: Replayed, report: Report) -> str:
    """The list as GitHub-flavoured Markdown."""
    remedies, listed = job.reasoner.remedies, {name for name, _ in suspected_of(job)}
    orders = orders_of(job, report)
    bare = [Need(remedies[name].title, 0, (), _about(job, name)) for name in sorted(listed) if not remedies[name].parts]
    text = (
        _environment()
        .get_template("parts.md.j2")
        .render(report=report, fitted=fitted_of(job, report), orders=orders, bare=bare)
    )
    return tidy(text)


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.paper")
    env.filters |= {"utc": utc_words, "local": local_words, "joined": lambda texts: "; ".join(map(str, texts))}
    return env
