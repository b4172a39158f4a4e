"""Every wrong line gets one error that says what was found and expected, and loses nothing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.talk.outsider import Outsider, healthy, home

ERROR = {"type", "code", "field", "text", "found", "expected"}


@pytest.fixture(scope="module")
def talk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outsider]:
    """A job that waits for a voltage, for all wrong lines of this module."""
    folder = tmp_path_factory.mktemp("wrong")
    arguments = ("--job", str(folder / "job.jsonl"), "--instruments", "meter")
    with Outsider(*arguments, env=home(folder / "home")) as outsider:
        outsider.answer("horn-silent")
        while (outsider.last["kind"], outsider.last["unit"]) != ("measure", "V"):
            outsider.answer(healthy(outsider.last))
        yield outsider


def _deep(depth: int) -> str:
    return '{"answer": "ID", "value": ' + "[" * depth + "]" * depth + "}"


WRONG: dict[str, tuple[str | bytes, str, str]] = {
    "empty line": ("", "not-json", ""),
    "blanks": ("   ", "not-json", ""),
    "words": ("the fuse is good", "not-json", ""),
    "half an object": ('{"answer": "ID", "value": 12', "not-json", ""),
    "two objects": ('{"undo": true} {"undo": true}', "not-json", ""),
    "single quotes": ("{'undo': true}", "not-json", ""),
    "not a number": ('{"answer": "ID", "value": NaN}', "not-json", ""),
    "infinity": ('{"answer": "ID", "value": Infinity}', "not-json", ""),
    "bytes that are no text": (b'\xff\xfe{"undo": true}', "not-json", ""),
    "zero bytes": (b'\x00{"undo": true}', "not-json", ""),
    "number of five thousand digits": ('{"answer": "ID", "value": ' + "9" * 5000 + "}", "not-json", ""),
    "nested 1000 deep": (_deep(1000), "not-json", ""),
    "nested 100000 deep": (_deep(100_000), "not-json", ""),
    "line of two million": ('{"note": "' + "x" * 2_000_000 + '"}', "too-long", ""),
    "list": ("[]", "not-an-object", ""),
    "list of inputs": ('[{"undo": true}]', "not-an-object", ""),
    "text": ('"done"', "not-an-object", ""),
    "number": ("12.6", "not-an-object", ""),
    "null": ("null", "not-an-object", ""),
    "empty object": ("{}", "unknown-input", ""),
    "unknown key": ('{"anwser": "ID", "value": 12}', "unknown-input", ""),
    "half a sign as a key": ('{"\\ud800": 1}', "unknown-input", ""),
    "two inputs at once": ('{"undo": true, "note": "x"}', "unknown-input", ""),
    "value alone": ('{"value": 12}', "unknown-input", ""),
    "extra field": ('{"answer": "ID", "value": 12, "unit": "V"}', "unknown-field", "unit"),
    "extra field that is half a sign": ('{"answer": "ID", "value": 12, "\\udfff": 1}', "unknown-field", "\udfff"),
    "wrong id": ('{"answer": "q0-0", "value": 12}', "not-open", "answer"),
    "id of another kind": ('{"answer": 7, "value": 12}', "not-open", "answer"),
    "id that is an object": ('{"answer": {}, "value": 12}', "not-open", "answer"),
    "no value": ('{"answer": "ID"}', "missing-field", "value"),
    "value null": ('{"answer": "ID", "value": null}', "not-a-reading", "value"),
    "value true": ('{"answer": "ID", "value": true}', "not-a-reading", "value"),
    "value a list": ('{"answer": "ID", "value": [12]}', "not-a-reading", "value"),
    "value a look": ('{"answer": "ID", "value": {"light": "dark", "rhythm": "none"}}', "not-a-reading", "value"),
    "value a word": ('{"answer": "ID", "value": "plenty"}', "not-a-reading", "value"),
    "value empty": ('{"answer": "ID", "value": ""}', "empty", "value"),
    "value too large for a number": ('{"answer": "ID", "value": 1e999}', "unbelievable", "value"),
    "volts nobody believes": ('{"answer": "ID", "value": 12600}', "unbelievable", "value"),
    "ohms for volts": ('{"answer": "ID", "value": "12 ohm"}', "wrong-unit", "value"),
    "no continuity for volts": ('{"answer": "ID", "value": "OL"}', "wrong-unit", "value"),
    "two readings": ('{"answer": "ID", "value": "12.1 12.3"}', "not-a-reading", "value"),
    "deep value": (_deep(600), "not-a-reading", "value"),
    "skip without reason": ('{"skip": "ID"}', "unknown-reason", "reason"),
    "skip with odd reason": ('{"skip": "ID", "reason": "lazy"}', "unknown-reason", "reason"),
    "skip with a list of reasons": ('{"skip": "ID", "reason": ["later"]}', "unknown-reason", "reason"),
    "skip of another ask": ('{"skip": "q0-0", "reason": "later"}', "not-open", "skip"),
    "undo false": ('{"undo": false}', "not-true", "undo"),
    "undo one": ('{"undo": 1}', "not-true", "undo"),
    "symptom of no sense": ('{"symptom": "qwertzuiop"}', "not-understood", "symptom"),
    "symptom a number": ('{"symptom": 5}', "not-text", "symptom"),
    "symptom blank": ('{"symptom": " "}', "not-text", "symptom"),
    "unclear symptom": ('{"symptom": "stop lamps"}', "unclear", "symptom"),
    "unknown circuit": ('{"symptom": "circuit:starter"}', "unknown-circuit", "symptom"),
    "found nothing": ('{"found": null}', "missing-field", "found"),
    "found without value": ('{"found": {"check": "horn-sound"}}', "missing-field", "found"),
    "found unknown check": ('{"found": {"check": "horn-smell", "value": "none"}}', "unknown-check", "check"),
    "found check of another kind": ('{"found": {"check": 5, "value": "none"}}', "unknown-check", "check"),
    "found misspelt field": (
        '{"found": {"target": "horn", "operat": {"horn-button": "pressed"}, "value": "none"}}',
        "unknown-field",
        "operat",
    ),
    "found unknown control": (
        '{"found": {"target": "horn", "operate": {"whistle": ""}, "value": "none"}}',
        "unknown-operate",
        "operate",
    ),
    "found unknown position": (
        '{"found": {"target": "horn", "operate": {"horn-button": "half"}, "value": "none"}}',
        "unknown-operate",
        "operate",
    ),
    "found position of another kind": (
        '{"found": {"target": "horn", "operate": {"horn-button": ["pressed"]}, "value": "none"}}',
        "unknown-operate",
        "operate",
    ),
    "found operate a list": (
        '{"found": {"target": "horn", "operate": [], "value": "none"}}',
        "unknown-operate",
        "operate",
    ),
    "found unknown part": ('{"found": {"target": "hoorn", "value": "none"}}', "unknown-check", "found"),
    "found unknown terminal": ('{"found": {"red": "horn.99", "value": 12}}', "unknown-check", "found"),
    "found terminal of another kind": ('{"found": {"red": ["horn.71"], "value": 12}}', "unknown-check", "found"),
    "found nothing named": ('{"found": {"value": 12}}', "unknown-check", "found"),
    "found check done otherwise": (
        '{"found": {"check": "horn-sound", "operate": {}, "value": "none"}}',
        "other-check",
        "operate",
    ),
    "found wrong word": ('{"found": {"check": "horn-sound", "value": "loud"}}', "not-a-word", "value"),
    "found sound as a look": (
        '{"found": {"check": "horn-sound", "value": {"light": "dark", "rhythm": "none"}}}',
        "not-a-word",
        "value",
    ),
    "found lit without rhythm": (
        '{"found": {"check": "stop-left", "value": {"light": "normal"}}}',
        "not-a-look",
        "rhythm",
    ),
    "found look with a third axis": (
        '{"found": {"check": "stop-left", "value": {"light": "dark", "rhythm": "none", "hue": "red"}}}',
        "not-a-look",
        "value",
    ),
    "found choice that is none": ('{"found": {"check": "horn-fuse-look", "value": "gone"}}', "not-a-choice", "value"),
    "correct nothing": ('{"correct": 9999, "value": 12}', "no-such-answer", "correct"),
    "correct by a fraction": ('{"correct": 3.0, "value": "horn-silent"}', "no-such-answer", "correct"),
    "correct true": ('{"correct": true, "value": 12}', "no-such-answer", "correct"),
    "correct without value": ('{"correct": 3}', "missing-field", "value"),
    "correct start by a number": ('{"correct": 3, "value": 12}', "not-text", "value"),
    "changed nothing": ('{"changed": ""}', "not-text", "changed"),
    "changed a number": ('{"changed": 5}', "not-text", "changed"),
    "note a list": ('{"note": []}', "not-text", "note"),
    "unknown remedy": ('{"remedied": "horn-polish"}', "unknown-remedy", "remedied"),
    "remedy of another kind": ('{"remedied": {"id": "horn-renew"}}', "unknown-remedy", "remedied"),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_line_gets_one_error_and_loses_nothing(talk: Outsider, name: str) -> None:
    """One error, the same ask again under a new id, and not a byte of the journal changed."""
    line, code, field = WRONG[name]
    journal = Path(talk.hello["job"])
    before, asked = journal.read_bytes(), talk.last
    text = line if isinstance(line, bytes) else line.replace('"ID"', json.dumps(asked["id"]))
    error = talk.refused(text)
    assert set(error) == ERROR
    assert (error["code"], error["field"]) == (code, field)
    assert error["text"] and error["expected"]
    assert len(json.dumps(error)) < 4000, "an error does not send back everything it was sent"
    assert journal.read_bytes() == before
    assert {**talk.last, "id": ""} == {**asked, "id": ""}
    assert talk.last["id"] != asked["id"]


def test_after_all_kinds_of_nesting_a_good_answer_is_still_taken(talk: Outsider) -> None:
    """Brackets just short of the reader's own limit are the ones that pass it and break what comes after."""
    for depth in range(930, 1001):
        asked = talk.last
        error = talk.refused(_deep(depth).replace('"ID"', json.dumps(asked["id"])))
        assert error["code"] in ("not-json", "not-a-reading")
    told = talk.told({"note": "half a sign \ud800 and a whole one \u2126"})
    assert told["ack"] == "noted"
    talk.told({"undo": True})
    talk.answer("12,4 V")
    talk.told({"undo": True})
