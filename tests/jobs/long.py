"""A job as the service record of one vehicle over years might be: thousands of answers, nearly all of them sound.

Looks and readings in many circuits, the same ones again and again; some notes, some answers taken back, now and then
one that was mistyped and corrected later. Where wanted, also some that were odd once and not when seen again. Lines are
written as the journal writes them, without asking anything; always the same for the same numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

from diag.job.records import encode, stamp
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step, Value
from diag.talk.findings import record_of

__all__ = ["long_job", "write_long_job"]

_NOTED, _UNDONE, _CORRECTED = 0.02, 0.01, 0.01
"""Shares of answers: followed by a note, taken back, put in wrongly and corrected later; guesses, common practice, no
source."""
_SITTING = 12
"""Checks that are made at one go, of one circuit or two."""
_PERIOD = 1000
"""Answers between two changes at the vehicle."""
_BEGUN = datetime(2020, 1, 6, 8, 0, tzinfo=UTC)

Fields = tuple[str, dict[str, Any]]


def long_job(reasoner: Reasoner, answers: int, seed: int = 7, odd_once: float = 0.0) -> Iterator[bytes]:
    """The lines of a job with so many answers, those taken back and corrected among them; the last one stands.
    `odd_once`: share of answers that are odd and then, seen again, as on a sound vehicle."""
    time, luck = _BEGUN, Random(f"when-{seed}")
    for seq, (event, fields) in enumerate(_events(reasoner, answers, Random(seed), odd_once), start=1):
        time += timedelta(seconds=luck.randrange(20, 7200))
        yield encode(seq, stamp(time), event, fields)


def write_long_job(path: Path, reasoner: Reasoner, answers: int, seed: int = 7, odd_once: float = 0.0) -> Path:
    """The same as a file that nobody else may read."""
    path.touch(mode=0o600)
    path.write_bytes(b"".join(long_job(reasoner, answers, seed, odd_once)))
    return path


def _events(reasoner: Reasoner, answers: int, luck: Random, odd_once: float) -> Iterator[Fields]:
    """Events with their fields; records are counted here too, for what names another record by its number."""
    vehicle, seq, left, since = reasoner.knowledge.vehicle.vehicle, 3, answers - 1, 0
    begun = {"vehicle": vehicle, "vehicle-file": f"{vehicle}.yaml", "knowledge": reasoner.knowledge.content_hash}
    yield "opened", {**begun, "tool": "1", "engine": reasoner.matcher.name, "without": []}
    yield "instruments", {"have": ["test-lamp", "meter", "helper"]}
    yield "answered", {"check": "start", "kind": "choose", "operate": {}, "value": "circuit:turn-signals"}
    sound = _sound(reasoner)
    again: list[tuple[int, Step, Value]] = []  # mistyped: corrected at the end of the sitting
    while left:
        for step, value in _sitting(sound, luck):
            if not left:
                return
            others, drawn = [one for one in step.outcomes if one != value], luck.random()
            odd = left > 1 and bool(others) and step.kind != "measure" and drawn < _CORRECTED + odd_once
            yield "answered", record_of(step, luck.choice(others) if odd else _read(step, value, luck))
            seq, left, since = seq + 1, left - 1, since + 1
            if odd and drawn < odd_once and left:
                yield "answered", record_of(step, value)
                seq, left, since = seq + 1, left - 1, since + 1
            elif odd:
                again.append((seq, step, value))
            elif left and luck.random() < _UNDONE:
                yield "undone", {"target": seq}
                seq += 1
            if luck.random() < _NOTED:
                yield "noted", {"text": f"Seen at {luck.randrange(20, 300)} thousand km, nothing loose"}
                seq += 1
        for wrong, step, value in again[:left]:
            yield "answered", {**record_of(step, value), "replaces": wrong}
            seq, left, since = seq + 1, left - 1, since + 1
        again = []
        if left and since >= _PERIOD:
            yield "changed", {"text": "Serviced, all terminals cleaned"}
            seq, since = seq + 1, 0


def _sound(reasoner: Reasoner) -> list[tuple[Step, Value]]:
    """What the vehicle's own checks show on a sound vehicle, where that is computed."""
    written = [step for step in reasoner.steps.values() if not step.generated]
    shown = [(step, reasoner.chances.shown(step)) for step in written]
    return [(step, value) for step, value in shown if value is not None and value != float("inf")]


def _sitting(sound: list[tuple[Step, Value]], luck: Random) -> list[tuple[Step, Value]]:
    first = luck.randrange(len(sound))
    return [sound[(first + n) % len(sound)] for n in range(luck.randrange(3, _SITTING))]


def _read(step: Step, value: Value, luck: Random) -> Value:
    """A reading to two decimals, at times half a hundredth of it up or down."""
    return round(value * luck.choice((0.995, 1.0, 1.0, 1.005)), 2) if isinstance(value, float) else value
