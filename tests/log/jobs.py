"""Jobs written line by line for tests of the log."""

from __future__ import annotations

import json
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

TRANSCRIPTS = Path(__file__).resolve().parents[2] / "transcripts"
ZONE = timezone(timedelta(hours=2), "XST")
"""An invented zone, so that no test leans on the machine's own."""


def write_job(folder: Path, *events: tuple[str, dict[str, Any]], opened: dict[str, Any] | None = None) -> Path:
    """A journal that begins with `opened`; each further event is one minute later."""
    first = {
        "vehicle": "demo-pickup",
        "vehicle-file": "/home/somebody/cars/demo-pickup.yaml",
        "knowledge": "0123456789abcdef",
        "tool": "0.0.1",
        "engine": "older engine 1",
        "without": [],
        **(opened or {}),
    }
    records = [("opened", first), *events]
    lines = [
        json.dumps({"v": 1, "seq": seq, "at": f"2026-04-01T22:{seq:02d}:00Z", "event": event, **fields})
        for seq, (event, fields) in enumerate(records, start=1)
    ]
    path = folder / "job.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def complaint(symptom: str) -> tuple[str, dict[str, Any]]:
    return "answered", {"check": "start", "kind": "choose", "operate": {}, "value": symptom}


def horn_sounds(word: str, **more: Any) -> tuple[str, dict[str, Any]]:
    fields = {"check": "horn-sound", "kind": "listen", "operate": {"horn-button": "pressed"}, "target": "horn"}
    return "answered", {**fields, "value": word, **more}
