"""Ten thousand different recorded jobs out of a few hundred that were played, always the same for the same numbers.

A simulated fitter plays hidden faults drawn by how often they are met; each copy then differs as jobs do: other
times and instruments, answers in another order, one misread or passed over, volts read a little differently.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

from diag.job.records import Record, encode, stamp
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.demo import play_through
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter

__all__ = ["copies", "played_jobs", "write_jobs"]

_INSTRUMENTS = (("test-lamp", "meter"), ("meter",), ("test-lamp", "meter", "helper"))
_DOUBLE, _PASSED_OVER, _MISREAD, _TURNED = 0.08, 0.3, 0.06, 0.5
"""Shares of jobs with two faults; of copies with an answer passed over, misread, given in another order; the last
three are guesses, common practice, no source."""
_BEGUN = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)

Fields = tuple[str, dict[str, Any]]
"""Event and fields of a record."""


def played_jobs(reasoner: Reasoner, count: int, seed: int = 6) -> list[list[Fields]]:
    """So many whole jobs with faults that somebody would notice. The reasoner needs the wiring."""
    luck = Random(seed)
    names, jobs = [cause.id for cause in reasoner.causes], []
    while len(jobs) < count:
        faults = list(
            dict.fromkeys(luck.choices(names, weights=reasoner.prior.tolist(), k=1 + (luck.random() < _DOUBLE)))
        )
        fitter = SimulatedFitter(reasoner, faults)
        if fitter.complaint() is None:
            continue
        keeper = Rehearsed.opened(reasoner, luck.choice(_INSTRUMENTS))
        conversation = Conversation(reasoner, keeper, "played")
        play_through(conversation, fitter, lambda found: None, lambda message: None)
        jobs.append([(record.event, dict(record.fields)) for record in keeper.records if record.event != "asked"])
    return jobs


def copies(reasoner: Reasoner, jobs: Sequence[list[Fields]], vehicle: Path, seed: int = 6) -> Iterator[list[Record]]:
    """Copies without end, the jobs in turn; the first of each is as it was played."""
    number = 0
    while True:
        luck = Random(f"{seed}-{number}")
        events = [(event, dict(fields)) for event, fields in jobs[number % len(jobs)]]
        events[0][1]["vehicle-file"] = str(vehicle.resolve())
        if number >= len(jobs):
            events = _varied(reasoner, events, luck)
        time = _BEGUN + timedelta(hours=7 * number, seconds=luck.randrange(3600))
        records = []
        for seq, (event, fields) in enumerate(events, start=1):
            time += timedelta(seconds=luck.randrange(15, 240))
            records.append(Record(1, seq, stamp(time), event, fields))
        yield records
        number += 1


def _varied(reasoner: Reasoner, events: list[Fields], luck: Random) -> list[Fields]:
    """The job as another fitter might have told it."""
    out = [one for one in events if one[0] not in ("concluded", "proved")]  # what was told then was told for others
    answers = [i for i, (event, fields) in enumerate(out) if event == "answered" and fields.get("check") != "start"]
    first = next((i for i, (event, _) in enumerate(out) if event == "remedied"), len(out))
    before = [i for i in answers if i < first]
    for i in answers:
        fields = out[i][1]
        if fields.get("unit") == "V" and isinstance(fields["value"], float):
            fields["value"] = round(fields["value"] + luck.gauss(0, 0.03), 2)
    if before and luck.random() < _MISREAD:
        fields = out[luck.choice(before)][1]
        step = reasoner.steps.get(str(fields.get("check")))
        if step is not None and step.outcomes:
            found = luck.choice(step.outcomes)
            fields["value"] = {"light": found[0], "rhythm": found[1]} if isinstance(found, tuple) else found
    if len(before) > 2 and luck.random() < _TURNED:
        place = luck.randrange(len(before) - 1)
        a, b = before[place], before[place + 1]
        out[a], out[b] = out[b], out[a]
    if len(before) > 3 and luck.random() < _PASSED_OVER:
        i = luck.choice(before)
        out[i] = "skipped", {"check": out[i][1].get("check"), "reason": "later"}
    return out


def write_jobs(folder: Path, jobs: Iterator[list[Record]], count: int) -> int:
    """Writes so many, a hundred to a folder; bytes in all."""
    size = 0
    for number in range(count):
        place = folder / f"{number // 100:04}"
        place.mkdir(parents=True, exist_ok=True)
        content = b"".join(encode(r.seq, r.at, r.event, r.fields) for r in next(jobs))
        (place / f"job-{number:05}.jsonl").write_bytes(content)
        size += len(content)
    return size
