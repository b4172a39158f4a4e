"""What an addition changes in earlier recorded jobs: each that it can touch replayed without it and with it.

One vehicle is open at a time, for a whole one takes much memory. Knows nothing of how it is told.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diag.author.draft import Draft
from diag.author.narrowed import narrowed
from diag.errors import DiagError
from diag.job.folder import list_jobs
from diag.job.records import Record
from diag.job.state import replay
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import Layer
from diag.knowledge.load import load_knowledge
from diag.reason.reasoner import Reasoner
from diag.replay.forms import Outcome
from diag.replay.jobs import Job, job_folders, jobs_in, read_job
from diag.replay.outcome import Difference, compare, outcome
from diag.talk.opening import vehicle_finder
from diag.texts import t

__all__ = ["Effects", "Opener", "earlier_jobs", "effects_of", "ends_right"]

Opener = Callable[[Path, Sequence[Layer]], Reasoner]
"""Opens the reasoner of a vehicle file on these layers."""
Progress = Callable[[float], None]
_MOST_OWN = 200
"""Newest of the person's own jobs that are looked at; `diag replay` goes through all."""
_LESS = 0.05
"""A chance of what cured it that moves by so much is told."""


@dataclass(frozen=True)
class Effects:
    """`looked`: recorded jobs looked at; `replayed`: those that could be touched. `worse` (a right conclusion is
    lost), `weaker` (the same one, less sure or later) and `better`: jobs with what changed in words; the rest of the
    replayed are as they were. `own`: what comes of the addition's own job (None:
    it has none)."""

    looked: int
    replayed: int
    worse: Mapping[str, str] = field(default_factory=dict)
    better: Mapping[str, str] = field(default_factory=dict)
    weaker: Mapping[str, str] = field(default_factory=dict)
    own: Outcome | None = None

    @property
    def same(self) -> int:
        """Replayed jobs in which nothing changed that counts."""
        return self.replayed - len(self.worse) - len(self.better) - len(self.weaker)


def ends_right(own: Outcome, remedy: str) -> bool:
    """Whether the addition's own job ends at its cure."""
    last = next((one for one in reversed(own.carried) if one.remedy == remedy), None)
    return not own.problem and last is not None and last.clear_leader == remedy


def earlier_jobs(layers: Sequence[Layer], but: str = "") -> list[Job]:
    """Recorded jobs of all layers and the newest of the person's own closed ones; `but`: the path of one that is
    left out."""
    found = [job for _, folder in job_folders(layers) for job in jobs_in(folder)]
    own = [path for path in list_jobs() if not but or path.resolve() != Path(but).resolve()]
    found += [job for job in map(read_job, own[:_MOST_OWN]) if _closed(job)]
    return [job for job in found if job.records and not job.problem]


def _closed(job: Job) -> bool:
    return any(record.event == "remedied" for record in job.records)


def effects_of(
    draft: Draft,
    own: tuple[Path, Sequence[Record]] | None,
    jobs: Sequence[Job],
    layers: Sequence[Layer],
    tried: Sequence[Layer],
    open_with: Opener,
    known: Reasoner,
    progress: Progress,
    *,
    whole: bool = False,
) -> Effects:
    """Replays without and with the addition. `own`: vehicle file and copied records of its own job; `layers` and
    `tried`: today's and those with the addition; `known`: the reasoner of the own vehicle, open on today's layers.
    Jobs of other vehicles are replayed on the circuits that they are about, or with `whole` on the whole vehicle."""
    work = _work(draft, jobs, layers)
    mine = own[0].resolve() if own is not None else None
    if mine is not None:
        work.setdefault(mine, _Touched(known.knowledge))
    total = 1 + sum(2 * len(found.jobs) + 2 for found in work.values())
    telling = _Telling(progress, total)
    told: dict[str, dict[str, str]] = {"worse": {}, "better": {}, "weaker": {}}
    ended = None
    with tempfile.TemporaryDirectory(prefix="diag-narrow-") as folder:
        for vehicle, found in work.items():
            file = vehicle
            if not whole and vehicle != mine:
                file = narrowed(found.knowledge, vehicle, found.circuits, layers, Path(folder))
            reasoner = known if vehicle == mine else open_with(file, layers)
            before = telling.outcomes(reasoner, found.jobs)
            reasoner = open_with(file, tried)
            after = telling.outcomes(reasoner, found.jobs)
            if vehicle == mine and own is not None:
                ended = outcome(reasoner, own[1], "own")
            del reasoner
            for job, was, now in zip(found.jobs, before, after, strict=True):
                verdict, words = _told(compare(was, now))
                if verdict:
                    told[verdict][job.name] = words
    count = sum(len(found.jobs) for found in work.values())
    return Effects(len(jobs), count, told["worse"], told["better"], told["weaker"], ended)


@dataclass
class _Telling:
    """How much is done."""

    progress: Progress
    total: int
    done: int = 0

    def outcomes(self, reasoner: Reasoner, jobs: Sequence[Job]) -> list[Outcome]:
        """Of each job, told as they come."""
        self._step()
        out = []
        for job in jobs:
            out.append(outcome(reasoner, job.records, job.name))
            self._step()
        return out

    def _step(self) -> None:
        self.done += 1
        self.progress(self.done / self.total)


# ---------------------------------------------------------------- which can be touched


@dataclass
class _Touched:
    """Jobs of one vehicle that an addition can touch, and the circuits that they are about."""

    knowledge: Knowledge
    jobs: list[Job] = field(default_factory=list)
    circuits: set[str] = field(default_factory=set)


def _work(draft: Draft, jobs: Sequence[Job], layers: Sequence[Layer]) -> dict[Path, _Touched]:
    """Per vehicle the jobs in which the rule could fire, or whose circuit the new cause lies in."""
    work: dict[Path, _Touched] = {}
    not_there: set[Path] = set()
    vehicle_of = vehicle_finder()
    for job in jobs:
        try:
            vehicle = vehicle_of(replay(job.records)).resolve()
            if vehicle not in work and vehicle not in not_there:
                knowledge = load_knowledge(vehicle, layers=tuple(layers))
                if draft.circuit in knowledge.circuits:
                    work[vehicle] = _Touched(knowledge)
                else:
                    not_there.add(vehicle)
        except (ValueError, DiagError):
            continue
        if vehicle in work and _touches(draft, work[vehicle].knowledge, job.records):
            work[vehicle].jobs.append(job)
            for record in job.records:
                work[vehicle].circuits |= {draft.circuit, *_circuits(work[vehicle].knowledge, record.fields)}
    return {vehicle: found for vehicle, found in work.items() if found.jobs}


def _touches(draft: Draft, knowledge: Knowledge, records: Iterable[Record]) -> bool:
    checks = draft.checks()
    everywhere = draft.new_cause or "remedies" in draft.entries  # a cause has another remedy now
    for record in records:
        if record.event not in ("answered", "found"):
            continue
        if str(record.fields.get("check")) in checks:
            return True
        if everywhere and draft.circuit in _circuits(knowledge, record.fields):
            return True
    return False


def _circuits(knowledge: Knowledge, fields: Mapping[str, Any]) -> set[str]:
    """Circuits that an answer is about: of its check or complaint, and of what was looked at or touched."""
    owner, names = knowledge.circuit_of, [str(fields.get("check")), str(fields.get("value"))]
    names += [str(fields[key]).split(".")[0] for key in ("target", "red", "black", "through") if fields.get(key)]
    found = {owner[name] for name in names if name in owner}
    if str(fields.get("value")).startswith("circuit:"):
        found.add(str(fields["value"]).removeprefix("circuit:"))
    return found | ({"shared"} if found else set())


def _told(found: Difference) -> tuple[str, str]:
    """`worse`, `weaker`, `better`, or nothing for as good as the same; and in words."""
    if found.worse:
        return "worse", found.why or "worse"
    moved = [b - a for _, a, b in found.chances if a is not None and b is not None]
    if found.verdict == "found":
        return "better", t("now concluded: {now}", now=", ".join(name for name in found.now if name))
    if found.sooner:
        return ("better" if found.sooner > 0 else "weaker"), found.sooner_words
    if moved and min(moved) <= -_LESS:
        return "weaker", t("what cured it falls by {value:.0%}", value=-min(moved))
    if moved and max(moved) >= _LESS:
        return "better", t("what cured it rises by {moved:.0%}", moved=max(moved))
    return "", ""
