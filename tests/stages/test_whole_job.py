"""A whole job, from before power to handover: two faults found and cured, resumable at every record, all of it told.

source of all expectations: the computed network, and common practice, no source
"""

from __future__ import annotations

from typing import Any

import pytest

from diag.log.build import report_of
from diag.log.handover import as_handover
from diag.log.replayed import replayed
from diag.reason.reasoner import Reasoner
from diag.stages.course import COLLECTING, STAGES, course_of
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from tests.stages.whole import as_given, fresh, message_for, play, upto

Object = dict[str, Any]
FAULTS = ("dip-switch.swapped-56a-56b", "horn-to-column.to-body")


def bare(said: Object) -> Object:
    """What is said without the number that every asking has anew."""
    return {key: value for key, value in said.items() if key != "id"}


@pytest.fixture(scope="module")
def job(reasoner: Reasoner) -> tuple[Conversation, SimulatedFitter, list[tuple[int, Object, Object]]]:
    """The job, the fitter, and what was said and answered after how many records."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, FAULTS)
    lived: list[tuple[int, Object, Object]] = []
    told = play(conversation, fitter)
    for said, message in told:
        lived.append((len(conversation.keeper.records), said, message))
    return conversation, fitter, lived


def test_both_faults_are_cured_and_nothing_odd_stays(job: Any) -> None:
    """The end of it all: the vehicle is sound, and the program knows it."""
    conversation, fitter, lived = job
    assert fitter.cured
    end = lived[-1][1]
    assert end["type"] == "end"
    assert {stage["id"]: stage["state"] for stage in end["stages"]} == {
        name: "now" if name == "handover" else "done" for name in STAGES
    }
    assert all(item.startswith(("LARGE", "TOO LARGE")) for item in end["open"]), end["open"]
    assert conversation.plan.unresolved == ()


def test_stages_come_in_their_order_and_every_ask_says_its_own(job: Any) -> None:
    """What is asked belongs to the stage that it names; what is odd is looked into between."""
    _, _, lived = job
    asks = [said for _, said, _ in lived if said["type"] == "ask"]
    assert all(said["stage"] in STAGES for said in asks)
    begun = list(dict.fromkeys(said["stage"] for said in asks if said["stage"] != "faults"))
    assert begun == list(COLLECTING)
    remedied = [message["remedied"] for _, _, message in lived if "remedied" in message]
    assert "dip-switch-wires-back" in remedied


def test_every_answer_is_a_record_of_its_own(reasoner: Reasoner, job: Any) -> None:
    """One key for nine looks writes nine findings: another program can read each without this one."""
    conversation, _, lived = job
    together = [message for _, _, message in lived if message.get("value") == "all-right"]
    assert together
    answered = [r.fields for r in conversation.keeper.records if r.event == "answered" and "batch" in r.fields]
    assert len(answered) > len(together)
    for fields in answered:
        step = reasoner.steps[fields["check"]]
        assert fields["operate"] == dict(step.operate)
        assert fields["target"] == step.target
        assert fields["value"] == as_given(reasoner.chances.shown(step))


def test_the_job_goes_on_from_any_record(reasoner: Reasoner, job: Any) -> None:
    """A pulled plug at any moment: what is asked next is what would have been asked."""
    conversation, _, lived = job
    records = list(conversation.keeper.records)
    for place in range(0, len(lived) - 1, 3):
        count, said = lived[place][0], lived[place + 1][1]
        resumed = Conversation(reasoner, Rehearsed(records[:count]), "a-job")
        again = resumed.say()[-1]
        if said["type"] != "end":
            assert bare(again) == bare(said)


def test_undo_takes_back_what_one_key_gave(reasoner: Reasoner) -> None:
    """Nine looks called right by mistake go with one key, and are asked again."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    upto(conversation, fitter, "walk-round")
    while not (said := conversation.say()[-1]).get("group"):
        assert conversation.take(message_for(fitter, said))["type"] == "tell"
    before = conversation.findings()
    told = conversation.take({"answer": said["id"], "value": "all-right"})
    assert told["seqs"] == [told["seq"] - len(said["group"]) + n + 1 for n in range(len(said["group"]))]
    assert len(conversation.findings()) == len(before) + len(said["group"])
    assert conversation.take({"undo": True})["type"] == "tell"
    assert conversation.findings() == before
    assert bare(conversation.say()[-1]) == bare(said)


def test_a_skipped_stage_is_told_with_its_reason(reasoner: Reasoner) -> None:
    """Nobody may believe that what was skipped was proved."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    reason = "engine is not in the vehicle yet"
    assert conversation.take({"stage": "engine-running", "skip": reason})["type"] == "tell"
    assert conversation.take({"stage": "walk-round"})["type"] == "tell"
    assert conversation.say()[-1]["stage"] == "walk-round"
    for said, _ in play(conversation, fitter):
        last = said
        assert said.get("stage") != "engine-running"
    assert any(reason in item for item in last["open"])
    lived = replayed(reasoner, conversation.keeper.records)
    text = as_handover(lived, report_of(lived, "a-job"))
    assert f"| Engine running | SKIPPED: {reason} |" in text
    assert f"- [ ] stage skipped: Engine running ({reason})" in text
    assert conversation.take({"undo": True})["type"] == "tell"


def test_going_to_a_stage_takes_its_skip_back(reasoner: Reasoner) -> None:
    """The engine went in after all."""
    conversation = fresh(reasoner)
    conversation.take({"stage": "key-off-current", "skip": "no meter"})
    states = {stage.id: stage.state for stage in conversation.plan.stages}
    assert states["key-off-current"] == "skipped"
    conversation.take({"stage": "key-off-current"})
    assert conversation.say()[-1]["stage"] == "key-off-current"
    conversation.take({"undo": True})
    conversation.take({"undo": True})
    assert {stage.id: stage.state for stage in conversation.plan.stages}["key-off-current"] == "open"


def test_the_handover_tells_all(reasoner: Reasoner, job: Any) -> None:
    """Whoever takes the vehicle reads what was found, cured and proved, every reading with its limits, and signs."""
    conversation, _, _ = job
    lived = replayed(reasoner, conversation.keeper.records)
    text = as_handover(lived, report_of(lived, "a-job"))
    assert "Put the wires of the dip switch on their numbers" in text
    assert text.count(": proved.") == 2
    assert "| Current with everything off | 0.00 A | 0.00 A | at most 0.05 A | within |" in text
    assert "OUTSIDE" not in text
    assert "Proved by: ____" in text and "Taken over by: ____" in text
    for line in (
        "## Stages",
        "## Open",
        "## Parts to order",
        "## Cautions",
        "## Fuses and the thinnest wire behind them",
    ):
        assert line in text
    route = course_of(reasoner, False).routes["walk-round"]
    assert f"saves {route.saved:.0f} min" in text


def test_faults_left_open_are_open_in_the_end(reasoner: Reasoner) -> None:
    """What waits for a part is no reason to stop; it is on the sheet, with the part to get."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ("horn.open",))
    said = upto(conversation, fitter, "faults")
    assert [sign["text"] for sign in said["problems"][0]["signs"]] == ["Horn with button pressed: none"]
    signs = [sign["seq"] for sign in said["problems"][0]["signs"]]
    assert conversation.take({"leave": signs, "reason": "horn is on order"})["type"] == "tell"
    asked = []
    for said, _ in play(conversation, fitter):
        asked.append(said.get("stage"))
        if said.get("stage") == "faults":  # the same horn again, with the engine running
            signs = [finding.seq for finding in conversation.plan.unresolved]
            conversation.take({"undo": True})
            conversation.take({"leave": signs, "reason": "horn is on order"})
    assert any("horn is on order" in item for item in said["open"])
    assert not fitter.cured


def test_a_sound_vehicle_on_positive_earth_has_nothing_odd(reasoners: Any) -> None:
    """Where plus is the body's, every reading is still judged by the battery's own volts."""
    reasoner = reasoners.whole("demo-motorcycle.yaml")
    assert reasoner.knowledge.vehicle.earth == "positive"
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    asks = [said for said, _ in play(conversation, fitter)]
    assert "faults" not in [said.get("stage") for said in asks]
    assert conversation.plan.beliefs is not None
    assert conversation.plan.beliefs.posterior.odd == ()
    assert asks[-1]["stages"][3] == {"id": "faults", "title": "Faults found", "state": "done", "left": 0, "of": 0}
