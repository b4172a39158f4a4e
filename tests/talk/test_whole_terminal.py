"""The whole vehicle in stages on the terminal: every screen on a phone's width, and the real program to its end."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from diag.job.journal import read_journal
from diag.log.export import export_job
from diag.reason.reasoner import Reasoner
from diag.stages.course import STAGES
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from tests.stages.whole import as_given, fresh
from tests.talk.hands import STOP, Sitting, key_for, sit
from tests.talk.teletype import Tty

Object = dict[str, Any]
FAULTS = ("dip-switch.swapped-56a-56b", "horn-to-column.to-body")
MOST = 400
_CALM = 6
"""Looks at journal and program, a twentieth of a second apart, in which nothing happened."""


def keys_for(fitter: SimulatedFitter, said: Object, seen: str = "") -> str:
    """What the fitter types at the terminal for what is said."""
    reasoner = fitter.reasoner
    if said["type"] == "end":
        return "q"
    if said["type"] == "conclude":
        if "d done" in seen:
            return "d"
        fitter.remedy(said["remedies"][0]["id"])
        return "1"
    if said["check"] == "start":
        return "0"
    for number, item in enumerate(said.get("group", ()), 1):
        step = reasoner.steps[item["check"]]
        if as_given(fitter.truth(step)) != item["expected"]:
            own = {"check": step.id, "kind": step.kind, "id": "", "unit": None}
            choices = [] if step.kind == "look" and isinstance(step.outcomes[0], tuple) else step.outcomes
            return str(number) + key_for(fitter, {**own, "choices": [{"value": value} for value in choices]})
    if said.get("group"):
        return "d"
    if said["kind"] == "do":
        return "d" if len(said["choices"]) == 1 else "1"
    return key_for(fitter, said)


def shown(conversation: Conversation) -> Object:
    """What the terminal shows now; an ask is not asked anew, or its page would answer one that is gone."""
    return conversation.open_ask or conversation.say()[-1]


def test_every_page_fits_forty_columns_and_twenty_rows(reasoner: Reasoner) -> None:
    """Stage, circuit and minutes stand at the head of every page, on the narrowest screen."""
    fitter, conversation = SimulatedFitter(reasoner, ()), fresh(reasoner)
    begun: list[str] = []

    def hands(seen: str) -> str:
        said = shown(conversation)
        if said.get("begins"):
            begun.append(said["begins"])
        return keys_for(fitter, said, seen)

    sitting: Sitting = sit(conversation, hands, 40, 20)
    assert begun == [name for name in STAGES if name not in ("faults", "handover")]
    titles = tuple(STAGES.values())
    for page in sitting.seen:
        rows = page.split("\n")
        assert len(rows) <= 20 and max(map(len, rows)) <= 40, page
        if "-- end; arrow up --" in rows:
            continue  # turned to its end
        assert page.startswith(titles), page
        head = " ".join(rows[: rows.index("-" * 40)])
        assert " min |" in head, page
    text = "\n".join(sitting.seen)
    assert "d all right" in text
    assert "e skip this stage" in text
    assert "--as" in text and "handover" in text


def test_the_stages_page_goes_skips_and_leaves(reasoner: Reasoner) -> None:
    """A digit goes to a stage; a reason skips one; what is odd is left with a reason."""
    conversation = fresh(reasoner)
    sitting = sit(conversation, ["t", "6", "d", "e", "no meter here\r", "t", "q"])
    assert any("1 Before power: now" in page for page in sitting.seen)
    assert sitting.records("stage") == [
        {"stage": "key-off-current"},
        {"stage": "key-off-current", "skip": "no meter here"},
    ]
    assert any("6 Key-off current: skipped: no meter" in " ".join(page.split()) for page in sitting.seen)
    assert conversation.say()[-1]["stage"] == "before-power"


def test_a_fault_is_left_open_by_a_key(reasoner: Reasoner) -> None:
    """The list of problems, a digit, the reason; then the walk goes on behind it."""
    fitter, conversation = SimulatedFitter(reasoner, ("horn.open",)), fresh(reasoner)
    left: list[str] = []

    def hands(seen: str) -> str:
        said = shown(conversation)
        if said.get("stage") == "faults" and not left and not said.get("begins"):
            left.append("v")
            return "v"
        if "What is left as it is?" in seen:
            return "1"
        if "Why is it left open?" in seen:
            return "horn is on order\r"
        if left and said.get("begins") == "engine-running":
            return STOP
        return keys_for(fitter, said, seen)

    sitting = sit(conversation, hands, 100, 30)
    assert [record["reason"] for record in sitting.records("left-open")] == ["horn is on order"]
    assert conversation.plan.unresolved == ()


@pytest.mark.parametrize("columns", [40])
def test_the_real_program_proves_a_whole_vehicle(reasoner: Reasoner, tmp_path: Path, columns: int) -> None:
    """Two faults, from before power to handover, typed at a pseudo terminal; the journal says when a key was taken."""
    job, fitter = tmp_path / "whole.jsonl", SimulatedFitter(reasoner, FAULTS)
    with Tty(columns, 20, ["start", "--job", str(job)]) as program:
        program.until("Ctrl-C")
        taken = 0
        for _ in range(MOST):
            records, _ = read_journal(job)
            said = Conversation(reasoner, Rehearsed(list(records)), str(job)).say()[-1]
            keys = keys_for(fitter, said)
            program.done() if keys == "d" else program.child.send(keys.encode())
            if said["type"] == "conclude":
                for _ in said["remedies"][0]["cautions"]:
                    program.until("d done: read and seen to")
                    program.done()
                program.until("d done", "At hand" if said["remedies"][0]["parts"] else "About")
                program.done()
            if said["type"] == "end":
                break
            _wait(program, job, len(records))
            taken += 1
        assert program.ended() == 0
        assert b"diag resume" in program.raw
    assert taken > 0
    assert fitter.cured
    sheet = export_job(job, "handover", reasoner=reasoner)
    assert sheet.count(": proved.") == 2


def _wait(program: Tty, job: Path, count: int) -> None:
    """Until a key was taken and the program sits still: a batch and a conclusion are several records, and on a busy
    machine they come with pauses in which it is not asleep."""
    until, before, calm = time.monotonic() + 120, count, 0
    while time.monotonic() < until:
        found = len(read_journal(job)[0])
        calm = calm + 1 if found == before and _asleep(program.child.pid) else 0
        if found > count and calm >= _CALM:
            return
        before, drawn = found, len(program.raw)
        if not program.read():  # the screen is drawn on while nobody reads it
            raise AssertionError(f"the program ended by itself after {count} records, {found} now:\n{program.text}")
        if len(program.raw) > drawn:
            calm = 0
    raise AssertionError(f"the program did not take the key:\n{program.text}")


def _asleep(pid: int) -> bool:
    """Whether no thread of a process computes or waits for the disk; taken for granted where nobody can tell."""
    states = [path.read_text().rpartition(")")[2].split()[0] for path in Path(f"/proc/{pid}/task").glob("*/stat")]
    return all(state == "S" for state in states)
