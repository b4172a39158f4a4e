"""A fused jumper in the conversation: told unasked, asked for, warned of, taken off again, read back."""

from __future__ import annotations

from typing import Any

import pytest

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.findings import findings_of
from diag.talk.opening import Rehearsed
from diag.talk.plan import DoFirst
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.wording import step_words

_LIT = {"light": "normal", "rhythm": "steady"}
_ACROSS = "pedal-switch.15+pedal-switch.54"
Object = dict[str, Any]


def _begun(reasoner: Reasoner, symptom: str, *instruments: str) -> Conversation:
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner, instruments or ("jumper",)), "rehearsal")
    first = conversation.say()[-1]
    assert conversation.take({"answer": first["id"], "value": symptom})["type"] == "tell"
    return conversation


def _found(position: str, value: object = _LIT, target: str = "stop-lamp-left") -> Object:
    return {"found": {"operate": {"ignition": "on", "bridged": position}, "target": target, "value": value}}


@pytest.mark.parametrize("position", [_ACROSS, "pedal-switch.54+pedal-switch.15"])
def test_a_finding_with_a_jumper_is_kept_and_read_back_the_same_whichever_end_is_named_first(
    reasoner: Reasoner, position: str
) -> None:
    """The journal has one spelling; an older one with the other means the same step."""
    conversation = _begun(reasoner, "stop-lamps-dead")
    assert conversation.take(_found(position))["type"] == "tell"
    record = conversation.keeper.records[-1]
    assert record.fields["operate"] == {"ignition": "on", "bridged": _ACROSS}
    again = Rehearsed(list(conversation.keeper.records[:-1]))
    again.append("found", **{**record.fields, "operate": {"ignition": "on", "bridged": position}, "check": "x"})
    resumed = Conversation(reasoner, again, "rehearsal")
    found = findings_of(reasoner, resumed.state)[0][-1]
    assert found.step is not None and found.step.id == record.fields["check"]
    best = resumed.plan.beliefs
    assert best is not None and best.ranking[0][0].startswith("pedal-switch"), "past the switch it lights"


def test_a_jumper_where_no_step_puts_one_is_computed_too(reasoner: Reasoner) -> None:
    """People bridge what they like: here the whole way from the fuse box to the lamps."""
    conversation = _begun(reasoner, "stop-lamps-dead")
    assert conversation.take(_found("stop-joint.in+fuse-stop.out"))["type"] == "tell"
    found = conversation.findings()[-1]
    assert found.step is not None and found.step.instruments == ("jumper",)
    assert "fused jumper from fuse-stop.out to stop-joint.in" in found.step.title


@pytest.mark.parametrize(
    ("position", "says"),
    [
        ("pedal-switch.15", "names no two points"),
        ("pedal-switch.15+pedal-switch.55", "`pedal-switch.55` is no terminal of this vehicle. Did you mean"),
        ("pedal-swich.15+body", "`pedal-swich.15` is no terminal of this vehicle. Did you mean `pedal-switch.15`?"),
        ("body+body", "joins a point to itself"),
        ("battery.B++body", "shorts the battery"),
        ("battery.B-+battery.B+", "shorts the battery"),
        (7, "has no such position"),
    ],
)
def test_a_jumper_that_cannot_be_is_refused_with_what_is_wrong(reasoner: Reasoner, position: object, says: str) -> None:
    """A slip of the finger must not become a finding under some other operate."""
    conversation = _begun(reasoner, "stop-lamps-dead")
    before = len(conversation.keeper.records)
    error = conversation.take(_found(position))  # type: ignore[arg-type]
    assert (error["type"], error["code"], error["field"]) == ("error", "unknown-operate", "operate")
    assert says in error["text"]
    assert len(conversation.keeper.records) == before


def test_the_jumper_comes_off_before_the_next_check(reasoner: Reasoner) -> None:
    """A lamp that a forgotten lead lights proves nothing."""
    conversation = _begun(reasoner, "stop-lamps-dead")
    conversation.take(_found(_ACROSS))
    ask = conversation.say()[-1]
    while "caution-id" in ask and ask["text"].startswith("CAUTION"):  # a rule's caution may come first
        conversation.take({"answer": ask["id"], "value": "done"})
        ask = conversation.say()[-1]
    assert ask["kind"] == "do"
    assert ask["text"].startswith("Take off the fused jumper from Stop lamp switch")
    assert f"jumper still on: {_ACROSS}" in conversation.plan.open_items
    conversation.take({"answer": ask["id"], "value": "done"})
    assert not isinstance(conversation.plan.next, DoFirst) or not conversation.plan.next.restore


def _asked(reasoner: Reasoner, cause: str, symptom: str, *instruments: str) -> tuple[list[Object], Object]:
    """All that is asked at a vehicle with that cause up to the conclusion, and what is concluded."""
    conversation, fitter = _begun(reasoner, symptom, *instruments), SimulatedFitter(reasoner, [cause])
    asked: list[Object] = []
    while (ask := conversation.say()[-1])["type"] == "ask":
        asked.append(ask)
        assert conversation.take(fitter.answer(ask))["type"] == "tell"
        assert len(asked) < 60
    return asked, ask


def test_with_only_a_jumper_at_hand_it_is_asked_for_after_its_caution_and_finds_the_fault(reasoner: Reasoner) -> None:
    """And never where there is none."""
    cause, symptom = "pedal-switch.open-15-54", "stop-lamps-dead"
    asked, told = _asked(reasoner, cause, symptom, "jumper", "helper")
    jumped = [n for n, ask in enumerate(asked) if "bridged" in ask["operate"] and ask["kind"] != "do"]
    assert jumped
    first = asked[jumped[0]]
    assert "jumper" in first["instruments"] and "fused jumper from" in first["text"].lower()
    cautioned = [n for n, ask in enumerate(asked) if ask["kind"] == "do" and ask.get("caution-id") == "fused-jumper"]
    assert cautioned and cautioned[0] < jumped[0]
    assert told["remedies"][0]["id"].startswith("pedal-switch"), "renewed, or set where it only stands wrong"
    without, _ = _asked(reasoner, cause, symptom, "meter", "test-lamp")
    assert not any("bridged" in ask["operate"] for ask in without)


def test_the_words_say_where_the_clips_go(reasoner: Reasoner) -> None:
    """Part and terminal, as on the part itself; body as body."""
    step = next(s for s in reasoner.steps.values() if s.operate.get("bridged") == "horn-button.31b+body")
    said = step_words(reasoner.knowledge, step)
    assert said.startswith("Fused jumper from Horn button terminal 31b to body (clean bare metal). Listen to")


def test_the_greeting_tells_where_a_jumper_may_go(reasoner: Reasoner) -> None:
    """Whoever speaks the protocol learns the form of a position from it."""
    assert _ACROSS in _begun(reasoner, "stop-lamps-dead").hello()["operate"]["bridged"]


def test_neighbours_are_asked_after_the_cure_and_say_so(reasoner: Reasoner) -> None:
    """What the cure should have changed comes first; then what the work may have disturbed."""
    conversation = _begun(reasoner, "stop-lamps-dead", "meter", "test-lamp")
    assert conversation.take({"remedied": "stop-left-wire.reconnect"})["type"] == "tell"
    asks = []
    for _ in range(12):
        ask = conversation.say()[-1]
        if ask["type"] != "ask":
            break
        if ask["kind"] == "do":
            conversation.take({"answer": ask["id"], "value": "done"})
            continue
        asks.append(ask)
        conversation.take({"answer": ask["id"], "value": ask["expected"]})
    proved = [(ask["check"], ask["proves"]) for ask in asks if "proves" in ask]
    plan = reasoner.remedies["stop-left-wire.reconnect"]
    assert proved[: len(plan.proof)] == [(check, "cure") for check in plan.proof]
    assert proved[-1] == ("stop-right", "neighbour")
    why = next(ask["why"] for ask in asks if ask.get("proves") == "neighbour")
    assert why.startswith("Neighbour at the same connector: Stop lamp joint")
