"""A pack in which everything is wrong, and packs in which nothing is: what `diag rules check` says of them.

source of all expectations: common practice, no source; which mistake must be told at which line was written beside
it before the pack was looked over; columns and single words were then compared with what was told, by eye.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from diag.errors import Problem
from diag.review.codes import CODES
from diag.review.report import mend_of
from diag.review.run import Review, review

HERE = Path(__file__).parent
BAD = HERE / "bad-pack"
MARK = re.compile(r'#! (\d+) ([a-z-]+) "([^"]+)"')
WITHOUT_COMMENTS = {
    (str(BAD / "jobs" / "broken.jsonl"), 1, 1, "bad-job"): "Record it again",
    (str(BAD / "jobs" / "broken.jsonl"), 1, 1, "lone-job"): "Write it, with `cause` and `ends-at`.",
}
"""What must be told of files that cannot say so themselves."""
UNTRIED = {
    "horn/adds-nothing", "horn/beyond-recall-one", "horn/beyond-recall-two", "horn/for-and-against", "horn/idle-word",
    "horn/job-that-does-not-fire", "horn/no-such-job", "horn/said-before", "horn/twice-over", "horn/twice-over-again",
    "horn/unearned", "hron/wrong-circuit",
}  # fmt: skip
"""Rules of the bad pack that can be judged and that no recorded job exercises."""
Key = tuple[str, int, int, str]


def wanted() -> dict[Key, str]:
    """File, line, column and code of each mistake, with words that its message must have."""
    found: dict[Key, str] = dict(WITHOUT_COMMENTS)
    for path in sorted(BAD.rglob("*.y*ml")):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            for column, code, words in MARK.findall(line):
                found[str(path), number, int(column), code] = words
    return found


@pytest.fixture(scope="module")
def looked_over() -> Review:
    return review(BAD, compute=False)


def told(looked_over: Review) -> dict[Key, Problem]:
    return {(p.place.file, p.place.line, p.place.column, p.code): p for p in looked_over.problems}


def test_each_mistake_is_told_at_its_place_and_nothing_else_is(looked_over: Review) -> None:
    """File, line, column and code; a mistake that hides another one would leave that one out."""
    found = {key for key in told(looked_over) if key[3] != "not-exercised"}
    assert found == set(wanted())


def test_each_message_says_what_to_do(looked_over: Review) -> None:
    """The nearest name where there is one, else what to write."""
    found = told(looked_over)
    for key, words in wanted().items():
        assert words in f"{found[key]} {mend_of(found[key])}", key


def test_there_are_many_different_mistakes(looked_over: Review) -> None:
    """One pack of sixty sorts."""
    assert len({code for *_, code in wanted()}) >= 60


def test_each_is_an_error_or_a_warning_by_whether_it_would_do_harm(looked_over: Review) -> None:
    """What only may be a slip must not stop anybody."""
    severity = {(p.code, p.severity) for p in looked_over.problems}
    assert all(len([s for c, s in severity if c == code]) == 1 for code in {c for c, _ in severity})
    by = Counter(s for _, s in severity)
    assert by["error"] > 30
    assert ("no-minutes", "warning") in severity
    assert ("contradiction", "error") in severity


def test_rules_that_no_job_exercises_are_told_once(looked_over: Review) -> None:
    """Those that could never fire are told for that alone."""
    found = [p.found.strip("`") for p in looked_over.problems if p.code == "not-exercised"]
    assert sorted(found) == sorted(UNTRIED)


def test_every_code_is_explained(looked_over: Review) -> None:
    """Or nobody could look it up."""
    assert {problem.code for problem in looked_over.problems} <= CODES.keys()


def test_a_file_of_the_pack_by_itself_tells_of_that_file(looked_over: Review) -> None:
    """As an editor asks while one file is written."""
    path = BAD / "circuits" / "lid-lamp.yaml"
    alone = review(path, compute=False)
    assert {p.place.file for p in alone.problems} == {str(path)}
    assert set(told(alone)) == {key for key in told(looked_over) if key[0] == str(path)}


def test_a_good_pack_yields_nothing() -> None:
    """Neither error nor warning, the network asked too, or authors learn to look past what is told."""
    found = review(HERE / "packs" / "boot-lid")
    assert found.problems == ()
    assert found.jobs > 0
