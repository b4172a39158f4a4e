"""Shares, means and lists over many played jobs, as text. Only counts; knows nothing of how a job is played."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.bench.played import Job
from tests.bench.vehicle import Described

__all__ = ["AIMS", "LONG", "Trial", "job_text", "not_right", "print_report", "quantile", "share"]

AIMS = {"single": 0.995, "wrong": 0.98, "unlike": 0.97, "double": 0.90}
"""Share of jobs that should end cured."""
LONG = 15
"""Answers to the right remedy beyond which a job is listed."""


@dataclass(frozen=True)
class Trial:
    """A job and its weight among the others."""

    job: Job
    weight: float


def share(trials: Sequence[Trial], meets: Callable[[Job], bool]) -> tuple[float, float]:
    """Weighed share of jobs that meet it, and its standard error as if they were drawn."""
    weights = np.array([trial.weight for trial in trials])
    met = np.array([float(meets(trial.job)) for trial in trials])
    p = float((weights * met).sum() / weights.sum())
    count = float(weights.sum() ** 2 / (weights**2).sum())
    return p, math.sqrt(p * (1 - p) / count)


def quantile(numbers: Sequence[float], weights: Sequence[float], q: float) -> float:
    """The least number up to which at least the share `q` of the weight lies."""
    order = np.argsort(numbers, kind="stable")
    reached = np.cumsum(np.array(weights)[order])
    place = int(np.searchsorted(reached, q * reached[-1] - 1e-12))
    return float(np.array(numbers)[order][min(place, len(numbers) - 1)])


def _spread(name: str, trials: Sequence[Trial], number: Callable[[Job], float]) -> str:
    numbers, weights = [number(t.job) for t in trials], [t.weight for t in trials]
    if not numbers:
        return f"  {name}: none"
    mean = float(np.average(numbers, weights=weights))
    at = [quantile(numbers, weights, q) for q in (0.5, 0.95)]
    return f"  {name}: mean {mean:.2f}, median {at[0]:g}, 95 % within {at[1]:g}, most {max(numbers):g}"


def print_report(what: str, title: str, trials: Sequence[Trial], described: Described, *, weighed: bool) -> None:
    """Figures, then every job that did not go right."""
    noticed = [trial for trial in trials if trial.job.complaint]
    unseen = sorted({t.job.faults[0] for t in trials if not t.job.complaint})
    print(f"\n== {what}: {title}; {len(noticed)} jobs, {'weighed' if weighed else 'drawn'} by how often a cause is met")
    if unseen:
        gone = sum(described.prior[cause] for cause in unseen)
        whole = sum(described.prior[trial.job.faults[0]] for trial in trials)
        print(f"  left out, nobody would notice: {len(unseen)} causes, {gone / whole:.1%} of the weight")
    if not noticed:
        return
    for name, meets in (
        ("the first remedy cured", lambda job: job.first_right),
        ("ended cured", lambda job: job.cured and job.ended),
        *((("both named in one conclusion", lambda job: job.named),) if what == "double" else ()),
        *(("ended cured, " + name, meets) for name, meets in ()),
    ):
        p, error = share(noticed, meets)
        aim = f", aim {AIMS[what]:.1%}" if name == "ended cured" and what in AIMS else ""
        print(f"  {name}: {p:.2%} (± {error:.2%} standard error{aim})")
    fickle = [t for t in noticed if any(described.causes[fault].shows < 1 for fault in t.job.faults)]
    if fickle:
        p, error = share(fickle, lambda job: job.cured and job.ended)
        print(f"  of these {len(fickle)} with a fault that comes and goes, ended cured: {p:.2%} (± {error:.2%})")
        steady = [trial for trial in noticed if trial not in fickle]
        p, error = share(steady, lambda job: job.cured and job.ended) if steady else (1.0, 0.0)
        print(f"  the others, ended cured: {p:.2%} (± {error:.2%})")
    cured = [trial for trial in noticed if trial.job.to_right is not None]
    print(_spread("answers to the first right remedy", cured, lambda job: float(job.to_right[0])))
    print(_spread("minutes to the first right remedy", cured, lambda job: round(job.to_right[1], 1)))
    print(_spread("answers in all, proof included", noticed, lambda job: float(len(job.answers))))
    sure = [t for t in noticed if not any(source == "not computed" for _, _, source in t.job.answers)]
    print(f"  jobs in which nothing computes an answer and no rule names it: {len(noticed) - len(sure)} (not sure)")
    _list("not cured at the end", [t for t in noticed if not (t.job.cured and t.job.ended)], described)
    _list(
        "cured, but another remedy first",
        [t for t in noticed if t.job.cured and t.job.ended and not t.job.first_right],
        described,
    )
    _list(f"right at once, but after more than {LONG} answers", [t for t in noticed if _long(t.job)], described)


def not_right(job: Job) -> bool:
    """Whether a job belongs on the list of those to read."""
    return not (job.cured and job.ended and job.first_right) or _long(job)


def _long(job: Job) -> bool:
    return job.cured and job.ended and job.first_right and job.to_right is not None and job.to_right[0] > LONG


def _list(title: str, trials: Sequence[Trial], described: Described) -> None:
    print(f"\n  -- {title}: {len(trials)}")
    for trial in sorted(trials, key=lambda t: (-t.weight, t.job.faults)):
        print(job_text(trial.job, described))


def job_text(job: Job, described: Described) -> str:
    """A whole job in a few lines: faults, remedies, what was left, answers."""
    weights = ", ".join(f"{1000 * described.prior[fault]:.2f}" for fault in job.faults)
    out = [f"  {' + '.join(job.faults)}  (of a thousand faults: {weights}; needs {_needs(job, described)})"]
    to_right = (
        f"{job.to_right[0]} answers, {job.to_right[1]:.1f} min to the first right" if job.to_right else "none right"
    )
    out.append(f"      {to_right}; {len(job.answers)} answers, {job.seconds:.0f} s of computing in all")
    for remedy, p, cured in job.remedies:
        out.append(f"      remedy {remedy} at {p:.0%}: {'cured ' + ', '.join(cured) if cured else 'in vain'}")
    if not job.remedies:
        out.append("      no remedy")
    out += [f"      left: {text}" for text in (job.trouble, *job.open) if text]
    for check, value, source in job.answers:
        said = f"{value['light']}/{value['rhythm']}" if isinstance(value, dict) else value
        out.append(f"         {check} = {said}{'' if source in ('seen', 'read') else f'   [{source}]'}")
    return "\n".join(out)


def _needs(job: Job, described: Described) -> str:
    return ", ".join(described.cure[fault] for fault in job.faults)
