"""What a report says of recorded jobs: conclusions, proof, reasons, conflicts; always computed anew."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from functools import lru_cache
from pathlib import Path

import pytest

import diag.log.report as shapes
from diag.job.journal import read_journal
from diag.log.build import build_report
from diag.log.markdown import as_markdown
from diag.log.report import Report
from diag.reason.reasoner import Reasoner
from tests.log.jobs import TRANSCRIPTS, ZONE, complaint, horn_sounds, write_job


@lru_cache(maxsize=8)
def _of(reasoner: Reasoner, path: Path) -> Report:
    return build_report(reasoner, read_journal(path)[0], path.name, zone=ZONE)


def _transcript(reasoner: Reasoner, name: str) -> Report:
    return _of(reasoner, TRANSCRIPTS / f"{name}.jsonl")


@pytest.mark.parametrize(
    ("name", "remedy", "cause"),
    [
        ("horn-fuse", "fuse-horn.renew", "fuse-horn.blown"),
        ("low-battery", "battery.charge", "battery.flat"),
        ("stop-lamp-missing-earth", "rear-left-earth-make", "earth-rear-left.open"),
    ],
)
def test_the_remedy_carried_out_is_concluded_anew_and_proved(
    reasoner: Reasoner, name: str, remedy: str, cause: str
) -> None:
    """The recordings hold no conclusions at all, so what is told can only come from the answers."""
    report = _transcript(reasoner, name)
    (work,) = report.done
    stage = report.stages[0]
    assert (work.remedy, work.verdict, stage.chosen) == (remedy, "proved", remedy)
    candidate = next(one for one in stage.candidates if one.id == remedy)
    assert candidate.causes[0].id == cause
    assert work.before is not None and work.still_needed is not None
    assert work.before.p == candidate.chance.p > 0.5 > work.still_needed.p
    assert work.steps and work.proofs and all(proof.sound for proof in work.proofs)


def test_a_double_fault_keeps_its_two_stories_apart(reasoner: Reasoner) -> None:
    """A dark oil tell-tale that stays dark after the first remedy is not held against that remedy."""
    report = _transcript(reasoner, "double-fault")
    first, second = report.done
    assert (first.remedy, second.remedy) == ("flasher-unit-renew", "oil-sender-wire.reconnect")
    assert (first.verdict, second.verdict) == ("proved", "proved")
    assert "oil-key-on" not in {proof.check for proof in first.proofs}
    assert "oil-key-on" in {proof.check for proof in second.proofs}
    assert not report.stages[0].unexplained, "a further fault is likelier than a tell-tale misread"
    other = next(line for line in report.stages[0].evidence if line.number == 4)
    assert other.remedy == first.remedy and other.weight > 0.75, "what another fault explains is not held against it"
    assert not report.conflicts and not report.open_items


def test_evidence_names_prediction_rule_and_weight(reasoner: Reasoner) -> None:
    """The chain from answer to weight must be there to be followed by hand."""
    report = _transcript(reasoner, "double-fault")
    buzz = next(line for line in report.stages[0].evidence if line.number == 5 and line.remedy == "flasher-unit-renew")
    assert (buzz.source, buzz.predicted, buzz.healthy) == ("computed", "buzz", "click")
    assert buzz.weight > 3 and buzz.words.endswith("for it")
    rules = {rule.id: rule for line in report.stages[0].evidence for rule in line.rules}
    known = reasoner.knowledge.rules
    assert rules and all(
        (rule.because, rule.source) == (known[n].because, known[n].source) for n, rule in rules.items()
    )


def test_rules_that_fired_tell_what_they_established(reasoner: Reasoner) -> None:
    """A word established on the way is part of the chain of every rule that rests on it."""
    fired = _transcript(reasoner, "double-fault").stages[0].rules
    makers = {word for rule in fired for word in rule.established}
    assert "unit-does-not-open" in makers
    resting = [rule for rule in fired if "established: unit does not open" in rule.rests_on]
    assert resting and all(rule.concludes for rule in resting)


def test_what_was_ruled_out_names_the_answer_that_did_it(reasoner: Reasoner) -> None:
    """Volts before the break speak against the feed of the lamp, and against nothing after it."""
    report = _transcript(reasoner, "double-fault")
    feed = next(out for out in report.stages[1].ruled_out if out.id == "oil-lamp-feed.reconnect")
    assert feed.number == 17 and feed.weight is not None and feed.weight < 0.1
    assert feed.peak.p > 0.1 > 0.005 > feed.now.p
    carried_out = {work.remedy for work in report.done}
    assert not carried_out & {out.id for stage in report.stages for out in stage.ruled_out}


def test_the_trail_has_a_row_for_every_answer_that_counts(reasoner: Reasoner) -> None:
    """How belief moved is recomputed after each; after the remedy its column falls."""
    report = _transcript(reasoner, "horn-fuse")
    rows = {row.number: row for row in report.trail.rows}
    counted = {i.number for i in report.items if i.event in ("answered", "found", "remedied")}
    assert rows.keys() == counted
    assert report.trail.suspects[0].id == "fuse-horn.renew"
    assert rows[8].chances[0].p > 0.9 > 0.1 > rows[9].chances[0].p
    assert rows[12].sound.p > 0.9


def test_a_recorded_conclusion_is_not_believed(reasoner: Reasoner, tmp_path: Path) -> None:
    """A journal may have been written by other knowledge, or by hand."""
    start, silent = complaint("horn-silent"), horn_sounds("none")
    lie = ("concluded", {"final": True, "remedies": [{"id": "battery.charge", "p": 1.0}], "reason": "certain"})
    plain = build_report(reasoner, read_journal(write_job(tmp_path, start, silent))[0], "job", zone=ZONE)
    lied = build_report(reasoner, read_journal(write_job(tmp_path, start, silent, lie))[0], "job", zone=ZONE)
    assert plain.stages[-1].candidates == lied.stages[-1].candidates
    assert plain.status == lied.status == "in-progress"
    assert any("more would have been asked" in text for text in lied.open_items)


def test_a_remedy_that_did_not_help_is_told_as_failed(reasoner: Reasoner, tmp_path: Path) -> None:
    """Otherwise a stranger would fit the same part again."""
    work = ("remedied", {"remedy": "fuse-horn.renew"})
    path = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"), work, horn_sounds("none"))
    report = build_report(reasoner, read_journal(path)[0], "job", zone=ZONE)
    assert report.done[0].verdict == "failed"
    assert any("carried out but not proved" in text and "none" in text for text in report.open_items)


def test_a_remedy_without_a_check_after_it_is_open(reasoner: Reasoner, tmp_path: Path) -> None:
    """Work that nobody tried is not finished."""
    work = ("remedied", {"remedy": "fuse-horn.renew"})
    path = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"), work)
    report = build_report(reasoner, read_journal(path)[0], "job", zone=ZONE)
    assert (report.done[0].verdict, report.done[0].proofs) == ("not-proved", ())
    assert any("no check was made after it" in text for text in report.open_items)


def test_corrected_and_withdrawn_answers_stay_visible_but_do_not_count(reasoner: Reasoner, tmp_path: Path) -> None:
    """The log is the whole truth of the job, also of its slips."""
    path = write_job(
        tmp_path,
        complaint("horn-silent"),
        horn_sounds("click"),
        horn_sounds("none", replaces=3),
        horn_sounds("weak"),
        ("undone", {"target": 5}),
    )
    report = build_report(reasoner, read_journal(path)[0], "job", zone=ZONE)
    items = {item.number: item for item in report.items}
    assert (items[3].status, items[3].marked_by, items[3].found) == ("corrected", 4, "click")
    assert (items[4].status, items[4].corrects) == ("standing", 3)
    assert (items[5].status, items[5].marked_by) == ("withdrawn", 6)
    assert [row.number for row in report.trail.rows] == [2, 4]


def test_a_check_that_today_does_not_know_is_shown_and_left_aside(reasoner: Reasoner, tmp_path: Path) -> None:
    """Knowledge changes; an old job must still be readable."""
    old = ("answered", {"check": "gone-check", "kind": "look", "operate": {"hazard": "on"}, "target": "gone-lamp"})
    odd = ("found", {"check": 7, "kind": ["x"], "operate": 3, "value": [1, {"a": None}]})
    path = write_job(tmp_path, complaint("horn-silent"), (old[0], {**old[1], "value": {"light": "dim"}}), odd)
    report = build_report(reasoner, read_journal(path)[0], "job", zone=ZONE)
    items = {item.number: item for item in report.items}
    assert not items[3].known and "dim" in items[3].found and "gone-lamp" in items[3].instruction
    assert not items[4].known
    assert report.unknown == (3, 4)
    assert any("3, 4" in text for text in report.open_items)


def test_a_job_that_was_only_opened_claims_nothing(reasoner: Reasoner, tmp_path: Path) -> None:
    """An empty job has no vehicle's fault to tell of, and says so."""
    report = build_report(reasoner, read_journal(write_job(tmp_path))[0], "job", zone=ZONE)
    assert report.status == "not-begun" and report.instruments is None
    assert not (report.items or report.stages or report.done or report.trail.rows)
    assert report.open_items == ("everything: nothing was asked or answered yet",)


def test_times_are_told_in_both_zones_and_folders_are_kept_private(reasoner: Reasoner, tmp_path: Path) -> None:
    """A job late in the evening ends on another day in local time; the user's home is nobody's business."""
    report = build_report(reasoner, read_journal(write_job(tmp_path))[0], "job", zone=ZONE)
    assert report.opened.utc == "2026-04-01T22:01:00Z"
    assert (report.opened.local, report.opened.zone) == ("2026-04-02T00:01:00+02:00", "XST")
    assert report.vehicle.file == "demo-pickup.yaml"
    assert report.versions.knowledge_differs and report.versions.knowledge_now == reasoner.knowledge.content_hash


def test_every_key_of_the_report_is_documented() -> None:
    """The JSON form is read by other programs; a key without a word of what it is cannot be relied on."""
    classes = [found for found in vars(shapes).values() if isinstance(found, type) and is_dataclass(found)]
    assert len(classes) > 15
    missing = [
        f"{one.__name__}.{field.name}"
        for one in classes
        for field in fields(one)
        if f"`{field.name}`" not in (one.__doc__ or "")
    ]
    assert not missing


def test_limits_are_judged_and_carry_their_source(reasoner: Reasoner) -> None:
    """A bound without its source is only an opinion."""
    items = {item.number: item for item in _transcript(reasoner, "low-battery").items}
    low, charged = items[5].limits, items[14].limits
    assert low is not None and charged is not None
    assert (low.met, charged.met) == (False, True)
    known = reasoner.knowledge.checks["battery-volts"].limits
    assert known is not None and (low.min, low.max, low.source) == (known.min, known.max, known.source)
    assert json.loads(json.dumps(items[5].value)) == 11.24


def test_an_answer_that_speaks_against_the_rest_is_named(reasoner: Reasoner, tmp_path: Path) -> None:
    """Whoever reads the log must see which answer may have been misread, and how likely that is."""
    records = read_journal(TRANSCRIPTS / "horn-fuse.jsonl")[0]
    before = [
        r for r in records if r.event != "opened" and r.seq < next(x.seq for x in records if x.event == "remedied")
    ]
    events = [(r.event, dict(r.fields)) for r in before]
    job = write_job(tmp_path, *events, horn_sounds("sound"))
    report = build_report(reasoner, read_journal(job)[0], job.name, zone=ZONE)
    number = max(item.number for item in report.items if item.event == "answered")
    last = report.stages[-1]
    assert last.odd and last.odd[0].number == number and last.odd[0].misread.p > 0.5
    assert "sound" in last.odd[0].finding
    text = as_markdown(report)
    assert "speak against the rest" in text and f"- Answer {number}: " in text


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ("back-on-3", "What the check before had left off is back on"),
        ("coil-minutes-3", "The coil has been live for some minutes"),
        ("coil-back-on", "The wire is back on terminal 15 of the coil"),
    ],
)
def test_what_was_put_right_between_checks_is_told_in_words(
    reasoner: Reasoner, tmp_path: Path, mark: str, said: str
) -> None:
    """A stranger cannot read the mark of a record, nor was there a rule that said so."""
    ack = ("acknowledged", {"check": f"caution:{mark}", "caution": mark})
    text = as_markdown(_of(reasoner, write_job(tmp_path, complaint("horn-silent"), ack)))
    assert said in text
    assert mark not in text and "a rule says so" not in text
