"""Visits of a walk-round: what is seen or heard from one place under one setting of the controls, and the order
of them that takes the fewest minutes of walking and of working controls.

Knows places, controls and what must come before what; nothing of what is odd or already answered.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Floats
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.targets import part_of_target
from diag.reason.choose import WALK_MINUTES
from diag.reason.steps import Step
from diag.stages.order import cheapest_order, cost_of

__all__ = ["Route", "Visit", "held", "route_of"]

SEAT = "driver-seat"
"""Where a person alone works the controls."""
_CONTROL_MINUTES, _DETENT_MINUTES = 0.08, 0.03
"""Working a control, and each position that it passes more; common practice, no source."""
_START_MINUTES, _STOP_MINUTES = 1.5, 0.1
_HELD = frozenset({"pressed", "pulled", "held"})
"""Positions that spring back: somebody has to hold them."""
_PROP_MINUTES = 0.8
"""Propping a control that has to be held, or backing up to a wall that throws the light back, when alone."""
_AWAY: Mapping[str, tuple[str, float]] = {
    "battery": ("engine-bay", 1.0),
    "door-left": ("doors", 0.1),
    "door-right": ("doors", 0.1),
    "trailer": ("rear", 4.0),
}
"""Controls that are not worked from the seat: where, and minutes."""
_KEY_ON = ("on", "start")


@dataclass(frozen=True)
class Visit:
    """What is asked at `place` with the controls at `operate`, one after another without a step between."""

    operate: Mapping[str, str]
    place: str
    steps: tuple[Step, ...]

    @property
    def minutes(self) -> float:
        """Of looking and listening alone."""
        return sum(step.minutes for step in self.steps)


@dataclass(frozen=True)
class Route:
    """Visits in their order. `minutes`: all of it, `on_the_way`: of walking and working controls; `walks` from
    place to place, `changes` of the controls, `key_turns` of the key among them. The same of the order in which
    the files list the checks as `plain_...`."""

    visits: tuple[Visit, ...]
    minutes: float
    on_the_way: float
    walks: int
    changes: int
    key_turns: int
    plain_minutes: float
    plain_walks: int
    plain_changes: int
    plain_key_turns: int

    @property
    def saved(self) -> float:
        """Minutes saved against the order of the files."""
        return self.plain_minutes - self.minutes


def held(operate: Mapping[str, str]) -> str | None:
    """The control that has to be held in its position, if any."""
    return next((control for control, position in operate.items() if position in _HELD), None)


def route_of(knowledge: Knowledge, steps: Sequence[Step], helper: bool, start: str = SEAT) -> Route:
    """The order for these steps. `helper`: somebody else works the controls; `start`: where the person stands,
    every control being at rest."""
    ways = _Ways(knowledge, helper)
    visits = _visits(steps)
    first, between = costs_of(knowledge, visits, helper, start)
    order = cheapest_order(first, between, _before(knowledge, visits))
    ordered = [visits[i] for i in order]
    singly = [Visit(step.operate, step.place, (step,)) for step in steps]
    looking = sum(step.minutes for step in steps)
    on_the_way, plain = cost_of(order, first, between), ways.way(start, singly)
    walks, changes, keys = ways.counts(start, ordered)
    plain_walks, plain_changes, plain_keys = ways.counts(start, singly)
    return Route(
        tuple(ordered),
        looking + on_the_way,
        on_the_way,
        walks,
        changes,
        keys,
        looking + plain,
        plain_walks,
        plain_changes,
        plain_keys,
    )


def _visits(steps: Sequence[Step]) -> list[Visit]:
    """Steps by operate and place, in the order in which they first come; what can be answered together leads."""
    found: dict[tuple[object, str], list[Step]] = {}
    for step in steps:
        found.setdefault((operate_key(step.operate), step.place), []).append(step)
    seen = ("look", "listen")
    return [
        Visit(dict(group[0].operate), place, tuple(sorted(group, key=lambda step: step.kind not in seen)))
        for (_, place), group in found.items()
    ]


class _Ways:
    """What it takes to come from one visit to another."""

    def __init__(self, knowledge: Knowledge, helper: bool) -> None:
        self.controls, self.helper = knowledge.controls, helper

    def minutes(self, operate: Mapping[str, str], place: str, to: Visit) -> float:
        """Walking, by way of where controls are worked if one has to be, and working them."""
        stops, work = self._stops(operate, to.operate)
        walked = sum(a != b for a, b in zip([place, *stops], [*stops, to.place], strict=True))
        alone = not self.helper and held(to.operate) is not None
        prop = _PROP_MINUTES if alone and to.place != SEAT and (work or place == SEAT) else 0.0
        return walked * WALK_MINUTES + work + prop

    def way(self, start: str, visits: Sequence[Visit]) -> float:
        """Minutes on the way through visits in the order given."""
        operate: Mapping[str, str] = {}
        total, place = 0.0, start
        for visit in visits:
            total += self.minutes(operate, place, visit)
            operate, place = visit.operate, visit.place
        return total

    def counts(self, start: str, visits: Sequence[Visit]) -> tuple[int, int, int]:
        """Walks from place to place, controls worked, and how often that was the key."""
        operate: Mapping[str, str] = {}
        walks, changes, keys, place = 0, 0, 0, start
        for visit in visits:
            stops, _ = self._stops(operate, visit.operate)
            walks += sum(a != b for a, b in zip([place, *stops], [*stops, visit.place], strict=True))
            worked = self._worked(operate, visit.operate)
            changes, keys = changes + len(worked), keys + ("ignition" in worked)
            operate, place = visit.operate, visit.place
        return walks, changes, keys

    def _worked(self, old: Mapping[str, str], new: Mapping[str, str]) -> list[str]:
        return [c for c in self.controls if old.get(c, self.controls[c][0]) != new.get(c, self.controls[c][0])]

    def _stops(self, old: Mapping[str, str], new: Mapping[str, str]) -> tuple[list[str], float]:
        """Places to go to for the controls that change, each once, and minutes of working them."""
        stops: list[str] = []
        work = 0.0
        for control in self._worked(old, new):
            positions = self.controls[control]
            was, then = (found.get(control, positions[0]) for found in (old, new))
            place, own = _AWAY.get(control, (SEAT, 0.0))
            if control == "engine":
                work += _START_MINUTES if then == "running" else _STOP_MINUTES
            elif own:
                work += own
            else:
                passed = abs(positions.index(then) - positions.index(was)) if then in positions else 1
                work += _CONTROL_MINUTES + _DETENT_MINUTES * (passed - 1)
            if (place != SEAT or not self.helper) and place not in stops:
                stops.append(place)
        return stops, work


def _before(knowledge: Knowledge, visits: Sequence[Visit]) -> np.ndarray:
    """(n, n) what must come before what.

    With the engine stopped, all with the key off comes before all with the key on: so the coil is live once and as
    short as can be. Lights go up from side to head with all else alike, so that the side lamps are seen to stay on
    with the headlamps. A wiper is looked at in its park position after it has run.
    """
    out = np.zeros((len(visits), len(visits)), dtype=bool)
    for i, a in enumerate(visits):
        for j, b in enumerate(visits):
            if i != j:
                out[i, j] = _phase(a) < _phase(b) or (
                    _phase(a) == _phase(b) and (_lower(knowledge, a, b) or _parks_after(knowledge, a, b))
                )
    return out


def _phase(visit: Visit) -> int:
    """Key off, key on, cranking, engine running."""
    if visit.operate.get("engine") == "running":
        return 3
    key = visit.operate.get("ignition")
    return 2 if key == "start" else 1 if key in _KEY_ON else 0


def _lower(knowledge: Knowledge, a: Visit, b: Visit) -> bool:
    """Whether two visits differ in nothing but the light switch, lit in both, and the first has it lower."""
    positions = knowledge.controls.get("lights", ())
    lit = [visit.operate.get("lights") for visit in (a, b)]
    rest = [{c: p for c, p in visit.operate.items() if c != "lights"} for visit in (a, b)]
    if rest[0] != rest[1] or lit[0] is None or lit[1] is None or lit[0] == lit[1]:
        return False
    return positions.index(lit[0]) < positions.index(lit[1])


def _parks_after(knowledge: Knowledge, a: Visit, b: Visit) -> bool:
    """Whether the second looks at a wiper at rest that runs in the first."""
    runs, rests = ({s.target for s in v.steps if _wipes(knowledge, s)} for v in (a, b))
    return bool(runs & rests) and "wiper" in a.operate and "wiper" not in b.operate


def _wipes(knowledge: Knowledge, step: Step) -> bool:
    return isinstance(part_of_target(knowledge, step.target), schema.WiperMotorPart)


def costs_of(knowledge: Knowledge, visits: Sequence[Visit], helper: bool, start: str = SEAT) -> tuple[Floats, Floats]:
    """Minutes from the start to each visit, and from each to each."""
    ways = _Ways(knowledge, helper)
    first = np.array([ways.minutes({}, start, v) for v in visits])
    between = np.array([[ways.minutes(a.operate, a.place, b) for b in visits] for a in visits])
    return first, between.reshape(len(visits), len(visits))
