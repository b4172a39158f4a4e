"""Which circuits of a job are worth drawing, with which controls, and what was read where.

Chooses from the answers that stand; knows nothing of how anything is drawn or laid out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.bridging import BODY
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.paper.found import Fault, Suspicion, faults_of, suspicions_of
from diag.reason.operates import plain
from diag.reason.steps import Finding, Step
from diag.sheet.asked import circuit_of

__all__ = ["Reading", "Scene", "scenes_of", "spots_of"]

_MOST = 8
"""Drawings in one log at most."""
_FAULT, _ODD, _PROBED, _ASKED = 100, 5, 2, 1
_WORTH = 4
"""How much a circuit must count for to be drawn: one odd answer, two points probed, or four looks."""


@dataclass(frozen=True)
class Reading:
    """An answer in one circuit. `spots`: where, each with what was there (`red`, `black` or nothing); `here`:
    with the controls and faults of the drawing; `probed`: by an instrument; `odd`: not as on a healthy vehicle."""

    finding: Finding
    step: Step
    spots: tuple[tuple[str, str], ...]
    here: bool
    probed: bool
    odd: bool


@dataclass(frozen=True)
class Scene:
    """What one drawing shows: a circuit under an operate with the faults there then; `readings` in order."""

    circuit: str
    operate: Mapping[str, str]
    faults: tuple[Fault, ...]
    suspicions: tuple[Suspicion, ...]
    readings: tuple[Reading, ...]


def spots_of(step: Step) -> tuple[tuple[str, str], ...]:
    """Terminals, parts or wires that a step is about, body left out."""
    if step.through is not None:
        return ((step.through, ""),)
    if step.red is not None or step.black is not None:
        ends = [(end, name) for end, name in ((step.red, "red"), (step.black, "black")) if end not in (None, BODY)]
        alone = len(ends) == 1
        return tuple((end, "" if alone else name) for end, name in ends if end is not None)
    return ((step.target, ""),) if step.target is not None else ()


def scenes_of(job: Replayed, report: Report) -> tuple[tuple[Scene, ...], tuple[str, ...]]:
    """The drawings worth making, in the vehicle's order of circuits, and the circuits that were asked about but
    are not drawn. None without a described loom."""
    knowledge = job.reasoner.knowledge
    by: dict[str, list[Finding]] = {}
    for finding in job.findings:
        if finding.step is not None:
            for circuit in _circuits(knowledge, finding.step):
                by.setdefault(circuit, []).append(finding)
    if job.reasoner.predictor is None:
        return (), tuple(by)
    faults, suspicions = faults_of(report), suspicions_of(report)
    causes = job.reasoner.predictor.causes
    subjects = {cause.id: cause.subject for cause in causes}
    named = [*(one.cause.id for one in faults), *(one.cause.id for one in suspicions)]
    home = {name: knowledge.circuit_of[subjects[name]] for name in named if subjects.get(name) in knowledge.circuit_of}
    here = set(home.values())
    drawable = circuit_of(knowledge, None)
    worth = {
        circuit: sum(_weight(job, finding) for finding in by.get(circuit, ())) + _FAULT * (circuit in here)
        for circuit in drawable
    }
    whole = bool(job.plan.stages)
    telling = {c for c, found in by.items() if any(job.sound(f) is False for f in found)} | here
    chosen = [c for c in drawable if worth[c] >= _WORTH and by.get(c) and (not whole or c in telling)]
    kept = set(sorted(chosen, key=lambda c: (-worth[c], drawable.index(c)))[:_MOST])
    scenes = tuple(_scene(job, c, by[c], faults, suspicions, home) for c in drawable if c in kept)
    return scenes, tuple(c for c in drawable if c in by and c not in kept)


def _circuits(knowledge: Knowledge, step: Step) -> tuple[str, ...]:
    owners = [knowledge.circuit_of.get(where.partition(".")[0]) for where, _ in spots_of(step)]
    return tuple(dict.fromkeys(c for c in (step.circuit, *owners) if c is not None))


def _weight(job: Replayed, finding: Finding) -> int:
    step = finding.step
    assert step is not None
    probed = _PROBED if _by_instrument(step) else 0
    return _ASKED + probed + (_ODD if job.sound(finding) is False else 0)


def _by_instrument(step: Step) -> bool:
    return step.kind == "measure" or step.red is not None


def _scene(
    job: Replayed,
    circuit: str,
    found: Sequence[Finding],
    faults: Sequence[Fault],
    suspicions: Sequence[Suspicion],
    home: Mapping[str, str],
) -> Scene:
    """The controls under which most was learned: odd answers and probes count most, and those before a cure. Faults
    of the circuit are shown, and those of others that explain what was odd in it."""

    matter = [one for one in faults if home.get(one.cause.id) == circuit or _tells(job, one, found)]

    def key(finding: Finding) -> tuple[object, ...]:
        assert finding.step is not None
        return operate_key(finding.step.operate), tuple(one.there(finding.period) for one in matter)

    groups: dict[tuple[object, ...], list[Finding]] = {}
    for finding in found:
        if finding.step is not None and finding.step.kind != "choose":
            groups.setdefault(key(finding), []).append(finding)
    best: Finding | None = None
    if groups:
        best = max(groups.values(), key=lambda group: _score(job, group, matter))[0]
    step = best.step if best is not None else None
    wanted = key(best) if best is not None else None
    there = tuple(one for one in matter if best is None or one.there(best.period))
    readings = []
    for finding in found:
        if finding.step is not None:
            odd = job.sound(finding) is False
            at = spots_of(finding.step)
            probed = _by_instrument(finding.step)
            readings.append(Reading(finding, finding.step, at, key(finding) == wanted, probed, odd))
    last = best is None or all(finding.period <= best.period for finding in job.findings)
    return Scene(
        circuit, step.operate if step is not None else {}, there, tuple(suspicions if last else ()), tuple(readings)
    )


def _tells(job: Replayed, fault: Fault, found: Sequence[Finding]) -> bool:
    """Whether a fault explains an odd answer among these."""
    remedy = job.reasoner.remedy_of.get(job.reasoner.index.get(fault.cause.id, -1), "")
    return any(fault.there(finding.period) and job.explains(remedy, finding) for finding in found)


def _score(job: Replayed, group: Sequence[Finding], faults: Sequence[Fault]) -> float:
    score = float(sum(_weight(job, finding) for finding in group))
    first = group[0]
    if any(one.there(first.period) for one in faults):
        score *= 2
    step = first.step
    if step is None or step.operate.get("battery", "connected") != "connected":
        return score / 100  # nothing to see but noughts
    return score if plain(step.operate) else score / 10
