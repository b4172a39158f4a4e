"""The parts list of a job: what the works carried out call for, and what is to be ordered, as Markdown.

Says what the remedies name; whether a part was used nobody wrote down. Knows layout only in the template.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

import jinja2

from diag.log.escape import markdown_environment
from diag.log.orders import orders_of, suspected_of
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.log.words import local_words, utc_words

__all__ = ["Need", "as_parts", "fitted_of"]


@dataclass(frozen=True)
class Need:
    """What one work calls for. `title` of the work, `number` of its record; `parts` to have at hand."""

    title: str
    number: int
    parts: tuple[str, ...]


def fitted_of(job: Replayed, report: Report) -> tuple[Need, ...]:
    """Parts of every remedy carried out, in order; changes in the fitter's own words name none."""
    remedies = job.reasoner.remedies
    return tuple(
        Need(work.title, work.number, remedies[work.remedy].parts if work.remedy in remedies else ())
        for work in report.done
    )


def as_parts(job: Replayed, report: Report) -> str:
    """The list as GitHub-flavoured Markdown."""
    remedies, listed = job.reasoner.remedies, {name for name, _ in suspected_of(job)}
    orders = orders_of(job, report)
    named = {order.remedy for order in orders}
    bare = [remedies[name].title for name in sorted(listed) if not remedies[name].parts]
    text = (
        _environment()
        .get_template("parts.md.j2")
        .render(report=report, fitted=fitted_of(job, report), orders=orders, bare=[t for t in bare if t not in named])
    )
    return re.sub(r"\n{3,}", "\n\n", text).rstrip("\n") + "\n"


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.paper")
    env.filters |= {"utc": utc_words, "local": local_words}
    return env
