"""The walk-round: everything once, never longer than in the order of the files, and in an order that is safe.

source of the interlocks: common practice, no source
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from diag.knowledge.load import load_knowledge
from diag.reason.choose import WALK_MINUTES
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step, all_steps
from diag.stages.course import COLLECTING, ENGINE_RUNNING, WALK_ROUND, course_of
from diag.stages.route import Route, held, route_of
from tests.reasoners import demo_vehicles, file_of

VEHICLES = demo_vehicles()


def looks(vehicle: str) -> tuple[object, list[Step]]:
    """A vehicle's written looks and listens with the engine stopped and nothing taken off."""
    knowledge = load_knowledge(file_of(vehicle))
    plain = {"unplugged", "bridged", "fuel", "coolant"}
    steps = [
        step
        for step in all_steps(knowledge, None)
        if step.kind in ("look", "listen")
        and not plain & step.operate.keys()
        and step.operate.get("engine") != "running"
        and step.operate.get("ignition") != "start"
    ]
    return knowledge, steps


def counted(steps: Sequence[Step], controls: dict[str, tuple[str, ...]], alone: bool) -> tuple[int, int]:
    """Walks and turns of the key of steps in that order, counted once more in plain steps."""
    walks = keys = 0
    place, now = "driver-seat", {c: p[0] for c, p in controls.items()}
    for step in steps:
        wanted = {c: step.operate.get(c, p[0]) for c, p in controls.items()}
        moved = [c for c in controls if wanted[c] != now[c]]
        away = {"door-left": "doors", "door-right": "doors", "trailer": "rear", "battery": "engine-bay"}
        stops = list(dict.fromkeys(away.get(c, "driver-seat") for c in moved if c in away or alone))
        for there in [*stops, step.place]:
            walks += there != place
            place = there
        keys += "ignition" in moved
        now = wanted
    return walks, keys


@pytest.mark.parametrize("helper", [False, True])
@pytest.mark.parametrize("vehicle", VEHICLES)
def test_the_walk_asks_everything_once_and_saves(vehicle: str, helper: bool) -> None:
    """An order that forgot a look, or took longer than the files, would be worse than none."""
    knowledge, steps = looks(vehicle)
    route: Route = route_of(knowledge, steps, helper)
    asked = [step for visit in route.visits for step in visit.steps]
    assert sorted(s.id for s in asked) == sorted(s.id for s in steps)
    assert route.saved >= 0
    controls = dict(knowledge.controls)
    assert (route.walks, route.key_turns) == counted(asked, controls, not helper)
    assert (route.plain_walks, route.plain_key_turns) == counted(steps, controls, not helper)
    looking = sum(step.minutes for step in steps)
    assert route.minutes == pytest.approx(looking + route.on_the_way)
    assert route.on_the_way >= WALK_MINUTES * route.walks


@pytest.mark.parametrize("helper", [False, True])
@pytest.mark.parametrize("vehicle", VEHICLES)
def test_the_walk_keeps_what_is_safe_and_what_shows_more(vehicle: str, helper: bool) -> None:
    """The key is turned on once; lights go up; a wiper is looked at in park after it ran."""
    knowledge, steps = looks(vehicle)
    visits = route_of(knowledge, steps, helper).visits
    on = [visit.operate.get("ignition", "off") != "off" for visit in visits]
    assert on == sorted(on), "the coil is live in one piece"
    for i, visit in enumerate(visits):
        for later in visits[i + 1 :]:
            rest = [{c: p for c, p in v.operate.items() if c != "lights"} for v in (visit, later)]
            lights = [v.operate.get("lights") for v in (visit, later)]
            assert not (rest[0] == rest[1] and lights == ["head", "side"]), "side lamps are lit before headlamps"
    runs = {s.target: i for i, v in enumerate(visits) for s in v.steps if v.operate.get("wiper")}
    for i, visit in enumerate(visits):
        for step in visit.steps:
            if step.target in runs and "wiper" not in visit.operate and "washer" not in visit.operate:
                assert i > runs[step.target], "park is seen after running"


def test_a_helper_saves_walking(reasoner: Reasoner) -> None:
    """Alone every change of a control is a walk to the seat and back."""
    alone, helped = (course_of(reasoner, helper).routes[WALK_ROUND] for helper in (False, True))
    assert helped.walks < alone.walks
    assert helped.minutes < alone.minutes
    assert held({"brake-pedal": "pressed"}) == "brake-pedal"
    assert held({"lights": "side"}) is None


def test_every_stage_has_its_own_and_no_check_is_in_two(reasoner: Reasoner) -> None:
    """What takes a turning engine is not asked on the walk-round; nothing is asked twice."""
    course = course_of(reasoner, False)
    ids = [step.id for stage in COLLECTING for step in course.steps[stage]]
    assert len(ids) == len(set(ids))
    assert all(step.operate.get("engine") == "running" or not step.operate for step in course.steps[ENGINE_RUNNING])
    assert not any(step.operate.get("engine") == "running" for step in course.steps[WALK_ROUND])
    written = {
        step.id
        for step in reasoner.steps.values()
        if step.kind in ("look", "listen") and not step.generated and not {"unplugged", "bridged"} & step.operate.keys()
    }
    assert written <= {*ids, *(step.id for step in course.left_out)}
