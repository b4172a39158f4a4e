"""The state of a growing journal, folded on from what it was wherever the new record only adds to it.

What comes out is what `replay` gives for the same records; knows nothing of what an answer means.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diag.job.records import Record
from diag.job.state import INPUTS, Entry, JobState, replay

__all__ = ["Fold"]

_INFORM = ("asked", "proved")


class Fold:
    """Remembers the last state, by the records that it depends on."""

    def __init__(self) -> None:
        self._last: tuple[int, Record, JobState, bool] | None = None

    def state(self, records: Sequence[Record]) -> JobState:
        """The state of these records. Raises ValueError where they do not begin a job."""
        known, count = self._last, len(records)
        if known is not None and known[0] <= count and records[known[0] - 1] is known[1]:
            found: JobState | None = known[2]
            for record in records[known[0] :]:
                found = _added(found, record) if found is not None and not known[3] else None
                if found is None:
                    break
            if found is not None:
                self._last = (count, records[-1], found, known[3])
                return found
        state = replay(records)
        self._last = (count, records[-1], state, any(map(_names_a_later_one, records)))
        return state


def _added(state: JobState, record: Record) -> JobState | None:
    """The state with one record more; None where it does more than add to it."""
    event, fields = record.event, record.fields
    if event in _INFORM:
        return replace(state, last_at=record.at, seq=record.seq)
    if event == "concluded":
        entry = Entry(record.seq, record.at, event, fields, state.period)
        return replace(state, concluded=(*state.concluded, entry), last_at=record.at, seq=record.seq)
    if event not in INPUTS or "replaces" in fields:
        return None
    period = state.period + (event in ("remedied", "changed"))
    entry = Entry(record.seq, record.at, event, fields, period)
    return replace(state, entries=(*state.entries, entry), period=period, last_at=record.at, seq=record.seq)


def _names_a_later_one(record: Record) -> bool:
    """Whether it takes back or corrects a record that comes after it, as no journal of ours does."""
    also = record.fields.get("also")
    named = [record.fields.get("target"), record.fields.get("replaces"), *(also if isinstance(also, list) else ())]
    return any(isinstance(number, int) and number >= record.seq for number in named)
