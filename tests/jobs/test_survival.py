"""A job survives pulled plugs and full disks: what was acknowledged is there, and the job goes on.

The plug is pulled on the real program after every answer of a job, and 200 times at random instants on
forks of this process that hold the finished reasoner and run the same conversation over the same journal:
starting the program 200 times would take longer than all the rest.
"""

from __future__ import annotations

import json
import os
import random
import resource
import select
import signal
import time
from pathlib import Path
from typing import Any, TextIO

import pytest

from diag.job.journal import Journal, read_journal
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.lines import run_lines
from diag.talk.opening import new_job
from diag.talk.rehearsal import SimulatedFitter
from tests.talk.outsider import Outsider, healthy

KILLS = 48
LANES = 2
LONGEST_S = 0.4
"""Of a sitting; the instant of each kill is drawn up to it."""
Object = dict[str, Any]


def without_id(said: Object) -> Object:
    """What is asked or told, whichever asking it is."""
    return {key: value for key, value in said.items() if key != "id"}


def kept(path: Path) -> dict[int, str]:
    """Event by seq, as anybody reads the journal."""
    records, _ = read_journal(path)
    return {record.seq: record.event for record in records}


# ---------------------------------------------------------------- the real program


def test_program_killed_after_every_answer_finishes_the_job(reasoner: Reasoner, tmp_path: Path) -> None:
    """Kill -9 after each answer of a whole job: every sitting asks what the last one was about to."""
    fitter, job = SimulatedFitter(reasoner, ["fuse-horn.blown"]), tmp_path / "job.jsonl"
    expected: Object | None = None
    heard: dict[int, str] = {}
    remedies: list[str] = []
    for _ in range(60):
        with Outsider("--job", str(job)) as talk:
            assert expected is None or without_id(talk.last) == expected, "the next sitting asked something else"
            if talk.last["type"] == "end":
                break
            if talk.last["type"] == "conclude":
                remedies.append(talk.last["remedies"][0]["id"])
                fitter.remedy(remedies[-1])
                told = talk.told({"remedied": remedies[-1]})
            else:
                told = talk.told(fitter.answer(talk.last))
            heard[told["seq"]] = told["ack"]
            expected = without_id(talk.last)
            talk.kill()
        found = kept(job)
        assert all(found.get(seq) == event for seq, event in heard.items()), f"lost after kill {len(heard)}"
    print(f"killed {len(heard)} times")
    assert remedies == ["fuse-horn.renew"]
    assert fitter.cured
    assert len(heard) >= 6


def test_full_disk_is_told_and_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """The system itself refuses the write; the answer comes back as an error and the program goes on."""
    job = tmp_path / "job.jsonl"
    with Outsider("--job", str(job)) as talk:
        talk.answer("horn-silent")
        room = job.stat().st_size + 2500
        resource.prlimit(talk.process.pid, resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))
        heard, errors = [], 0
        while errors < 3:
            asked = without_id(talk.last)
            reply = talk.say({"note": f"note {len(heard)} " + "x" * 200})
            if reply["type"] == "tell":
                heard.append(reply["seq"])
                continue
            errors += 1
            assert reply["code"] == "not-stored"
            assert "NOT stored" in reply["text"]
            assert without_id(talk.last) == asked
        assert len(heard) > 3
        resource.prlimit(talk.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        heard.append(talk.told({"note": "room again"})["seq"])
        assert talk.leave() == 0
        assert "Traceback" not in talk.errors()
    found = kept(job)
    assert {seq: found[seq] for seq in heard} == dict.fromkeys(heard, "noted")
    assert list(found) == list(range(1, len(found) + 1))
    with Outsider("--job", str(job)) as talk:
        assert without_id(talk.last) == asked


# ---------------------------------------------------------------- random instants


class Fork:
    """A fork of this process that resumes a job and holds its conversation over two pipes."""

    def __init__(self, reasoner: Reasoner, job: Path) -> None:
        child_in, self.to_child = os.pipe()
        self.from_child, child_out = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.close(self.to_child)
            os.close(self.from_child)
            _be_the_program(reasoner, job, os.fdopen(child_in, "r"), os.fdopen(child_out, "w"))
        os.close(child_in)
        os.close(child_out)
        self._rest = b""
        self.heard: list[Object] = []

    def hear(self, until_s: float) -> Object | None:
        """The next whole line, or None where the clock passes `until_s` first or the program is gone."""
        while b"\n" not in self._rest:
            left = until_s - time.monotonic()
            if left <= 0 or not select.select([self.from_child], [], [], left)[0]:
                return None
            found = os.read(self.from_child, 65536)
            if not found:
                return None
            self._rest += found
        line, self._rest = self._rest.split(b"\n", 1)
        self.heard.append(json.loads(line))
        return self.heard[-1]

    def say(self, message: Object) -> None:
        os.write(self.to_child, json.dumps(message).encode() + b"\n")

    def kill(self) -> list[Object]:
        """Kill -9; returns every whole line that it had said, those not read before among them."""
        os.kill(self.pid, signal.SIGKILL)
        _, status = os.waitpid(self.pid, 0)
        os.close(self.to_child)
        while found := os.read(self.from_child, 65536):
            self._rest += found
        os.close(self.from_child)
        assert os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL, "it ended before it was killed"
        self.heard += [json.loads(line) for line in self._rest.split(b"\n")[:-1]]
        return self.heard


def _be_the_program(reasoner: Reasoner, job: Path, lines: TextIO, out: TextIO) -> None:
    """What `diag talk --job` does once its reasoner is ready; never returns."""
    try:
        with Journal.open(job) as journal:
            journal.append("resumed", knowledge=reasoner.knowledge.content_hash, tool="test", engine="test")
            run_lines(Conversation(reasoner, journal, str(job)), lines, out)
    finally:
        os._exit(0)


def _message(rng: random.Random, said: Object) -> Object:
    """Something that is taken: mostly what a sound vehicle shows, now and then anything else."""
    if said["type"] == "conclude":
        return {"remedied": said["remedies"][0]["id"]}
    if said["type"] == "end":
        return {"undo": True}
    if said["check"] == "start":
        return {"answer": said["id"], "value": "circuit:turn-signals"}
    if rng.random() < 0.7:
        return {"answer": said["id"], "value": healthy(said)}
    return rng.choice(
        [{"undo": True}, {"note": "x" * rng.randrange(1, 1500)}, {"answer": said["id"], "value": "not-sure"}]
    )


@pytest.mark.parametrize("lane", range(LANES))
def test_nothing_acknowledged_is_lost_at_random_kills(reasoner: Reasoner, tmp_path: Path, lane: int) -> None:
    """The plug does not wait for the end of an answer. After each kill the journal holds every acknowledged
    seq with its event, no earlier record has changed, and the next sitting can go on."""
    rng = random.Random(20 + lane)
    job = tmp_path / "job.jsonl"
    first, journal = new_job(reasoner, Path("demo-pickup.yaml"), job, ("test-lamp", "meter"), frozenset())
    journal.close()
    assert first.job == str(job)
    acknowledged: dict[int, str] = {}
    content, between = job.read_bytes(), 0
    for kill in range(KILLS // LANES):
        fork = Fork(reasoner, job)
        assert (said := fork.hear(time.monotonic() + 60)) is not None, f"sitting {kill} could not go on"
        assert said["type"] == "hello"
        ends = time.monotonic() + rng.random() * LONGEST_S
        while (said := fork.hear(ends)) is not None:
            if said["type"] in ("ask", "end") or (said["type"] == "conclude" and said["remedies"]):
                fork.say(_message(rng, said))
        heard = fork.kill()
        assert "error" not in {one["type"] for one in heard}, heard
        acknowledged |= {one["seq"]: one["ack"] for one in heard if one["type"] == "tell"}
        found, now = kept(job), job.read_bytes()
        assert now.startswith(content), f"kill {kill} changed what was kept before"
        content = now[: now.rfind(b"\n") + 1]
        assert all(found.get(seq) == event for seq, event in acknowledged.items()), f"lost at kill {kill}"
        between += heard[-1]["type"] == "tell"
    print(f"lane {lane}: {len(acknowledged)} acknowledged, {between} kills in the middle of an answer")
    assert len(acknowledged) > KILLS // LANES
    assert between > 0, "kills that all fell between answers prove little"
