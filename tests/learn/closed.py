"""Closed jobs for the tests of learning: recorded jobs put on a small vehicle, changed where a test says so."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from diag.job.journal import read_journal
from diag.job.records import Record, decode
from diag.job.state import JobState, replay

FOLDER = Path(__file__).parents[2] / "transcripts"
HORN_JOBS = {
    "horn-fuse": "fuse-horn.blown",
    "horn-feed-wire": "horn-feed.open",
    "horn-itself": "horn.open",
    "horn-button-earth": "column-strap.open",
    "horn-clicks-seized": "horn.seized",
    "horn-at-once": "horn-to-column.to-body",
    "horn-when-steering": "slip-ring-wire.to-body",
}
"""Recorded jobs that need no other circuit than the horn's, and what was really wrong."""
HORN_VEHICLE = """\
vehicle: demo-pickup
title: Demo pickup with its horn alone
system-v: 12 V
earth: negative
history: rewired
circuits: [horn]
"""
Lines = list[dict[str, Any]]


def horn_vehicle(folder: Path) -> Path:
    """The file of a vehicle with the horn's circuit alone."""
    path = folder / "horn-alone.yaml"
    path.write_text(HORN_VEHICLE, encoding="utf-8")
    return path


def lines_of(name: str) -> Lines:
    """The records of a recorded job, ended as a conversation ends it."""
    lines = [json.loads(line) for line in (FOLDER / f"{name}.jsonl").read_text(encoding="utf-8").splitlines()]
    return [*lines, {"v": 1, "at": lines[-1]["at"], "event": "proved", "open": []}]


def at(lines: Lines, event: str, **fields: Any) -> int:
    """Place of the first record of that event with those fields."""
    return next(
        i
        for i, line in enumerate(lines)
        if line["event"] == event and all(line.get(key) == value for key, value in fields.items())
    )


def text_of(lines: Lines) -> str:
    """As a journal's file; numbered anew."""
    for seq, line in enumerate(lines, start=1):
        line["seq"] = seq
        line.setdefault("v", 1)
        line.setdefault("at", lines[max(seq - 2, 0)].get("at", lines[0]["at"]))
    return "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines)


def write_job(
    folder: Path, name: str, vehicle: Path, change: Callable[[Lines], Any] = lambda lines: None, like: str | None = None
) -> Path:
    """A closed job on that vehicle file, like the recorded one `like` (its own name where None)."""
    lines = lines_of(like or name)
    lines[0]["vehicle-file"] = str(vehicle)
    change(lines)
    path = folder / f"{name}.jsonl"
    path.write_text(text_of(lines), encoding="utf-8")
    return path


def state_of(path: Path) -> JobState:
    """The job's state."""
    return replay(read_journal(path)[0])


def records_of(lines: Lines) -> tuple[Record, ...]:
    """Lines as the records of a job that was never written."""
    return tuple(
        decode(line.encode(), "a job", number) for number, line in enumerate(text_of(lines).splitlines(), start=1)
    )


def state_from(lines: Lines) -> JobState:
    """The state of the same."""
    return replay(records_of(lines))
