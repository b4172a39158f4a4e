"""What an addition changes in earlier recorded jobs: each that it can touch replayed without it and with it.

One vehicle is open at a time, for a whole one takes much memory. Knows nothing of how it is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diag.author.draft import Draft
from diag.errors import DiagError
from diag.job.folder import jobs_folder
from diag.job.records import Record
from diag.job.state import replay
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import Layer
from diag.knowledge.load import load_knowledge
from diag.reason.reasoner import Reasoner
from diag.replay.forms import Outcome
from diag.replay.jobs import Job, jobs_in
from diag.replay.outcome import Difference, compare, outcome
from diag.talk.opening import known_vehicle

__all__ = ["Effects", "Opener", "earlier_jobs", "effects_of", "ends_right"]

Opener = Callable[[Path, Sequence[Layer]], Reasoner]
"""Opens the reasoner of a vehicle file on these layers."""
Progress = Callable[[float, str], None]
_LESS = 0.05
"""A chance of what cured it that falls by so much is told as worse."""


@dataclass(frozen=True)
class Effects:
    """`looked`: recorded jobs looked at; `replayed`: those that could be touched. `worse`, `better`: jobs with what
    changed in words; the rest of the replayed are as they were. `own`: what comes of the addition's own job (None:
    it has none)."""

    looked: int
    replayed: int
    worse: Mapping[str, str] = field(default_factory=dict)
    better: Mapping[str, str] = field(default_factory=dict)
    own: Outcome | None = None

    @property
    def same(self) -> int:
        """Replayed jobs in which nothing changed that counts."""
        return self.replayed - len(self.worse) - len(self.better)


def ends_right(own: Outcome, remedy: str) -> bool:
    """Whether the addition's own job ends at its cure."""
    last = next((one for one in reversed(own.carried) if one.remedy == remedy), None)
    return not own.problem and last is not None and last.clear_leader == remedy


def earlier_jobs(layers: Sequence[Layer], but: str = "") -> list[Job]:
    """Recorded jobs of all layers and the person's own closed ones; `but`: the path of one that is left out."""
    folders = [_shipped(), *(layer.folder / "jobs" for layer in layers if layer.origin != "shipped")]
    found = [job for folder in folders if folder.is_dir() for job in jobs_in(folder)]
    if jobs_folder().is_dir():
        found += [job for job in jobs_in(jobs_folder()) if job.path != but and _closed(job)]
    return [job for job in found if job.records and not job.problem]


def _shipped() -> Path:
    """Recorded jobs that come with the program."""
    inside = Path(__file__).resolve().parent.parent
    return inside / "_transcripts" if (inside / "_transcripts").is_dir() else inside.parent / "transcripts"


def _closed(job: Job) -> bool:
    return any(record.event == "remedied" for record in job.records)


def effects_of(
    draft: Draft,
    own: tuple[Path, Sequence[Record]] | None,
    jobs: Sequence[Job],
    layers: Sequence[Layer],
    tried: Sequence[Layer],
    open_with: Opener,
    known: Mapping[Path, Reasoner],
    progress: Progress,
) -> Effects:
    """Replays without and with the addition. `own`: vehicle file and copied records of its own job; `layers` and
    `tried`: today's and those with the addition; `known`: reasoners that are open already, on today's layers."""
    by_vehicle: dict[Path, list[Job]] = {}
    for job in jobs:
        try:
            vehicle = known_vehicle(replay(job.records)).resolve()
        except (ValueError, DiagError):
            continue
        by_vehicle.setdefault(vehicle, []).append(job)
    touched = {vehicle: _touched(draft, vehicle, found, layers) for vehicle, found in by_vehicle.items()}
    if own is not None:
        touched.setdefault(own[0].resolve(), [])
    work = {vehicle: found for vehicle, found in touched.items() if found or (own and vehicle == own[0].resolve())}
    total = 1 + sum(2 * len(found) + 2 for found in work.values())
    done = 0
    worse: dict[str, str] = {}
    better: dict[str, str] = {}
    ended = None
    for vehicle, found in work.items():
        mine = own is not None and vehicle == own[0].resolve()
        before, done = _outcomes(known.get(vehicle), vehicle, found, layers, open_with, progress, done, total)
        reasoner = _opened(open_with, vehicle, tried, progress, done / total)
        after, done = _outcomes(reasoner, vehicle, found, tried, open_with, progress, done, total)
        if mine and own is not None:
            ended = outcome(reasoner, own[1], "own")
        del reasoner
        for job, was, now in zip(found, before, after, strict=True):
            verdict, words = _told(compare(was, now))
            if verdict:
                (worse if verdict < 0 else better)[job.name] = words
    return Effects(len(jobs), sum(len(found) for found in work.values()), worse, better, ended)


def _opened(open_with: Opener, vehicle: Path, layers: Sequence[Layer], progress: Progress, share: float) -> Reasoner:
    progress(share, vehicle.stem)
    return open_with(vehicle, layers)


def _outcomes(
    reasoner: Reasoner | None,
    vehicle: Path,
    jobs: Sequence[Job],
    layers: Sequence[Layer],
    open_with: Opener,
    progress: Progress,
    done: int,
    total: int,
) -> tuple[list[Outcome], int]:
    if reasoner is None and jobs:
        reasoner = _opened(open_with, vehicle, layers, progress, done / total)
    done += 1
    out = []
    for job in jobs:
        assert reasoner is not None
        out.append(outcome(reasoner, job.records, job.name))
        done += 1
        progress(done / total, vehicle.stem)
    return out, done


# ---------------------------------------------------------------- which can be touched


def _touched(draft: Draft, vehicle: Path, jobs: Sequence[Job], layers: Sequence[Layer]) -> list[Job]:
    """Those in which the rule could fire, or whose circuit the new cause lies in."""
    try:
        knowledge = load_knowledge(vehicle, layers=tuple(layers))
    except DiagError:
        return []
    if draft.circuit not in knowledge.circuits:
        return []
    return [job for job in jobs if _touches(draft, knowledge, job.records)]


def _touches(draft: Draft, knowledge: Knowledge, records: Iterable[Record]) -> bool:
    checks = draft.checks()
    for record in records:
        if record.event not in ("answered", "found"):
            continue
        if str(record.fields.get("check")) in checks:
            return True
        if draft.new_cause and draft.circuit in _circuits(knowledge, record.fields):
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


def _told(found: Difference) -> tuple[int, str]:
    """-1 for worse, 1 for better, 0 for as good as the same; and in words."""
    if found.worse:
        return -1, found.why or "worse"
    moved = [b - a for _, a, b in found.chances if a is not None and b is not None]
    if found.verdict == "found":
        return 1, f"now concluded: {', '.join(name for name in found.now if name)}"
    if found.sooner:
        count = abs(found.sooner)
        words = f"sure {count} answer{'s' if count > 1 else ''} {'sooner' if found.sooner > 0 else 'later'}"
        return (1 if found.sooner > 0 else -1), words
    if moved and min(moved) <= -_LESS:
        return -1, f"what cured it falls by {-min(moved):.0%}"
    if moved and max(moved) >= _LESS:
        return 1, f"what cured it rises by {max(moved):.0%}"
    return 0, ""
