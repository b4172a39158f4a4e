"""What a journal itself says of how its job went.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from typing import Any

from diag.job.records import Record
from diag.replay.forms import Expected, Outcome
from diag.replay.jobs import Job
from diag.replay.then import outcome_then


def job(*events: tuple[str, dict[str, Any]], expected: Expected | None = None) -> Job:
    """A job of those records."""
    all_ = (("opened", {"vehicle": "van"}), *events)
    records = tuple(Record(1, n, "2026-03-01T08:00:00Z", event, fields) for n, (event, fields) in enumerate(all_, 1))
    return Job("a", "a.jsonl", records, expected)


def told(*pairs: tuple[str, float]) -> tuple[str, dict[str, Any]]:
    """A conclusion."""
    return "concluded", {"remedies": [{"id": name, "p": p} for name, p in pairs]}


ANSWER = ("answered", {"check": "x", "value": "y"})
FUSE, LAMP = ("remedied", {"remedy": "fuse.renew"}), ("remedied", {"remedy": "lamp.renew"})


def then(found: Job) -> Outcome:
    """What it says; it must say something."""
    outcome = outcome_then(found)
    assert outcome is not None
    return outcome


def test_the_last_conclusion_before_each_remedy_counts() -> None:
    """With the chance and rank that it was told with."""
    found = then(
        job(
            ANSWER,
            told(("lamp.renew", 0.5)),
            ANSWER,
            told(("fuse.renew", 0.995)),
            FUSE,
            ANSWER,
            told(("horn.renew", 0.8), ("lamp.renew", 0.2)),
            LAMP,
        )
    )
    assert [(c.remedy, c.p, c.rank, c.leader) for c in found.carried] == [
        ("fuse.renew", 0.995, 1, "fuse.renew"),
        ("lamp.renew", 0.2, 2, "horn.renew"),
    ]
    assert (found.sure_after, found.answers, found.source) == (2, 3, "journal")


def test_a_remedy_that_was_never_told_has_no_chance() -> None:
    """A fitter may do something else, or not wait to be told."""
    found = then(job(ANSWER, LAMP, told(("fuse.renew", 0.9)), FUSE))
    assert [(c.p, c.rank, c.clear_leader) for c in found.carried] == [(None, 0, ""), (0.9, 1, "fuse.renew")]
    assert found.sure_after is None


def test_what_it_must_come_to_goes_before_what_was_told() -> None:
    """In order; nothing is known of chances."""
    expected = Expected(("fuse.renew", "lamp.renew"))
    found = then(job(told(("horn.renew", 0.9)), FUSE, LAMP, expected=expected))
    assert [(c.remedy, c.clear_leader, c.p) for c in found.carried] == [
        ("fuse.renew", "fuse.renew", None),
        ("lamp.renew", "lamp.renew", None),
    ]
    assert found.source == "expected"


def test_a_journal_that_says_nothing_or_is_none_says_nothing() -> None:
    """Nor does an odd conclusion stop anything."""
    assert outcome_then(job(ANSWER, FUSE)) is None
    assert outcome_then(Job("a", "a.jsonl", problem="torn")) is None
    assert outcome_then(Job("a", "a.jsonl", job(ANSWER).records[1:])) is None
    odd = then(job(("concluded", {"remedies": [5, {"id": "fuse.renew", "p": "most"}]}), FUSE))
    assert (odd.carried[0].p, odd.carried[0].clear_leader) == (None, "fuse.renew")
