"""How long the key has been on with the engine stopped, by the times of the records. A pure function of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from diag.job.state import Entry, JobState

__all__ = ["CAUTION", "COIL_OFF", "MINUTES", "REMINDER", "coil_is_off", "key_on_minutes"]

CAUTION = "coil-live"
"""Caution of what is done with the key on and the engine stopped."""
COIL_OFF = "done"
"""How the caution was answered: terminal 15 of the coil is off. Anything else: it stays on."""
MINUTES = 2.0
"""So long a coil may be live with closed points (common practice, no source)."""
REMINDER = "coil-minutes-"
"""How the marks of reminders begin; each sets the clock back."""


def key_on_minutes(state: JobState) -> float:
    """Minutes that the key has been on up to the newest record; 0 with the key off or the engine running. It is
    taken to have been turned on when the answer before the first one with the key on was kept."""
    since: datetime | None = None
    before: datetime | None = None
    for entry in state.entries:
        at = datetime.fromisoformat(entry.at)
        on = _key_on(entry)
        if str(entry.fields.get("caution")).startswith(REMINDER):
            since = None
        elif on:
            since = since or before or at
        elif on is False:
            since = None
        before = at
    return (datetime.fromisoformat(state.last_at) - since).total_seconds() / 60 if since is not None else 0.0


def coil_is_off(state: JobState, back_on: str) -> bool:
    """Whether the coil was disconnected for the walk-round and not yet connected again; `back_on`: the mark of that."""
    off = False
    for entry in state.standing("acknowledged"):
        if entry.fields.get("caution") == CAUTION:
            off = entry.fields.get("how") == COIL_OFF
        elif entry.fields.get("caution") == back_on:
            off = False
    return off


def _key_on(entry: Entry) -> bool | None:
    """Whether an answer was given with the key on and the engine stopped; None where it says nothing of the key."""
    operate = entry.fields.get("operate")
    if entry.event not in ("answered", "found") or not isinstance(operate, Mapping):
        return None
    if entry.fields.get("check") in ("start", "symptom") or entry.fields.get("kind") == "choose":
        return None
    return operate.get("ignition", "off") != "off" and operate.get("engine") != "running"
