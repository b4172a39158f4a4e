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

__all__ = ["as_plain", "as_text", "mend_of"]


def mend_of(problem: Problem) -> str:
    """What to do about it."""
    if problem.mend:
        return problem.mend
    return f"Write {problem.expected}." if problem.expected else "Correct it here."


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
        yield from _wrapped(f"{problem.severity} {problem.code}", columns)
        yield from _wrapped(_sentence(problem), columns)
        yield from _wrapped(f"-> {mend_of(problem)}", columns)
        yield ""
    counts = Counter((problem.severity, problem.code) for problem in review.problems)
    for (severity, code), count in sorted(counts.items()):
        yield f"{count:5} {severity} {code}"
    yield from _wrapped(_closing(review), columns, indent="")


def _sentence(problem: Problem) -> str:
    parts = [problem.what[:1].upper() + problem.what[1:]]
    parts += [f"found {problem.found}"] if problem.found else []
    parts += [f"expected {problem.expected}"] if problem.expected else []
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
        f"{_count(errors, 'error')}, {_count(warnings, 'warning')}"
        if review.problems
        else "Nothing wrong"
        if not review.only
        else "Nothing of that sort"
    )
    where = (
        f"{_count(len(review.files), 'file')} of {review.title}" if review.title else _count(len(review.files), "file")
    )
    on = [_count(len(review.vehicles), "vehicle")] if review.vehicles else []
    on += [_count(review.jobs, "recorded job")] if review.jobs else []
    return f"{found} in {where}" + (f"; looked over on {' and '.join(on)}." if on else ".")


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
