"""What recorded jobs are to rules: which fired before what was cured, and which were tried and did not fire.

No network is needed for that. Plain data, to and from JSON; knows nothing of a rule's state or of screens.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.job.state import replay
from diag.knowledge.schema import Rule
from diag.reason.reasoner import Reasoner
from diag.reason.ruled import Grounded, ground
from diag.reason.steps import Value, fits
from diag.replay.jobs import Job, jobs_in
from diag.talk.findings import findings_of
from diag.texts import t

__all__ = [
    "CLEARED",
    "ELSEWHERE",
    "HAND_WRITTEN",
    "RIGHT",
    "SILENT",
    "SOUND",
    "JobFacts",
    "closed_jobs",
    "facts_of",
    "is_closed",
    "job_digest",
    "pointed",
]

HAND_WRITTEN = "hand-written"
"""What a job's first record says for its knowledge where no vehicle was there: it was written from facts of the
trade."""


RIGHT, ELSEWHERE, CLEARED, SOUND, SILENT = "right", "elsewhere", "cleared", "sound", "silent"
"""What a rule that fired came to in a job: it pointed to what was cured (or, where it only clears, cleared nothing that
was wrong); it pointed to other things only; it cleared what was wrong; it pointed though nothing was wrong any more; it
names no cause."""
_WORST_LAST = (SILENT, SOUND, ELSEWHERE, RIGHT, CLEARED)


@dataclass(frozen=True)
class JobFacts:
    """What one job says of rules. `vehicle`: its id; `day`: when it was begun; `real`: a vehicle was there. `uses`: the
    rules that fired, with what each came to. `near`: rules that were tried and did not fire, in a job that ended
    elsewhere: one and how many of their checks were as they want; 0 where only the sound vehicle tried them.
    `superseded`: the job that showed it wrong."""

    name: str
    file: str
    vehicle: str
    day: str
    real: bool
    remedies: tuple[str, ...]
    uses: Mapping[str, str]
    near: Mapping[str, int]
    superseded: str = ""
    unknown: int = 0

    def to_plain(self) -> dict[str, Any]:
        """As JSON takes it."""
        return {**self.__dict__, "remedies": list(self.remedies), "uses": dict(self.uses), "near": dict(self.near)}

    @staticmethod
    def from_plain(found: Mapping[str, Any]) -> JobFacts:
        """Raises AttributeError, KeyError, TypeError or ValueError for what `to_plain` did not write."""
        return JobFacts(
            **{name: _text(found[name]) for name in ("name", "file", "vehicle", "day", "superseded")},
            real=bool(found["real"]),
            remedies=tuple(map(_text, found["remedies"])),
            uses={_text(name): _WORST_LAST[_WORST_LAST.index(came)] for name, came in found["uses"].items()},
            near={_text(name): int(count) for name, count in found["near"].items()},
            unknown=int(found["unknown"]),
        )


def _text(found: Any) -> str:
    if not isinstance(found, str):
        raise ValueError(t("expected text, found {found!r}", found=found))
    return found


# ---------------------------------------------------------------- files


def closed_jobs(folders: Iterable[Path]) -> tuple[list[Job], list[str]]:
    """The closed jobs below some folders, each once, and what is wrong with every file that cannot be used."""
    found: dict[str, Job] = {}
    problems: list[str] = []
    for folder in folders:
        for job in jobs_in(folder):
            if job.problem:
                problems.append(job.problem)
            elif job.records and job.records[0].event == "opened" and is_closed(job):
                found.setdefault(job_digest(job), job)
    return list(found.values()), problems


def is_closed(job: Job) -> bool:
    """Whether something was cured and the job came to its end, or what is beside it says what it comes to."""
    ended = job.expected is not None or any(record.event == "proved" for record in job.records)
    return ended and bool(replay(job.records).standing("remedied"))


def job_digest(job: Job) -> str:
    """Equal for copies of one job, whatever their names, notes and minutes: what was answered and carried out on one
    day at one vehicle."""
    told = [
        tuple(repr(record.fields.get(name)) for name in ("target", "red", "black", "through", "value", "remedy"))
        for record in job.records
        if record.event in ("answered", "found", "remedied")
    ]
    first = job.records[0]
    return hashlib.sha256(repr((first.at[:10], first.fields.get("vehicle"), told)).encode()).hexdigest()


# ---------------------------------------------------------------- what a job says


class _Tried:
    """The ways in which each rule may fire, by check: remembered for one reasoner."""

    def __init__(self, reasoner: Reasoner) -> None:
        self.by_check: dict[str, list[Grounded]] = {}
        for grounded in ground(reasoner.rules):
            for check in grounded.conditions:
                self.by_check.setdefault(check, []).append(grounded)

    def missed(self, answers: Mapping[str, Value]) -> dict[str, int]:
        """Rules of which a check was answered and not as they want, with how many were as they want."""
        out: dict[str, int] = {}
        for grounded in {id(g): g for check in answers for g in self.by_check.get(check, ())}.values():
            tried = {check: all(fits(c, answers[check]) for c in conditions)
                     for check, conditions in grounded.conditions.items() if check in answers}  # fmt: skip
            if not all(tried.values()):
                out[grounded.rule_id] = max(out.get(grounded.rule_id, 0), sum(tried.values()))
        return out


def facts_of(reasoner: Reasoner, jobs: Sequence[Job]) -> list[JobFacts]:
    """What jobs of one vehicle say; `reasoner` may be without a network. Raises DiagError where the rule engine
    fails."""
    tried = _Tried(reasoner)
    return [_facts(reasoner, tried, job) for job in jobs]


def _facts(reasoner: Reasoner, tried: _Tried, job: Job) -> JobFacts:
    state = replay(job.records)
    findings, treated, _, unknown = findings_of(reasoner, state)
    causes = job.expected.causes if job.expected is not None else ()
    rules = reasoner.knowledge.rules
    uses: dict[str, str] = {}
    near: dict[str, int] = {}
    for period in range(max([f.period for f in findings] + [one.period for one in treated], default=0) + 1):
        now = [finding for finding in findings if finding.period == period]
        later = [one.remedy for one in treated if one.period > period and one.remedy is not None]
        left = _left(reasoner, causes, later) if causes else _cured(reasoner, later)
        for firing in reasoner.fired(now).firings:
            came = _came_to(rules[firing.rule_id], left, exact=bool(causes))
            uses[firing.rule_id] = max(uses.get(firing.rule_id, SILENT), came, key=_WORST_LAST.index)
        for rule, held in tried.missed(reasoner.values(now)).items():
            near[rule] = max(near.get(rule, 0), 1 + held if left else 0)
    remedies = tuple(one.remedy for one in treated if one.remedy is not None)
    wrong = {*causes} or {*_cured(reasoner, remedies)}
    return JobFacts(
        job.name,
        job.path,
        state.vehicle,
        state.opened_at[:10],
        state.knowledge != HAND_WRITTEN and job.records[0].fields.get("simulated") is not True,
        remedies,
        uses,
        {rule: held for rule, held in near.items() if rule not in uses and wrong.isdisjoint(pointed(rules[rule]))},
        job.expected.superseded if job.expected is not None else "",
        len(unknown),
    )


def pointed(rule: Rule) -> frozenset[str]:
    """The causes that a rule makes likelier."""
    return frozenset(e.points_to for e in rule.then if e.points_to is not None and float(e.weight or 1) > 1)


def _came_to(rule: Rule, left: Sequence[str], *, exact: bool) -> str:
    """`left`: the causes still there; where it is not `exact`, one of them is."""
    points = pointed(rule)
    clears = {e.clears for e in rule.then if e.clears is not None}
    clears |= {e.points_to for e in rule.then if e.points_to is not None} - points
    if not points and not clears:
        return SILENT
    if left and (not clears.isdisjoint(left) if exact else clears.issuperset(left)):
        return CLEARED
    if not points:
        return RIGHT
    return SOUND if not left else ELSEWHERE if points.isdisjoint(left) else RIGHT


def _cured(reasoner: Reasoner, remedies: Iterable[str]) -> list[str]:
    plans = [reasoner.remedies[remedy] for remedy in remedies if remedy in reasoner.remedies]
    return list(dict.fromkeys(cause for plan in plans for cause in plan.cures))


def _left(reasoner: Reasoner, causes: Iterable[str], later: Sequence[str]) -> list[str]:
    """Those of the causes that a later remedy cures; one of which no remedy is known stays until the last."""
    cured_by = {
        cause: reasoner.remedy_of[reasoner.index[cause]] if cause in reasoner.index else None for cause in causes
    }
    return [cause for cause, remedy in cured_by.items() if (remedy in later if remedy is not None else bool(later))]
