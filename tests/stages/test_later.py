"""What is left for later is asked again at the end of its stage, and keeps the stage open."""

from __future__ import annotations

from diag.reason.reasoner import Reasoner
from diag.stages.course import BEFORE_POWER
from diag.talk.conversation import Conversation
from diag.talk.rehearsal import SimulatedFitter
from tests.stages.whole import fresh


def _on(conversation: Conversation, fitter: SimulatedFitter, put_off: str) -> list[str]:
    """What the first stage asks, with one check left for later every time."""
    asked = []
    for _ in range(60):
        ask = conversation.say()[-1]
        if ask["stage"] != BEFORE_POWER:
            return asked
        if ask["kind"] != "do":
            asked.append(ask["check"])
        later = ask["check"] == put_off and ask["kind"] != "do"
        message = {"skip": ask["id"], "reason": "later"} if later else fitter.answer(ask)
        assert conversation.take(message)["type"] == "tell"
    raise AssertionError("the stage does not end")


def test_later_comes_at_the_end_of_the_stage_and_leaves_it_open(reasoner: Reasoner) -> None:
    """A stage from which something was put off twice is not done; who goes back to it is asked that alone."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    first = next(s.id for s in reasoner.steps.values() if s.stage == BEFORE_POWER)
    asked = _on(conversation, fitter, first)
    assert asked.count(first) == 2 and asked[-1] == first
    stage = next(one for one in conversation.plan.stages if one.id == BEFORE_POWER)
    assert (stage.state, stage.left) == ("open", 1)
    conversation.take({"stage": BEFORE_POWER})
    assert conversation.say()[-1]["check"] == first or conversation.say()[-1]["kind"] == "do"
    assert conversation.say()[-1]["stage"] == BEFORE_POWER
