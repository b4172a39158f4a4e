"""A job of ten thousand answers opens, goes on and is exported. What it costs: tests/bench/long_job.py."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from diag.job.fold import Fold
from diag.job.journal import Journal, read_journal
from diag.job.state import replay
from diag.log.export import open_job
from diag.log.forms import as_csv
from diag.log.markdown import as_markdown
from diag.reason.belief import weigh
from diag.talk.conversation import Conversation
from diag.talk.findings import findings_of
from tests.jobs.long import long_job, write_long_job

_ANSWERS = 10_000
_TRANSCRIPTS = Path(__file__).resolve().parents[2] / "transcripts"


def test_ten_thousand_answers_open_go_on_and_are_exported(reasoner: Any, tmp_path: Path) -> None:
    """The first and the last answer stand; one is taken and taken back; the log holds every one."""
    path = write_long_job(tmp_path / "service-record.jsonl", reasoner, _ANSWERS)
    with Journal.open(path) as journal:
        talk = Conversation(reasoner, journal, str(path))
        given = [record for record in journal.records if record.event == "answered"]
        standing = {entry.seq for entry in talk.state.standing("answered")}
        assert len(given) == _ANSWERS and {given[0].seq, given[-1].seq} <= standing
        assert not talk.unknown_answers()
        assert talk.say()[-1]["type"] in ("ask", "conclusion", "end")
        before = len(talk.state.entries)
        told = talk.take({"found": {"check": "horn-sound", "value": "normal"}})
        told = told if told["type"] == "tell" else talk.take({"found": {"check": "horn-sound", "value": "sound"}})
        assert told["stored"] and len(talk.state.entries) == before + 1 and talk.say()
        assert talk.take({"undo": True})["stored"] and len(talk.state.entries) == before
        assert talk.state == replay(journal.records)
    lived, report = open_job(path, reasoner=reasoner)
    rows = list(csv.DictReader(io.StringIO(as_csv(report))))
    numbers = [int(row["number"]) for row in rows if int(row["number"]) != told["seq"]]
    assert numbers == [record.seq for record in given]
    written = as_markdown(report)
    assert report.trail.spread and f"of its {report.trail.counted} records are worked out" in written
    lines = {line.split("|")[1].strip() for line in written.splitlines() if line.startswith("|")}
    assert {str(number) for number in numbers} <= lines
    ends = {entry.period: entry.seq for entry in lived.state.entries if entry.event in ("answered", "found")}
    assert set(ends.values()) <= {point.entry.seq for point in lived.points}, "the last of each period has its belief"


def test_a_state_folded_on_is_the_state_folded_anew(reasoner: Any, tmp_path: Path) -> None:
    """Record by record, over answers, corrections, undos, notes and changes."""
    path = write_long_job(tmp_path / "short.jsonl", reasoner, 300, 3, 0.02)
    records, _ = read_journal(path)
    fold = Fold()
    for count in range(1, len(records) + 1):
        assert fold.state(records[:count]) == replay(records[:count])


def test_findings_gone_on_with_are_the_findings_made_anew(reasoner: Any, tmp_path: Path) -> None:
    """What is remembered of the entries before never shows."""
    records, _ = read_journal(write_long_job(tmp_path / "short.jsonl", reasoner, 120, 5, 0.05))
    state = replay(records)
    on = [findings_of(reasoner, state.until(count)) for count in range(len(state.entries) + 1)]
    back = [findings_of(reasoner, state.until(count)) for count in reversed(range(len(state.entries) + 1))]
    assert on == back[::-1] and len(on[-1][0]) > 100


def _one_by_one(evidence: Any) -> Any:
    """The same with a row of its own for each answer, so that nothing is put together."""
    return replace(evidence, findings=tuple(replace(f, rows=f.rows.copy()) for f in evidence.findings))


@pytest.mark.parametrize(
    "job", ["fuse-blows-with-left-signal", "stop-lamp-missing-earth", "van-oil-and-signal", "long"]
)
def test_counting_the_same_answers_changes_no_belief(job: str, reasoner: Any, tmp_path: Path) -> None:
    """Weighed with counts, and answer by answer: the same to the last digits, in recorded jobs and in a long one with
    answers that contradict each other."""
    path = tmp_path / "long.jsonl"
    if job == "long":
        path.write_bytes(b"".join(long_job(reasoner, 80, 1, 0.04)))
    else:
        path = _TRANSCRIPTS / f"{job}.jsonl"
    state = replay(read_journal(path)[0])
    findings, treated, _, _ = findings_of(reasoner, state)
    again = [replace(f, seq=f.seq + 100_000) for f in findings]
    for found in (findings, [*findings, *again]):
        evidence, _ = reasoner.evidence(found, treated)
        counted, one_by_one = weigh(evidence), weigh(_one_by_one(evidence))
        assert np.abs(counted.present - one_by_one.present).max() < 1e-12
        assert abs(counted.healthy - one_by_one.healthy) < 1e-12
        assert abs(counted.outside - one_by_one.outside) < 1e-12
        assert counted.unexplained == one_by_one.unexplained
        odd, apart = ({one.seq: one.p for one in found.odd} for found in (counted, one_by_one))
        assert odd.keys() == apart.keys()  # of equal chances the last digit decides which comes first
        assert all(abs(odd[seq] - apart[seq]) < 1e-12 for seq in odd)
