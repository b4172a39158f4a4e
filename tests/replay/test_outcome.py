"""What comes of a replayed job is what the conversation believed, whatever was replayed before.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from diag.job.records import Record
from diag.job.state import replay
from diag.reason.alone import alone
from diag.reason.belief import weigh
from diag.reason.reasoner import Reasoner
from diag.replay.forms import SURE, Outcome
from diag.replay.jobs import Job, jobs_in
from diag.replay.outcome import Weighing, fired_in, outcome
from diag.talk.findings import findings_of
from diag.talk.plan import plan_next
from tests.jobs.recorded import FOLDER, Recorded, believed, leaders

NAMES = ("double-fault", "horn-fuse", "horn-at-once", "led-flashes-fast", "fuse-blows-at-once", "one-side-dead")


def test_outcome_is_what_the_recorded_job_is_held_to(reasoner: Reasoner) -> None:
    """The same remedies lead with the same chances as where the recorded jobs are tested."""
    for name in NAMES:
        job = Recorded.read(name)
        found = outcome(reasoner, job.records, name)
        led = leaders(reasoner, job)
        assert [(one.leader, one.leader_p) for one in found.carried] == [
            (r, pytest.approx(p, abs=1e-4)) for r, p in led
        ]
        assert found.found and list(found.remedies) == job.expect["ends-at"]
        assert found.unknown == () and found.problem == ""
        end = believed(reasoner, job.records)
        assert found.healthy == pytest.approx(end.posterior.healthy, abs=1e-4)


def test_sure_after_is_where_one_remedy_held_until_it_was_carried_out(reasoner: Reasoner) -> None:
    """Counted here forwards, over every answer before the remedy."""
    for name in ("double-fault", "horn-at-once", "led-flashes-fast"):
        job = Recorded.read(name)
        state = replay(job.records)
        sure: list[bool] = []
        for index, entry in enumerate(state.entries):
            if entry.event == "remedied":
                break
            if entry.event in ("answered", "found"):
                findings, treated, _, _ = findings_of(reasoner, replace(state, entries=state.entries[: index + 1]))
                sure.append(reasoner.beliefs(findings, treated).ranking[0][1] >= SURE)
        lasting = len(sure) - next((n for n, here in enumerate(reversed(sure)) if not here), len(sure))
        assert outcome(reasoner, job.records, name).sure_after == (lasting + 1 if lasting < len(sure) else None)


def test_a_cause_that_explains_everything_alone_is_weighed_the_same_both_ways(reasoner: Reasoner) -> None:
    """The quick way must be no other way, remedies and proofs included."""
    quick = 0
    for name in ("horn-fuse", "horn-itself", "one-side-dead", "double-fault"):
        state = replay(Recorded.read(name).records)
        for count in range(3, len(state.entries) + 1):
            findings, treated, proving, _ = findings_of(reasoner, replace(state, entries=state.entries[:count]))
            evidence, _ = reasoner.evidence(findings, treated, proving=proving is not None)
            found, whole = alone(evidence), weigh(evidence)
            assert (found is None) == whole.several
            if found is not None:
                quick += 1
                assert np.allclose(found.present, whole.present, atol=1e-12)
                assert (found.healthy, found.outside) == pytest.approx((whole.healthy, whole.outside), abs=1e-12)
                assert dict(found.sets).keys() == dict(whole.sets).keys()
    assert quick > 15


def test_outcome_does_not_hang_on_what_was_replayed_before(reasoner: Reasoner) -> None:
    """Or the same folder would come out differently on another machine."""
    jobs = [Recorded.read(name) for name in ("double-fault", "fuse-blows-at-once", "horn-fuse")]
    forward = {job.name: outcome(reasoner, job.records, job.name) for job in jobs}
    backward = {job.name: outcome(reasoner, job.records, job.name) for job in reversed(jobs)}
    together = Weighing(reasoner)
    together.begin()
    assert forward == backward
    for job in jobs:  # solved beside others the last digits may move, no more
        found = outcome(reasoner, job.records, job.name, together)
        assert [one.p for one in found.carried] == pytest.approx([one.p for one in forward[job.name].carried], abs=2e-4)


def test_rules_that_fired_are_told_and_which_point_to_the_cure(reasoner: Reasoner) -> None:
    """By the network or without it the same rules fire."""
    job = Recorded.read("horn-fuse")
    found = outcome(reasoner, job.records, job.name)
    assert "horn/fuse-renewed-and-holds" in found.pointing
    assert set(found.pointing) <= set(found.fired)
    assert fired_in(reasoner.knowledge, job.records) == set(found.fired)


def test_an_answer_or_remedy_that_is_not_known_any_more_is_told(reasoner: Reasoner) -> None:
    """It must not silently drop out of the evidence."""
    job = Recorded.read("horn-fuse")
    records = [_with(r, check="gone", operate={"gone": "on"}) if r.seq == 5 else r for r in job.records]
    records = [_with(r, remedy="gone") if r.event == "remedied" else r for r in records]
    found = outcome(reasoner, records, job.name)
    assert found.unknown == (5,) and found.gone == ("gone",)
    assert not found.found and found.carried[0].rank == 0


def test_a_job_that_proves_the_whole_vehicle_is_weighed_as_the_conversation_weighs_it(reasoner: Reasoner) -> None:
    """What was seen twice counts like a complaint there."""
    like = Recorded.read("horn-fuse").records
    silent = next(r for r in like if r.fields.get("check") == "horn-sound")
    start = _with(next(r for r in like if r.fields.get("check") == "start"), value="whole")
    rows = [like[0], like[1], start, silent, silent]
    records = [replace(record, seq=seq) for seq, record in enumerate(rows, start=1)]
    beliefs = plan_next(reasoner, replay(records)).beliefs
    assert beliefs is not None
    found = outcome(reasoner, records, "whole")
    leader, p = beliefs.ranking[0]
    assert found.top == (leader, pytest.approx(p, abs=1e-4))
    assert found.healthy == pytest.approx(beliefs.posterior.healthy, abs=1e-4)


def test_records_that_do_not_begin_a_job_are_a_problem(reasoner: Reasoner) -> None:
    """One strange file among ten thousand is named, not raised."""
    found = outcome(reasoner, Recorded.read("horn-fuse").records[1:], "odd")
    assert found.problem == "a job begins with an `opened` record; found `instruments`"
    assert "found `nothing`" in outcome(reasoner, (), "empty").problem


def test_outcomes_go_to_json_and_back(reasoner: Reasoner) -> None:
    """They are kept and compared with later."""
    for name in NAMES:
        found = outcome(reasoner, Recorded.read(name).records, name)
        assert Outcome.read(json.loads(json.dumps(found.plain()))) == found


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        ({"job": 5}, "job: found int; expected text"),
        ({"answers": -1}, "answers: found -1; expected a whole number"),
        ({"healthy": 2}, "healthy: found 2; expected a number from 0 to 1"),
        ({"carried": [{}]}, "remedy: found NoneType; expected text"),
        ({"fired": "all"}, "fired: found str; expected a list"),
        ({"more": 1}, "found `more`; expected some of"),
    ],
)
def test_damaged_outcome_is_refused_in_words(damage: dict[str, object], said: str) -> None:
    """A baseline may have been written by hand."""
    with pytest.raises(ValueError, match=said):
        Outcome.read({"job": "a", "vehicle": "b", **damage})


def test_every_recorded_job_is_read_with_what_it_must_come_to() -> None:
    """Names are those of the files; nothing is amiss with the shipped ones."""
    jobs: tuple[Job, ...] = jobs_in(FOLDER)
    assert len(jobs) == len(list(FOLDER.glob("*.jsonl")))
    assert all(job.records and job.expected and job.expected.ends_at and not job.problem for job in jobs)


def _with(record: Record, **fields: object) -> Record:
    return replace(record, fields={**record.fields, **fields})
