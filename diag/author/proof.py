"""The job kept as the proof of what was added: a copy in the form of recorded jobs, stripped of what is personal.

The job itself is never touched. What the copy says otherwise than the job, it says because the person said so:
own work is told by the remedy that it became, and how an unknown control stood stands beside the answers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

import yaml

from diag.author.draft import Draft
from diag.job.records import Record, encode, stamp
from diag.job.state import replay
from diag.talk.findings import record_of
from diag.texts import t

__all__ = ["copied", "expected", "journal_bytes"]

_WORDS = {
    "opened": ("vehicle", "knowledge", "tool", "engine", "without"),
    "instruments": ("have",),
    "answered": ("check", "kind", "operate", "target", "red", "black", "through", "unit", "value", "batch", "stage"),
    "found": ("check", "kind", "operate", "target", "red", "black", "through", "unit", "value", "batch", "stage"),
    "acknowledged": ("check", "caution", "restored", "how", "stage"),
    "not-sure": ("check", "stage"),
    "skipped": ("check", "place", "reason", "stage"),
    "remedied": ("remedy", "stage"),
    "changed": ("stage",),
    "left-open": ("seqs",),
    "stage": ("stage",),
}
"""Fields of each event that hold ids, words of the vocabulary and numbers only."""
_REASONS = ("cannot-reach", "no-instrument", "later")


def copied(records: Sequence[Record], draft: Draft) -> tuple[Record, ...]:
    """The job as recorded for a replay: what stands, up to its end, with what the addition makes of it; stripped
    where the draft says so. Sequence numbers run anew; times are those of the job, or where it is stripped minutes
    from midnight of its day."""
    state = replay(records)
    out: list[tuple[str, str, dict[str, Any]]] = []
    opened = records[0]
    out.append((opened.at, "opened", dict(opened.fields)))
    if state.instruments is not None:
        out.append((opened.at, "instruments", {"have": list(state.instruments)}))
    renumbered: dict[int, int] = {}
    for entry in state.entries:
        if entry.event == "noted" and draft.strip and entry.seq != draft.cure:
            continue
        if entry.seq == draft.cure:
            out += [(entry.at, "found", record_of(step, value)) for step, value in draft.told]
        fields = {key: value for key, value in entry.fields.items() if key != "replaces"}
        event = entry.event
        if entry.seq == draft.cure:
            event, fields = "remedied", {"remedy": draft.remedy}
        elif fields.get("check") in ("start", "symptom"):
            fields["value"] = draft.symptoms.get(str(fields.get("value")), fields.get("value"))
        elif entry.seq in draft.held and isinstance(fields.get("operate"), Mapping):
            fields["operate"] = {**fields["operate"], **draft.at}
            fields.pop("check", None)  # it is another check now, found by what was done
        if isinstance(fields.get("seqs"), list | tuple):
            fields["seqs"] = [renumbered[seq] for seq in fields["seqs"] if seq in renumbered]
        renumbered[entry.seq] = len(out) + 1
        out.append((entry.at, event, fields))
    if draft.cure is None:
        last = state.entries[-1].at if state.entries else opened.at
        out += [(last, "found", record_of(step, value)) for step, value in draft.told]
        out.append((last, "remedied", {"remedy": draft.remedy}))
    began = datetime.fromisoformat(opened.at).replace(hour=0, minute=0, second=0, microsecond=0)
    finished = []
    for seq, (at, event, fields) in enumerate(out, start=1):
        if draft.strip:
            at, fields = stamp(began + timedelta(minutes=seq - 1)), _stripped(event, fields)
        finished.append(Record(1, seq, at, event, fields))
    return tuple(finished)


def _stripped(event: str, fields: Mapping[str, Any]) -> dict[str, Any]:
    """Ids, words of the vocabulary and numbers; nothing that a person wrote."""
    kept = {key: fields[key] for key in _WORDS.get(event, ()) if key in fields}
    if event == "opened":
        kept["vehicle-file"] = _file_name(str(fields.get("vehicle-file", "")))
    if event == "skipped" and kept.get("reason") not in _REASONS:
        kept["reason"] = "later"
    if event == "changed":
        kept["text"] = "own work"
    if event == "left-open":
        kept |= {"reason": "left open", "text": "left open"}
    if event == "stage" and "skip" in fields:
        kept["skip"] = "skipped"
    return kept


def _file_name(path: str) -> str:
    """The name alone, whichever system wrote the path."""
    return PureWindowsPath(path).name if "\\" in path else PurePosixPath(path).name


def journal_bytes(records: Sequence[Record]) -> bytes:
    """The records as a journal's file has them. Raises JournalError for a line that is too long."""
    return b"".join(encode(r.seq, r.at, r.event, dict(r.fields)) for r in records)


def expected(records: Sequence[Record], draft: Draft, source: str) -> str:
    """What the job must come to, as the file beside it says."""
    ends = [str(record.fields["remedy"]) for record in records if record.event == "remedied"]
    story = t("{draft}. Kept when a rule was added; it is led there by `{rule}`.", draft=draft.title, rule=draft.rule)
    content = {"title": draft.title, "story": story, "source": source, "cause": [draft.cause], "ends-at": ends}
    out: str = yaml.safe_dump(content, sort_keys=False, allow_unicode=True, width=110)
    return out
