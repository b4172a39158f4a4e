"""What `diag rules check` says of the shipped rules: no errors, and warnings of few sorts, counted."""

from __future__ import annotations

from collections import Counter

from diag.knowledge.load import rules_folder
from diag.review.run import review

KNOWN = {"not-exercised", "unrecoverable", "bare-terminal"}
"""Warnings that the shipped rules have: rules for which no job is recorded yet, causes that several rules clear on one
answer, and the pins of a plug that stay free."""


def test_the_shipped_rules_have_no_errors() -> None:
    """Every file, on every shipped vehicle and small ones for each option, by every recorded job."""
    found = review(rules_folder(), compute=False)
    counts = Counter((problem.severity, problem.code) for problem in found.problems)
    print(*(f"{count:5} {severity} {code}" for (severity, code), count in sorted(counts.items())), sep="\n")
    assert [str(problem) for problem in found.problems if problem.severity == "error"] == []
    assert {code for _, code in counts} <= KNOWN
    assert len(found.vehicles) == 5
    assert found.jobs > 100
