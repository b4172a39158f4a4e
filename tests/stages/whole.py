"""A whole job played by a simulated fitter: what is said, what is answered from the computed truth."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from diag.reason.reasoner import Reasoner
from diag.reason.steps import Value
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter

Object = dict[str, Any]
MOST = 700


def fresh(reasoner: Reasoner, instruments: tuple[str, ...] = ("test-lamp", "meter")) -> Conversation:
    """A job in memory that has begun to prove the whole vehicle."""
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner, instruments), "a-job")
    start = conversation.say()[-1]
    assert conversation.take({"answer": start["id"], "value": "whole"})["type"] == "tell"
    return conversation


def as_given(value: Value | None) -> Any:
    """A value as an answer carries it."""
    if isinstance(value, tuple):
        return {"light": value[0], "rhythm": value[1]}
    return "OL" if value == float("inf") else value


def message_for(fitter: SimulatedFitter, said: Object) -> Object:
    """What the fitter sends: the remedy first named, an odd one of a group, or the truth."""
    if said["type"] == "conclude":
        fitter.remedy(said["remedies"][0]["id"])
        return {"remedied": said["remedies"][0]["id"]}
    if said["check"] == "start":
        return {"answer": said["id"], "value": "whole"}
    for item in said.get("group", ()):
        seen = as_given(fitter.truth(fitter.reasoner.steps[item["check"]]))
        if seen != item["expected"]:
            return {"found": {"check": item["check"], "value": seen}}
    if said.get("group"):
        return {"answer": said["id"], "value": "all-right"}
    return fitter.answer(said)


def play(conversation: Conversation, fitter: SimulatedFitter) -> Iterator[tuple[Object, Object]]:
    """What is said and what was answered, until the end, whose answer is empty."""
    for _ in range(MOST):
        said = conversation.say()[-1]
        if said["type"] == "end":
            yield said, {}
            return
        message = message_for(fitter, said)
        told = conversation.take(message)
        assert told["type"] == "tell", (said, message, told)
        yield said, message
    raise AssertionError("the job never ends")


def upto(conversation: Conversation, fitter: SimulatedFitter, stage: str) -> Object:
    """Play until a stage is there; what is asked then."""
    for _ in range(MOST):
        said = conversation.say()[-1]
        if said.get("stage") == stage or said["type"] == "end":
            return said
        assert conversation.take(message_for(fitter, said))["type"] == "tell"
    raise AssertionError(f"{stage} never comes")
