"""Why, and why not, in the conversation: asked at any time, answered in full, nothing kept.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import io
from typing import Any

import pytest

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.objects import ask_of
from diag.talk.plain import run_plain
from diag.talk.plan import Look
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.screen_why import account_page
from diag.talk.whys import UnknownNameError, named, names_of
from tests.talk.hands import fresh, sit

Object = dict[str, Any]
SILENT = "horn-silent"


def _begun(reasoner: Reasoner, *causes: str, most: int = 3) -> Conversation:
    """A job with these faults and the first few answers given."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, causes)
    conversation.take({"answer": conversation.say()[-1]["id"], "value": SILENT})
    for _ in range(most):
        ask = conversation.say()[-1]
        if ask["type"] == "ask":
            conversation.take(fitter.answer(ask))
    return conversation


def _why(conversation: Conversation, name: str) -> Object:
    told = conversation.take({"why": name})
    assert told["type"] == "tell", told
    return told


# ---------------------------------------------------------------- as objects


def test_why_is_told_once_keeps_nothing_and_the_ask_comes_again(reasoner: Reasoner) -> None:
    """Asking must be free: neither the journal nor what is asked next may change."""
    conversation = _begun(reasoner, "horn-feed.open")
    before, kept = conversation.say()[-1], list(conversation.keeper.records)
    told = _why(conversation, "fuse-horn.blown")
    assert (told["ack"], told["stored"], told["about"]) == ("why", False, "cause")
    assert list(conversation.keeper.records) == kept
    after = conversation.say()[-1]
    assert {**after, "id": ""} == {**before, "id": ""}


@pytest.mark.parametrize("name", ["fuse-horn.blown", "fuse-horn.renew", "fuse-horn"])
def test_cause_remedy_and_part_can_be_asked_for_before_anything_is_known(reasoner: Reasoner, name: str) -> None:
    """At the very start only how often each is met can be told; that is told, not refused."""
    conversation = fresh(reasoner)
    conversation.say()
    told = _why(conversation, name)
    assert told["id"] == name and 0 < told["p"] < 0.1 and 0 < told["prior"] < 0.1


def test_every_line_has_weight_in_words_and_numbers_and_what_is_computed(reasoner: Reasoner) -> None:
    """Someone who doubts a verdict must be able to follow it answer by answer."""
    conversation = _begun(reasoner, "horn-feed.open", most=6)
    told = _why(conversation, "fuse-horn.blown")
    lines = [*told["for"], *told["against"], *told["against-leader"]]
    assert lines
    for line in lines:
        assert line["weight"] > 0 and line["words"] and line["numbers"] and line["from"]
        assert (line["decibans"] > 0) == (line["weight"] > 1)
    assert any(line["with"] is not None and line["with"] != line["instead"] for line in lines)
    assert all(0 < back["p"] <= 1 and back["text"] for back in told["back"])


def test_a_part_lists_every_cause_of_it_the_likeliest_first(reasoner: Reasoner) -> None:
    """`What of the horn button?` is asked of a part, not of one way to fail."""
    conversation = _begun(reasoner, "horn-feed.open")
    told = _why(conversation, "horn-button")
    assert {cause["id"] for cause in told["causes"]} == {c.id for c in reasoner.causes if c.subject == "horn-button"}
    chances = [cause["p"] for cause in told["causes"]]
    assert chances == sorted(chances, reverse=True)
    assert all(cause["text"] and cause["standing"] for cause in told["causes"])


def test_unknown_name_is_refused_with_the_nearest(reasoner: Reasoner) -> None:
    """Nobody knows the ids by heart."""
    conversation = _begun(reasoner, "horn-feed.open")
    asked = conversation.say()[-1]
    for wrong, wanted in (("horn fuze", "fuse-horn"), ("fuse-hron.blown", "fuse-horn.blown")):
        error = conversation.take({"why": wrong})
        assert (error["type"], error["code"], error["field"]) == ("error", "unknown-name", "why")
        assert wanted in error["expected"].split(", ")
    for wrong in ("", "  ", None, 4, ["horn"], {"horn": 1}, "x" * 100_000):
        error = conversation.take({"why": wrong})  # type: ignore[dict-item]
        assert (error["code"], error["field"]) == ("unknown-name", "why") and error["expected"]
    assert conversation.say()[-1]["check"] == asked["check"]
    assert conversation.take({"why": "horn", "value": 1})["code"] == "unknown-field"


def test_names_are_taken_in_any_case_and_by_title(reasoner: Reasoner) -> None:
    """What stands on the screen can be typed as it stands there."""
    for name, title in names_of(reasoner).items():
        assert named(reasoner, name.upper()).id == name
        assert title
    assert named(reasoner, "Horn fuse?").id == "fuse-horn"
    with pytest.raises(UnknownNameError):
        named(reasoner, "the thing under the seat")


def test_why_at_a_conclusion_leaves_it_standing(reasoner: Reasoner) -> None:
    """Before someone takes the horn off they want to know why; the conclusion must not be recorded twice."""
    conversation = _begun(reasoner, "horn-feed.open", most=40)
    concluded = conversation.say()[-1]
    assert concluded["type"] == "conclude"
    count = len(conversation.keeper.records)
    told = _why(conversation, concluded["remedies"][0]["id"])
    assert told["standing"] == "leading" and told["for"]
    assert conversation.say()[-1] == concluded and len(conversation.keeper.records) == count


@pytest.mark.parametrize("check", ["horn-sound", "turn-left-front", "horn-31b-rest-volts", "horn-fuse-look"])
def test_every_question_says_what_its_answers_would_mean(reasoner: Reasoner, check: str) -> None:
    """Sounds, looks, readings, choices alike: values as they would be given, chances, and words."""
    conversation = _begun(reasoner, "horn-feed.open", most=1)
    _check_means(ask_of(reasoner, conversation.plan, Look(reasoner.steps[check]), "q1"))


def test_asked_questions_and_proofs_carry_their_meanings(reasoner: Reasoner) -> None:
    """In a whole job, the proof of the repair included; a caution has none to tell."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["horn-feed.open"])
    seen = 0
    for _ in range(60):
        said = conversation.say()[-1]
        if said["type"] == "end":
            break
        if said["type"] == "conclude":
            fitter.remedy(said["remedies"][0]["id"])
            conversation.take({"remedied": said["remedies"][0]["id"]})
            continue
        if said["kind"] == "do" or said["check"] == "start":
            assert said["means"] == []
        else:
            seen += 1
            _check_means(said)
        conversation.take(fitter.answer(said))
    assert seen > 3


def _check_means(said: Object) -> None:
    assert 1 <= len(said["means"]) <= 6
    assert sum(meaning["chance"] for meaning in said["means"]) <= 1.01
    assert all(meaning["text"] for meaning in said["means"])
    if said["kind"] != "measure" and said["choices"]:
        assert {m["value"] for m in said["means"]} <= {choice["value"] for choice in said["choices"]}


# ---------------------------------------------------------------- at the keys


def test_one_key_offers_the_likeliest_by_digit(reasoner: Reasoner) -> None:
    """Dirty hands: two keys, and the page says where the cause stands."""
    sitting = sit(fresh(reasoner), [f"{SILENT}\r", "y", "1", "\r", "\x1b"], columns=40, rows=40)
    picked = next(page for page in sitting.seen if "Why, or why not?" in page)
    assert "\n1 " in picked and "%" in picked
    page = next(page for page in sitting.seen if "Chance now" in page)
    assert max(map(len, page.split("\n"))) <= 40
    assert "n not sure" in sitting.seen[-1], "the question is there again"
    assert len(sitting.conversation.state.entries) == 1


def test_a_typed_name_that_nothing_has_offers_the_nearest_by_digit(reasoner: Reasoner) -> None:
    """Typing with gloves: the second try is one key."""
    hands = [f"{SILENT}\r", "y", "horn fuze\r", "1", "\r", "\x1b"]
    sitting = sit(fresh(reasoner), hands, columns=60, rows=40)
    text = "\n".join(sitting.seen)
    assert "Nothing is called" in text and "(fuse-horn)" in text
    assert any("Chance that something is wrong with it" in page for page in sitting.seen)


def test_tab_completes_a_name(reasoner: Reasoner) -> None:
    """Ids are long; what all that begin so share is filled in."""
    sitting = sit(fresh(reasoner), [f"{SILENT}\r", "y", "flasher-unit.never-o\t\r", "\r", "\x1b"], columns=80, rows=40)
    assert any("never opens" in page and "Chance now" in page for page in sitting.seen)


def test_plain_lines_tell_why_not_by_name_and_number(reasoner: Reasoner) -> None:
    """Where there is no terminal the same is one line."""
    conversation, out = fresh(reasoner), io.StringIO()
    run_plain(conversation, [SILENT, "why not fuse-horn.blown", "why 1", "why", "why not", "why nobody-knows"], out)
    text = out.getvalue()
    assert "Horn fuse: fuse blown or missing" in text and "Chance now" in text
    assert "Why this question" in text and "What each answer would mean" in text
    assert "Why, or why not?" in text
    assert "No cause, remedy or part of this vehicle is called that" in text
    assert len(conversation.state.entries) == 1


def test_page_fits_a_phone(reasoner: Reasoner) -> None:
    """Every kind of account, at forty columns."""
    conversation = _begun(reasoner, "horn-feed.open", most=6)
    for name in ("fuse-horn.blown", "horn-feed.open", "fuse-horn", "plate-lamp.open", "horn-renew"):
        lines = account_page(_why(conversation, name), 40)
        assert lines and max(len(line.text) for line in lines) <= 40
