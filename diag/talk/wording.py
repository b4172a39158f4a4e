"""What is said to a person: controls, places, answers and readings in plain words of the trade.

Only words; knows nothing of chances or of what is asked next.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import bridge_ends
from diag.knowledge.targets import target_title
from diag.reason.metered import SERIES_LAMP_W
from diag.reason.steps import BODY, BUZZER, LED_TESTER, SERIES_LAMP, TEST_LAMP, Finding, Step, Value
from diag.sheet.spoken import fuse_at, jumper_words, lower, only_words, operate_words, point_words
from diag.texts import t

__all__ = [
    "answer_words",
    "back_on_words",
    "finding_words",
    "only_words",
    "operate_words",
    "point_words",
    "reading_words",
    "said_words",
    "step_words",
]


def back_on_words(knowledge: Knowledge, off: Sequence[str]) -> str:
    """What is put right after a check: a jumper comes off, then wires go back on, the battery last."""
    jumpers = [jumper_words(knowledge, points) for points in off if bridge_ends(points) is not None]
    wires = [
        _back_words(knowledge, terminal) for terminal in off if terminal != "battery" and bridge_ends(terminal) is None
    ]
    battery = (
        [t("the earth clamp on the battery (or close the isolator), last of all, with the key off")]
        if "battery" in off
        else []
    )
    said = [t("Take off the {jumpers}.", jumpers=t(" and the ").join(jumpers))] if jumpers else []
    said += [t("Put back on: {wires}.", wires=t(" and ").join([*wires, *battery]))] if wires or battery else []
    return " ".join(said)


def _back_words(knowledge: Knowledge, terminal: str) -> str:
    fuse = fuse_at(knowledge, terminal)
    return (
        t("the {fuse}", fuse=lower(fuse))
        if fuse is not None
        else t("the wire on {knowledge}", knowledge=point_words(knowledge, terminal))
    )


def step_words(knowledge: Knowledge, step: Step) -> str:
    """The whole instruction of a step."""
    setting = operate_words(knowledge, step.operate)
    start = f"{setting[0].upper()}{setting[1:]}. "
    if step.kind == "choose":
        return f"{step.title}." + (f" {step.text}" if step.text else "")
    if step.target == SERIES_LAMP:
        return t(
            "{start}Lamp of {series_lamp_w:g} W across the open isolator. What does it show?",
            start=start,
            series_lamp_w=SERIES_LAMP_W,
        )
    if step.target in (TEST_LAMP, LED_TESTER):
        return t("{start}{held} What does it show?", start=start, held=_held_words(knowledge, step))
    if step.target == BUZZER:
        return t("{start}Meter on continuity: {probes}. Does it buzz?", start=start, probes=_probes(knowledge, step))
    if step.kind == "look":
        return t(
            "{start}Watch: {knowledge}.{own}", start=start, knowledge=_title(knowledge, step.target), own=_own(step)
        )
    if step.kind == "listen":
        return t(
            "{start}Listen to: {knowledge}.{own}", start=start, knowledge=_title(knowledge, step.target), own=_own(step)
        )
    if step.unit == "A":
        way = t("open it and put the meter in between") if step.through in knowledge.wires else t("meter in its place")
        return t(
            "{start}Amps through {knowledge}: {way}.{own}",
            start=start,
            knowledge=_title(knowledge, step.through),
            way=way,
            own=_own(step),
        )
    if step.unit == "ohm":
        live = t(" Power off, or the number means nothing.") if step.operate.get("battery") != "disconnected" else ""
        return t(
            "{start}Meter on ohms: {probes}.{live} OL if it shows no continuity.{own}",
            start=start,
            probes=_probes(knowledge, step),
            live=live,
            own=_own(step),
        )
    return t(
        "{start}Meter on DC volts: {probes}. Give the highest if it pulses.{own}",
        start=start,
        probes=_probes(knowledge, step),
        own=_own(step),
    )


def _probes(knowledge: Knowledge, step: Step) -> str:
    return t(
        "red on {knowledge}, black on {knowledge_2}",
        knowledge=point_words(knowledge, step.red or ""),
        knowledge_2=point_words(knowledge, step.black or ""),
    )


def _held_words(knowledge: Knowledge, step: Step) -> str:
    """Where clip and tip go: the clip to body, or to what is live where an earth is the suspect."""
    name = t("Test lamp") if step.target == TEST_LAMP else t("LED tester")
    red = point_words(knowledge, step.red or "")
    if step.black in (None, BODY):
        return t("{name}: clip to body, tip on {red}.", name=name, red=red)
    return t(
        "{name}: clip on {red}, tip on {knowledge}.",
        name=name,
        red=red,
        knowledge=point_words(knowledge, step.black or ""),
    )


def _own(step: Step) -> str:
    return f" {step.text}" if step.text else ""


def _title(knowledge: Knowledge, target: str | None) -> str:
    if target is None:
        return ""
    if target in knowledge.wires:
        return knowledge.wires[target].title or target.replace("-", " ")
    return target_title(knowledge, target)


def reading_words(number: float, unit: str) -> str:
    """A number as a meter would show it."""
    if math.isnan(number):
        return t("no sense: power was on")
    if math.isinf(number):
        return t("OL (no continuity)")
    if unit == "ohm":
        return (
            f"{number:.1f} ohm"
            if number < 100
            else f"{number:.0f} ohm"
            if number < 10_000
            else f"{number / 1000:.0f} kohm"
        )
    return f"{number:.2f} {unit}"


def answer_words(step: Step, value: Value) -> str:
    """An answer as a person would say it."""
    if isinstance(value, tuple):
        light, rhythm = value
        return light if rhythm == "none" else f"{light.replace('-', ' ')}, {rhythm}"
    if isinstance(value, str):
        return step.labels.get(value, value.replace("-", " "))
    return reading_words(value, step.unit or "")


def said_words(step: Step, value: Value | str) -> str:
    """An answer to come as a person would say it; for readings a range that is in words already."""
    return value if isinstance(value, str) and step.kind == "measure" else answer_words(step, value)


def finding_words(knowledge: Knowledge, finding: Finding) -> str:
    """A finding as a line of the log."""
    if finding.symptom is not None:
        symptom = knowledge.symptoms.get(finding.symptom)
        return t("complaint: {symptom}", symptom=symptom.title if symptom is not None else finding.symptom)
    if finding.step is None or finding.value is None:
        return t("start")
    return f"{finding.step.title}: {answer_words(finding.step, finding.value)}"
