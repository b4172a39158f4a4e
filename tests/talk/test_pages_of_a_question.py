"""What stands on a question's page and beside an answer: what fits, the picture, the record, completion.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import pytest

from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.stages.course import FAULTS
from diag.talk.completing import going_on
from diag.talk.history import happenings, history_page
from diag.talk.picture import marks_of, picture_lines, picture_page
from diag.talk.screen import SPARE_BLANK, SPARE_HINT, SPARE_MORE, Line, fitted, head
from diag.talk.sound import kept_words, range_words
from tests.talk.hands import first_look, fresh, sit


def _stop_lamp(reasoner: Reasoner) -> Step:
    """The look at a stop lamp with the pedal pressed and nothing else."""
    looks = [s for s in reasoner.steps.values() if s.target == "stop-lamp-left" and "turn" not in s.operate]
    return next(s for s in looks if s.operate.get("brake-pedal") == "pressed" and "lights" not in s.operate)


def test_what_can_be_spared_goes_first_and_choices_stay() -> None:
    """On a phone the hint goes before an answer does."""
    lines = [
        Line("Q"),
        Line("hint", spare=SPARE_HINT),
        Line(spare=SPARE_BLANK),
        Line("1 a"),
        Line("m", spare=SPARE_MORE),
    ]
    assert [line.text for line in fitted(lines, 5)] == ["Q", "hint", "", "1 a", "m"]
    assert [line.text for line in fitted(lines, 4)] == ["Q", "hint", "", "1 a"]
    assert [line.text for line in fitted(lines, 3)] == ["Q", "hint", "1 a"]
    assert [line.text for line in fitted(lines, 1)] == ["Q", "1 a"]


@pytest.mark.parametrize("width", [40, 60, 100])
def test_where_we_are_takes_two_lines_at_most(width: int) -> None:
    """Minutes and answers are never cut."""
    parts = [
        "Faults found",
        "Turn signals and hazard warning and 3 more",
        "standing behind the vehicle",
        "12 min",
        "3 answers",
    ]
    lines = head(" | ".join(parts), "", width, parts)
    assert lines[-1].text == "-" * width and len(lines) <= 3
    assert all(len(line.text) <= width for line in lines)
    assert "12 min | 3 answers" in " ".join(line.text for line in lines)
    assert lines[0].said == " | ".join(parts), "a voice says all of it"


@pytest.mark.parametrize(
    ("low", "high", "unit", "words"),
    [
        (12.12, 12.63, "V", "12.1 to 12.6 V"),
        (-0.08, 0.08, "V", "at most 0.08 V"),
        (0.1, 0.6, "ohm", "at most 0.60 ohm"),
        (1e8, 1e9, "ohm", "OL (no continuity)"),
        (3.1, 3.7, "A", "3.1 to 3.7 A"),
    ],
)
def test_a_range_as_a_meter_would_show_it(low: float, high: float, unit: str, words: str) -> None:
    """Two figures that a person compares with the one on the meter."""
    assert range_words(low, high, unit) == words


def test_beside_an_answer_stands_what_a_sound_vehicle_shows(reasoner: Reasoner) -> None:
    """Two volts at the horn fuse mean nothing without the twelve that belong there."""
    conversation = fresh(reasoner)
    volts = next(s for s in reasoner.steps.values() if s.red == "fuse-horn.in" and s.unit == "V")
    conversation.take({"symptom": "horn dead"})
    assert conversation.take({"found": {"check": volts.id, "value": 2.0}})["type"] == "tell"
    assert "2.00 V (a sound vehicle shows 1" in kept_words(conversation)
    lamp = _stop_lamp(reasoner)
    conversation.take({"found": {"check": lamp.id, "value": {"light": "dark", "rhythm": "none"}}})
    assert "dark (a sound vehicle: normal, steady)" in kept_words(conversation)
    conversation.take({"found": {"check": lamp.id, "value": {"light": "normal", "rhythm": "steady"}}})
    assert kept_words(conversation).endswith("(as on a sound vehicle)")


def test_the_record_holds_what_was_undone_corrected_and_done(reasoner: Reasoner) -> None:
    """Newest last; what was taken back is still there and said to be."""
    conversation = fresh(reasoner)
    look = first_look(reasoner)[0]
    conversation.take({"symptom": look})
    lamp = _stop_lamp(reasoner)
    dark = {"light": "dark", "rhythm": "none"}
    seq = conversation.take({"found": {"check": lamp.id, "value": dark}})["seq"]
    conversation.take({"correct": seq, "value": {"light": "normal", "rhythm": "steady"}})
    conversation.take({"note": "fuse box wet"})
    conversation.take({"undo": True})
    conversation.take({"changed": "new lamp"})
    conversation.take({"remedied": next(iter(reasoner.remedies))})
    found = happenings(conversation)
    assert [one.seq for one in found] == sorted(one.seq for one in found)
    assert [one.gone for one in found] == ["", "corrected", "", "undone", "", ""]
    assert found[3].words == "note: fuse box wet" and found[-1].words.startswith("DONE: ")
    text = [line.text for line in history_page(conversation, 40)]
    assert max(map(len, text)) <= 40 and any("[undone]" in line for line in text)
    shown = sit(conversation, ["r", "\x1b[B\r"], 40, 14).seen
    assert any("DONE: " in page and "Record so far" not in page for page in shown), "it opens at its end"


def test_a_question_has_its_picture_on_a_key_and_beside_it_where_there_is_room(reasoner: Reasoner) -> None:
    """The point to touch is marked on both."""
    conversation = fresh(reasoner)
    wide = sit(conversation, ["horn dead\r"], 100, 30).seen[-1]
    assert "T>" in wide and "== body" in wide and "Tip:" in wide
    assert all(len(line) <= 100 for line in wide.split("\n"))
    small = sit(conversation, ["p"], 40, 20).seen[-1]
    assert "T> " in small and "== body" in small and "more lines" not in small
    assert len(small.split("\n")) <= 20


def test_every_step_that_touches_the_wiring_has_a_picture(reasoner: Reasoner) -> None:
    """Every ninth of them: marked as the page says; a choice by eye has none and says so."""
    for step in list(reasoner.steps.values())[::9]:
        if step.kind == "measure" or step.target == "test-lamp":
            lines = picture_lines(reasoner, step, 40, 25)
            for mark, _ in marks_of(reasoner.knowledge, step):
                assert any(line.startswith(f"{mark}>") for line in lines), step.id
    assert "no picture" in " ".join(line.text for line in picture_page(fresh(reasoner), None, 80))


def test_flashing_is_offered_by_a_test_lamp_only_where_something_flashes(reasoner: Reasoner) -> None:
    """In the horn's circuit nothing does; the keys of the rest stay where hands know them."""
    page = sit(fresh(reasoner), ["horn dead\r"], 40, 24).seen[-1]
    assert "2 normal steady" in page and "9 too bright steady" in page and "flashing" not in page
    lamps = [s for s in reasoner.steps.values() if s.target == "test-lamp" and s.circuit == "turn-signals"]
    assert lamps


def test_names_go_on_inside_a_sentence() -> None:
    """As many words as any name begins with; the sentence before them stays."""
    names = ["Horn", "Horn fuse", "Turn switch", "Turn switch 49a"]
    assert going_on("renewed the horn f", names) == ("horn f", ["Horn fuse"])
    assert going_on("wet at turn sw", names) == ("turn sw", ["Turn switch", "Turn switch 49a"])
    assert going_on("swit", names)[1] == ["Turn switch", "Turn switch 49a"]
    assert going_on("wet ", names)[1] == [] and going_on("", names)[1] == []


def test_tab_completes_a_name_in_a_note_and_enter_sends_what_stands(reasoner: Reasoner) -> None:
    """Enter never takes a name that nobody asked for."""
    conversation = fresh(reasoner)
    sit(conversation, [first_look(reasoner)[0] + "\r", "a", "wet at horn fus\t\r", "a", "horn fus\r"])
    notes = [str(e.fields["text"]) for e in conversation.state.standing("noted")]
    assert notes == ["wet at Horn fuse", "horn fus"]


def test_after_a_change_what_was_complained_of_is_asked_again(reasoner: Reasoner) -> None:
    """It may be cured; all else is judged by it."""
    conversation = fresh(reasoner)
    conversation.take({"symptom": "horn dead"})
    complained = reasoner.knowledge.symptoms[str(conversation.state.entries[-1].fields["value"])].shows[0][0].check
    ask = conversation.say()[-1]
    assert ask["check"] != complained
    conversation.take({"changed": "new fuse"})
    again = conversation.say()[-1]
    assert again["check"] == complained and "changed since" in again["why"]


def test_going_to_a_stage_that_has_nothing_says_so(reasoner: Reasoner) -> None:
    """Otherwise the key seems dead."""
    page = sit(fresh(reasoner), ["0", "d", "t", "4"]).seen[-1]
    assert "Nothing is odd that could be looked" in " ".join(page.split())
    conversation = fresh(reasoner)
    sit(conversation, ["0"])
    lamp = _stop_lamp(reasoner)
    for stage in ("before-power", "first-power"):
        conversation.take({"stage": stage, "skip": "done yesterday"})
    conversation.take({"stage": "walk-round"})
    conversation.take({"found": {"check": lamp.id, "value": {"light": "dark", "rhythm": "none"}}})
    sit(conversation, ["t", "5", "t", "4"])
    assert conversation.plan.stage == FAULTS
