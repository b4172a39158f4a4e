"""Objects that only a job in stages sends: how a stage begins, what the coil needs, looks that are answered
together, the end with what is handed over.

Pure functions of reasoner and plan; knows nothing of journals or of how objects travel.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diag.knowledge.bridging import UNPLUGGED
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.stages import coil
from diag.stages.course import BEFORE_POWER, FAULTS, FIRST_POWER, STAGES, course_of
from diag.stages.faults import problems_of
from diag.stages.fuses import fuse_lines
from diag.stages.route import SEAT, held
from diag.talk.nexts import DoFirst, Look
from diag.talk.objects import do_of, expected_of, expected_words
from diag.talk.plan import Plan
from diag.talk.stage_words import COIL_WORDS, begins_words
from diag.talk.wording import finding_words, operate_words
from diag.texts import t, tn

__all__ = ["end_of", "staged_do_of", "teaches", "walk_of"]

Object = dict[str, Any]
_GO_ON = [{"value": "done", "label": t("Go on")}]
_COIL_CHOICES = [
    {"value": coil.COIL_OFF, "label": t("Terminal 15 of the coil is off")},
    {"value": "two-minutes", "label": t("It stays on: two minutes at a time")},
]


def end_of(plan: Plan, name: str) -> Object:
    """The end: what is open; of a job in stages how each ended and how to write the handover. `name`: of the job."""
    out: Object = {"type": "end", "open": list(plan.open_items)}
    if plan.stages:
        out["stages"] = _stages(plan)
        out["handover"] = f"diag export {name} --as handover"
    if teaches(plan):
        out["teach"] = f"diag rules add {name}"
    return out


def teaches(plan: Plan) -> bool:
    """Whether the job may know more than the rules: work of the fitter's own, or answers that nothing explains."""
    unexplained = plan.beliefs is not None and bool(plan.beliefs.posterior.unexplained)
    return unexplained or any(treated.remedy is None for treated in plan.treated)


def _stages(plan: Plan) -> list[Object]:
    return [
        {"id": s.id, "title": s.title, "state": s.state, "left": s.left, "of": s.of}
        | ({"reason": s.reason} if s.reason else {})
        for s in plan.stages
    ]


def staged_do_of(reasoner: Reasoner, plan: Plan, do: DoFirst, ask_id: str, minutes: float = 0.0) -> Object:
    """What a stage begins with, or what the coil needs. `minutes`: that the key has been on."""
    if do.begins is not None:
        return _begins(reasoner, plan, do, ask_id)
    if do.coil == "live":
        ask = do_of(reasoner, do, ask_id)
        count, looking = _key_on_left(reasoner, plan)
        said = t(
            "{count} looks with the key on come now, about {looking:.0f} min: more than a live coil stands.",
            count=count,
            looking=looking,
        )
        return {**ask, "choices": _COIL_CHOICES, "why": said if looking > coil.MINUTES else ask["why"]}
    text = COIL_WORDS[str(do.coil)].format(minutes=minutes)
    return _do(ask_id, do.caution, "caution:" + do.caution, text, t("The coil overheats with the engine stopped."))


def _key_on_left(reasoner: Reasoner, plan: Plan) -> tuple[int, float]:
    """Looks of the walk-round with the key on, and their minutes."""
    route = course_of(reasoner, plan.helper).routes["walk-round"]
    steps = [s for v in route.visits if v.operate.get("ignition", "off") != "off" for s in v.steps]
    return len(steps), sum(step.minutes for step in steps)


def _do(ask_id: str, mark: str, check: str, text: str, why: str, choices: Sequence[Object] = ()) -> Object:
    return {
        "type": "ask",
        "id": ask_id,
        "check": check,
        "kind": "do",
        "operate": {},
        "unit": None,
        "choices": list(choices) or [{"value": "done", "label": t("Done")}],
        "text": text,
        "caution": text,
        "caution-id": mark,
        "place": None,
        "minutes": 0.3,
        "instruments": [],
        "expected": "done",
        "why": why,
        "means": [],
    }


def _begins(reasoner: Reasoner, plan: Plan, do: DoFirst, ask_id: str) -> Object:
    stage = str(do.begins)
    state = next(one for one in plan.stages if one.id == stage)
    problems = _problems(reasoner, plan) if stage == FAULTS else []
    lines = (
        _problem_lines(problems) if stage == FAULTS else begins_words(reasoner, course_of(reasoner, plan.helper), stage)
    )
    mind = _passed_over(plan, stage)
    lines = [*([mind] if mind else []), *lines]
    number = list(STAGES).index(stage) + 1
    title = t("Stage {number} of {count}: {stages}", number=number, count=len(STAGES), stages=STAGES[stage])
    ask = _do(ask_id, do.caution, do.caution, f"{title}. {' '.join(lines)}", t("What comes now."), _GO_ON)
    del ask["caution"]
    ask |= {
        "begins": stage,
        "title": title,
        "lines": lines,
        "minutes": round(state.minutes, 1),
        "stages": _stages(plan),
    }
    if mind:
        ask["mind"] = mind
    if stage == FAULTS:
        ask["problems"] = problems
    if stage == "before-power":
        ask["fuses"] = [
            {"fuse": f.fuse, "wire": f.wire, "section-mm2": f.section_mm2, "rating-a": f.judged.rating_a,
             "carries-a": round(f.judged.carries_a, 1), "holds": f.holds}
            for f in fuse_lines(reasoner)
        ]  # fmt: skip
    if stage in ("walk-round", "engine-running"):
        route = course_of(reasoner, plan.helper).routes[stage]
        ask["saved"] = {
            "minutes": round(route.saved, 1),
            "walks": route.plain_walks - route.walks,
            "changes": route.plain_changes - route.changes,
            "key-turns": route.plain_key_turns - route.key_turns,
        }
    return ask


def _passed_over(plan: Plan, stage: str) -> str:
    """The caution where power comes on and what must be proved before it was not; empty where all of that was."""
    if stage in (BEFORE_POWER, FIRST_POWER, FAULTS):
        return ""
    left = [one.title for one in plan.stages if one.id in (BEFORE_POWER, FIRST_POWER) and one.state == "open"]
    return (
        t(
            "Not gone through: {stages}. A feed that touches body, a fuse too large for its wire or a battery the "
            "wrong way round is found there before it burns anything. Go there first (stages); else isolator within "
            "reach, and off at the first smell or smoke.",
            stages=", ".join(left),
        )
        if left
        else ""
    )


def _problems(reasoner: Reasoner, plan: Plan) -> list[Object]:
    assert plan.beliefs is not None
    open_ = {finding.seq for finding in plan.unresolved}
    words = {f.seq: finding_words(reasoner.knowledge, f) for f in plan.unresolved}
    sound = {f.seq: expected_words(reasoner, f.step) if f.step is not None else "" for f in plan.unresolved}
    out = []
    for problem in problems_of(reasoner, plan.beliefs, open_):
        out.append(
            {
                "signs": [{"seq": seq, "text": words[seq], "sound": sound[seq]} for seq in problem.signs],
                "likely": [
                    {"id": name, "title": reasoner.remedies[name].title, "p": round(p, 4)} for name, p in problem.likely
                ],
            }
        )
    return out


def _problem_lines(problems: Sequence[Object]) -> list[str]:
    signs = sum(len(problem["signs"]) for problem in problems)
    if not signs:
        return [t("A repair is to be proved.")]
    out = [
        t(
            "{answers} in {problems}.",
            answers=tn("{n} odd answer", "{n} odd answers", signs),
            problems=tn("{n} problem", "{n} problems", len(problems)),
        )
    ]
    for number, problem in enumerate(problems, 1):
        seen = "; ".join(
            f"{sign['text']}" + (t(" (a sound vehicle: {sign})", sign=sign["sound"]) if sign["sound"] else "")
            for sign in problem["signs"]
        )
        best = problem["likely"][0]
        out.append(
            t(
                "Problem {number}: {seen}. Suspected first: {best} ({best_2:.0%}).",
                number=number,
                seen=seen,
                best=best["title"],
                best_2=best["p"],
            )
        )
    return out


def walk_of(reasoner: Reasoner, plan: Plan, look: Look) -> Object:
    """What a question in a stage has more: how much is left, how to see it alone, and looks answered together."""
    if plan.stage is None:
        return {}
    state = next(one for one in plan.stages if one.id == plan.stage)
    out: Object = {"left": state.left}
    control = held(look.step.operate)
    if control is not None and not plan.helper and look.step.place != SEAT and UNPLUGGED not in look.step.operate:
        prop = t("Alone: prop the {control}", control=control.replace("-", " "))
        lamp = look.step.kind == "look" and look.step.red is None
        out["hint"] = t("{prop}, or back up to a wall and watch the light on it.", prop=prop) if lamp else f"{prop}."
    if look.group:
        out["group"] = [_item(reasoner, step) for step in look.group]
        out["setting"] = operate_words(reasoner.knowledge, look.step.operate)
    return out


def _item(reasoner: Reasoner, step: Step) -> Object:
    return {
        "check": step.id,
        "kind": step.kind,
        "target": step.target,
        "title": step.title,
        "text": step.text or "",
        "expected": expected_of(reasoner, step),
        "sound": expected_words(reasoner, step),
    }
