"""The conversation's state is a pure function of its records, and remedies that fail are evidence.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from diag.job.journal import JournalError
from diag.job.records import Record
from diag.reason.reasoner import Beliefs, Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.screen_end import end_page
from diag.talk.standing import not_cured
from tests.talk.hands import fresh
from tests.talk.outsider import healthy

Object = dict[str, Any]


def put(conversation: Conversation, message: Object) -> Object:
    """Take a message that must be taken."""
    told = conversation.take(message)
    assert told["type"] == "tell", (message, told)
    return told


def answer(conversation: Conversation, value: object) -> Object:
    """Answer what is asked now."""
    ask = conversation.say()[-1]
    assert ask["type"] == "ask", ask
    return put_as(conversation, ask, value)


def put_as(conversation: Conversation, ask: Object, value: object) -> Object:
    told = conversation.take({"answer": ask["id"], "value": value})
    assert told["type"] == "tell", (ask["check"], value, told)
    return told


def due(conversation: Conversation) -> list[Object]:
    """What is said now, whichever asking it is."""
    return [{key: value for key, value in said.items() if key != "id"} for said in conversation.say()]


def believed(conversation: Conversation) -> Beliefs:
    """The beliefs that the next step rests on."""
    beliefs = conversation.plan.beliefs
    assert beliefs is not None
    return beliefs


def p_of(conversation: Conversation, remedy: str) -> float:
    """The chance that a remedy is needed now."""
    return dict(believed(conversation).ranking).get(remedy, 0.0)


def play(
    conversation: Conversation, fitter: SimulatedFitter, after: Callable[[], None] = lambda: None, most: int = 40
) -> Object:
    """Answer truly until something else than an ask is said; `after` every answer."""
    for _ in range(most):
        said = conversation.say()[-1]
        if said["type"] != "ask":
            return said
        told = conversation.take(fitter.answer(said))
        assert told["type"] == "tell", told
        after()
    raise AssertionError("nothing was ever concluded")


# ---------------------------------------------------------------- a pure function of the records


@pytest.mark.parametrize("cause", ["flasher-unit.never-opens", "fuse-horn.blown", "earth-rear-left.resistive"])
def test_records_alone_give_the_same_ask_and_the_same_beliefs(reasoner: Reasoner, cause: str) -> None:
    """A job resumed after a crash must go on as if nothing had happened, at any point of it."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, [cause])
    compared = 0

    def compare() -> None:
        nonlocal compared
        again = Conversation(reasoner, Rehearsed(list(conversation.keeper.records)), "again")
        assert due(again) == due(conversation)
        assert again.plan.beliefs is not None
        assert np.array_equal(believed(again).posterior.present, believed(conversation).posterior.present)
        assert believed(again).ranking == believed(conversation).ranking
        compared += 1

    concluded = play(conversation, fitter, compare)
    put(conversation, {"remedied": concluded["remedies"][0]["id"]})
    compare()
    assert compared > 3


def test_asked_and_concluded_records_do_not_change_what_comes_next(reasoner: Reasoner) -> None:
    """They are for the log; else another version's choice of questions would break an old recording."""
    conversation = fresh(reasoner)
    play(conversation, SimulatedFitter(reasoner, ["fuse-horn.blown"]))
    records = conversation.keeper.records
    assert any(record.event == "concluded" for record in records)
    bare = [record for record in records if record.event not in ("asked", "concluded", "resumed")]
    noisy: list[Record] = []
    for record in bare:
        noisy += [record, Record(1, 0, record.at, "asked", {"check": "horn-sound"})]
    plain, noise = (Conversation(reasoner, Rehearsed(found), "x") for found in (bare, noisy))
    assert plain.plan.next == noise.plan.next
    assert believed(plain).ranking == believed(noise).ranking


def test_undo_restores_the_earlier_beliefs_exactly(reasoner: Reasoner) -> None:
    """An answer that was taken back must leave no trace in any chance."""
    conversation = fresh(reasoner)
    fitter = SimulatedFitter(reasoner, ["stop-wire.resistive"])
    history: list[tuple[list[Object], Any]] = []
    inputs: list[Callable[[], Object]] = [
        lambda: answer(conversation, "stop-lamps-dim"),
        lambda: put(conversation, {"found": {"check": "stop-left", "value": {"light": "dim", "rhythm": "steady"}}}),
        lambda: put(conversation, {"changed": "cleaned the fuse clips"}),
        lambda: put(conversation, {"found": {"check": "stop-right", "value": {"light": "dim", "rhythm": "steady"}}}),
        lambda: put(conversation, {"remedied": "stop-wire.reconnect"}),
        lambda: answer(conversation, healthy(conversation.say()[-1])),
        lambda: put(conversation, {"correct": 4, "value": {"light": "dark", "rhythm": "none"}}),
    ]
    assert fitter.complaint() is not None
    for one in inputs:
        beliefs = conversation.plan.beliefs
        history.append((due(conversation), None if beliefs is None else beliefs.posterior))
        one()
    for said, posterior in reversed(history):
        put(conversation, {"undo": True})
        assert due(conversation) == said
        if posterior is None:
            assert conversation.plan.beliefs is None
        else:
            now = believed(conversation).posterior
            assert np.array_equal(now.present, posterior.present)
            assert (now.healthy, now.outside, now.sets) == (posterior.healthy, posterior.outside, posterior.sets)


def test_corrected_answer_keeps_its_place_and_weighs_as_if_given_then(reasoner: Reasoner) -> None:
    """Order matters to rules and periods: a late correction of an early answer belongs to the early time."""
    slip, right = fresh(reasoner), fresh(reasoner)
    dark, lit = {"light": "dark", "rhythm": "none"}, {"light": "normal", "rhythm": "steady"}
    for conversation, first in ((slip, lit), (right, dark)):
        answer(conversation, "circuit:stop-lamps")
        put(conversation, {"found": {"check": "stop-left", "value": first}})
        put(conversation, {"changed": "renewed the left stop lamp"})
        put(conversation, {"found": {"check": "stop-left", "value": lit}})
    seq = slip.state.standing("found")[0].seq
    put(slip, {"correct": seq, "value": dark})
    assert [entry.fields.get("value") for entry in slip.state.entries] == [
        entry.fields.get("value") for entry in right.state.entries
    ]
    assert [entry.period for entry in slip.state.entries] == [entry.period for entry in right.state.entries]
    assert slip.state.entries[1].replaced == seq
    assert np.array_equal(believed(slip).posterior.present, believed(right).posterior.present)
    assert believed(slip).ranking == believed(right).ranking


def test_not_sure_and_skipped_move_no_belief(reasoner: Reasoner) -> None:
    """Not knowing is no evidence; only another question."""
    conversation = fresh(reasoner)
    answer(conversation, "horn-silent")
    before, asked = believed(conversation).posterior.present.copy(), due(conversation)[-1]["check"]
    answer(conversation, "not-sure")
    assert due(conversation)[-1]["check"] != asked
    ask = conversation.say()[-1]
    put(conversation, {"skip": ask["id"], "reason": "later"})
    put(conversation, {"note": "rain"})
    assert np.array_equal(believed(conversation).posterior.present, before)


# ---------------------------------------------------------------- periods and remedies


def test_change_and_remedy_each_open_a_period(reasoner: Reasoner) -> None:
    """What was seen before a repair says nothing of the vehicle after it; the same check is asked again."""
    conversation = fresh(reasoner)
    answer(conversation, "circuit:horn")
    put(conversation, {"found": {"check": "horn-sound", "value": "none"}})
    suspected = 1 - believed(conversation).posterior.healthy
    put(conversation, {"changed": "pressed the horn fuse home"})
    assert conversation.state.period == 1
    put(conversation, {"found": {"check": "horn-sound", "value": "sound"}})
    put(conversation, {"remedied": "horn-renew"})
    assert conversation.state.period == 2
    assert [entry.period for entry in conversation.state.standing("found")] == [0, 1]
    assert 1 - believed(conversation).posterior.healthy < 0.5 < suspected


def test_remedy_that_cures_nothing_is_evidence_against_itself(reasoner: Reasoner) -> None:
    """Renewing is a test too: a horn still silent with a new fuse did not have a blown one."""
    conversation = fresh(reasoner)
    fitter = SimulatedFitter(reasoner, ["horn-feed.open"])
    answer(conversation, "horn-silent")
    put(conversation, {"found": {"check": "horn-sound", "value": "none"}})
    before = p_of(conversation, "fuse-horn.renew")
    put(conversation, {"remedied": "fuse-horn.renew"})
    while (ask := conversation.say()[-1])["check"] != "horn-sound":
        assert ask["check"] in reasoner.remedies["fuse-horn.renew"].proof, "the remedy must be proved first"
        put_as(conversation, ask, "done" if ask["kind"] == "do" else "not-sure")
    assert ask["why"].startswith("Proves")
    answer(conversation, "none")
    assert before > 0.01
    assert p_of(conversation, "fuse-horn.renew") < before / 3
    assert believed(conversation).posterior.healthy < 0.1
    assert conversation.say()[-1]["type"] == "ask", "a failed proof goes on asking"
    assert not conversation.say()[-1]["why"].startswith("Proves")
    concluded = play(conversation, fitter)
    assert concluded["type"] == "conclude"
    assert concluded["remedies"][0]["id"] == "horn-feed.reconnect"


def test_proof_of_the_right_remedy_ends_the_job(reasoner: Reasoner) -> None:
    """And the journal then holds remedy, proof and nothing open."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["flasher-unit.never-opens"])
    concluded = play(conversation, fitter)
    remedy = concluded["remedies"][0]
    assert remedy["id"] == "flasher-unit-renew"
    fitter.remedy(remedy["id"])
    put(conversation, {"remedied": remedy["id"]})
    checks = []
    end = play(conversation, fitter, lambda: checks.append(conversation.state.entries[-1].fields.get("check")))
    assert end == {"type": "end", "open": []}
    assert set(remedy["proof"]) <= set(checks)


# ---------------------------------------------------------------- nothing wrong, and contradictions


@pytest.mark.parametrize("circuit", ["horn", "stop-lamps", "oil-warning"])
def test_sound_circuit_ends_with_no_fault_found_and_asks_of_no_other(reasoner: Reasoner, circuit: str) -> None:
    """Whoever proves the horn after a rewire has not asked for a tour of the whole vehicle."""
    conversation = fresh(reasoner)
    answer(conversation, f"circuit:{circuit}")
    asked = []
    while (said := conversation.say())[-1]["type"] == "ask":
        asked.append(said[-1]["check"])
        put_as(conversation, said[-1], healthy(said[-1]))
        assert len(asked) < 40
    assert [one["type"] for one in said] == ["conclude", "end"]
    assert (said[0]["reason"], said[0]["remedies"], said[0]["final"]) == ("no-fault-found", [], True)
    assert said[1]["open"] == []
    assert {reasoner.steps[check].circuit for check in asked} == {circuit}
    written = {c.id for c in reasoner.knowledge.circuits[circuit].checks if c.kind in ("look", "listen")}
    written = {check for check in written if "unplugged" not in reasoner.steps[check].operate}
    assert set(asked) == written, "proving a circuit means looking at all of it"


def test_circuit_nobody_could_look_at_is_not_called_sound(reasoner: Reasoner) -> None:
    """`No fault found` after a row of `not sure` would be a lie in the log."""
    conversation = fresh(reasoner)
    answer(conversation, "circuit:horn")
    for _ in range(60):
        said = conversation.say()
        if said[-1]["type"] != "ask":
            break
        put_as(conversation, said[-1], "done" if said[-1]["kind"] == "do" else "not-sure")
    assert "no-fault-found" not in {one.get("reason") for one in said}


def test_fault_met_while_proving_a_circuit_is_found_and_cured(reasoner: Reasoner) -> None:
    """The walk through a circuit turns into a diagnosis at the first answer that a sound vehicle never gives."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["stop-lamp-right.open"])
    answer(conversation, "circuit:stop-lamps")
    concluded = play(conversation, fitter)
    assert concluded["remedies"][0]["id"] == "stop-lamp-right.renew"
    fitter.remedy("stop-lamp-right.renew")
    put(conversation, {"remedied": "stop-lamp-right.renew"})
    assert play(conversation, fitter)["type"] == "end"


def test_contradicting_answers_are_named(reasoner: Reasoner) -> None:
    """Seven answers for one cause and one against: the one against must be shown, not swallowed."""
    conversation = fresh(reasoner)
    fitter = SimulatedFitter(reasoner, ["horn.open"])
    concluded = play(conversation, fitter)
    assert concluded["unexplained"] == []
    odd = put(conversation, {"found": {"check": "horn-sound", "value": "sound"}})["seq"]
    said = conversation.say()
    assert odd in believed(conversation).posterior.unexplained or p_of(conversation, "horn-renew") < 0.5
    while said[-1]["type"] == "ask":
        put(conversation, fitter.answer(said[-1]))
        said = conversation.say()
    assert odd in said[0]["unexplained"]
    put(conversation, {"correct": odd, "value": "none"})
    assert believed(conversation).posterior.unexplained == ()


def test_second_complaint_at_any_time_is_weighed_with_the_first(reasoner: Reasoner) -> None:
    """People remember the oil lamp while they speak of the horn."""
    conversation = fresh(reasoner)
    answer(conversation, "horn-silent")
    before = sum(p for remedy, p in believed(conversation).ranking if "oil" in remedy)
    put(conversation, {"symptom": "oil lamp never comes on"})
    assert sum(p for remedy, p in believed(conversation).ranking if "oil" in remedy) > before + 0.3


# ---------------------------------------------------------------- a keeper that fails


class _Full(Rehearsed):
    """A keeper whose disk is full from some moment on."""

    full = False

    def append(self, event: str, /, **fields: Any) -> Record:
        if self.full:
            raise JournalError("not-stored", f"the {event} record was NOT stored: found the disk full")
        return super().append(event, **fields)


def test_full_disk_refuses_answers_and_never_breaks_what_is_said(reasoner: Reasoner) -> None:
    """Also where only the record of a conclusion cannot be kept: that one is for the log alone."""
    keeper = _Full(list(Rehearsed.opened(reasoner).records))
    conversation, fitter = Conversation(reasoner, keeper, "full"), SimulatedFitter(reasoner, ["fuse-horn.blown"])
    answer(conversation, "horn-silent")
    while True:
        ask = conversation.say()[-1]
        kept = keeper.records
        keeper.full = True
        told = conversation.take(fitter.answer(ask))
        assert (told["type"], told["code"]) == ("error", "not-stored")
        assert keeper.records == kept
        assert conversation.say()[-1]["check"] == ask["check"]
        keeper.full = False
        told = conversation.take(fitter.answer(conversation.say()[-1]))
        assert told["type"] == "tell"
        keeper.full = True
        said = conversation.say()
        keeper.full = False
        if said[-1]["type"] == "conclude":
            break
    assert said[-1]["remedies"][0]["id"] == "fuse-horn.renew"
    assert not any(record.event == "concluded" for record in keeper.records)


def test_a_remedy_that_did_not_help_is_said_to(reasoner: Reasoner) -> None:
    """The person sees at once that the proof failed, and of which remedy, and need not guess why it asks on."""
    fuse = "fuse-horn.blown"
    other = reasoner.remedy_of[reasoner.index["horn-feed.open"]]
    for tried, helps in ((other, False), (reasoner.remedy_of[reasoner.index[fuse]], True)):
        conversation = fresh(reasoner)
        answer(conversation, "horn-dead")
        put(conversation, {"remedied": tried})
        hidden = SimulatedFitter(reasoner, () if helps else (fuse,))
        told: Object = {}
        for _ in range(12):
            ask = conversation.say()[-1]
            if ask["type"] != "ask":
                break
            proving = "Proves" in ask["why"]
            told = put(conversation, hidden.answer(ask))
            if proving and not helps:
                break
        assert ("not-cured" in told) == (not helps)
        if not helps:
            assert told["not-cured"] == reasoner.remedies[tried].title
            assert "NOT CURED" in not_cured(told)


def test_a_job_that_ended_by_work_of_ones_own_says_how_to_teach_it(reasoner: Reasoner) -> None:
    """Whoever found what nobody asked for is told at the end how the rules learn of it; no other job says so."""
    for own in (True, False):
        conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
        answer(conversation, "circuit:horn")
        if own:
            put(conversation, {"changed": "Wire chafed through in the hinge, a new piece laid"})
        said: Object = {}
        for _ in range(60):
            said = conversation.say()[-1]
            if said["type"] != "ask":
                break
            put(conversation, fitter.answer(said))
        assert said["type"] == "end", said
        assert said.get("teach") == ("diag rules add a-job" if own else None)
        page = "\n".join(line.text for line in end_page(conversation, [said], 40))
        assert ("rules add" in page) == own
