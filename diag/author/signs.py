"""What a closed job has to tell: answers that a sound vehicle does not give, what was done, what cured it.

Each sign carries the condition by which a rule would know it again. Asks nothing and writes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from diag.circuit.observe import LOOKS, OPEN_LINE_OHM
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.log.replayed import Replayed
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding, Step, Value
from diag.talk.wording import answer_words, finding_words
from diag.texts import t

__all__ = [
    "Cure",
    "Sign",
    "Story",
    "condition_of",
    "condition_words",
    "right_condition",
    "sound_value",
    "story_of",
    "written_factor",
]

_SHIFT = 0.4
"""How far from the reading towards the sound one a bound may lie at most, as a share of the way."""
_LEAST_V, _SHARE_A, _LEAST_A = 1.0, 0.25, 0.2
"""Room left around a reading: volts on a 12 V vehicle, a share of the amps, amps (common practice, no source)."""
_LEAST = 1e-3
"""Room that is left even where a reading is the sound one."""
_UNIT_POWERS = {"V": 1, "A": -1, "ohm": 2}
_FAR_OHM = 1000.0
"""From here on ohms are as good as none (common practice, no source)."""
Condition = dict[str, Any]


@dataclass(frozen=True)
class Sign:
    """One thing that was seen. `seq`: of the answer (0: told without a job). `words` as the log has it.
    `condition`: how a rule knows it again (`check` and a test), as in a file. `step`: where it was seen; of a
    complaint the check that it means. `value`: what was said; `sound`: what a sound vehicle shows (None: unknown).
    `turned`: after the cure the same check was as it should be. `symptom`: the complaint that means it."""

    seq: int
    words: str
    step: Step
    value: Value
    sound: Value | None
    condition: Condition
    turned: bool = False
    symptom: str | None = None


@dataclass(frozen=True)
class Cure:
    """Something that was done or told. `event`: remedied, changed or noted; `text`: the remedy's title or the
    person's own words; `remedy`: its id; `proved`: something odd was right afterwards."""

    seq: int
    event: str
    text: str
    remedy: str | None
    proved: bool


@dataclass(frozen=True)
class Story:
    """A job as far as rules can learn from it. `signs`: odd answers in their order, the newest of each check;
    `right`: answers that a sound vehicle gives as well. `cures`, likeliest first."""

    lived: Replayed
    circuit: str
    signs: tuple[Sign, ...]
    right: tuple[Sign, ...]
    cures: tuple[Cure, ...]

    def until(self, cure: int | None) -> Story:
        """The same as far as it was seen before a cure (by seq; None: all of it)."""
        return story_of(self.lived, cure)


def story_of(lived: Replayed, before: int | None = None) -> Story:
    """What the job tells, seen before the record `before`; None: before its likeliest cure."""
    cures = _cures(lived)
    if before is None and cures:
        before = cures[0].seq
    entry = next((e for e in lived.state.entries if e.seq == before), None)
    period = entry.period if entry is not None and entry.event != "noted" else math.inf
    signs, right = _signs(lived, period)
    return Story(lived, _circuit(lived, signs), tuple(signs), tuple(right), tuple(cures))


def _signs(lived: Replayed, period: float) -> tuple[list[Sign], list[Sign]]:
    """Odd answers and right ones. Of each check the newest period counts, for work in between may have put it right;
    within it both count, for what comes and goes is odd once and right once."""
    newest: dict[str, int] = {}
    seen: list[tuple[Finding, Sign]] = []
    for finding in lived.findings:
        sign = _sign(lived.reasoner, finding) if finding.period < period else None
        if sign is not None:
            seen.append((finding, sign))
            if finding.symptom is None:
                newest[sign.step.id] = finding.period
    later = {f.step.id: lived.sound(f) for f in lived.findings if f.step is not None and f.period >= period}
    told = {sign.step.id: sign.symptom for _, sign in seen if sign.symptom is not None}
    signs: dict[str, Sign] = {}
    right: dict[str, Sign] = {}
    for finding, sign in seen:
        check = sign.step.id
        if finding.symptom is not None:
            if (
                newest.get(check, finding.period) == finding.period
            ):  # lit while one looks, and complained of all the same
                signs[check] = replace(sign, turned=later.get(check) is True)
        elif finding.period == newest[check]:
            if lived.sound(finding) is False:
                signs[check] = replace(sign, turned=later.get(check) is True, symptom=told.get(check))
            elif sign.step.kind != "choose" or check in lived.reasoner.knowledge.checks:
                right[check] = replace(sign, condition=right_condition(lived.reasoner.knowledge, sign))
    return sorted(signs.values(), key=lambda sign: sign.seq), list(right.values())


def _sign(reasoner: Reasoner, finding: Finding) -> Sign | None:
    words = finding_words(reasoner.knowledge, finding)
    if finding.symptom is not None:
        return _complaint(reasoner, finding, words)
    if finding.step is None or finding.value is None:
        return None
    sound = sound_value(reasoner, finding.step)
    condition = condition_of(reasoner.knowledge, finding.step, finding.value, sound)
    if condition is None:
        return None
    return Sign(finding.seq, words, finding.step, finding.value, sound, condition)


def _complaint(reasoner: Reasoner, finding: Finding, words: str) -> Sign | None:
    """A complaint that means one thing is as good as its answer."""
    shows = reasoner.knowledge.symptoms[finding.symptom or ""].shows
    if len(shows) != 1 or len(shows[0]) != 1:
        return None
    told = shows[0][0]
    step = reasoner.steps.get(told.check or "")
    value = next((v for v in step.outcomes if _fits(told, v)), None) if step is not None else None
    if step is None or value is None:
        return None
    condition = {"check": step.id, **_tests(told)}
    return Sign(finding.seq, words, step, value, sound_value(reasoner, step), condition, symptom=finding.symptom)


def _fits(condition: schema.Condition, value: Value) -> bool:
    from diag.reason.steps import fits

    return fits(condition, value)


def _tests(condition: schema.Condition) -> Condition:
    found = condition.model_dump(by_alias=True, exclude_none=True)
    return {key: test for key, test in found.items() if key not in ("check", "established")}


def _circuit(lived: Replayed, signs: list[Sign]) -> str:
    """The circuit that it was about: of a complaint that some sign bears out, else of most signs, else of the
    complaint."""
    owner = lived.reasoner.knowledge.circuit_of
    told = [owner[f.symptom] for f in lived.findings if f.symptom is not None and f.symptom in owner]
    of_signs = [sign.step.circuit for sign in signs if sign.step.circuit not in ("", "supply", "shared")]
    every = [name for name in lived.reasoner.knowledge.circuits if name not in ("supply", "shared")]
    named = [name for name in told if name in of_signs] or of_signs or told or every
    return max(dict.fromkeys(named), key=named.count)


def _cures(lived: Replayed) -> list[Cure]:
    """What may have cured it: proved work first, then the newest."""
    out = []
    for entry in lived.state.standing("remedied", "changed", "noted"):
        remedy = str(entry.fields.get("remedy", "")) if entry.event == "remedied" else None
        if remedy is not None and remedy not in lived.reasoner.remedies:
            text = remedy.replace("-", " ").replace(".", " ")
        else:
            text = lived.reasoner.remedies[remedy].title if remedy else str(entry.fields.get("text", ""))
        proved = entry.event != "noted" and _proved(lived, entry.period)
        out.append(Cure(entry.seq, entry.event, text, remedy, proved))
    return sorted(out, key=lambda cure: (not cure.proved, cure.event == "noted", -cure.seq))


def _proved(lived: Replayed, period: int) -> bool:
    """Whether what was odd before was right in the period that the work began."""
    odd = {f.step.id for f in lived.findings if f.step is not None and f.period < period and lived.sound(f) is False}
    for finding in lived.findings:
        if finding.symptom is not None and finding.period < period:
            sign = _complaint(lived.reasoner, finding, "")
            odd |= {sign.step.id} if sign is not None else set()
    after = [f for f in lived.findings if f.period == period and f.step is not None and f.step.id in odd]
    return bool(after) and all(lived.sound(f) for f in after)


# ---------------------------------------------------------------- how a rule knows it again


def sound_value(reasoner: Reasoner, step: Step) -> Value | None:
    """What a step shows on a sound vehicle; None where nobody can say."""
    if step.kind == "measure":
        shown = reasoner.chances.shown(step)
        return float(shown) if isinstance(shown, float) else None
    return step.outcomes[int(reasoner.chances.table(step)[0].argmax())]


def written_factor(knowledge: Knowledge, circuit: str, unit: str | None) -> float:
    """Times a number measured on this vehicle, what stands in its circuit's file, which is written for other volts."""
    file = knowledge.circuits.get(circuit)
    written = file.written_for.system_v if file is not None else 12.0
    power = _UNIT_POWERS.get(unit or "", 0)
    return float((written / knowledge.vehicle.system_v) ** power)


def condition_of(knowledge: Knowledge, step: Step, value: Value, sound: Value | None) -> Condition | None:
    """The test that an answer meets and a sound vehicle does not, as a rule has it; None where there is none."""
    if isinstance(value, tuple):
        return {"check": step.id, **_look(value, sound)}
    if isinstance(value, str):
        return {"check": step.id, "is": value}
    if math.isnan(value):
        return None
    return {"check": step.id, **_bound(knowledge, step, value, sound if isinstance(sound, float) else None)}


def _look(value: tuple[str, str], sound: Value | None) -> Condition:
    light, rhythm = value
    if light == "dark":
        return {"light": "is dark"}
    same = sound if isinstance(sound, tuple) else ("", "")
    if light == same[0] and rhythm != same[1]:
        return {"rhythm": f"is {rhythm}"}
    if rhythm in (same[1], "steady") and light != same[0]:
        return {"light": f"is {light}"}
    return {"light": f"is {light}", "rhythm": f"is {rhythm}"}


def _bound(knowledge: Knowledge, step: Step, value: float, sound: float | None) -> Condition:
    """A reading with room around it, on the side of the sound one."""
    unit = step.unit or "V"
    if sound is None and step.limits is not None:  # a limit of the check is what a sound one keeps
        low, high = step.limits.min, step.limits.max
        sound = low if low is not None and value < low else high
    factor = written_factor(knowledge, step.circuit, unit)
    if unit == "ohm":
        return _ohm_bound(value, sound, factor)
    room = _LEAST_V * knowledge.vehicle.system_v / 12.0 if unit == "V" else max(_SHARE_A * abs(value), _LEAST_A)
    if sound is None:
        return {"between": [_neat((value - room) * factor), _neat((value + room) * factor)]}
    room = max(min(room, _SHIFT * abs(sound - value)), _LEAST)
    if value < sound:
        return {"below": _neat((value + room) * factor, up=True)}
    return {"above": _neat((value - room) * factor, up=False)}


def _ohm_bound(value: float, sound: float | None, factor: float) -> Condition:
    kept = [min(max(number, 1e-2), OPEN_LINE_OHM) for number in (value, sound if sound is not None else 1.0)]
    middle = math.sqrt(kept[0] * kept[1]) if sound is not None else kept[0] / 3
    if sound is None or value >= sound:
        return {"above": _neat(min(max(middle, kept[0] / 3), kept[0]) * factor, up=False)}
    return {"below": _neat(min(middle, 3 * kept[0]) * factor, up=True)}


def right_condition(knowledge: Knowledge, sign: Sign) -> Condition:
    """The test that an answer meets which a sound vehicle gives as well: it leaves room on the side of a fault."""
    check, value = {"check": sign.step.id}, sign.value
    if isinstance(value, tuple):
        light, rhythm = value
        return {**check, "light": f"is {light}", **({"rhythm": f"is {rhythm}"} if light != "dark" else {})}
    if isinstance(value, str):
        return {**check, "is": value}
    unit = sign.step.unit or "V"
    factor = written_factor(knowledge, sign.step.circuit, unit)
    if unit == "V":
        system_v = knowledge.vehicle.system_v
        if value > 0.5 * system_v:
            return {**check, "above": _neat((value - 0.12 * system_v) * factor, up=False)}
        return {**check, "below": _neat((value + 0.08 * system_v) * factor, up=True)}
    if unit == "A":
        return {**check, "between": [_neat(0.6 * value * factor), _neat((1.4 * value + 0.05) * factor)]}
    if value > _FAR_OHM:
        return {**check, "above": _FAR_OHM}
    return {**check, "below": _neat((3 * value + 0.2) * factor, up=True)}


def _neat(number: float, up: bool | None = None) -> float:
    """Two digits, at most one behind the point for what is above 1; rounded so that the reading still fits."""
    if number == 0:
        return 0.0
    places = 1 - math.floor(math.log10(abs(number))) if abs(number) < 1 else 1 if abs(number) < 100 else 0
    scale = 10.0**places
    turned = round(number * scale) if up is None else math.ceil(number * scale) if up else math.floor(number * scale)
    return turned / scale


def condition_words(step: Step, condition: Condition) -> str:
    """A condition as a person reads it."""
    tests = []
    for key, test in condition.items():
        if key == "check":
            continue
        if key in ("below", "above"):
            tests.append(f"{key} {test:g} {step.unit or ''}".strip())
        elif key == "between":
            tests.append(t("{test:g} to {test_2:g} {unit}", test=test[0], test_2=test[1], unit=step.unit or "").strip())
        else:
            word = str(test).removeprefix("is ")
            tests.append(answer_words(step, word) if step.outcomes != LOOKS else word.replace("-", " "))
    return f"{step.title}: {', '.join(tests)}"
