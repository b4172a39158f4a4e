"""One filament of a lamp that has two, as the thing that is looked at: asked, answered, found, explained, logged."""

from __future__ import annotations

import pytest

from diag.knowledge.targets import part_of_target, target_title, targets
from diag.log.export import export_job
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Deed, own_step
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.wording import step_words
from tests.jobs.recorded import FOLDER

DIPPED, MAIN = {"lights": "head"}, {"lights": "head", "dip": "main"}


def begun(reasoner: Reasoner, symptom: str = "one-headlamp-dark") -> Conversation:
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "rehearsal")
    first = conversation.say()[-1]
    assert conversation.take({"answer": first["id"], "value": symptom})["type"] == "tell"
    return conversation


def test_each_filament_is_named_by_its_terminal_and_called_by_its_beam(reasoner: Reasoner) -> None:
    """`headlamp-left` alone would not say which of two lights was seen."""
    know = reasoner.knowledge
    named = targets(know)
    assert {"headlamp-left.56a", "headlamp-left.56b", "stop-lamp-left"} <= set(named)
    assert part_of_target(know, "headlamp-left") is None
    assert part_of_target(know, "headlamp-left.31") is None
    assert part_of_target(know, "stop-lamp-left.54") is None
    assert part_of_target(know, "headlamp-left.56b") is know.parts["headlamp-left"]
    assert target_title(know, "headlamp-left.56a") == "Left headlamp, main beam"
    assert target_title(know, "headlamp-right.56b") == "Right headlamp, dipped beam"
    assert target_title(know, "stop-lamp-left") == know.parts["stop-lamp-left"].title


def test_other_front_ends_are_told_the_filaments(reasoner: Reasoner) -> None:
    """Whoever names a lamp in a finding must know which names are taken."""
    told = Conversation(reasoner, Rehearsed.opened(reasoner), "rehearsal").hello()["parts"]
    at = told.index("headlamp-left")
    assert told[at : at + 3] == ["headlamp-left", "headlamp-left.56a", "headlamp-left.56b"]


def test_a_question_about_a_beam_says_which_beam(reasoner: Reasoner) -> None:
    """Both filaments sit behind one glass."""
    words = step_words(reasoner.knowledge, reasoner.steps["main-left"])
    assert words.startswith("Key off, light switch head, dip switch to main. Watch: Left headlamp, main beam.")
    assert reasoner.chances.computed(reasoner.steps["main-left"])


@pytest.mark.parametrize("operate", [DIPPED, {"lights": "side"}])
def test_what_someone_saw_of_a_filament_is_taken_and_weighed(reasoner: Reasoner, operate: dict[str, str]) -> None:
    """By the check that asks the same where there is one, else as a look of its own."""
    conversation = begun(reasoner)
    before = conversation.plan.beliefs
    value = {"light": "normal", "rhythm": "steady"}
    told = conversation.take({"found": {"operate": operate, "target": "headlamp-left.56a", "value": value}})
    assert told["type"] == "tell", told
    (finding,) = [found for found in conversation.findings() if found.step is not None]
    assert finding.step is not None and finding.step.target == "headlamp-left.56a"
    assert finding.step.title.startswith("Left headlamp, main beam, light")
    assert before is not None and conversation.plan.beliefs is not None
    assert conversation.plan.beliefs.ranking != before.ranking


def test_a_lamp_named_without_its_filament_is_refused_with_both_names(reasoner: Reasoner) -> None:
    """A guess at the filament would put the fault on the other wire."""
    found = {"operate": MAIN, "target": "headlamp-left", "value": {"light": "dark", "rhythm": "none"}}
    told = begun(reasoner).take({"found": found})
    assert (told["type"], told["code"], told["field"]) == ("error", "unknown-check", "target")
    assert told["expected"] == "headlamp-left.56a or headlamp-left.56b"


def test_no_look_is_made_of_a_terminal_without_a_filament(reasoner: Reasoner) -> None:
    """31 is where both filaments return: it shows no light."""
    for target in ("headlamp-left.31", "headlamp-left.holder", "headlamp-left", "turn-lamp-front-left.L"):
        assert own_step(reasoner.knowledge, Deed("look", {}, target)) is None


def test_the_simulated_fitter_sees_each_filament_by_itself(reasoner: Reasoner) -> None:
    """A demo on a headlamp fault must answer as someone at the vehicle would."""
    fitter = SimulatedFitter(reasoner, ["headlamp-left.open-56a"])
    dark, lit = ("dark", "none"), ("normal", "steady")
    shown = [fitter.truth(reasoner.steps[check]) for check in ("main-left", "dip-left", "main-right", "dip-main-left")]
    assert shown == [dark, lit, lit, dark]
    assert fitter.complaint() == "one-headlamp-dark"


def test_evidence_and_log_name_the_beam(reasoner: Reasoner) -> None:
    """The reader of the log was not there and knows only its words."""
    conversation = begun(reasoner, "main-tell-tale-on-dip")
    for check, light in (("dip-tell-tale", "normal"), ("dip-main-left", "normal"), ("main-left", "dark")):
        conversation.take({"found": {"check": check, "value": {"light": light, "rhythm": "steady"}}})
    told = next(found for found in conversation.say() if found["type"] == "conclude")
    assert told["remedies"][0]["id"] == "dip-switch-wires-back"
    texts = [reason["text"] for reason in told["remedies"][0]["evidence"]]
    assert any(text.startswith("Left headlamp, main beam") for text in texts), texts
    ruled = {rule for reason in told["remedies"][0]["evidence"] for rule in reason["rules"]}
    assert "headlamps/tell-tale-on-dip-alone" in ruled
    log = export_job(FOLDER / "main-tell-tale-on-dip.jsonl", "markdown", reasoner=reasoner)
    assert log.count("Left headlamp, main beam") >= 2 and log.count("Right headlamp, dipped beam") >= 1
