"""The terminal at its keys: every answer is one or two keys, mistakes cost nothing, cautions come first."""

from __future__ import annotations

import asyncio
import dataclasses
import itertools
import re
import threading

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input

from diag.circuit.observe import LOOKS
from diag.job.journal import Journal
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.objects import conclusion_of
from diag.talk.opening import new_job, vehicle_file
from diag.talk.pages import Pages
from diag.talk.plan import Conclude
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.screen import conclusion_page
from diag.talk.standing import minutes_so_far
from diag.talk.typed import KEYS, LOOK_ORDER
from tests.talk.hands import STOP, Sitting, Sized, first_look, fresh, key_for, sit

STEADY = "turn lamps light but do not flash\r"
"""What the first question after it asks to look at is a lamp."""


def until_measure(reasoner: Reasoner) -> Conversation:
    """A job on a dynamo without its field, led to its first reading."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["dynamo-field-wire.open"])
    for _ in range(40):
        ask = conversation.say()[-1]
        assert ask["type"] == "ask", "this fault must lead to a reading"
        if ask["kind"] == "measure":
            return conversation
        conversation.take(fitter.answer(ask))
    raise AssertionError("no reading was asked for")


def whole_job(reasoner: Reasoner, cause: str, columns: int, rows: int, curious: str = "") -> Sitting:
    """A fitter answers to the end; on every ask `curious` pages are looked at first."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, [cause])
    looked: set[str] = set()
    count = itertools.count()

    def hands(seen: str) -> str:
        assert next(count) < 400, "the job does not end"
        if "Enter back" in seen:
            return " \r" if "more lines" in seen else "\r"
        if "Esc back" in seen and "Ctrl-C" in seen:
            return "\x1b"
        if "done: read and seen to" in seen:
            return "d"
        if "Where this job stands" in seen:
            return STOP
        ask = conversation.open_ask
        if ask is None:
            if "d done" not in seen:
                return "1"
            fitter.remedy(conversation.say()[-1]["remedies"][0]["id"])
            return "d"
        left = [key for key in curious if f"{ask['kind']} {key}" not in looked]
        if left and ask["check"] != "start":
            looked.add(f"{ask['kind']} {left[0]}")
            return left[0]
        return key_for(fitter, ask)

    return sit(conversation, hands, columns, rows)


def test_every_look_has_a_key() -> None:
    """A look without a key could not be answered; one with two keys would be answered wrongly."""
    assert sorted(LOOK_ORDER) == sorted(LOOKS)
    assert len(set(KEYS.values())) == len(KEYS)


@pytest.mark.parametrize(("columns", "rows"), [(40, 20), (80, 24)])
def test_no_screen_is_wider_or_taller_than_the_terminal(reasoner: Reasoner, columns: int, rows: int) -> None:
    """On a phone a cut line hides a terminal number; every kind of page is visited."""
    sitting = whole_job(reasoner, "flasher-unit.never-opens", columns, rows, curious="wbhcas")
    for page in sitting.seen:
        lines = page.split("\n")
        assert max(map(len, lines)) <= columns, page
        assert len(lines) <= rows, page
    text = "\n".join(sitting.seen)
    for part in ("What is wrong?", "Why this question", "Likely so far", "Keys", "CAUTION", "Because", "1. "):
        assert part in text
    assert "Where this job stands" in sitting.seen[-1]
    assert sitting.records("remedied") == [{"remedy": "flasher-unit-renew"}]


def test_all_answers_of_a_lamp_are_in_view_on_a_phone(reasoner: Reasoner) -> None:
    """An answer that must be scrolled to is not given by someone with one clean finger."""
    page = sit(fresh(reasoner), [first_look(reasoner)[0] + "\r"]).seen[-1]
    for answer in ("1 dark", "2 normal steady", "9 too bright steady", "0 something else", "u undo", "q quit"):
        assert answer in page
    assert "more lines" not in page


def test_a_wrong_key_says_so_and_keeps_the_question(reasoner: Reasoner) -> None:
    """A slipped finger must neither answer nor leave the page."""
    sitting = sit(fresh(reasoner), [first_look(reasoner)[0] + "\r", "z2"])
    assert any("Key z does nothing here" in page for page in sitting.seen)
    assert [r["value"] for r in sitting.records("answered")][1:] == [{"light": "normal", "rhythm": "steady"}]


def test_rare_looks_take_two_keys(reasoner: Reasoner) -> None:
    """Every look can be told, also those that are seldom met."""
    sitting = sit(fresh(reasoner), [first_look(reasoner)[0] + "\r", "0", "8"])
    assert sitting.records("answered")[1]["value"] == {"light": "too-bright", "rhythm": "slow"}


def test_undo_brings_the_question_back(reasoner: Reasoner) -> None:
    """A slip is taken back with one key, and the screen says what was taken back."""
    conversation = fresh(reasoner)
    sitting = sit(conversation, [first_look(reasoner)[0] + "\r", "1", "u"])
    assert "Undone:" in sitting.seen[-1] and f"Watch: {first_look(reasoner)[1]}" in " ".join(sitting.seen[-1].split())
    assert len(conversation.state.standing("answered")) == 1


def test_a_reading_is_typed_with_its_unit(reasoner: Reasoner) -> None:
    """Meters and keyboards differ: a decimal comma and a space are common."""
    sitting = sit(until_measure(reasoner), ["11,8 V\r"])
    assert sitting.records("answered")[-1]["value"] == 11.8


def test_a_reading_that_cannot_be_stays_to_be_mended(reasoner: Reasoner) -> None:
    """What was typed is not lost, and the message says what was expected."""
    sitting = sit(until_measure(reasoner), ["12 bananas\r", "\x7f" * 7 + "V\r"])
    assert "expected" in sitting.seen[sitting.seen.index(next(p for p in sitting.seen if "bananas" in p))]
    assert sitting.entries[1] == "12 bananas"
    assert sitting.records("answered")[-1]["value"] == 12.0


def test_letters_act_in_an_empty_reading_but_not_inside_one(reasoner: Reasoner) -> None:
    """`OL` and `mV` are readings; `w` alone asks why."""
    sitting = sit(until_measure(reasoner), ["w", "\r", "11800 mV\r"])
    assert any("Why this question" in page for page in sitting.seen)
    assert sitting.records("answered")[-1]["value"] == pytest.approx(11.8)


def test_a_place_out_of_reach_is_not_asked_again(reasoner: Reasoner) -> None:
    """Nobody wants to be sent under the dash again and again."""
    conversation = fresh(reasoner)
    fitter = SimulatedFitter(reasoner, ["flasher-unit.never-opens"])
    places: list[str] = []

    def hands(seen: str) -> str:
        ask = conversation.open_ask
        if ask is None or len(places) > 6:
            return STOP
        if ask["check"] != "start" and ask["kind"] != "do":
            places.append(ask["place"])
            if len(places) == 1:
                return "x"
        return key_for(fitter, ask)

    sit(conversation, hands)
    assert len(places) > 2
    assert places[0] not in places[1:]


def test_why_and_causes_change_nothing(reasoner: Reasoner) -> None:
    """Looking is free: the same question comes back, and nothing is written."""
    sitting = sit(fresh(reasoner), [STEADY, "w", "\r", "b", "\r"])
    text = "\n".join(sitting.seen)
    assert "A sound vehicle shows: " in text
    assert "#" in text and "%" in text and "Renew the flasher unit" in text
    asked = [re.findall(r"(?:Watch|Listen to): [^.]*", " ".join(page.split())) for page in sitting.seen]
    asked = [found for found in asked if found]
    assert len(asked) > 2 and asked[-1] == asked[0]
    assert len(sitting.conversation.state.entries) == 1


def test_unclear_words_give_a_choice(reasoner: Reasoner) -> None:
    """A guess at what someone meant would lead the whole job astray."""
    sitting = sit(fresh(reasoner), ["lamp dark\r", "1\r"])
    assert any("choose one of these" in page for page in sitting.seen)
    assert sitting.records("answered")[0]["value"] in sitting.conversation.knowledge.symptoms


def test_the_start_list_pages_and_takes_a_number(reasoner: Reasoner) -> None:
    """Who finds no words reads the list; the last circuit is on its last page."""
    conversation = fresh(reasoner)
    choices = conversation.say()[-1]["choices"]
    sitting = sit(conversation, ["\r" * 7 + f"{len(choices)}\r"])
    assert all(any(f"{n:>2} " in page for page in sitting.seen) for n in range(1, len(choices) + 1))
    assert sitting.records("answered")[0]["value"] == choices[-1]["value"]


def test_cautions_are_read_one_by_one_before_any_step(reasoner: Reasoner) -> None:
    """Steps on the screen are followed; the battery has to be off before that."""
    sitting = whole_job(reasoner, "flasher-unit.never-opens", 40, 20)
    caution = next(n for n, page in enumerate(sitting.seen) if "Take the earth clamp off" in page)
    step = next(n for n, page in enumerate(sitting.seen) if "\n1. " in page)
    assert caution < step
    stopped = sit(sitting.conversation, [STOP])
    assert "Where this job stands" in stopped.seen[0]


def test_a_remedy_is_not_done_by_the_key_that_opens_it(reasoner: Reasoner) -> None:
    """`d` pressed once too often must not write down a repair that nobody has made."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["flasher-unit.never-opens"])
    while conversation.say()[-1]["type"] == "ask":
        ask = conversation.open_ask
        assert ask is not None
        conversation.take(fitter.answer(ask))
    sitting = sit(conversation, ["d", "d"])
    assert "1. " in sitting.seen[-1]
    assert sitting.records("remedied") == []


def test_an_older_answer_is_corrected_by_its_number(reasoner: Reasoner) -> None:
    """The slip that is noticed three questions later is mended without undoing the rest."""
    conversation = fresh(reasoner)
    sit(conversation, [first_look(reasoner)[0] + "\r", "1"])
    seq = conversation.state.standing("answered")[-1].seq
    sitting = sit(conversation, ["c", "99\r", "\x7f\x7f" + f"{seq}\r", "2"])
    assert any("No answer has the number 99" in page for page in sitting.seen)
    assert sitting.records("answered")[-1]["replaces"] == seq
    assert conversation.state.standing("answered")[-1].fields["value"] == {"light": "normal", "rhythm": "steady"}


@pytest.mark.parametrize("key,then,left", [("x", "1", 0), ("n", "u", 0), ("l", "\x1b", 1)])
def test_what_was_passed_over_is_answered_after_all_or_asked_again(
    reasoner: Reasoner, key: str, then: str, left: int
) -> None:
    """Who reaches it after all need not undo everything since."""
    conversation = fresh(reasoner)
    sit(conversation, [first_look(reasoner)[0] + "\r", key])
    passed = conversation.state.standing("skipped", "not-sure")[-1]
    sitting = sit(conversation, ["c", f"{passed.seq}\r", then])
    assert any("ask it again later" in " ".join(page.split()) for page in sitting.seen)
    assert len(conversation.state.standing("skipped", "not-sure")) == left
    if then == "1":
        assert conversation.state.standing("answered")[-1].fields["check"] == passed.fields["check"]
    if then == "u":
        assert conversation.say()[-1]["check"] == passed.fields["check"]


def test_a_remedy_out_of_reach_says_so(reasoner: Reasoner) -> None:
    """Work in a place that nobody can reach is not offered as if it were any other."""
    conversation = fresh(reasoner)
    ask = conversation.say()[-1]
    conversation.take({"answer": ask["id"], "value": "horn-silent"})
    closed = dataclasses.replace(conversation.plan, closed=frozenset({reasoner.remedies["horn-renew"].place or ""}))
    told = conclusion_of(reasoner, closed, Conclude((("horn-renew", 0.5),), True, "certain"))
    assert told["remedies"][0]["out-of-reach"] and "cannot be reached" in told["remedies"][0]["steps"][0]
    assert "cannot be reached" in " ".join(line.text for line in conclusion_page(told, 40))


def test_typing_after_a_refused_text_begins_anew(reasoner: Reasoner) -> None:
    """`12 bananas`, then `OL` on a reading of volts: not `12 bananasOL`."""
    sitting = sit(until_measure(reasoner), ["12 bananas\r", "11.8 V\r"])
    assert sitting.records("answered")[-1]["value"] == pytest.approx(11.8)
    assert "12 bananas" in sitting.entries


def test_notes_changes_and_further_symptoms_are_kept(reasoner: Reasoner) -> None:
    """What happens at the vehicle belongs into the log, whatever is being asked."""
    sitting = sit(fresh(reasoner), [STEADY, "a", "fuse box is wet\r", "g", "renewed an earth\r", "s", "horn silent\r"])
    assert sitting.records("noted") == [{"text": "fuse box is wet"}]
    assert sitting.records("changed") == [{"text": "renewed an earth"}]
    assert sitting.records("found")[0]["value"] == "horn-silent"


@pytest.mark.parametrize("leave", ["q", "\x03", "\x04"])
def test_quitting_keeps_every_answer_on_disk(
    reasoner: Reasoner, leave: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Rain, a phone call, a dead battery: the job goes on where it was."""
    conversation, journal = new_job(reasoner, vehicle_file(None), None, ("meter",), frozenset())
    with journal:
        sit(conversation, [STEADY, "2", leave])
        wanted = conversation.open_ask
    with Journal.open(journal.path) as again:
        resumed = Conversation(reasoner, again, str(journal.path))
        ask = resumed.say()[-1]
    assert wanted is not None and ask["check"] == wanted["check"] and ask["text"] == wanted["text"]


def test_pauses_are_not_counted_as_work(reasoner: Reasoner) -> None:
    """A job over three evenings is not three days of work."""
    conversation = fresh(reasoner)
    conversation.keeper.append("noted", text="x")
    records = list(conversation.keeper.records)
    times = ["2026-01-01T10:00:00Z", "2026-01-01T10:05:00Z", "2026-01-02T10:00:00Z"]
    made = [type(r)(r.v, r.seq, at, r.event, r.fields) for r, at in zip(records, times, strict=True)]
    assert minutes_so_far(made) == 5


def test_a_page_that_waits_for_work_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen that stands still for seconds looks broken; the work goes on beside it, and what it raises is raised."""
    monkeypatch.setattr("diag.talk.pages._PATIENCE_S", 0.0)
    done, seen = threading.Event(), []

    def work() -> str:
        assert done.wait(20)
        return "worked out"

    async def flow() -> None:
        async def look() -> None:
            while not any("Working out" in line.text for line in pages.frame()[1]):
                await asyncio.sleep(0.01)
            done.set()

        looking = asyncio.create_task(look())
        seen.append(await pages.during(work))
        await looking
        with pytest.raises(ZeroDivisionError):
            await pages.during(lambda: 1 // 0)

    with create_pipe_input() as keyboard, create_app_session(input=keyboard, output=Sized(40, 20)):
        pages = Pages()
        pages.run(flow)
    assert seen == ["worked out"]
