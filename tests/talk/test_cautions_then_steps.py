"""A caution and its step belong together: what was read is asked next, and cannot-reach passes both over."""

from __future__ import annotations

from typing import Any

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from tests.talk.hands import STOP, fresh, key_for, sit

Object = dict[str, Any]


def test_the_step_whose_caution_was_read_is_asked_next(reasoner: Reasoner) -> None:
    """Two cautions in a row, the first in vain, teach people not to read them: over many jobs, none does that."""
    read = 0
    for cause in list(reasoner.index)[:: max(1, len(reasoner.index) // 16)]:
        fitter = SimulatedFitter(reasoner, (cause,))
        if fitter.complaint() is None:
            continue
        conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "a-job")
        wanted: str | None = None
        for _ in range(12):
            said = conversation.say()[-1]
            if said["type"] != "ask":
                break
            if wanted is not None and not said["check"].startswith("caution:"):
                assert said["kind"] != "do" and said["check"] == wanted, (cause, wanted, said)
                read += 1
            owns = said["kind"] == "do" and said["check"] in reasoner.steps
            wanted = said["check"] if owns else None
            conversation.take(fitter.answer(said))
    assert read > 4


def at_caution(reasoner: Reasoner) -> tuple[Conversation, Object]:
    """A job that waits with the caution of a step."""
    for symptom in reasoner.knowledge.symptoms:
        conversation = fresh(reasoner)
        start = conversation.say()[-1]
        conversation.take({"answer": start["id"], "value": symptom})
        said = conversation.say()[-1]
        if said["type"] == "ask" and said["kind"] == "do" and said["check"] in reasoner.steps:
            return conversation, said
    raise AssertionError("no complaint leads to a caution at once")


def test_x_on_a_caution_passes_its_step_over(reasoner: Reasoner) -> None:
    """Who cannot get there need not read on: the place is closed, the caution is not said to be read."""
    conversation, ask = at_caution(reasoner)
    sitting = sit(conversation, ["x", STOP])
    assert "x can't reach" in sitting.seen[0]
    kept = sitting.records("skipped")
    assert [(k["check"], k["place"], k["reason"]) for k in kept] == [(ask["check"], ask["place"], "cannot-reach")]
    assert sitting.records("acknowledged") == []
    after = conversation.say()[-1]
    assert after.get("place") != ask["place"]
    assert key_for(SimulatedFitter(reasoner, ()), ask) == "d"
