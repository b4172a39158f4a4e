"""Jobs written by hand for the small vehicle of the tests: what was seen, what cured it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import yaml

__all__ = ["CLEAR_LAMP", "DARK_AND_FED", "DARK_UNFED", "write_job"]

Said = tuple[str, Any]
DARK = {"light": "dark", "rhythm": "none"}
LIT = {"light": "normal", "rhythm": "steady"}
LAMP = {"kind": "look", "operate": {"ignition": "on"}, "target": "work-lamp"}
VOLTS = {"kind": "measure", "operate": {"ignition": "on"}, "red": "work-lamp.55", "black": "body", "unit": "V"}
DARK_AND_FED: tuple[Said, ...] = (("lamp-on", DARK), ("lamp-volts", 12.4))
"""Fires `lamp/feed-without-light`."""
DARK_UNFED: tuple[Said, ...] = (("lamp-on", DARK), ("lamp-volts", 0.0))
"""Tries it and does not."""
CLEAR_LAMP: tuple[Said, ...] = (("lamp-on", LIT),)
_ASKED: dict[str, dict[str, Any]] = {
    "lamp-on": LAMP,
    "lamp-volts": VOLTS,
    "fuse-marking": {"kind": "choose", "operate": {}},
}


def write_job(
    folder: Path,
    name: str,
    said: tuple[Said, ...],
    remedy: str,
    *,
    cause: str | None = None,
    knowledge: str = "hand-written",
    vehicle: str = "small",
    day: str = "2026-05-04",
    expect: Mapping[str, Any] | None = None,
) -> Path:
    """A closed job: the answers, one remedy, the lamp lit again. With `cause` what it must come to lies beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    opened = {"vehicle": vehicle, "vehicle-file": "small.yaml", "knowledge": knowledge, "tool": "0.1.0"}
    events: list[tuple[str, dict[str, Any]]] = [
        ("opened", {**opened, "engine": "none", "without": []}),
        *(("answered", {"check": check, **_ASKED[check], "value": value}) for check, value in said),
        ("remedied", {"remedy": remedy}),
        *(("answered", {"check": check, **_ASKED[check], "value": value}) for check, value in CLEAR_LAMP),
        ("proved", {"remedy": remedy}),
    ]
    at = datetime.fromisoformat(f"{day}T09:00:00").replace(tzinfo=UTC)
    lines = []
    for seq, (event, fields) in enumerate(events, start=1):
        stamp = (at + timedelta(minutes=seq)).isoformat().replace("+00:00", "Z")
        lines.append(json.dumps({"v": 1, "seq": seq, "at": stamp, "event": event, **fields}))
    path = folder / f"{name}.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    if cause is not None:
        content = {"ends-at": [remedy], "cause": [cause], **(expect or {})}
        path.with_name(f"{name}.expect.yaml").write_text(yaml.safe_dump(content), encoding="utf-8")
    return path
