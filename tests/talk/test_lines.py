"""The JSON Lines conversation as someone meets it who has the protocol and nothing else.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.talk.outsider import Object, Outsider, healthy

ASK = {"type", "id", "check", "kind", "operate", "unit", "choices", "text", "place", "minutes", "instruments"}
ASK |= {"expected", "why"}
DEAD = ("fuse-horn.out", "horn.71", "horn.31b", "column-slip-ring.brush", "column-slip-ring.ring", "horn-button.31b")
"""Where no volts arrive while the horn fuse is blown."""


def records(path: Path) -> list[Object]:
    """The journal as anybody may read it."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def with_blown_horn_fuse(ask: Object) -> Any:
    """What a fitter at a vehicle with a blown horn fuse answers, by the ask's own words."""
    if ask["kind"] == "listen" and ask.get("target") == "horn":
        return "none"
    if ask["check"] == "horn-fuse-look" and ask["kind"] == "choose":
        return "holds"
    if ask["kind"] == "look" and ask.get("red") in DEAD:
        return {"light": "dark", "rhythm": "none"}
    if ask["kind"] == "measure" and ask["unit"] == "A":  # the meter stands in the fuse's place
        return healthy(ask)
    if ask["kind"] == "measure" and ask["unit"] == "V" and ask.get("red") in DEAD:
        return 0.01
    return healthy(ask)


def without_id(said: Object) -> Object:
    """What is asked or told, whichever asking it is."""
    return {key: value for key, value in said.items() if key != "id"}


def to_the_end(talk: Outsider, most: int = 60) -> list[str]:
    """Go through with the blown fuse until the end; returns the remedies carried out."""
    done: list[str] = []
    for _ in range(most):
        if talk.last["type"] == "end":
            return done
        if talk.last["type"] == "conclude":
            done.append(talk.last["remedies"][0]["id"])
            talk.told({"remedied": done[-1]})
        else:
            talk.answer((healthy if "fuse-horn.renew" in done else with_blown_horn_fuse)(talk.last))
    raise AssertionError("the job never ended")


# ---------------------------------------------------------------- a whole job


def test_whole_job_by_the_protocol_ends_proved_and_the_next_sitting_goes_on_there(tmp_path: Path) -> None:
    """Everything that the protocol promises on the way of one real job, in one process and a second."""
    job = tmp_path / "job.jsonl"
    with Outsider("--job", str(job)) as talk:
        hello, first = talk.hello, talk.last
        assert hello["protocol"] == 1
        assert {"version", "engine", "vehicle", "job", "operate", "parts", "terminals", "symptoms"} < set(hello)
        assert hello["job"] == str(job)
        assert all(positions for positions in hello["operate"].values())
        assert set(hello["operate"]["unplugged"]) == set(hello["terminals"])
        assert {terminal.split(".")[0] for terminal in hello["terminals"]} <= set(hello["parts"])
        assert "horn-silent" in hello["symptoms"]
        assert "horn" in hello["circuits"]
        assert (first["check"], first["kind"]) == ("start", "choose")
        talk.answer("horn-silent")
        assert to_the_end(talk) == ["fuse-horn.renew"]
        _check_everything_said(talk, job)
        assert talk.last["open"] == []
        ended = talk.last
        assert talk.leave() == 0
        assert "Traceback" not in talk.errors()
        asked = len([said for said in talk.heard if said["type"] == "ask"])
    assert asked > 5
    kept = records(job)
    with Outsider("--job", str(job)) as talk:
        assert talk.last == ended
        assert records(job)[: len(kept)] == kept
        assert records(job)[len(kept)]["event"] == "resumed"


def _check_everything_said(talk: Outsider, job: Path) -> None:
    asks = [said for said in talk.heard if said["type"] == "ask"]
    tells = [said for said in talk.heard if said["type"] == "tell"]
    concluded = [said for said in talk.heard if said["type"] == "conclude"]
    ids = [ask["id"] for ask in asks]
    assert len(ids) == len(set(ids)), "an id must be new for every asking"
    for ask in asks:
        assert set(ask) >= ASK
        assert ask["text"] and ask["why"] and ask["minutes"] >= 0
        for control, position in ask["operate"].items():
            assert position in talk.hello["operate"][control]
        if ask["kind"] == "measure":
            assert ask["unit"] in ("V", "A", "ohm")
            assert ("red" in ask and "black" in ask) or "through" in ask
            ends = {ask[name] for name in ("red", "black") if name in ask}
            assert ends <= {"body", *talk.hello["terminals"]}
        if ask["kind"] in ("choose", "listen", "do"):
            assert all(set(choice) == {"value", "label"} and choice["label"] for choice in ask["choices"])
            assert ask["choices"]
    kept = records(job)
    assert [tell["seq"] for tell in tells] == sorted({tell["seq"] for tell in tells})
    for tell in tells:
        assert set(tell) == {"type", "ack", "seq", "stored"}
        assert tell["stored"] is True
        assert kept[tell["seq"] - 1]["event"] == tell["ack"]
    for said in concluded:
        assert isinstance(said["final"], bool)
        for remedy in said["remedies"]:
            assert 0 < remedy["p"] <= 1
            assert all(0 <= cause["p"] <= 1 for cause in remedy["causes"])
            assert remedy["causes"]
            assert all({"seq", "text", "weight", "from"} <= set(line) for line in remedy["evidence"])
        assert said["remedies"][0]["evidence"], "a verdict without its evidence cannot be checked"
        assert [r["p"] for r in said["remedies"]] == sorted((r["p"] for r in said["remedies"]), reverse=True)


def test_harmful_step_waits_behind_its_own_caution(tmp_path: Path) -> None:
    """Whoever drives the protocol must not be able to show the step before its caution was seen to."""
    with Outsider("--job", str(tmp_path / "job.jsonl")) as talk:
        talk.answer("circuit:turn-signals")
        while talk.last["kind"] != "do":
            talk.answer(healthy(talk.last))
        caution = talk.last
        assert caution["caution"] and caution["caution"] in caution["text"]
        assert caution["choices"] == [{"value": "done", "label": caution["choices"][0]["label"]}]
        for wrong in ("no", "", None, 12.6, True, {"light": "normal"}):
            talk.refused({"answer": talk.last["id"], "value": wrong})
            assert without_id(talk.last) == without_id(caution)
        talk.told({"note": "rings are off"})
        assert without_id(talk.last) == without_id(caution)
        talk.answer("done")
        assert talk.last["kind"] != "do"
        assert talk.last["check"] == caution["check"]
        step = talk.last
        talk.told({"undo": True})
        assert without_id(talk.last) == without_id(caution), "an acknowledgement can be withdrawn too"
        talk.answer("done")
        assert without_id(talk.last) == without_id(step), "the same caution is not asked twice"
        talk.told({"undo": True})
        talk.told({"skip": talk.last["id"], "reason": "later"})
        assert talk.last["check"] != caution["check"], "nobody is forced to a step that does harm"


# ---------------------------------------------------------------- skipping and instruments


def test_place_out_of_reach_is_not_asked_again(tmp_path: Path) -> None:
    """Someone who cannot get at the dashboard says so once."""
    with Outsider("--job", str(tmp_path / "job.jsonl")) as talk:
        talk.answer("horn-silent")
        while talk.last["place"] in (None, "driver-seat"):
            talk.answer(with_blown_horn_fuse(talk.last))
        place = talk.last["place"]
        assert talk.told({"skip": talk.last["id"], "reason": "cannot-reach"})["ack"] == "skipped"
        later = []
        while talk.last["type"] == "ask" and len(later) < 60:
            later.append(talk.last["place"])
            talk.answer(with_blown_horn_fuse(talk.last))
        assert later
        assert place not in later
        assert talk.last["type"] in ("conclude", "end")


def test_missing_instrument_is_not_asked_for_again(tmp_path: Path) -> None:
    """Nor is a person without a meter asked for volts, whether said at the start or on the way."""
    job = str(tmp_path / "job.jsonl")
    with Outsider("--job", job, "--instruments", "test-lamp") as talk:
        talk.answer("horn-silent")
        first = []
        while talk.last["type"] == "ask" and not talk.last["instruments"] and len(first) < 25:
            first.append(talk.last)
            talk.answer("done" if talk.last["kind"] == "do" else "not-sure")
        assert talk.last["instruments"] == ["test-lamp"]
        talk.told({"skip": talk.last["id"], "reason": "no-instrument"})
        while talk.last["type"] == "ask" and len(first) < 50:
            first.append(talk.last)
            talk.answer("done" if talk.last["kind"] == "do" else "not-sure")
    assert len(first) > 3
    assert not [ask for ask in first if set(ask["instruments"]) & {"test-lamp", "meter", "jumper"}]
    assert "measure" not in {ask["kind"] for ask in first}
    with Outsider("--job", job, "--instruments", "meter") as talk:
        talk.told({"undo": True})
        while talk.last["type"] != "ask":
            talk.told({"undo": True})
        seen = set()
        while talk.last["type"] == "ask" and len(seen) < 40 and "measure" not in seen:
            seen.add(talk.last["kind"])
            assert "test-lamp" not in talk.last["instruments"]
            talk.answer("done" if talk.last["kind"] == "do" else "not-sure")
        assert "measure" in seen, "a meter that was fetched meanwhile is used"


# ---------------------------------------------------------------- undo, correct, found, symptom, change


def test_undo_leads_back_step_by_step_to_the_start(tmp_path: Path) -> None:
    """Whatever was put in, each undo gives back exactly what was asked or told before it."""
    with Outsider("--job", str(tmp_path / "job.jsonl")) as talk:
        before = [without_id(talk.last)]

        def put(line: Object) -> None:
            talk.told(line)
            before.append(without_id(talk.last))

        put({"answer": talk.last["id"], "value": "horn-silent"})
        put({"found": {"check": "fuse-horn-out-volts", "value": "0,02 V"}})
        put({"note": "the wheel was off last week"})
        put({"answer": talk.last["id"], "value": "not-sure"})
        put({"skip": talk.last["id"], "reason": "later"})
        put({"symptom": "oil-tell-tale-dark"})
        put({"skip": talk.last["id"], "reason": "cannot-reach"})
        put({"changed": "pressed all fuses home"})
        put({"remedied": "fuse-horn.renew"})
        put({"answer": talk.last["id"], "value": healthy(talk.last)})
        for expected in reversed(before[:-1]):
            talk.told({"undo": True})
            assert without_id(talk.last) == expected
        assert talk.last["check"] == "start"
        error = talk.refused({"undo": True})
        assert error["code"] == "nothing-to-undo"
        assert talk.last["check"] == "start"


def test_findings_are_taken_at_any_time_by_check_by_place_and_by_terminals(tmp_path: Path) -> None:
    """People look where they want; what they tell must reach the journal as they told it."""
    job = tmp_path / "job.jsonl"
    with Outsider("--job", str(job)) as talk:
        pressed = {"horn-button": "pressed"}

        def kept(line: Object) -> Object:
            seq = talk.told(line)["seq"]
            return records(job)[seq - 1]

        told = kept({"found": {"check": "horn-sound", "value": "None"}})
        assert (told["check"], told["value"]) == ("horn-sound", "none")
        told = kept({"symptom": "the horn does not wrok"})
        assert (told["event"], told["value"]) == ("found", "horn-silent")
        told = kept({"found": {"operate": {**pressed, "ignition": "off"}, "target": "horn", "value": "none"}})
        assert (told["check"], told["operate"]) == ("horn-sound", pressed)
        told = kept({"found": {"operate": {}, "target": "horn", "value": "none"}})
        assert told["operate"] == {}, "what was heard at rest is not what was heard with the button pressed"
        told = kept({"found": {"red": "battery.B+", "black": "battery.B-", "value": "12,5 V"}})
        assert (told["value"], told["unit"]) == (12.5, "V")
        told = kept({"found": {"red": "horn.71", "operate": pressed, "value": 11.8}})
        assert (told["red"], told["black"], told["value"]) == ("horn.71", "body", 11.8)
        told = kept({"found": {"red": "horn.71", "black": "body", "unit": "ohm", "value": "OL"}})
        assert (told["unit"], told["value"]) == ("ohm", "OL")
        told = kept({"found": {"red": "horn.71", "black": "body", "unit": "ohm", "value": 0.4}})
        assert (told["unit"], told["value"]) == ("ohm", 0.4)
        told = kept({"found": {"through": "fuse-horn", "operate": pressed, "value": "350 mA"}})
        assert (told["unit"], told["through"], told["value"]) == ("A", "fuse-horn", 0.35)
        look = {"light": "dark", "rhythm": "none"}
        told = kept({"found": {"operate": {"brake-pedal": "pressed"}, "target": "stop-lamp-left", "value": look}})
        assert (told["target"], told["value"]) == ("stop-lamp-left", look)
        told = kept({"found": {"operate": {"unplugged": "horn.31b"}, "target": "horn", "value": "none"}})
        assert told["operate"] == {"unplugged": "horn.31b"}


def test_corrected_answer_takes_the_place_of_the_old_one(tmp_path: Path) -> None:
    """Of answers to asks and of things told unasked alike; what stood before stays in the journal."""
    job = tmp_path / "job.jsonl"
    with Outsider("--job", str(job)) as talk:
        start = talk.answer("oil-tell-tale-dark")["seq"]
        asked = without_id(talk.last)
        told = talk.told({"found": {"red": "horn.71", "black": "horn-button.31", "value": 3.0}})["seq"]
        newer = talk.told({"correct": told, "value": "11,9 V"})
        assert newer["ack"] == "found"
        record = records(job)[newer["seq"] - 1]
        assert (record["replaces"], record["value"], record["red"]) == (told, 11.9, "horn.71")
        assert talk.refused({"correct": told, "value": 4})["code"] == "no-such-answer"
        again = talk.told({"correct": newer["seq"], "value": 12.0})["seq"]
        other = talk.told({"correct": start, "value": "horn silent"})["seq"]
        assert records(job)[other - 1]["value"] == "horn-silent"
        assert talk.last["check"] != asked["check"]
        for _ in (other, again, newer["seq"], told):
            talk.told({"undo": True})
        assert without_id(talk.last) == asked


def test_unclear_words_give_a_choice_of_at_most_five(tmp_path: Path) -> None:
    """Nobody should read forty complaints after typing one word; and any of the five is an answer."""
    with Outsider("--job", str(tmp_path / "job.jsonl")) as talk:
        whole = talk.last
        error = talk.refused({"answer": talk.last["id"], "value": "stop lamps"})
        assert error["code"] == "unclear"
        assert (talk.last["check"], talk.last["kind"]) == ("start", "choose")
        names = [choice["value"] for choice in talk.last["choices"]]
        assert 2 <= len(names) <= 5
        assert set(names) <= set(talk.hello["symptoms"])
        talk.answer(names[-1])
        assert talk.last["check"] != "start"
        talk.told({"undo": True})
        assert without_id(talk.last) == without_id(whole)
        talk.refused({"answer": talk.last["id"], "value": "qwertzuiop"})
        assert talk.last["check"] == "start"
        talk.answer("my brake lights are always on")
        assert talk.last["check"] != "start"
        talk.told({"undo": True})
        talk.answer("circuit:horn")
        assert "horn" in talk.last["text"].lower()


def test_end_of_input_keeps_the_job_and_the_next_sitting_asks_the_same(tmp_path: Path) -> None:
    """A closed laptop is no answer. Also where the last line was cut in the middle."""
    job = tmp_path / "job.jsonl"
    with Outsider("--job", str(job)) as talk:
        talk.answer("horn-silent")
        talk.answer(with_blown_horn_fuse(talk.last))
        asked = without_id(talk.last)
        assert talk.leave() == 0
    with Outsider("--job", str(job)) as talk:
        assert without_id(talk.last) == asked
        assert talk.process.stdin is not None
        talk.process.stdin.write(b'{"answer": "')
        talk.process.stdin.close()
        assert talk._line()["code"] == "not-json"
        assert without_id(talk._rest()) == asked
        assert talk.process.wait() == 0
