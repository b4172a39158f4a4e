"""Writes recorded jobs from facts: `python -m tests.jobs.write FACTS.yaml [NAME ...]`.

FACTS.yaml maps the name of a job to `vehicle`, `title`, `story`, `cause`, `not-at`, `decisive` (an entry's place
in `said`, from 0, and another value) and `said`: what was done in order, each a mapping with one of

- `complaint: SYMPTOM-ID` (the first begins the job, later ones are told in passing)
- `CHECK-ID: ANSWER` a check of the vehicle's files; a lamp is answered `light/rhythm` or `dark`
- `look: [target, OPERATE, ANSWER]` something looked at of one's own accord
- `volts: [red, black, OPERATE, READING]`, likewise `ohms`; `amps: [through, OPERATE, READING]`
- `caution: [CAUTION-ID, CHECK-ID]`, `remedied: REMEDY-ID`, `note: TEXT`

Facts come first: it writes what the hand says and never asks the program what to say. Then it prints what the
program believes, so that the two can be compared.
"""

from __future__ import annotations

import json
import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import yaml

from diag.circuit.predict import Predictor
from diag.job.journal import read_journal
from diag.job.state import replay
from diag.knowledge.assemble import Knowledge
from diag.knowledge.load import load_knowledge, rules_folder
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.talk.findings import findings_of
from tests.jobs.recorded import FOLDER, believed

_BEGAN = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
_PLACED = ("target", "red", "black", "through", "unit")
_UNITS = {"volts": "V", "ohms": "ohm", "amps": "A"}


def _value(knowledge: Knowledge, check: str, said: Any) -> Any:
    found = knowledge.checks[check]
    part = knowledge.parts.get((found.target or "").split(".")[0])
    if found.kind == "choose":
        known = [choice.value for choice in found.choices]
        assert said in known, f"{check}: {said} is none of {known}"
    if found.kind == "look" and part is not None and part.kind in ("lamp", "two-filament-lamp"):
        light, _, rhythm = str(said).partition("/")
        return {"light": light, "rhythm": rhythm or ("none" if light == "dark" else "steady")}
    return said


def _measured(word: str, said: list[Any]) -> dict[str, Any]:
    *points, operate, value = said
    named = {"through": points[0]} if word == "amps" else {"red": points[0], "black": points[1]}
    return {"kind": "measure", "operate": operate, **named, "unit": _UNITS[word], "value": value}


def _event(knowledge: Knowledge, said: dict[str, Any], began: bool) -> tuple[str, dict[str, Any]]:
    (word, value), *more = said.items()
    assert not more, f"one thing an entry: {said}"
    if word == "complaint":
        event, check = ("found", "symptom") if began else ("answered", "start")
        return event, {"check": check, "kind": "choose", "operate": {}, "value": value}
    if word in _UNITS:
        return "found", _measured(word, value)
    if word == "look":
        target, operate, answer = value
        light, _, rhythm = answer.partition("/")
        seen = {"light": light, "rhythm": rhythm or ("none" if light == "dark" else "steady")}
        return "found", {"kind": "look", "operate": operate, "target": target, "value": seen}
    if word == "caution":
        return "acknowledged", {"check": value[1], "caution": value[0]}
    if word in ("remedied", "note"):
        return {"note": "noted"}.get(word, word), {"remedy" if word == "remedied" else "text": value}
    check = knowledge.checks[word]
    operate = dict(check.operate)
    if check.unit == "ohm":
        operate["battery"] = "disconnected"
    placed = {key: getattr(check, key) for key in _PLACED if getattr(check, key) is not None}
    fields = {"check": word, "kind": check.kind, "operate": operate, **placed}
    return "answered", {**fields, "value": _value(knowledge, word, value)}


def write(name: str, facts: dict[str, Any], knowledge: Knowledge) -> Path:
    """The two files of one job. Raises KeyError for a check that the vehicle does not have."""
    vehicle = knowledge.vehicle.vehicle
    opened = {"vehicle": vehicle, "vehicle-file": f"{vehicle}.yaml", "knowledge": "hand-written", "tool": "0.1.0"}
    events: list[tuple[str, dict[str, Any]]] = [
        ("opened", {**opened, "engine": "none", "without": []}),
        ("instruments", {"have": ["test-lamp", "meter", "helper"]}),
    ]
    began = False
    for said in facts["said"]:
        events.append(_event(knowledge, said, began))
        began = True
    at, lines = _BEGAN + timedelta(days=sum(map(ord, name)) % 240), []
    for seq, (event, fields) in enumerate(events, start=1):
        stamp = at.isoformat(timespec="seconds").removesuffix("+00:00") + "Z"
        lines.append(json.dumps({"v": 1, "seq": seq, "at": stamp, "event": event, **fields}, separators=(",", ":")))
        at += timedelta(seconds=40 + (seq * 17) % 35 + (600 if event == "remedied" else 0))
    path = FOLDER / f"{name}.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    ends = [said["remedied"] for said in facts["said"] if "remedied" in said]
    place, value = facts["decisive"]
    said = dict(facts["said"][place])
    changed = value if next(iter(said)) not in knowledge.checks else _value(knowledge, next(iter(said)), value)
    after = next(s["remedied"] for s in facts["said"][place:] if "remedied" in s)
    expect = {
        "title": facts["title"],
        "story": facts["story"],
        "source": "common practice, no source",
        "cause": facts["cause"],
        "ends-at": ends,
        "not-at": facts.get("not-at", []),
        "decisive": {"seq": place + 3, "value": changed, "then-not": after},
    }
    text = yaml.safe_dump(expect, sort_keys=False, allow_unicode=True, width=110)
    (FOLDER / f"{name}.expect.yaml").write_text(text, encoding="utf-8")
    return path


def _told(name: str, facts: dict[str, Any], reasoner: Reasoner) -> None:
    """What the program believes before each remedy, at the end, and with the decisive answer changed."""
    records, _ = read_journal(FOLDER / f"{name}.jsonl")
    print(f"{name}: {', '.join(facts['cause'])}")
    for seq in findings_of(reasoner, replay(records))[3]:
        print(f"   ANSWER {seq} MEANS NOTHING: {dict(records[seq - 1].fields)}")
    for i, record in enumerate(records):
        if record.event == "remedied":
            beliefs = believed(reasoner, records[:i])
            led = ", ".join(f"{remedy} {p:.2f}" for remedy, p in beliefs.ranking[:4])
            print(f"   before {record.fields['remedy']}: {led}; unexplained {beliefs.posterior.unexplained}")
    print(f"   sound at the end: {believed(reasoner, records).posterior.healthy:.2f}")
    place, _ = facts["decisive"]
    expect = yaml.safe_load((FOLDER / f"{name}.expect.yaml").read_text(encoding="utf-8"))["decisive"]
    changed = [
        type(r)(r.v, r.seq, r.at, r.event, {**r.fields, "value": expect["value"]}) if r.seq == expect["seq"] else r
        for r in records
    ]
    stop = next(i for i, r in enumerate(changed) if r.event == "remedied" and r.seq > place + 2)
    led = ", ".join(f"{remedy} {p:.2f}" for remedy, p in believed(reasoner, tuple(changed[:stop])).ranking[:2])
    print(f"   with answer {expect['seq']} changed: {led}")


def main() -> None:
    """Write the named jobs, or all, and print what is believed of them."""
    every = yaml.safe_load(Path(sys.argv[1]).read_text(encoding="utf-8"))
    reasoners: dict[str, Reasoner] = {}
    for name, facts in every.items():
        if len(sys.argv) > 2 and name not in sys.argv[2:]:
            continue
        file = str(facts["vehicle"])
        if file not in reasoners:
            path = Path(file) if file.endswith(".yaml") else rules_folder() / "vehicles" / f"{file}.yaml"
            knowledge = load_knowledge(path)
            cache = Path("/tmp") / "diag-write"
            reasoners[file] = Reasoner(
                knowledge,
                Predictor(knowledge, step_operates(knowledge), cache, None, looked_at(knowledge)),
                default_matcher(),
            )
        write(name, facts, reasoners[file].knowledge)
        _told(name, facts, reasoners[file])


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main()
