"""What is asked once more, asked back, or walked through after a repair.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from typing import Any

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.rehearsal import SimulatedFitter
from tests.talk.hands import fresh


def _until(conversation: Conversation, fitter: SimulatedFitter, kind: str, most: int = 60) -> list[dict[str, Any]]:
    """All asks until something of another type is said, answered truly; the last thing said is of `kind`."""
    asks = []
    for _ in range(most):
        said = conversation.say()[-1]
        if said["type"] != "ask":
            assert said["type"] == kind, said
            return asks
        asks.append(said)
        conversation.take(fitter.answer(said))
    raise AssertionError(f"no {kind} came")


def test_an_answer_that_disagrees_is_asked_once_more(reasoner: Reasoner) -> None:
    """A lamp called dark by mistake must not stand alone against everything else for ever, nor be asked a third
    time; the why says which answer it repeats."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["horn.open"])
    for check in ("turn-left-front", "turn-left-rear", "turn-left-tell-tale", "turn-right-front", "hazard-front-left"):
        value = {"light": "dark", "rhythm": "none"} if check == "turn-left-front" else None
        shown = fitter.truth(reasoner.steps[check])
        assert isinstance(shown, tuple)
        found = value or {"light": shown[0], "rhythm": shown[1]}
        conversation.take({"found": {"check": check, "value": found}})
    wrong = conversation.state.standing("found")[0].seq
    conversation.take({"symptom": "horn-silent"})
    _until(conversation, fitter, "conclude")
    fitter.remedy("horn-renew")
    conversation.take({"remedied": "horn-renew"})
    asks = _until(conversation, fitter, "end")
    again = [ask for ask in asks if "again" in ask]
    assert [ask["check"] for ask in again] == ["turn-left-front"]
    assert again[0]["again"] == wrong
    assert again[0]["text"].startswith("Once more") and f"Answer {wrong} " in again[0]["why"]


def test_a_circuit_named_after_a_repair_is_walked_through(reasoner: Reasoner) -> None:
    """Whoever mended the horn may go on to check the stop lamps in the same job."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["horn.open"])
    conversation.say()
    conversation.take({"symptom": "horn-silent"})
    _until(conversation, fitter, "conclude")
    conversation.take({"remedied": "horn-renew"})
    fitter.remedy("horn-renew")
    _until(conversation, fitter, "end")
    conversation.take({"symptom": "circuit:stop-lamps"})
    asks = _until(conversation, fitter, "end")
    looked = {ask["check"] for ask in asks if ask["kind"] == "look"}
    assert {"stop-left", "stop-right"} <= looked or len(looked) >= 4


def test_a_second_complaint_is_not_forgotten_when_the_first_is_cured(reasoner: Reasoner) -> None:
    """The end asks back everything that was complained of."""
    conversation = fresh(reasoner)
    fitter = SimulatedFitter(reasoner, ["horn.open", "plate-lamp.open"])
    conversation.say()
    conversation.take({"symptom": "horn-silent"})
    conversation.take({"symptom": "plate-lamp-dead"})
    done = []
    for _ in range(80):
        said = conversation.say()[-1]
        if said["type"] == "end":
            break
        if said["type"] == "conclude":
            done.append(said["remedies"][0]["id"])
            fitter.remedy(done[-1])
            conversation.take({"remedied": done[-1]})
        else:
            conversation.take(fitter.answer(said))
    assert fitter.cured and set(done) == {"horn-renew", "plate-lamp.renew"}
