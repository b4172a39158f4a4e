"""The state of a job as a pure function of its records: what stands, what was withdrawn, where it is.

Knows the events of a journal; nothing of knowledge, predictions or questions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from diag.job.layered import LayerTold, layers_of
from diag.job.records import Record
from diag.texts import t

__all__ = ["EVENTS", "INPUTS", "Entry", "JobState", "replay"]

EVENTS = (
    "opened",
    "instruments",
    "asked",
    "answered",
    "skipped",
    "not-sure",
    "acknowledged",
    "found",
    "undone",
    "noted",
    "changed",
    "concluded",
    "remedied",
    "proved",
    "left-open",
    "stage",
    "resumed",
)
INPUTS = (
    "answered",
    "skipped",
    "not-sure",
    "acknowledged",
    "found",
    "noted",
    "changed",
    "remedied",
    "left-open",
    "stage",
)
"""Events that a person put in and may withdraw."""


@dataclass(frozen=True)
class Entry:
    """An input that stands. `period`: 0 before the first remedy or change, then counted up.
    `replaced`: seq of the answer that this one corrects (its place in the order is kept)."""

    seq: int
    at: str
    event: str
    fields: Mapping[str, Any]
    period: int
    replaced: int | None = None


@dataclass(frozen=True)
class JobState:
    """A job. `without`: what the last session left out. `layers`: of the knowledge it began with, None where the
    journal is older than they are. `entries`: standing inputs in order. `withdrawn`: seqs undone or corrected.
    `concluded`: conclusions told, for the log only. `seq`: of the last record."""

    vehicle: str
    vehicle_file: str
    knowledge: str
    tool: str
    engine: str
    without: tuple[str, ...]
    layers: tuple[LayerTold, ...] | None
    opened_at: str
    last_at: str
    instruments: tuple[str, ...] | None
    entries: tuple[Entry, ...]
    withdrawn: tuple[Entry, ...]
    concluded: tuple[Entry, ...]
    resumed: tuple[Entry, ...]
    period: int
    seq: int

    def standing(self, *events: str) -> list[Entry]:
        """Standing entries of those events, in order."""
        return [entry for entry in self.entries if entry.event in events]

    def newest(self) -> Entry | None:
        """The input that `undo` would withdraw."""
        return max(self.entries, key=lambda entry: entry.seq, default=None)

    def until(self, count: int) -> JobState:
        """The job as it stood after its first `count` standing entries."""
        entries = self.entries[:count]
        return replace(self, entries=entries, concluded=(), period=entries[-1].period if entries else 0)

    def with_it(self, entry: Entry) -> list[Entry]:
        """Other standing entries that were put in by the same key as this one."""
        batch = entry.fields.get("batch")
        return [e for e in self.entries if batch is not None and e.fields.get("batch") == batch and e.seq != entry.seq]


def replay(records: Sequence[Record]) -> JobState:
    """Fold records into the state. `asked`, `concluded` and `resumed` inform only, so another choice of
    questions never breaks a recording. Raises ValueError where the first record is not `opened`."""
    if not records or records[0].event != "opened":
        raise ValueError(t("a job begins with an `opened` record"))
    gone: set[int] = set()
    for record in records:
        if record.event == "undone":
            also = record.fields.get("also")  # what was answered by one key goes by one undo
            wanted = [record.fields.get("target"), *(also if isinstance(also, list | tuple) else ())]
            gone.update(target for target in wanted if isinstance(target, int))
    correction: dict[int, Record] = {}
    for record in records:
        replaces = record.fields.get("replaces")
        if record.event in ("answered", "found") and isinstance(replaces, int) and record.seq not in gone:
            correction[replaces] = record
    replaced = {record.seq for record in correction.values()}
    opened = records[0].fields
    entries: list[Entry] = []
    withdrawn: list[Entry] = []
    concluded: list[Entry] = []
    resumed: list[Entry] = []
    instruments: tuple[str, ...] | None = None
    without = opened["without"] if isinstance(opened.get("without"), list | tuple) else ()
    period = 0
    for record in records:
        if record.event == "instruments":
            have = record.fields.get("have")
            instruments = tuple(map(str, have)) if isinstance(have, list | tuple) else ()
        elif record.event in ("concluded", "resumed"):
            side = concluded if record.event == "concluded" else resumed
            side.append(Entry(record.seq, record.at, record.event, record.fields, period))
            if record.event == "resumed" and isinstance(record.fields.get("without"), list):
                without = record.fields["without"]
        if record.event not in INPUTS or record.seq in replaced:
            continue
        if record.seq in gone:
            withdrawn.append(Entry(record.seq, record.at, record.event, record.fields, period))
            continue
        if record.event in ("remedied", "changed"):
            period += 1
        newest = record
        while newest.seq in correction:
            withdrawn.append(Entry(newest.seq, newest.at, newest.event, newest.fields, period))
            newest = correction[newest.seq]
        entries.append(
            Entry(
                newest.seq, newest.at, newest.event, newest.fields, period, record.seq if newest is not record else None
            )
        )
    return JobState(
        str(opened.get("vehicle", "")),
        str(opened.get("vehicle-file", "")),
        str(opened.get("knowledge", "")),
        str(opened.get("tool", "")),
        str(opened.get("engine", "")),
        tuple(str(word) for word in without),
        layers_of(opened),
        records[0].at,
        records[-1].at,
        instruments,
        tuple(entries),
        tuple(withdrawn),
        tuple(concluded),
        tuple(resumed),
        period,
        records[-1].seq,
    )
