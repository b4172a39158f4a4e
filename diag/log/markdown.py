"""A report as Markdown, through the template beside this module. Knows layout only.

Every value that the template puts out is escaped unless it is marked ready, so none can be forgotten.
"""

from __future__ import annotations

from functools import lru_cache

import jinja2

from diag.log import words
from diag.log.report import Item, Report
from diag.sheet.escape import Ready, code, inline, markdown_environment, tidy
from diag.sheet.woven import markdown_texts

__all__ = ["as_markdown"]


def as_markdown(report: Report) -> str:
    """The report as GitHub-flavoured Markdown."""
    text = (
        _environment()
        .get_template("job.md.j2")
        .render(report=report, parts=list(words.parts_of(report.items)), events=words.EVENTS)
    )
    return tidy(text)


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.log")
    env.globals |= markdown_texts()
    env.filters |= {
        **words.FILTERS,
        "code": code,
        "day": words.day_words,
        "found": _found,
        "ready": Ready,
    }
    return env


def _found(item: Item) -> Ready:
    """The answer, struck out where it no longer counts, with what is to be said of it."""
    answer = Ready(f"**{inline(item.found)}**") if item.found else Ready("")
    if item.status != "standing":
        answer = Ready(f"~~{inline(item.found)}~~")
    notes = words.remarks_of(item)
    return Ready(f"{answer}; {inline('; '.join(notes))}") if notes else answer
