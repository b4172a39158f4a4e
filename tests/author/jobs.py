"""Jobs as a person would have recorded them, on small vehicles of one circuit, for tests of what they teach."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from diag.circuit.predict import Predictor
from diag.job.records import Record
from diag.knowledge.load import load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner

__all__ = [
    "complaint",
    "heard",
    "looked",
    "measured",
    "opened_reasoner",
    "recorded",
    "small_vehicle",
    "wrote",
]

Event = tuple[str, dict[str, Any]]
DARK, LIT = ("dark", "none"), ("normal", "steady")


def small_vehicle(folder: Path, *circuits: str, name: str = "greta") -> Path:
    """A vehicle of a few circuits whose name, title and alterations tell of its owner."""
    file = folder / f"{name}.yaml"
    lines = [f"vehicle: {name}", "title: Greta of Mr Brown", "system-v: 12 V", "earth: negative", "history: rewired"]
    lines += [f"circuits: [{', '.join(circuits)}]", "alterations: [bought in 1998 from Mr Smith]  # his neighbour"]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def complaint(symptom: str) -> Event:
    """What the job began with."""
    return "answered", {"check": "start", "kind": "choose", "operate": {}, "value": symptom}


def looked(check: str, target: str, operate: dict[str, str], look: tuple[str, str]) -> Event:
    """A look at a lamp."""
    value = {"light": look[0], "rhythm": look[1]}
    return "answered", {"check": check, "kind": "look", "operate": operate, "target": target, "value": value}


def heard(check: str, target: str, operate: dict[str, str], word: str) -> Event:
    """Something listened to."""
    return "answered", {"check": check, "kind": "listen", "operate": operate, "target": target, "value": word}


def measured(check: str, red: str, operate: dict[str, str], volts: float) -> Event:
    """Volts against body; without a check, of one's own accord."""
    fields = {"kind": "measure", "operate": operate, "red": red, "black": "body", "unit": "V", "value": volts}
    return ("answered", {"check": check, **fields}) if check else ("found", fields)


def recorded(events: list[Event], vehicle: Path) -> list[Record]:
    """Records of a job on this vehicle, one every 47 seconds of a morning."""
    opened = {
        "vehicle": vehicle.stem,
        "vehicle-file": str(vehicle.resolve()),
        "knowledge": "0123456789abcdef",
        "tool": "0.1.0",
        "engine": "none",
        "without": [],
    }
    every: list[Event] = [("opened", opened), ("instruments", {"have": ["test-lamp", "meter", "helper"]}), *events]
    at = datetime(2026, 11, 28, 9, 13, 7, tzinfo=UTC)
    out = []
    for seq, (event, fields) in enumerate(every, start=1):
        stamp = (at + timedelta(seconds=47 * seq)).isoformat().replace("+00:00", "Z")
        out.append(Record(1, seq, stamp, event, fields))
    return out


def wrote(path: Path, records: list[Record]) -> Path:
    """The same as a journal on disk."""
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = [json.dumps({"v": r.v, "seq": r.seq, "at": r.at, "event": r.event, **r.fields}) for r in records]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def opened_reasoner(vehicle: Path, tables: Path) -> Reasoner:
    """The reasoner of a vehicle on the layers of this machine."""
    knowledge = load_knowledge(vehicle)
    predictor = Predictor(knowledge, step_operates(knowledge), tables, None, looked_at(knowledge))
    return Reasoner(knowledge, predictor, default_matcher())


def lid_job(vehicle: Path) -> list[Record]:
    """The number-plate lamp hangs in a lid: dark while it was open, lit when it was shut, and nothing in the files
    knows of a lid. The wire was found chafed in the hinge."""
    side = {"lights": "side"}
    return recorded(
        [
            complaint("plate-lamp-dead"),
            looked("plate", "plate-lamp", side, DARK),
            measured("", "plate-lamp.58", side, 0.02),
            looked("plate", "plate-lamp", side, LIT),
            looked("tail-left", "tail-lamp-left", side, LIT),
            ("noted", {"text": "dark whenever I open the lid, says Mr Brown, call 555-1234"}),
            ("changed", {"text": "Plate wire was chafed through in the hinge of the lid, sleeved it. Paid by Brown."}),
            looked("plate", "plate-lamp", side, LIT),
            measured("", "plate-lamp.58", side, 12.4),
        ],
        vehicle,
    )
