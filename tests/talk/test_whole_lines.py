"""The whole vehicle in stages through `diag talk`, from before power to handover, and the messages of stages."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from diag.log.export import export_job
from diag.reason.reasoner import Reasoner
from diag.stages.course import STAGES
from diag.talk.conversation import Conversation
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.stage_words import means_whole
from tests.stages.whole import fresh, message_for, upto
from tests.talk.outsider import Outsider, home

Object = dict[str, Any]
FAULTS = ("dip-switch.swapped-56a-56b", "horn-to-column.to-body")
MOST = 600


def test_two_faults_from_before_power_to_handover(reasoner: Reasoner, tmp_path: Path) -> None:
    """The program in a process of its own, answered from the computed truth, line by line; then its sheet."""
    fitter, job = SimulatedFitter(reasoner, FAULTS), tmp_path / "whole.jsonl"
    with Outsider("--job", str(job), env=home(tmp_path / "home")) as talk:
        assert talk.hello["stages"] == dict(STAGES)
        seen: list[str] = []
        talk.answer("prove everything after the rewire")
        for _ in range(MOST):
            if talk.last["type"] == "end":
                break
            if talk.last["type"] == "ask":
                assert talk.last["stage"] in STAGES
                seen.append(talk.last["stage"])
            talk.told(message_for(fitter, talk.last))
        end = talk.last
        assert talk.leave() == 0
    assert fitter.cured
    assert end["type"] == "end"
    assert end["handover"] == f"diag export {job} --as handover"
    assert list(dict.fromkeys(seen))[0] == "before-power"
    assert set(seen) == set(STAGES) - {"handover"}
    sheet = export_job(job, "handover", reasoner=reasoner)
    assert sheet.count(": proved.") == 2
    assert "Put the wires of the dip switch on their numbers" in sheet


@pytest.mark.parametrize(
    ("said", "whole"),
    [
        ("whole", True),
        ("prove everything after a rewire", True),
        ("check everything", True),
        ("the whole vehicle please", True),
        ("test every circuit", True),
        ("from before power to handover", True),
        ("everything is dead", False),
        ("all lamps dark", False),
        ("horn silent", False),
        ("turn lamps light but do not flash", False),
    ],
)
def test_words_for_the_whole_vehicle(said: str, whole: bool) -> None:
    """What asks for a proof of everything is no complaint, and a complaint of everything asks for no proof."""
    assert means_whole(said) is whole


def test_stages_are_for_jobs_that_prove_the_whole(reasoner: Reasoner) -> None:
    """A job with a complaint has no stages, until the whole vehicle is asked for."""
    conversation = fresh(reasoner)
    conversation.take({"undo": True})
    start = conversation.say()[-1]
    assert start["stage"] is None
    assert start["choices"][-1]["value"] == "whole"
    conversation.take({"answer": start["id"], "value": "horn-silent"})
    refused = conversation.take({"stage": "walk-round"})
    assert refused["code"] == "no-stages"
    assert refused["expected"] == '{"symptom": "whole"}'
    assert conversation.say()[-1]["stage"] is None
    assert conversation.take(json.loads(refused["expected"]))["type"] == "tell"
    assert conversation.say()[-1]["stage"] == "before-power"


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ({"stage": "nowhere"}, "unknown-stage"),
        ({"stage": "handover"}, "unknown-stage"),
        ({"stage": ["walk-round"]}, "unknown-stage"),
        ({"stage": "walk-round", "skip": ""}, "not-text"),
        ({"stage": "walk-round", "skip": 3}, "not-text"),
        ({"stage": "walk-round", "why": "x"}, "unknown-field"),
        ({"leave": [], "reason": "x"}, "no-such-answer"),
        ({"leave": [99999], "reason": "x"}, "no-such-answer"),
        ({"leave": "all", "reason": "x"}, "no-such-answer"),
        ({"answer": "q", "value": "all-right"}, "not-open"),
    ],
)
def test_what_makes_no_sense_is_refused(reasoner: Reasoner, message: Object, code: str) -> None:
    """Nothing is stored, and the error says what was expected."""
    conversation = fresh(reasoner)
    conversation.say()
    before = len(conversation.keeper.records)
    told = conversation.take(message)
    assert (told["type"], told["code"]) == ("error", code)
    assert len(conversation.keeper.records) == before


def test_all_right_is_only_for_a_list(reasoner: Reasoner) -> None:
    """What is chosen or measured has no word for being right; what is looked at may be left unsure."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    while (said := conversation.say()[-1])["kind"] not in ("choose", "measure"):
        assert conversation.take(message_for(fitter, said))["type"] == "tell"
    told = conversation.take({"answer": said["id"], "value": "all-right"})
    assert told["type"] == "error"
    upto(conversation, fitter, "walk-round")
    while not (said := conversation.say()[-1]).get("group"):
        assert conversation.take(message_for(fitter, said))["type"] == "tell"
    unsure = said["group"][0]["check"]
    assert conversation.take({"found": {"check": unsure, "value": "not-sure"}})["ack"] == "not-sure"
    after = conversation.say()[-1]
    assert unsure not in [item["check"] for item in after.get("group", ())]
    assert any(item.startswith("not sure of") for item in conversation.plan.open_items)


def test_an_odd_one_of_a_list_leaves_the_rest(reasoner: Reasoner) -> None:
    """It is told by itself; what is left is asked on, and diagnosing waits for the end of the walk."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    upto(conversation, fitter, "walk-round")
    while len((said := conversation.say()[-1]).get("group", ())) < 3:
        assert conversation.take(message_for(fitter, said))["type"] == "tell"
    odd = next(item for item in said["group"] if item["kind"] == "look")
    value = {"light": "dim", "rhythm": "steady"}
    assert conversation.take({"found": {"check": odd["check"], "value": value}})["type"] == "tell"
    after = conversation.say()[-1]
    assert after["stage"] == "walk-round"
    left = [item["check"] for item in said["group"] if item["check"] != odd["check"]]
    assert [item["check"] for item in after["group"]] == left
    assert after["setting"] == said["setting"]
    told = conversation.take({"why": odd["target"] or "battery"})
    assert told["type"] == "tell"


def test_a_lamp_seen_alone_from_behind_has_its_hint(reasoner: Reasoner) -> None:
    """Nobody holds the pedal and stands behind the vehicle at once; a helper does."""

    def pedal(conversation: Conversation) -> Object:
        fitter = SimulatedFitter(reasoner, ())
        upto(conversation, fitter, "walk-round")
        while True:
            said = conversation.say()[-1]
            if said["operate"].get("brake-pedal") == "pressed" and said["place"] == "rear" and said["kind"] != "do":
                return said
            assert conversation.take(message_for(fitter, said))["type"] == "tell"

    assert "wall" in pedal(fresh(reasoner))["hint"]
    assert "hint" not in pedal(fresh(reasoner, ("test-lamp", "meter", "helper")))
