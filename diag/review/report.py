"""What a look over knowledge found, as text that fits a phone and as plain data for editors and scripts.

Knows wording only.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator
from typing import Any

from diag.errors import Problem
from diag.review.run import Review
from diag.texts import t, tn

__all__ = ["as_plain", "as_text", "mend_of"]

_SEVERITY = {"error": t("error"), "warning": t("warning")}


def mend_of(problem: Problem) -> str:
    """What to do about it."""
    if problem.mend:
        return problem.mend
    return t("Write {expected}.", expected=problem.expected) if problem.expected else t("Correct it here.")


def as_plain(review: Review) -> list[dict[str, Any]]:
    """One object a problem, sorted by place."""
    return [
        {
            "file": problem.place.file,
            "line": problem.place.line,
            "column": problem.place.column,
            "code": problem.code,
            "severity": problem.severity,
            "text": problem.what,
            "found": problem.found,
            "expected": problem.expected,
            "mend": mend_of(problem),
        }
        for problem in review.problems
    ]


def as_text(review: Review, columns: int) -> Iterator[str]:
    """Lines: each problem with place, sort, what is wrong and what to do; counts last."""
    for problem in review.problems:
        yield str(problem.place)
        yield from _wrapped(f"{_SEVERITY[problem.severity]} {problem.code}", columns)
        yield from _wrapped(_sentence(problem), columns)
        yield from _wrapped(f"-> {mend_of(problem)}", columns)
        yield ""
    counts = Counter((problem.severity, problem.code) for problem in review.problems)
    for (severity, code), count in sorted(counts.items()):
        yield f"{count:5} {_SEVERITY[severity]} {code}"
    yield from _wrapped(_closing(review), columns, indent="")


def _sentence(problem: Problem) -> str:
    parts = [problem.what[:1].upper() + problem.what[1:]]
    parts += [t("found {found}", found=problem.found)] if problem.found else []
    parts += [t("expected {expected}", expected=problem.expected)] if problem.expected else []
    return "; ".join(parts) + "."


def _wrapped(text: str, columns: int, indent: str = "  ") -> list[str]:
    return textwrap.wrap(
        text,
        max(20, columns),
        initial_indent=indent,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _closing(review: Review) -> str:
    errors, warnings = review.errors, len(review.problems) - review.errors
    found = (
        ", ".join((tn("{n} error", "{n} errors", errors), tn("{n} warning", "{n} warnings", warnings)))
        if review.problems
        else t("Nothing wrong")
        if not review.only
        else t("Nothing of that sort")
    )
    where = tn("{n} file", "{n} files", len(review.files))
    if review.title:
        where = t("{files} of {title}", files=where, title=review.title)
    on = [tn("{n} vehicle", "{n} vehicles", len(review.vehicles))] if review.vehicles else []
    on += [tn("{n} recorded job", "{n} recorded jobs", review.jobs)] if review.jobs else []
    if not on:
        return t("{found} in {where}.", found=found, where=where)
    return t("{found} in {where}; looked over on {on}.", found=found, where=where, on=t(" and ").join(on))
