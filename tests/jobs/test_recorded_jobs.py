"""Every recorded job, written by hand from facts of the trade, replays to what was really wrong.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from diag.job.state import replay
from diag.reason.reasoner import Reasoner
from diag.talk.findings import findings_of
from tests.jobs.recorded import NAMES, Recorded, believed, leaders
from tests.reasoners import Reasoners

CERTAIN, ACTED_ON = 0.7, 0.9
"""A fitter stopped asking here; the program may want one question more, but nothing else may be near."""


@pytest.mark.parametrize("name", NAMES)
def test_recorded_job_replays_to_its_conclusion(reasoners: Reasoners, name: str) -> None:
    """Before each remedy of the record, that remedy leads clearly."""
    job = Recorded.read(name)
    found = leaders(reasoners.whole(job.vehicle), job)
    assert [remedy for remedy, _ in found] == job.expect["ends-at"]
    assert all(p >= CERTAIN for _, p in found), found


@pytest.mark.parametrize("name", NAMES)
def test_recorded_job_never_ends_at_a_tempting_wrong_remedy(reasoners: Reasoners, name: str) -> None:
    """`not-at` names what a hurried fitter would have renewed."""
    job = Recorded.read(name)
    led = {remedy for remedy, _ in leaders(reasoners.whole(job.vehicle), job)}
    assert not led & set(job.expect.get("not-at", []))


@pytest.mark.parametrize("name", NAMES)
def test_changing_one_decisive_answer_changes_the_conclusion(reasoners: Reasoners, name: str) -> None:
    """A conclusion that no answer can change would not rest on the answers."""
    job = Recorded.read(name)
    decisive = job.expect["decisive"]
    changed = job.with_answer(decisive["seq"], decisive["value"])
    index = next(i for i, remedy in enumerate(job.expect["ends-at"]) if remedy == decisive["then-not"])
    ranking = believed(reasoners.whole(job.vehicle), changed.before_remedies()[index]).ranking
    leader, p = ranking[0]
    assert leader != decisive["then-not"] or p < ACTED_ON, ranking[:3]


@pytest.mark.parametrize("name", NAMES)
def test_after_the_last_proof_the_vehicle_is_believed_sound(reasoners: Reasoners, name: str) -> None:
    """Remedy and proof must close the job, or the log would leave a cured fault open."""
    job = Recorded.read(name)
    beliefs = believed(reasoners.whole(job.vehicle), job.records)
    assert beliefs.posterior.healthy > 0.8


@pytest.mark.parametrize("name", NAMES)
def test_every_answer_of_a_record_means_something_today(reasoners: Reasoners, name: str) -> None:
    """A check that was renamed would silently drop evidence."""
    job = Recorded.read(name)
    _, _, _, unknown = findings_of(reasoners.whole(job.vehicle), replay(job.records))
    assert unknown == []


def _ended_right(reasoner_of: Callable[[str], Reasoner]) -> set[str]:
    right = set()
    for name in NAMES:
        job = Recorded.read(name)
        if [remedy for remedy, _ in leaders(reasoner_of(job.vehicle), job)] == job.expect["ends-at"]:
            right.add(name)
    return right


def test_rules_alone_end_at_least_half_right_and_lose_some(reasoners: Reasoners) -> None:
    """The rule base must stand by itself on an undescribed loom, and the network must add to it."""
    right = _ended_right(reasoners.rules_alone)
    print(f"rules alone: {len(right)} of {len(NAMES)}; lost: {sorted(set(NAMES) - right)}")
    assert len(NAMES) / 2 <= len(right) <= len(NAMES) - 3


def test_network_alone_ends_at_least_half_right_and_loses_some(reasoners: Reasoners) -> None:
    """The computation must stand without rules, and rules must add what no wire shows."""
    right = _ended_right(reasoners.network_alone)
    print(f"network alone: {len(right)} of {len(NAMES)}; lost: {sorted(set(NAMES) - right)}")
    assert len(NAMES) / 2 <= len(right) <= len(NAMES) - 3


def test_there_are_enough_recorded_jobs_with_a_double_fault_among_them() -> None:
    """Breadth of the record: at least ten jobs, one of them with two faults."""
    jobs = [Recorded.read(name) for name in NAMES]
    assert len(jobs) >= 10
    assert any(len(job.expect["ends-at"]) > 1 for job in jobs)
