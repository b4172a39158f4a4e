"""Words of the stages: what each begins with, what is computed for it, how the coil is minded, and whether free
text means the whole vehicle. Words only; decides nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from diag.calc.battery import days_of_standing
from diag.reason.operates import key_on
from diag.reason.reasoner import Reasoner
from diag.reason.steps import SERIES_LAMP, Step
from diag.stages.course import (
    Course,
)
from diag.stages.fuses import FuseLine, fuse_lines
from diag.stages.power import draw_of, lights_of
from diag.stages.route import Route
from diag.texts import t, tn

__all__ = ["COIL_WORDS", "begins_words", "days_words", "fuse_words", "means_whole", "route_words", "standing_words"]

CAPACITY_AH = 45.0
"""Of the battery of a light vehicle, where nobody says more (common practice, no source)."""
COIL_WORDS: Mapping[str, str] = {
    "hot": t(
        "By the times of your answers the key has been on for {minutes:.0f} min with the engine "
        "stopped. Key off. Feel the coil; go on when it is cool."
    ),
    "back-on": t("Put the wire back on terminal 15 of the coil."),
}
_WHOLE = re.compile(
    r"\b(whole|entire|complete|full)\s+(vehicle|car|truck|van|pickup|tractor|loom|lot|job|electrics?|wiring)\b"
    r"|\b(prove|check|test|verify|inspect|go\s+through|go\s+over)\s+(it\s+all|all|everything|every\s+circuit)\b"
    r"|\b(everything|all\s+circuits|all\s+of\s+it)\b.*\b(after|since|rewire[d]?|new\s+loom|handover)\b"
    r"|\bfrom\s+before\s+power\b|\bbefore\s+first\s+power\b",
    re.IGNORECASE,
)


def means_whole(text: str) -> bool:
    """Whether words at the start ask for the whole vehicle to be proved, in stages."""
    return text.strip().casefold() == "whole" or _WHOLE.search(" ".join(text.split())) is not None


def begins_words(reasoner: Reasoner, course: Course, stage: str) -> list[str]:
    """What a collecting stage begins with, one paragraph each."""
    steps = course.steps[stage]
    count = tn("{n} check", "{n} checks", len(steps))
    match stage:
        case "before-power":
            return [
                t(
                    "Battery off: isolator open, clamps on (where there is none: earth clamp off). "
                    "{count}, about {minutes} min.",
                    count=count,
                    minutes=_minutes(steps),
                ),
                *fuse_words(fuse_lines(reasoner)),
            ]
        case "first-power":
            return [
                *_limited_words(reasoner, steps),
                t("{count}, about {minutes} min.", count=count, minutes=_minutes(steps)),
            ]
        case "walk-round":
            said = t(
                "What is odd is collected now and looked into afterwards. Where a page lists several looks, one key "
            )
            return [
                *route_words(course.routes[stage]),
                t("{said}says that all are right; a number picks an odd one.", said=said),
            ]
        case "engine-running":
            return [
                *route_words(course.routes[stage]),
                t("In the open air, out of gear, handbrake on, wheels chocked."),
            ]
        case _:
            return standing_words(reasoner, steps)


def _minutes(steps: Sequence[Step]) -> str:
    return f"{sum(step.minutes for step in steps):.0f}"


def route_words(route: Route) -> list[str]:
    """How long a walk takes, and what its order saves."""
    if not route.visits:
        return [t("Nothing to look at here.")]
    count = sum(len(visit.steps) for visit in route.visits)
    out = [
        t(
            "{count} looks and listens at {count_2} stops, about {minutes:.0f} min, of which "
            "{on_the_way:.0f} min walking and working controls.",
            count=count,
            count_2=len(route.visits),
            minutes=route.minutes,
            on_the_way=route.on_the_way,
        )
    ]
    fewer = ((route.plain_walks, route.walks, "walks"), (route.plain_changes, route.changes, t("control changes")))
    saved = [f"{plain - now} {what}" for plain, now, what in fewer if plain > now]
    keys = route.plain_key_turns - route.key_turns
    saved += [tn("{n} turn of the key", "{n} turns of the key", keys)] if keys > 0 else []
    if route.saved >= 0.5:
        out.append(
            t(
                "This order saves {saved:.0f} min against that of the files: {saved_2} fewer.",
                saved=route.saved,
                saved_2=", ".join(saved),
            )
        )
    return out


def fuse_words(lines: Sequence[FuseLine]) -> list[str]:
    """Fuses against the wires that they guard: how many hold, and each that does not."""
    if not lines:
        return []
    bad = [line for line in lines if not line.holds]
    holds = len(lines) - len(bad)
    return [
        t("Fuses that hold the thinnest wire behind them: {holds} of {count}.", holds=holds, count=len(lines)),
        *(line.words for line in bad),
    ]


def _limited_words(reasoner: Reasoner, steps: Sequence[Step]) -> list[str]:
    """Amps of a sound vehicle, and what a lamp in series means."""
    out = []
    for operate, said in (({}, t("everything off")), (key_on(reasoner.knowledge), t("the key on"))):
        draw = draw_of(reasoner, operate)
        if draw is None or (not operate and said != t("everything off")):
            continue
        parts = reasoner.knowledge.parts
        where = [f"{parts[name].title} {amps:.2f} A" for name, amps in sorted(draw.by_fuse.items())]
        out.append(
            t(
                "With {said} a sound vehicle takes {amps:.2f} A{value}{where}.",
                said=said,
                amps=draw.amps,
                value=": " if where else "",
                where=", ".join(where),
            )
        )
    for step in steps:
        if step.target != SERIES_LAMP:
            continue
        found = lights_of(reasoner, step)
        says = [
            t("{word} is right", word=light.word) if light.sound else f"{light.word}: {', '.join(light.circuits)}"
            for light in found
        ]
        out.append(f"{step.title}: {'; '.join(says)}.")
    return out


def standing_words(reasoner: Reasoner, steps: Sequence[Step]) -> list[str]:
    """What may flow with everything off, and how long the battery stands with it."""
    out = []
    draw = draw_of(reasoner, {})
    if draw is not None:
        out.append(t("With everything off a sound vehicle takes {amps:.2f} A.", amps=draw.amps))
    for step in steps:
        if step.unit == "A" and step.limits is not None and step.limits.max is not None:
            out.append(t("At most {max:g} A. {days}", max=step.limits.max, days=days_words(step.limits.max)))
    return out


def days_words(amps: float) -> str:
    """How long the battery stands with a current before it will not start an engine."""
    days = days_of_standing(abs(amps), CAPACITY_AH)
    if math.isinf(days):
        return ""
    told = t("{days:.0f} days", days=days) if days >= 2 else t("{number:.0f} hours", number=24 * days)
    return t(
        "With {amps:.2g} A a battery of {capacity_ah:g} Ah (assumed) is half empty after {told}.",
        amps=abs(amps),
        capacity_ah=CAPACITY_AH,
        told=told,
    )
