"""What is to be added, as plain data in the shape of the files: cause, rule, remedy, checks, controls.

Knows nothing of questions, files on disk or screens.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from diag.author.signs import Sign
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY
from diag.knowledge.scalars import TEST_LAMP
from diag.knowledge.targets import part_of_target, target_title
from diag.reason.steps import Step
from diag.talk.wording import operate_words, point_words
from diag.texts import t

__all__ = ["Draft", "Entry", "check_entry", "check_of_step", "plain_title", "step_of_entry", "usable"]

Entry = dict[str, Any]


@dataclass(frozen=True)
class Draft:
    """An addition. `entries`: section of a circuit's file to what is added there, in order (`controls`: name to
    positions). `cause` is what the rule points to, `remedy` cures it. `chosen`: the signs of the rule. `at`,
    `held`: positions in which alone the fault is there, and the seqs of answers at which they held though the job
    does not say so. `told`: answers to new checks that the job implies; `symptoms`: complaints that were made of it
    in that position, and the new ones that say so. `cure`: seq of what cured it. `new_cause`: the files do not
    know it."""

    circuit: str
    cause: str
    title: str
    remedy: str
    rule: str
    entries: Mapping[str, Sequence[Entry] | Mapping[str, Sequence[str]]]
    chosen: tuple[Sign, ...] = ()
    at: Mapping[str, str] = field(default_factory=dict)
    held: frozenset[int] = frozenset()
    told: tuple[tuple[Step, str], ...] = ()
    symptoms: Mapping[str, str] = field(default_factory=dict)
    cure: int | None = None
    strip: bool = True
    new_cause: bool = False

    def checks(self) -> set[str]:
        """Checks that its rule asks after."""
        rules = self.entries["rules"]
        assert not isinstance(rules, Mapping)
        return {str(condition["check"]) for rule in rules for condition in rule["when"]}


def usable(knowledge: Knowledge, step: Step) -> bool:
    """Whether a rule can ask after a step: it is a check of the files, or can be made one."""
    if step.id in knowledge.checks:
        return True
    if step.kind == "measure":
        return "bridged" not in step.operate and "unplugged" not in step.operate
    if step.target == TEST_LAMP:
        return not {"bridged", "unplugged"} & set(step.operate)
    return part_of_target(knowledge, step.target) is not None and "bridged" not in step.operate


def check_of_step(knowledge: Knowledge, step: Step, name: str, title: str, more: Mapping[str, str]) -> Entry:
    """A check as a file has it, of something that was seen or measured; `more`: further controls to set."""
    operate = {c: p for c, p in step.operate.items() if not (c == "battery" and step.unit == "ohm")}
    out: Entry = {"id": name, "title": title, "kind": step.kind}
    operate |= more
    if operate:
        out["operate"] = operate
    probes = {"target": step.target, "red": step.red, "black": step.black, "through": step.through, "unit": step.unit}
    if step.unit == "V" and knowledge.vehicle.earth == "positive":  # files are written for a negative earth
        probes |= {"red": step.black, "black": step.red}
    out |= {key: value for key, value in probes.items() if value is not None}
    if step.kind == "choose":
        out["choices"] = [{"value": str(v), "label": step.labels.get(str(v), str(v))} for v in step.outcomes]
    out["place"] = step.place if step.place in knowledge.places else _place_of(knowledge, step)
    out["minutes"] = f"{max(step.minutes, 0.5) + (0.5 if more else 0.0):g} min"
    if step.instruments:
        out["instruments"] = list(step.instruments)
    caution = step.caution or _usual_caution(knowledge, operate)
    if caution is not None:
        out["caution"] = caution
    if step.usual and step.kind != "measure":
        out["usual"] = dict(step.usual)
    return out


def _usual_caution(knowledge: Knowledge, operate: Mapping[str, str]) -> str | None:
    """The caution that the files put before other checks with the controls so."""
    same = (check.caution for check in knowledge.checks.values() if dict(check.operate) == operate)
    return next((caution for caution in same if caution is not None), None)


def plain_title(knowledge: Knowledge, step: Step) -> str:
    """What was measured or looked at of one's own accord, in words without ids."""
    setting = f", {operate_words(knowledge, step.operate)}" if step.operate else ""
    if step.target == TEST_LAMP:
        red, black = (point_words(knowledge, one or BODY) for one in (step.red, step.black))
        return t("Test lamp from {red} to {black}{setting}", red=_lower(red), black=_lower(black), setting=setting)
    if step.kind != "measure":
        return f"{target_title(knowledge, step.target or '')}{setting}"
    if step.unit == "A":
        through = step.through or ""
        wire, part = knowledge.wires.get(through), knowledge.parts.get(through)
        named = part.title if part is not None else wire.title if wire is not None else None
        return t("Amps through {named}{setting}", named=_lower(named or through.replace("-", " ")), setting=setting)
    word = "Volts" if step.unit == "V" else "Ohms"
    against = (
        t(" against {knowledge}", knowledge=_lower(point_words(knowledge, step.black or BODY)))
        if step.black not in (None, BODY)
        else ""
    )
    return t(
        "{word} at {knowledge}{against}{setting}",
        word=word,
        knowledge=_lower(point_words(knowledge, step.red or BODY)),
        against=against,
        setting=setting,
    )


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _place_of(knowledge: Knowledge, step: Step) -> str:
    for end in (step.target, step.red, step.black, step.through):
        wire = knowledge.wires.get(end or "")
        end = wire.from_ if wire is not None else end
        part = knowledge.parts.get((end or "").split(".")[0]) if end not in (None, BODY) else None
        if part is not None:
            return part.place
    return next(iter(knowledge.places))


def check_entry(
    name: str,
    title: str,
    choices: Sequence[tuple[str, str]],
    place: str,
    minutes: str,
    usual: Mapping[str, float],
) -> Entry:
    """A check that is answered by eye, ear or hand."""
    return {
        "id": name,
        "title": title,
        "kind": "choose",
        "place": place,
        "minutes": minutes,
        "choices": [{"value": value, "label": label} for value, label in choices],
        "usual": dict(usual),
    }


def step_of_entry(entry: Entry, circuit: str) -> Step:
    """The step that a new check will be: for words and chances before it is written."""
    choices = entry.get("choices", [])
    return Step(
        entry["id"],
        entry["title"],
        entry["kind"],
        dict(entry.get("operate", {})),
        circuit,
        entry["place"],
        float(str(entry["minutes"]).split()[0]),
        entry.get("target"),
        entry.get("red"),
        entry.get("black"),
        entry.get("through"),
        entry.get("unit"),
        tuple(choice["value"] for choice in choices),
        {choice["value"]: choice["label"] for choice in choices},
        usual=dict(entry.get("usual", {})),
    )
