"""What a recorded job itself says of how it went: the conclusions told at the time, or what it must come to.

Reads `concluded` records and expectations; weighs nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diag.job.state import Entry, replay
from diag.replay.forms import SURE, Carried, Expected, Outcome
from diag.replay.jobs import Job

__all__ = ["outcome_then"]


def outcome_then(job: Job) -> Outcome | None:
    """What was so then; None where the job does not say. What must come of it goes before what was told."""
    if job.problem or not job.records:
        return None
    try:
        state = replay(job.records)
    except ValueError:
        return None
    remedied = state.standing("remedied")
    if job.expected is not None:
        return _expected(job.name, state.vehicle, remedied, job.expected)
    if not state.concluded:
        return None
    carried = tuple(_carried(entry, _last_before(state.concluded, entry.seq)) for entry in remedied)
    last = _remedies(state.concluded[-1].fields)
    answers = [entry.seq for entry in state.standing("answered", "found")]
    sure = [c.seq for c in state.concluded if any(p is not None and p >= SURE for _, p in _remedies(c.fields)[:1])]
    top = (last[0][0], last[0][1]) if last and last[0][1] is not None else None
    return Outcome(
        job.name,
        state.vehicle,
        len(answers),
        carried,
        top,
        sure_after=sum(seq < sure[0] for seq in answers) if sure else None,
        source="journal",
    )


def _expected(name: str, vehicle: str, remedied: Sequence[Entry], expected: Expected) -> Outcome:
    done = [str(entry.fields.get("remedy")) for entry in remedied]
    right = [*expected.ends_at, *[""] * len(done)]
    carried = tuple(Carried(remedy, None, 0, leader, None) for remedy, leader in zip(done, right, strict=False))
    return Outcome(name, vehicle, carried=carried, source="expected")


def _last_before(concluded: Sequence[Entry], seq: int) -> Entry | None:
    before = [entry for entry in concluded if entry.seq < seq]
    return before[-1] if before else None


def _carried(entry: Entry, told: Entry | None) -> Carried:
    remedy = str(entry.fields.get("remedy"))
    found = _remedies(told.fields) if told is not None else []
    leader, leader_p = found[0] if found else ("", 0.0)
    for rank, (name, p) in enumerate(found, start=1):
        if name == remedy:
            return Carried(remedy, p, rank, leader, leader_p)
    return Carried(remedy, None, 0, leader, leader_p)


def _remedies(fields: Any) -> list[tuple[str, float | None]]:
    """Remedies that a conclusion named, with their chances."""
    listed = fields.get("remedies", ())
    out: list[tuple[str, float | None]] = []
    for one in listed if isinstance(listed, list | tuple) else ():
        if isinstance(one, dict) and isinstance(one.get("id"), str):
            p = one.get("p")
            sound = isinstance(p, int | float) and not isinstance(p, bool) and 0 <= p <= 1
            out.append((one["id"], float(p) if p is not None and sound else None))
    return out
