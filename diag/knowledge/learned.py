"""What closed jobs taught, as a file of counts: its shape, what is wrong with one, what follows from its counts.

A share that is published counts as so many faults already met (a Dirichlet distribution's pseudo-counts); each
level takes the one above for its own published share. Must not know of jobs, nor how anything is counted.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from diag.errors import KnowledgeError, Problem
from diag.knowledge.folders import local_folder, rules_folder
from diag.knowledge.reader import Loc, Marked, read_yaml
from diag.knowledge.ruleform import Day
from diag.knowledge.scalars import Bool, CauseRef, Id, Model, Positive, Share, Text, read_number
from diag.knowledge.translate import validate
from diag.texts import t

__all__ = [
    "Axis",
    "CountedJob",
    "Learned",
    "Level",
    "LearningFile",
    "Met",
    "Misreading",
    "Strengths",
    "Teller",
    "VehicleCounts",
    "learned_file",
    "learning",
    "misread_after",
    "read_learned",
    "weight",
]

Axis = Literal["light", "rhythm", "sound", "motor", "needle"]
_ROUNDING = 1e-3
"""Sums of counts that are kept with four decimals may differ by so much a fault."""


Count = Annotated[float, BeforeValidator(read_number), Field(allow_inf_nan=False, ge=0, le=1e9)]
Hash = Annotated[str, StringConstraints(pattern="^[0-9a-f]{16}$")]


def weight(n: float, share: float, total: float, strength: float, least: float) -> float:
    """How many times as often, against what was never met, something counts as it is published.

    `n` of `total` faults were of this sort, whose published share is `share` (0 to 1); `strength` and `least` in
    faults. With `least` 0 these are the means of the Dirichlet posterior with pseudo-counts `strength · share`, up
    to a factor that all have in common: (S·p + n) / (S + N) over p is 1 + n / (S·p) times S / (S + N). (Gelman and
    others, Bayesian Data Analysis, on the multinomial; from memory.) Never below 1, never above
    1 + n·(S + N)/(S·least); after it is brought to a sum of 1, no share falls below S/(S + N) of what it was, and
    none rises above (S·p + n)/(S + n).
    """
    pseudo = max(strength * share, least * strength / (strength + total))
    return 1.0 + n / pseudo if n > 0 else 1.0


# ---------------------------------------------------------------- how slowly: rules/learning.yaml


class Level(Model):
    """How slowly one level moves, in faults: see `weight`."""

    strength: Positive
    least: Count
    because: Text | None = None
    source: Text | None = None


class Misreading(Model):
    """`strength` in answers to which one word was the truth; `most`: share of wrong ones that is never passed."""

    strength: Positive
    most: Share
    because: Text | None = None
    source: Text | None = None


class Levels(Model):
    kind: Level
    circuit: Level
    vehicle: Level


class LearningFile(Model):
    """rules/learning.yaml"""

    levels: Levels
    misread: Misreading


def learning(rules: Path | None = None) -> LearningFile:
    """The strengths of a rules folder, the shipped one where none is given. Raises KnowledgeError."""
    model, problems = validate(LearningFile, read_yaml((rules or rules_folder()) / "learning.yaml"))
    if model is None:
        raise KnowledgeError(problems)
    return model


# ---------------------------------------------------------------- what was counted: learned.yaml


class Met(Model):
    """`n` faults of one sort; `share`: of all faults counted, as many as would be expected of it."""

    n: Count
    share: Share


class VehicleCounts(Model):
    """`faults` counted on one vehicle, and which causes they were."""

    faults: Count
    causes: Mapping[CauseRef, Met] = {}


class CountedJob(Model):
    """A job that was counted: the name of its file, and the hash of what was answered and done in it."""

    job: Text
    hash: Hash


class Strengths(Model):
    """Those that were in force when it was counted, so that the same follows from the counts for ever."""

    kind: Level
    circuit: Level
    vehicle: Level
    misread: Misreading


class Learned(Model):
    """learned.yaml: counts, and no more; what follows from them is worked out when they are read."""

    used: Bool
    date: Day
    faults: Count
    strength: Strengths
    kinds: Mapping[Id, Mapping[Id, Met]] = {}
    circuits: Mapping[Id, Mapping[Id, Met]] = {}
    """Circuit, then part or wire."""
    vehicles: Mapping[Id, VehicleCounts] = {}
    misread: Mapping[Axis, Mapping[Id, Mapping[Id, Count]]] = {}
    """For each true word how often each word was told, itself included."""
    counted: tuple[CountedJob, ...] = ()

    @property
    def digest(self) -> str:
        """16 hex digits of the SHA-256 of all that changes what is believed."""
        plain = self.model_dump(mode="json", include={"faults", "strength", "kinds", "circuits", "vehicles", "misread"})
        return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()[:16]

    def tellers(self, vehicle: str, kind: str, mode: str, circuit: str, subject: str, cause: str) -> tuple[Teller, ...]:
        """What each level counts of a cause; only the levels that met something of its sort."""
        levels, own = self.strength, self.vehicles.get(vehicle)
        found = (
            (self.kinds.get(kind, {}).get(mode), self.faults, levels.kind, "kind"),
            (self.circuits.get(circuit, {}).get(subject), self.faults, levels.circuit, "circuit"),
            (own.causes.get(cause) if own else None, own.faults if own else 0.0, levels.vehicle, "vehicle"),
        )
        return tuple(
            Teller(name, met.n, total, weight(met.n, met.share, total, level.strength, level.least))
            for met, total, level, name in found
            if met is not None and met.n > 0
        )

    def times(self, vehicle: str, kind: str, mode: str, circuit: str, subject: str, cause: str) -> float:
        """By how much the published frequency of a cause is multiplied: above 1 for what was met."""
        return math.prod(teller.times for teller in self.tellers(vehicle, kind, mode, circuit, subject, cause))


@dataclass(frozen=True)
class Teller:
    """One level's word on a cause: `n` of `total` faults were of its sort, so it counts `times` as often. `level`:
    kind, circuit or vehicle."""

    level: str
    n: float
    total: float
    times: float


def misread_after(
    published: Mapping[str, Mapping[str, float]], counts: Mapping[str, Mapping[str, float]], how: Misreading
) -> dict[str, dict[str, float]]:
    """The shares of misjudging of one sort of words, true word to told word, once `counts` are taken in.

    Means of the Dirichlet posterior of each true word, published shares for its pseudo-counts; the wrong ones
    together at most `how.most` (or what is published, where that is more). A word without counts is as published.
    """
    out = {true: dict(row) for true, row in published.items()}
    for true, told in counts.items():
        total, row = sum(told.values()), published.get(true, {})
        if not total:
            continue
        size = how.strength + total
        wrong = {
            word: (how.strength * row.get(word, 0.0) + told.get(word, 0.0)) / size
            for word in dict.fromkeys([*row, *told])
            if word != true
        }
        wrong = {word: share for word, share in wrong.items() if share > 0}
        most = max(how.most, sum(row.values()))
        scale = min(1.0, most / max(sum(wrong.values()), 1e-300))
        out[true] = {word: share * scale for word, share in wrong.items()}
    return {true: row for true, row in out.items() if row}


# ---------------------------------------------------------------- reading it


def learned_file() -> Path:
    """Where it is kept: in a folder of its own inside the local folder. Not made here."""
    return local_folder() / "learned" / "learned.yaml"


def read_learned(path: Path | None = None) -> Learned | None:
    """What was learned on this machine, None where nothing was. Raises KnowledgeError with the place of each
    mistake: counts that do not add up were not written by this program."""
    path = path or learned_file()
    if not path.exists():
        return None
    marked = read_yaml(path)
    model, problems = validate(Learned, marked)
    if model is None:
        raise KnowledgeError([_with_mend(problem) for problem in problems])
    problems = list(_sums(model, marked))
    if problems:
        raise KnowledgeError(problems)
    return model


_ANEW = t("Count anew: `diag rules learn --apply`; or put it aside: `diag rules learn --forget`.")


def _with_mend(problem: Problem) -> Problem:
    return replace(problem, mend=f"{problem.mend} {_ANEW}" if problem.mend else _ANEW)


def _sums(learned: Learned, marked: Marked) -> Iterator[Problem]:
    """Counts that cannot be those of the faults that the file says were counted."""

    def too_many(loc: Loc, found: float, most: float, of: str) -> Iterator[Problem]:
        if found > most + _ROUNDING * max(most, 1.0):
            what = t("these counts come to more than the faults {of}", of=of)
            yield Problem(marked.place(loc, key=True), what, f"{found:g}", t("at most {most:g}", most=most), _ANEW)

    every = learned.faults
    kinds = sum(met.n for modes in learned.kinds.values() for met in modes.values())
    yield from too_many(("kinds",), kinds, every, "counted")
    circuits = sum(met.n for subjects in learned.circuits.values() for met in subjects.values())
    yield from too_many(("circuits",), circuits, every, "counted")
    for name, vehicle in learned.vehicles.items():
        causes = sum(met.n for met in vehicle.causes.values())
        yield from too_many(("vehicles", name, "causes"), causes, vehicle.faults, t("of this vehicle"))
    own = sum(vehicle.faults for vehicle in learned.vehicles.values())
    if abs(own - every) > _ROUNDING * max(every, 1.0):
        what = t("the faults of the vehicles do not add up to all that were counted")
        yield Problem(marked.place(("faults",)), what, f"{every:g}", f"{own:g}", _ANEW)
