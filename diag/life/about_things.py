"""What is known of a cause, check, remedy, part, wire, symptom, caution or circuit, as a plain object.

Knows one vehicle's knowledge; nothing of jobs or pages.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from diag.knowledge.assemble import Knowledge
from diag.life.about_words import Words
from diag.talk.wording import step_words
from diag.texts import t

__all__ = ["thing"]

Object = dict[str, Any]


def thing(sort: str, knowledge: Knowledge, words: Words, name: str) -> Object:
    """All of one thing of that sort. Raises KeyError where the vehicle does not have it."""
    return _TELL[sort](knowledge, words, name)


def _speaking(knowledge: Knowledge, cause: str) -> Object:
    points = [rule.id for rule in knowledge.rules.values() if any(effect.points_to == cause for effect in rule.then)]
    clears = [rule.id for rule in knowledge.rules.values() if any(effect.clears == cause for effect in rule.then)]
    return {"pointed-to-by": points, "cleared-by": clears}


def _cause(knowledge: Knowledge, words: Words, name: str) -> Object:
    cause = words.causes[name]
    whole = sum(one.frequency for one in words.causes.values())
    note = knowledge.causes.get(name)
    written = [remedy.id for remedy in knowledge.remedies.values() if name in remedy.cures]
    return {
        "title": cause.title,
        "of": cause.subject,
        "share": cause.frequency / whole,
        "shows": cause.shows,
        "computed": cause.electrical,
        "remedy": written[0] if written else cause.remedy,
        "source": note.source if note is not None else None,
        **_speaking(knowledge, name),
    }


def _check(knowledge: Knowledge, words: Words, name: str) -> Object:
    check = knowledge.checks[name]
    step, caution = words.steps.get(name), knowledge.cautions.get(check.caution or "")
    use = [rule.id for rule in knowledge.rules.values() if any(c.check == name for c in rule.when)]
    ask = [rule.id for rule in knowledge.rules.values() if any(effect.ask == name for effect in rule.then)]
    return {
        "title": check.title,
        "kind": check.kind,
        "text": step_words(knowledge, step) if step is not None else check.text,
        "place": knowledge.places.get(check.place, check.place),
        "minutes": check.minutes,
        "instruments": list(check.instruments),
        "caution": caution.text if caution is not None else None,
        "usual": {answer: float(share) for answer, share in check.usual.items()},
        "rules": use,
        "asked-for-by": ask,
        "proves": [remedy.id for remedy in knowledge.remedies.values() if name in remedy.proof],
    }


def _symptom(knowledge: Knowledge, words: Words, name: str) -> Object:
    symptom = knowledge.symptoms[name]
    shows = [t(" and ").join(words.condition(condition)["text"] for condition in way) for way in symptom.shows]
    return {"title": symptom.title, "phrases": list(symptom.phrases), "shows": shows}


def _remedy(knowledge: Knowledge, words: Words, name: str) -> Object:
    cures = [cause.id for cause in words.causes.values() if cause.remedy == name]
    remedy = knowledge.remedies.get(name)
    if remedy is None:
        title = t("Cures: {cause}", cause=words.cause(cures[0])) + (
            t(" and {number} more", number=len(cures) - 1) if len(cures) > 1 else ""
        )
        return {"title": title, "cures": _causes(words, cures), "steps": [], "cautions": [], "parts": [], "proof": []}
    cautions = [knowledge.cautions[one].text for one in remedy.cautions if one in knowledge.cautions]
    return {
        "title": remedy.title,
        "cures": _causes(words, dict.fromkeys([*remedy.cures, *cures])),
        "steps": list(remedy.steps),
        "cautions": cautions,
        "parts": list(remedy.parts),
        "minutes": remedy.minutes,
        "proof": [{"id": one, "text": words.check(one)} for one in remedy.proof],
    }


def _causes(words: Words, names: Iterable[str]) -> list[Object]:
    return [{"id": name, "text": words.cause(name)} for name in names]


def _of_subject(words: Words, subject: str) -> list[Object]:
    return _causes(words, [cause.id for cause in words.causes.values() if cause.subject == subject])


def _part(knowledge: Knowledge, words: Words, name: str) -> Object:
    part = knowledge.parts[name]
    wires = {
        wire_id: [wire.from_, wire.to]
        for wire_id, wire in knowledge.wires.items()
        if name in (wire.from_.split(".")[0], wire.to.split(".")[0])
    }
    looked = [
        check.id
        for check in knowledge.checks.values()
        if name in {(p or "").split(".")[0] for p in (check.target, check.red, check.black, check.through)}
    ]
    return {
        "title": part.title,
        "kind": part.kind,
        "place": knowledge.places.get(part.place, part.place),
        "terminals": [part.spelled(terminal) for terminal in part.terminal_names()],
        "wires": wires,
        "checks": [{"id": one, "text": words.check(one)} for one in looked],
        "causes": _of_subject(words, name),
    }


def _wire(knowledge: Knowledge, words: Words, name: str) -> Object:
    wire = knowledge.wires[name]
    return {
        "title": wire.title or name.replace("-", " "),
        "from": wire.from_,
        "to": wire.to,
        "section-mm2": wire.section_mm2,
        "colour": wire.colour,
        "length-m": wire.length_m,
        "causes": _of_subject(words, name),
    }


def _caution(knowledge: Knowledge, words: Words, name: str) -> Object:
    caution = knowledge.cautions[name]
    used = [rule.id for rule in knowledge.rules.values() if any(name in (e.warn, e.stop) for e in rule.then)]
    used += [check.id for check in knowledge.checks.values() if check.caution == name]
    used += [remedy.id for remedy in knowledge.remedies.values() if name in remedy.cautions]
    return {"title": caution.text, "source": caution.source, "acknowledged": caution.harm, "used-by": used}


def _circuit(knowledge: Knowledge, words: Words, name: str) -> Object:
    circuit = knowledge.circuits[name]
    return {
        "title": circuit.title,
        "needs": list(circuit.needs),
        "options": [f"{option.title}: {', '.join(option.choices.values())}" for option in circuit.options.values()],
        "checks": [{"id": check.id, "text": check.title} for check in circuit.checks],
        "rules": [rule.id for rule in circuit.rules],
    }


_TELL: dict[str, Callable[[Knowledge, Words, str], Object]] = {
    "check": _check,
    "symptom": _symptom,
    "cause": _cause,
    "remedy": _remedy,
    "part": _part,
    "wire": _wire,
    "caution": _caution,
    "circuit": _circuit,
}
