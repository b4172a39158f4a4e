"""Where no known cause fits, the answers that speak against the rest are named.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from typing import Any

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.demo import play
from diag.talk.opening import Rehearsed
from diag.talk.screen import odd_words
from diag.talk.screen_end import end_page
from tests.talk.hands import fresh

READ_WRONG = {
    "battery-volts": 6.4,
    "battery-volts-loaded": 6.2,
    "battery-cable-drop": 6.3,
    "main-earth-drop": 6.3,
}
"""Half the volts everywhere, and as much lost in each of two cables: a meter on the wrong range."""


def _confused(reasoner: Reasoner) -> tuple[Conversation, dict[str, int], list[dict[str, Any]]]:
    conversation = fresh(reasoner)
    seqs = {}
    for check, volts in READ_WRONG.items():
        told = conversation.take({"found": {"check": check, "value": volts}})
        assert told["type"] == "tell"
        seqs[check] = told["seq"]
    return conversation, seqs, conversation.say()


def test_no_known_cause_fits_names_the_odd_answers(reasoner: Reasoner) -> None:
    """`No known cause fits` alone leaves someone with nothing to do: it must say what to look at again."""
    conversation, seqs, said = _confused(reasoner)
    told = said[0]
    assert (told["type"], told["reason"], told["remedies"]) == ("conclude", "nothing-in-the-model", [])
    odd = [found["seq"] for found in told["odd"]]
    assert odd and set(odd) <= {seqs[check] for check in READ_WRONG}
    assert [found["p"] for found in told["odd"]] == sorted((found["p"] for found in told["odd"]), reverse=True)
    assert told["contradictions"] and all(set(group) <= set(seqs.values()) for group in told["contradictions"])
    page = " ".join(line.text for line in end_page(conversation, said, 200))
    assert f"Look again first at answer {odd[0]}: {told['odd'][0]['text']}" in page
    assert "No fault explains answer" in page


def test_the_odd_answer_given_rightly_makes_the_job_go_on(reasoner: Reasoner) -> None:
    """What was named first is the one whose correction helps."""
    conversation, _, said = _confused(reasoner)
    assert conversation.plan.beliefs is not None
    before = conversation.plan.beliefs.posterior.outside
    right = {s.id: reasoner.chances.healthy_reading(s) for s in reasoner.steps.values() if s.id in READ_WRONG}
    by_seq = {found["seq"]: found for found in said[0]["odd"]}
    for seq in by_seq:
        check = next(f.step.id for f in conversation.findings() if f.seq == seq and f.step is not None)
        assert conversation.take({"correct": seq, "value": round(right[check], 2)})["type"] == "tell"
    assert conversation.plan.beliefs.posterior.outside < before
    for seq in by_seq:
        assert seq not in {odd.seq for odd in conversation.plan.beliefs.posterior.odd}


def test_words_of_groups_and_single_answers() -> None:
    """One answer that nothing explains is not called a group."""
    told = {"contradictions": [[4], [5, 7]], "odd": [{"seq": 5, "text": "Horn: none", "p": 0.75}]}
    assert odd_words(told) == [
        "No fault explains answer 4.",
        "No fault explains answers 5 and 7 together.",
        "Look again first at answer 5: Horn: none (misread: 75 %).",
    ]


def test_a_sound_conclusion_names_nothing_odd(reasoner: Reasoner) -> None:
    """Truthful answers: no answer is held against the person."""
    lines: list[str] = []

    def opened() -> tuple[Conversation, Any]:
        from contextlib import nullcontext

        return Conversation(reasoner, Rehearsed.opened(reasoner), "rehearsal"), nullcontext()

    play(reasoner, "horn.open", opened, lines.append)
    assert any("cured" in line for line in lines)
    assert not any("Look again" in line or "No fault explains" in line for line in lines)
