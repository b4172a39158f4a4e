"""What counts as the same, sooner, lost or found between two outcomes of a job.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from diag.replay.compare import Difference, compare
from diag.replay.forms import Carried, Outcome
from diag.replay.report import Report, as_csv, as_json, as_text


def job(leader: str = "fuse.renew", p: float = 0.995, sure: int | None = 4, **more: object) -> Outcome:
    """A job of six answers in which the fuse was renewed."""
    own = p if leader == "fuse.renew" else 1 - p
    carried = (Carried("fuse.renew", own, 1 if leader == "fuse.renew" else 2, leader, p),)
    return replace(Outcome("a", "van", 6, carried, sure_after=sure), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("before", "after", "verdict", "worse", "sooner"),
    [
        (job(), job(), "same", False, 0),
        (job(), job(p=0.992, sure=3), "same", False, 1),
        (job(), job(p=0.8, sure=None), "same", False, -3),  # never sure: one answer more than there are
        (job(), job(p=0.5, sure=None), "lost", True, -3),
        (job(), job("horn.renew", 0.9), "other", True, 0),
        (job("horn.renew", 0.9), job(), "found", False, 0),
        (job(p=0.5, sure=None), job(), "found", False, 3),
        (job("horn.renew", 0.9), job("wire.mend", 0.9), "other", False, 0),
        (job("horn.renew", 0.9), job(p=0.5), "other", False, 0),
        (None, job(), "new", False, None),
        (job(), Outcome("a", "van", problem="torn"), "cannot", True, None),
        (Outcome("a", "van", problem="torn"), Outcome("a", "van", problem="torn"), "cannot", False, None),
        (job(), job(unknown=(5,)), "same", True, 0),
        (job(unknown=(5,)), job(unknown=(5,)), "same", False, 0),
    ],
)
def test_verdict(before: Outcome | None, after: Outcome, verdict: str, worse: bool, sooner: int | None) -> None:
    """Only a right conclusion that is lost, a meaning that is lost or a job that is lost is worse."""
    found = compare(before, after)
    assert (found.verdict, found.worse, found.sooner) == (verdict, worse, sooner)
    assert bool(found.why) or not worse


def test_what_must_come_of_it_counts_as_known() -> None:
    """An expectation has no chances: nothing is sooner or later, and only the leader can be wrong."""
    expected = Outcome("a", "van", carried=(Carried("fuse.renew", None, 0, "fuse.renew", None),), source="expected")
    assert compare(expected, job()).verdict == "same"
    assert compare(expected, job(sure=None, p=0.75)).sooner is None
    assert compare(expected, job(p=0.69)).verdict == "lost"


def test_a_job_without_a_remedy_is_held_to_its_last_conclusion() -> None:
    """Someone stopped there; the conclusion must not change unseen."""
    told = Outcome("a", "van", 3, top=("fuse.renew", 0.9))
    assert compare(told, told).verdict == "same"
    assert compare(told, replace(told, top=("horn.renew", 0.9))).worse
    assert compare(replace(told, top=None), told).verdict == "found"


def _report(**more: object) -> Report:
    pairs = [
        (job(), job()),
        (job(), job("horn.renew", 0.9)),
        (job("horn.renew", 0.9), job(sure=2)),
    ]
    named = [(replace(a, job=f"job-{n}"), replace(b, job=f"job-{n}")) for n, (a, b) in enumerate(pairs)]
    differences = tuple(compare(a, b) for a, b in named)
    return Report(differences, tuple(b for _, b in named), ("a\x1b[2Jb: torn",), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("columns", [32, 40, 72, 80, 120])
def test_text_fits_the_screen_and_marks_what_is_worse_without_colour(columns: int) -> None:
    """Worst first; a name of a file steers no terminal."""
    text = as_text(_report(), columns)
    lines = text.splitlines()
    assert all(len(line) <= columns for line in lines if " " in line.strip())
    assert "\x1b" not in text and "WORSE: 1" in text
    jobs = [line for line in lines if "job-" in line]
    assert [line[:7] for line in jobs] == ["! job-1", "  job-2", "  job-0"]


def test_only_what_changed_is_told_where_that_is_asked() -> None:
    """Ten thousand lines that say `same` hide the one that matters; the counts stay."""
    text = as_text(_report(only_changed=True), 80)
    assert "job-0" not in text and "3 jobs replayed" in text


def test_csv_and_json_say_the_same() -> None:
    """For sheets and for programs."""
    report = _report()
    rows = list(csv.DictReader(io.StringIO(as_csv(report))))
    found = json.loads(as_json(report))
    assert [(r["job"], r["verdict"], r["worse"] == "yes") for r in rows] == [
        (d["job"], d["verdict"], d["worse"]) for d in found["differences"]
    ]
    assert found["summary"] == {
        "jobs": 3,
        "cannot": 0,
        "lost": 0,
        "other": 1,
        "found": 1,
        "new": 0,
        "same": 1,
        "sooner": 1,
        "later": 0,
        "fewer-answers": 2,
        "worse": 1,
        "aside": 1,
    }


def test_csv_does_not_make_a_sheet_calculate() -> None:
    """A job's name is any file's name."""
    report = Report((Difference("=1+1", "van", "same", False),), (Outcome("=1+1", "van"),))
    assert "'=1+1" in as_csv(report)
