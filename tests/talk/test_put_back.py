"""What a check took off goes back on before anything else, whatever is said in between."""

from __future__ import annotations

import pytest

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed


def _at_the_wire_off_check(reasoner: Reasoner) -> Conversation:
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "rehearsal")
    first = conversation.say()[-1]
    assert conversation.take({"answer": first["id"], "value": "oil-tell-tale-lit-running"})["type"] == "tell"
    found = {"check": "oil-wire-off", "value": {"light": "dark", "rhythm": "none"}}
    assert conversation.take({"found": found})["type"] == "tell"
    return conversation


def _asked_for_the_wire(conversation: Conversation) -> bool:
    for _ in range(3):  # a rule's caution may come first
        ask = conversation.say()[-1]
        if ask["kind"] != "do":
            return False
        if "Put back on" in ask["text"]:
            return "terminal G" in ask["text"]
        assert conversation.take({"answer": ask["id"], "value": "done"})["type"] == "tell"
    return False


def test_a_wire_taken_off_is_put_back_before_the_next_check(reasoner: Reasoner) -> None:
    """A sender left unplugged would darken the lamp that warns of lost oil."""
    assert _asked_for_the_wire(_at_the_wire_off_check(reasoner))


def test_naming_another_symptom_does_not_forget_the_wire(reasoner: Reasoner) -> None:
    """A complaint says nothing of wires: the next check would read a vehicle that is still apart."""
    conversation = _at_the_wire_off_check(reasoner)
    assert conversation.take({"symptom": "horn-silent"})["type"] == "tell"
    assert _asked_for_the_wire(conversation)


def test_a_vehicle_left_apart_is_an_open_item(reasoner: Reasoner) -> None:
    """Whoever reads the log must know that a wire is still off."""
    conversation = _at_the_wire_off_check(reasoner)
    assert "wire still off: oil-sender.G" in conversation.plan.open_items


@pytest.mark.parametrize("caution,off", [("battery-off-first", True), ("hot-lamps", False)])
def test_the_battery_goes_back_on_after_work_that_had_it_off(reasoner: Reasoner, caution: str, off: bool) -> None:
    """A proof with the battery still off would say that the work did not cure it."""
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "rehearsal")
    first = conversation.say()[-1]
    conversation.take({"answer": first["id"], "value": "horn-silent"})
    remedy = next(name for name, plan in reasoner.remedies.items() if caution in plan.cautions)
    assert conversation.take({"remedied": remedy})["type"] == "tell"
    ask = conversation.say()[-1]
    assert ("earth clamp on the battery" in ask["text"]) is off
    if off:
        assert ask["restores"] == ["battery"]
        conversation.take({"answer": ask["id"], "value": "done"})
        assert "earth clamp on the battery" not in conversation.say()[-1].get("text", "")


def test_a_remedy_that_was_tried_says_so_when_it_leads_again(reasoner: Reasoner) -> None:
    """Renewing the same part twice needs a reason."""
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "rehearsal")
    first = conversation.say()[-1]
    conversation.take({"answer": first["id"], "value": "steady-turn-lamps"})
    steady = {"light": "normal", "rhythm": "steady"}
    for _ in range(2):
        conversation.take({"found": {"check": "hazard-tell-tale", "value": {"light": "dark"}}})
        conversation.take({"found": {"check": "hazard-front-left", "value": steady}})
        conversation.take({"found": {"check": "hazard-sound", "value": "buzz"}})
        told = next(found for found in conversation.say() if found["type"] == "conclude")
        assert told["remedies"][0]["id"] == "flasher-unit-renew"
        conversation.take({"remedied": "flasher-unit-renew"})
    assert told["remedies"][0]["steps"][0].startswith("This was tried already")
