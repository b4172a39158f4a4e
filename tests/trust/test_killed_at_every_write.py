"""Kill -9 at every write of a whole job: what was acknowledged is there, and the job ends as it would have.

The plug is pulled inside the program, before each call that reaches the disk and in the middle of each write, so
that no instant between two calls is left to luck.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from diag.job.journal import Record, read_journal
from diag.reason.reasoner import Reasoner
from diag.talk.opening import resume_job
from tests.trust.faulty import finished, killed_at, script, talk_in_fork, warm


def told(record: Record) -> tuple[str, str]:
    """An event and all it holds, without the time."""
    return record.event, json.dumps(dict(record.fields), sort_keys=True)


@pytest.mark.parametrize("half", [False, True], ids=["before-each-call", "half-of-each-write"])
def test_nothing_acknowledged_is_lost_by_a_kill_at_any_write(reasoner: Reasoner, tmp_path: Path, half: bool) -> None:
    """Every acknowledged answer is there; at most the one that nobody was told of is missing; the same remedy."""
    with warm(reasoner):
        lines, remedies = script(reasoner)
        whole = tmp_path / "whole"
        whole.mkdir()
        sound = talk_in_fork(whole, lines, ["--job", str(whole / "job.jsonl")], lambda: None)
        assert sound.code == 0 and sound.heard[-1]["type"] == "end"
        wanted = [told(record) for record in read_journal(whole / "job.jsonl")[0]]
        assert len(sound.acknowledged) == len(lines.splitlines())
        kills = pieces = 0
        for number in range(1, 4 * len(wanted) + 20):
            folder = tmp_path / str(number)
            folder.mkdir()
            job = folder / "job.jsonl"
            sitting = talk_in_fork(folder, lines, ["--job", str(job)], killed_at(number, half))
            if not sitting.killed:
                assert sitting.code == 0
                break
            kills += 1
            if not job.exists() or not job.stat().st_size:
                assert not sitting.acknowledged
                continue
            pieces += not job.read_bytes().endswith(b"\n")
            found = [told(record) for record in read_journal(job)[0]]
            assert found == wanted[: len(found)], f"call {number}: kept something else"
            assert all(found[seq - 1][0] == event for seq, event in sitting.acknowledged.items()), f"lost at {number}"
            if not found:
                continue
            conversation, journal, messages = resume_job(job)
            with journal:
                assert any("set aside" in one for one in messages) == (folder / "job.jsonl.torn-1").exists()
                assert finished(reasoner, conversation)[1] == remedies
        else:
            pytest.fail("never came to the end")
    print(f"{kills} kills, {pieces} left a piece")
    assert kills >= (len(wanted) if half else 2 * len(wanted))
    assert bool(pieces) == half
