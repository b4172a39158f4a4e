"""What a job found: faults put right or held likeliest now, and what else is suspected.

Read off the report; decides nothing that the report does not hold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diag.log.report import Candidate, Cause, Chance, Done, Report

__all__ = ["Fault", "Suspicion", "Tally", "faults_of", "suspicions_of", "tally_of"]

_HELD = 0.9
"""A fault still to be put right counts as found from this chance; where the program has concluded, its first does."""
_ODDS = 0.5
_SUSPECTED = 0.05
"""As in the log: below this, nobody is told of a suspicion on the first page."""


@dataclass(frozen=True)
class Fault:
    """A fault found. `cause`; `chance` when its remedy was carried out, or now; `remedy` title; `until`: the period
    that began with the cure (inf: it is still there); `done`: the work, None where it is still to be done."""

    cause: Cause
    chance: Chance
    remedy: str
    until: float
    done: Done | None

    def there(self, period: int) -> bool:
        """Whether it had not been put right in a period."""
        return period < self.until


@dataclass(frozen=True)
class Suspicion:
    """What may be wrong now. `cause`, the `remedy` and the chance that it is needed."""

    cause: Cause
    remedy: Candidate


@dataclass(frozen=True)
class Tally:
    """The first page in four figures: faults found, works done, how many of these are proved, items open."""

    found: int
    done: int
    proved: int
    open: int


def faults_of(report: Report) -> tuple[Fault, ...]:
    """Faults put right, in order, then what is held likeliest now. A remedy that failed its proof, or that was a
    try at small odds and never proved, found nothing."""
    periods = {item.number: item.period for item in report.items if item.event in ("remedied", "changed")}
    works = {work.number: work for work in report.done}
    out = []
    for stage in report.stages:
        work = works.get(stage.number) if stage.number is not None else None
        chosen = next((one for one in stage.candidates if one.id == stage.chosen), None)
        if stage.kind != "remedy" or work is None or chosen is None or not chosen.causes or work.verdict == "failed":
            continue
        if work.verdict == "not-proved" and chosen.chance.p < _ODDS:
            continue
        until = periods.get(work.number, math.inf)
        out.append(Fault(chosen.causes[0], chosen.chance, chosen.title, until, work))
    return (*out, *(Fault(one.causes[0], one.chance, one.title, math.inf, None) for one in _held(report)))


def suspicions_of(report: Report) -> tuple[Suspicion, ...]:
    """What may be wrong now, and is not held to be found."""
    held = {one.id for one in _held(report)}
    return tuple(
        Suspicion(one.causes[0], one)
        for one in _candidates(report)
        if one.chance.p >= _SUSPECTED and one.id not in held and one.causes
    )


def _held(report: Report) -> list[Candidate]:
    first = report.status == "concluded"
    found = [one for one in _candidates(report) if one.causes]
    return [one for i, one in enumerate(found) if one.chance.p >= _HELD or (first and i == 0)]


def _candidates(report: Report) -> tuple[Candidate, ...]:
    last = report.stages[-1] if report.stages else None
    return last.candidates if last is not None and last.kind == "end" and last.sound.p < _ODDS else ()


def tally_of(report: Report) -> Tally:
    """The counts of the first page."""
    proved = sum(work.verdict in ("proved", "proved-together") for work in report.done)
    return Tally(len(faults_of(report)), len(report.done), proved, len(report.open_items))
