"""The stages of proving a whole vehicle, and what each asks on this one, in order.

A pure function of what may be asked of the vehicle and whether a helper is there; knows nothing of answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

from diag.reason.operates import plain
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.stages.route import Route, route_of
from diag.texts import t

__all__ = [
    "BEFORE_POWER",
    "COLLECTING",
    "ENGINE_RUNNING",
    "FAULTS",
    "FIRST_POWER",
    "HANDOVER",
    "KEY_OFF",
    "STAGES",
    "WALK_ROUND",
    "Course",
    "course_of",
]

BEFORE_POWER, FIRST_POWER, WALK_ROUND = "before-power", "first-power", "walk-round"
FAULTS, ENGINE_RUNNING, KEY_OFF, HANDOVER = "faults", "engine-running", "key-off-current", "handover"
STAGES = {
    BEFORE_POWER: t("Before power"),
    FIRST_POWER: t("First power"),
    WALK_ROUND: t("Walk-round"),
    FAULTS: t("Faults found"),
    ENGINE_RUNNING: t("Engine running"),
    KEY_OFF: t("Key-off current"),
    HANDOVER: t("Handover"),
}
"""In their order, with titles."""
COLLECTING = (BEFORE_POWER, FIRST_POWER, WALK_ROUND, ENGINE_RUNNING, KEY_OFF)
"""Those that only ask and collect; what is odd is diagnosed in `faults`."""
_GIVEN = frozenset({"fuel", "coolant"})
"""Controls that nobody can set at will: what needs another position than rest is no part of the walk-round."""
_UNITS = ("", "V", "ohm", "A")


@dataclass(frozen=True)
class Course:
    """What each collecting stage asks, in order; `routes` of those that walk about, and `left_out`: looks that
    need what cannot be set, such as an empty tank."""

    steps: dict[str, tuple[Step, ...]]
    routes: dict[str, Route]
    left_out: tuple[Step, ...]
    stage_of: dict[str, str]
    """Id of a step to the stage that it belongs to."""


_KNOWN: WeakKeyDictionary[Reasoner, dict[bool, Course]] = WeakKeyDictionary()
"""Worked out once for a vehicle: the best order takes a moment."""


def course_of(reasoner: Reasoner, helper: bool) -> Course:
    """The course for a vehicle."""
    known = _KNOWN.setdefault(reasoner, {})
    if helper not in known:
        known[helper] = _course(reasoner, helper)
    return known[helper]


def _course(reasoner: Reasoner, helper: bool) -> Course:
    found: dict[str, list[Step]] = {stage: [] for stage in COLLECTING}
    left_out = []
    for step in reasoner.steps.values():
        stage = _stage_of(step)
        if stage is None:
            continue
        if _GIVEN & step.operate.keys():
            left_out.append(step)
        else:
            found[stage].append(step)
    routes = {stage: route_of(reasoner.knowledge, found[stage], helper) for stage in (WALK_ROUND, ENGINE_RUNNING)}
    steps = {
        BEFORE_POWER: _by_place(found[BEFORE_POWER]),
        FIRST_POWER: tuple(sorted(found[FIRST_POWER], key=lambda step: not step.generated)),
        KEY_OFF: tuple(found[KEY_OFF]),
        **{stage: tuple(step for visit in route.visits for step in visit.steps) for stage, route in routes.items()},
    }
    stage_of = {step.id: stage for stage, own in steps.items() for step in own}
    return Course(steps, routes, tuple(left_out), stage_of)


def _stage_of(step: Step) -> str | None:
    """The stage that a step belongs to, if any: as its file says, else by what it takes."""
    if step.stage is not None:
        return step.stage
    if step.generated or not plain(step.operate) or step.operate.get("battery", "connected") != "connected":
        return None
    if step.operate.get("engine") == "running" or step.operate.get("ignition") == "start":
        return ENGINE_RUNNING if step.kind in ("look", "listen", "measure") else None
    return WALK_ROUND if step.kind in ("look", "listen") else None


def _by_place(steps: Sequence[Step]) -> tuple[Step, ...]:
    """All at one place before the next; what is seen before what is measured."""
    places = list(dict.fromkeys(step.place for step in steps))
    return tuple(sorted(steps, key=lambda step: (places.index(step.place), _UNITS.index(step.unit or ""))))
