"""Counts of many jobs added up, level by level: from what single jobs say to what is learned.

Knows causes by name with their published shares; nothing of journals, networks or files.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import fsum

from diag.knowledge.learned import (
    Axis,
    CountedJob,
    Learned,
    LearningFile,
    Level,
    Met,
    Misreading,
    Strengths,
    VehicleCounts,
    weight,
)
from diag.knowledge.taught import circuit_of
from diag.learn.counting import Counts
from diag.reason.reasoner import Reasoner

__all__ = ["ADDED", "Known", "Tallied", "known_causes", "learned_from", "shares_after"]

ADDED = "added"
"""Kind of the causes that circuit files add: each is a sort of its own, with no kind in common."""
_DECIMALS, _DIGITS = 4, 6
"""Of counts and of shares, as they are kept: what is used is what is written."""
Sort = tuple[str, str]


@dataclass(frozen=True)
class Known:
    """One cause of one vehicle with its published share of all faults of that vehicle (they sum to 1)."""

    cause: str
    kind: str
    mode: str
    circuit: str
    subject: str
    share: float


@dataclass(frozen=True)
class Tallied:
    """One job's counts with the vehicle that it was on and that vehicle's causes. `hash` tells it from every
    other."""

    name: str
    hash: str
    vehicle: str
    causes: Sequence[Known]
    counts: Counts


@dataclass
class _Vehicle:
    """A vehicle while it is counted: `met` faults of each cause, `shares` as they stand at a level."""

    causes: dict[str, Known] = field(default_factory=dict)
    faults: int = 0
    met: dict[str, float] = field(default_factory=dict)
    shares: dict[str, float] = field(default_factory=dict)


def known_causes(reasoner: Reasoner) -> tuple[Known, ...]:
    """The causes of a vehicle with their published shares, in the reasoner's order."""
    knowledge = reasoner.knowledge
    return tuple(
        Known(c.id, c.kind, c.mode, circuit_of(knowledge, c.subject, c.id), c.subject, float(share))
        for c, share in zip(reasoner.causes, reasoner.prior, strict=True)
    )


def learned_from(jobs: Iterable[Tallied], how: LearningFile, date: str) -> Learned:
    """What those jobs teach, whatever their order. `date`: YYYY-MM-DD, when it was counted."""
    ordered = sorted((job for job in jobs if job.counts.faults), key=lambda job: (job.hash, job.name))
    vehicles, levels = _vehicles(ordered), how.levels
    faults = float(sum(vehicle.faults for vehicle in vehicles.values()))
    kinds = _level(vehicles, lambda known: None if known.kind == ADDED else (known.kind, known.mode), levels.kind)
    circuits = _level(vehicles, lambda known: (known.circuit, known.subject), levels.circuit)
    own = {
        name: VehicleCounts(
            faults=vehicle.faults,
            causes={cause: _kept(n, vehicle.shares[cause]) for cause, n in sorted(vehicle.met.items())},
        )
        for name, vehicle in sorted(vehicles.items())
    }
    return Learned(
        used=True,
        date=date,
        faults=faults,
        strength=Strengths(
            kind=_bare(levels.kind),
            circuit=_bare(levels.circuit),
            vehicle=_bare(levels.vehicle),
            misread=Misreading(strength=how.misread.strength, most=how.misread.most),
        ),
        kinds=_nested(kinds),
        circuits=_nested(circuits),
        vehicles=own,
        misread=_slips(ordered),
        counted=tuple(
            CountedJob(job=job.name, hash=job.hash) for job in sorted(ordered, key=lambda job: (job.name, job.hash))
        ),
    )


def _bare(level: Level) -> Level:
    """Without why: that stands where the strengths are set."""
    return Level(strength=level.strength, least=level.least)


def shares_after(causes: Sequence[Known], learned: Learned, vehicle: str) -> dict[str, float]:
    """The share of each cause of a vehicle once what was learned is taken in; they sum to 1."""
    grown = {
        known.cause: known.share
        * learned.times(vehicle, known.kind, known.mode, known.circuit, known.subject, known.cause)
        for known in causes
    }
    total = fsum(grown.values())
    return {cause: share / total for cause, share in grown.items()}


def _vehicles(jobs: Sequence[Tallied]) -> dict[str, _Vehicle]:
    """The vehicles of the jobs, with all that was met on each. A vehicle whose file changed between two jobs has
    the causes of both."""
    found: dict[str, _Vehicle] = defaultdict(_Vehicle)
    lists: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    taken: set[tuple[str, int]] = set()
    for job in jobs:
        vehicle = found[job.vehicle]
        if (job.vehicle, id(job.causes)) not in taken:  # thousands of jobs share one list
            taken.add((job.vehicle, id(job.causes)))
            vehicle.causes |= {known.cause: known for known in job.causes}
        vehicle.faults += len(job.counts.faults)
        for _, shares in job.counts.faults:
            for cause, share in shares.items():
                lists[job.vehicle][cause].append(share)
    for name, vehicle in found.items():
        vehicle.met = {cause: fsum(shares) for cause, shares in lists[name].items()}
        vehicle.shares = _whole({cause: known.share for cause, known in vehicle.causes.items()})
    return dict(found)


def _level(vehicles: Mapping[str, _Vehicle], sort_of: Callable[[Known], Sort | None], level: Level) -> dict[Sort, Met]:
    """What was met of each sort, beside what would be expected on these vehicles; moves their shares on."""
    faults = float(sum(vehicle.faults for vehicle in vehicles.values()))
    met: dict[Sort, list[float]] = defaultdict(list)
    expected: dict[Sort, list[float]] = defaultdict(list)
    for vehicle in vehicles.values():
        for cause, known in vehicle.causes.items():
            sort = sort_of(known)
            if sort is not None:
                expected[sort].append(vehicle.faults * vehicle.shares[cause])
                met[sort].append(vehicle.met.get(cause, 0.0))
    found = {
        sort: _kept(n, fsum(expected[sort]) / faults) for sort, counts in sorted(met.items()) if (n := fsum(counts)) > 0
    }
    for vehicle in vehicles.values():
        vehicle.shares = _whole(
            {
                cause: share * _times(found.get(sort_of(vehicle.causes[cause]) or ("", "")), faults, level)
                for cause, share in vehicle.shares.items()
            }
        )
    return found


def _times(met: Met | None, faults: float, level: Level) -> float:
    return 1.0 if met is None else weight(met.n, met.share, faults, level.strength, level.least)


def _whole(shares: Mapping[str, float]) -> dict[str, float]:
    total = fsum(shares.values())
    return {cause: share / total for cause, share in shares.items()}


def _kept(n: float, share: float) -> Met:
    return Met(n=round(n, _DECIMALS), share=float(f"{share:.{_DIGITS}g}"))


def _nested(found: Mapping[Sort, Met]) -> dict[str, dict[str, Met]]:
    out: dict[str, dict[str, Met]] = {}
    for (outer, inner), met in sorted(found.items()):
        out.setdefault(outer, {})[inner] = met
    return out


def _slips(jobs: Sequence[Tallied]) -> dict[Axis, dict[str, dict[str, float]]]:
    """For each sort of words and true word, how often each word was told."""
    found: dict[Axis, dict[str, dict[str, list[float]]]] = {}
    for job in jobs:
        for slip in job.counts.slips:
            found.setdefault(slip.axis, {}).setdefault(slip.true, {}).setdefault(slip.told, []).append(slip.weight)
    return {axis: {true: _summed(row) for true, row in sorted(table.items())} for axis, table in sorted(found.items())}


def _summed(row: Mapping[str, Sequence[float]]) -> dict[str, float]:
    return {told: n for told, weights in sorted(row.items()) if (n := round(fsum(weights), _DECIMALS)) > 0}
