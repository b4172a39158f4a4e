"""Signs told without a job: which circuit, which checks, what they show; and checks that nobody has yet.

Yields the questions and gathers what the answers mean.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator
from dataclasses import replace

from diag.author.draft import Entry, check_entry, check_of_step, step_of_entry
from diag.author.filled import Filled, reading, text_asked
from diag.author.naming import free_id, named_like, near_names, operate_read, slug
from diag.author.reach import circuits_with, speaks_within
from diag.author.signs import Sign, condition_of, sound_value
from diag.circuit.observe import LIGHTS, LOOKS, RHYTHMS, answers_of
from diag.fit.interview import Asked
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY
from diag.knowledge.targets import part_of_target, target_title, targets
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Deed, Step, Value
from diag.talk.wording import answer_words, point_words
from diag.texts import t

__all__ = ["EYE_USUAL", "Told", "eye_questions", "place_asked"]

_MOST_SIGNS, _MOST_CHECKS, _MOST_PLACES = 4, 7, 8
EYE_USUAL = {"good": 0.95, "bad": 0.05}
"""How often a check by eye shows what tells a fault, where nobody has counted (common practice, no source)."""
_NO_MORE = "-"


class Told:
    """What is told of a fault. Filled while `path` runs: `circuit`, `signs`, `checks` (new ones)."""

    def __init__(self, reasoner: Reasoner, filled: Filled, taken: frozenset[str]) -> None:
        self.reasoner, self.filled, self.taken = reasoner, filled, set(taken)
        self.circuit = ""
        self.signs: list[Sign] = []
        self.checks: list[Entry] = []

    @property
    def knowledge(self) -> Knowledge:
        """Of the vehicle."""
        return self.reasoner.knowledge

    def path(self) -> Iterator[Asked]:
        """Circuit, then signs until there are no more."""
        titles = {n: f.title for n, f in self.knowledge.circuits.items() if n not in ("supply", "shared")}
        put = self.filled.put
        yield put(
            text_asked(
                "circuit",
                t("Which circuit? Some words of its name"),
                next(iter(titles.values())) if len(titles) == 1 else "",
                note=", ".join(titles) if len(titles) <= _MOST_PLACES else None,
                accept=lambda typed: named_like(typed, titles),
                labels=titles,
            )
        )
        self.circuit = self.filled["circuit"] or next(iter(titles))
        for number in range(1, _MOST_SIGNS + 1):
            name = f"seen-{number}"
            last = "" if number == 1 else _NO_MORE
            note = None if number == 1 else t("Enter: nothing more")
            yield put(text_asked(name, t("What is looked at, heard or measured? Some words"), last, note=note))
            if self.filled[name] == _NO_MORE:
                return
            yield from self._sign(name)

    # ------------------------------------------------------------ one sign

    def _sign(self, name: str) -> Iterator[Asked]:
        asked = self._checks_like(self.filled[name])
        choices = {**asked, "new": t("none of these: a new check")}
        yield self.filled.put(Asked(f"{name}-check", t("Which check is it?"), next(iter(choices)), choices))
        chosen = self.filled[f"{name}-check"]
        if chosen != "new":
            step: Step | None = self.reasoner.steps[chosen]
        else:
            step = yield from self._new_check(name)
        if step is None:
            return
        value = yield from self._value(name, step)
        if value is None:
            return
        sound: Value | None = sound_value(self.reasoner, step)
        condition = condition_of(self.knowledge, step, value, sound)
        if condition is not None:
            words = f"{step.title}: {answer_words(step, value)}"
            self.signs.append(Sign(0, words, step, value, sound, condition))

    def _checks_like(self, text: str) -> dict[str, str]:
        within = circuits_with(self.knowledge, self.circuit)
        titles = {
            name: check.title
            for name, check in self.knowledge.checks.items()
            if check.kind != "do" and speaks_within(self.knowledge, self.reasoner.steps[name], within)
        }
        own = {name: title for name, title in titles.items() if self.knowledge.circuit_of[name] == self.circuit}
        near = [*near_names(text, own, _MOST_CHECKS - 2), *near_names(text, titles, _MOST_CHECKS)]
        return {name: titles[name] for name in list(dict.fromkeys(near))[:_MOST_CHECKS]}

    def _value(self, name: str, step: Step) -> Generator[Asked, None, Value | None]:
        put, answer = self.filled.put, f"{name}-answer"
        if step.kind == "measure":
            unit = step.unit or "V"
            sound = sound_value(self.reasoner, step)
            usual = (
                t("a sound vehicle: {answer}", answer=answer_words(step, sound)) if isinstance(sound, float) else None
            )
            yield put(
                text_asked(
                    answer, t("What does the meter show, in {unit}?", unit=unit), note=usual, accept=reading(unit)
                )
            )
            given = self.filled[answer]
            return None if not given else math.inf if given == "OL" else float(given)
        if step.outcomes == LOOKS:
            yield put(
                Asked(
                    answer, t("{step}: how bright?", step=step.title), "dark", {w: w.replace("-", " ") for w in LIGHTS}
                )
            )
            if self.filled[answer] == "dark":
                return ("dark", "none")
            rhythms = {word: word for word in RHYTHMS if word != "none"}
            yield put(Asked(f"{name}-rhythm", t("And how?"), "steady", rhythms))
            return (self.filled[answer], self.filled[f"{name}-rhythm"])
        choices = {str(v): answer_words(step, v) for v in step.outcomes}
        sound = sound_value(self.reasoner, step)
        odd = [value for value in choices if value != sound]
        yield put(Asked(answer, t("{step}: what?", step=step.title), (odd or list(choices))[0], choices))
        return self.filled[answer]

    # ------------------------------------------------------------ a new check

    def _new_check(self, name: str) -> Generator[Asked, None, Step | None]:
        put = self.filled.put
        kinds = {
            "choose": t("something judged by eye, ear or hand"),
            "look": t("a lamp, motor or gauge looked at"),
            "listen": t("a horn, relay or unit listened to"),
            "measure": t("volts, amps or ohms"),
        }
        yield put(Asked(f"{name}-kind", t("What sort of check?"), "choose", kinds))
        kind = self.filled[f"{name}-kind"]
        yield put(text_asked(f"{name}-title", t("Its name in the list of checks"), self.filled[name].capitalize()))
        title = self.filled[f"{name}-title"]
        if kind == "choose":
            entry = yield from eye_questions(self.filled, name, title, self.knowledge, self.circuit, self.taken)
            if entry is None:
                return None
            self._keep(entry)
            return step_of_entry(entry, self.circuit)
        deed = yield from (self._probes(name) if kind == "measure" else self._target(name, kind))
        if deed is None:
            return None
        step = self.reasoner.step_like("", deed)
        if step is None:
            step = Step("", title, deed.kind, deed.operate, self.circuit, "", 2.0, deed.target, deed.red, deed.black,
                        deed.through, deed.unit)  # fmt: skip
        if step.id in self.knowledge.checks:
            return step  # it was there all the time
        yield put(Asked(f"{name}-minutes", t("Minutes that it takes"), "2 min", {}, None, None, "min", 0.1, 240))
        check = free_id(slug(title), self.taken)
        named = replace(step, minutes=float(self.filled[f"{name}-minutes"].split()[0]))
        entry = check_of_step(self.knowledge, named, check, title, {})
        entry["minutes"] = self.filled[f"{name}-minutes"]
        self._keep(entry)
        return replace(named, id=check, title=title, circuit=self.circuit, labels={})

    def _keep(self, entry: Entry) -> None:
        self.checks.append(entry)
        self.taken.add(entry["id"])

    def _target(self, name: str, kind: str) -> Generator[Asked, None, Deed | None]:
        known = {
            target: target_title(self.knowledge, target)
            for target in targets(self.knowledge)
            if (part := part_of_target(self.knowledge, target)) and answers_of(part.kind, looked=kind == "look")
        }
        text = t("Which part is looked at?") if kind == "look" else t("Which part is listened to?")
        yield self.filled.put(
            text_asked(f"{name}-target", text, accept=lambda typed: named_like(typed, known), labels=known)
        )
        operate = yield from self._operate(name)
        target = self.filled[f"{name}-target"]
        return Deed(kind, operate, target) if target else None

    def _probes(self, name: str) -> Generator[Asked, None, Deed | None]:
        put, knowledge = self.filled.put, self.knowledge
        units = {"V": t("volts"), "ohm": t("ohms, battery off"), "A": t("amps")}
        yield put(Asked(f"{name}-unit", t("What is measured?"), "V", units))
        unit = self.filled[f"{name}-unit"]
        points = {one: point_words(knowledge, one) for one in knowledge.terminals} | {BODY: t("body")}
        fuses = {n: p.title for n, p in knowledge.parts.items() if isinstance(p, schema.FusePart)}
        fuses |= {n: w.title or n.replace("-", " ") for n, w in knowledge.wires.items()}
        asked = [("through", t("Through which fuse or wire?"), fuses, "")]
        if unit != "A":
            asked = [("red", t("Red probe on which terminal?"), points, ""), ("black", t("Black probe?"), points, BODY)]
        for key, text, known, typical in asked:
            yield put(
                text_asked(
                    f"{name}-{key}",
                    text,
                    typical,
                    accept=lambda typed, known=known: named_like(typed, known),  # type: ignore[misc]
                    labels=known,
                )
            )
        operate = yield from self._operate(name)
        if unit == "ohm":
            operate = {**operate, "battery": "disconnected"}
        found = {key: self.filled[f"{name}-{key}"] for key, *_ in asked}
        if not all(found.values()):
            return None
        return Deed("measure", operate, None, found.get("red"), found.get("black"), found.get("through"), unit)

    def _operate(self, name: str) -> Generator[Asked, None, dict[str, str]]:
        yield self.filled.put(
            text_asked(
                f"{name}-operate",
                t("How do the controls stand?"),
                "-",
                note=t("such as: ignition on, lights side. - for all at rest"),
                accept=lambda typed: operate_read(typed, self.knowledge, {}),
            )
        )
        return dict(_pairs(self.filled[f"{name}-operate"]))


def _pairs(text: str) -> Iterator[tuple[str, str]]:
    for piece in text.split(","):
        control, equals, position = piece.partition("=")
        if equals:
            yield control, position


def place_asked(name: str, knowledge: Knowledge, circuit: str) -> Asked:
    """Where a person stands for it: places of the circuit first."""
    file = knowledge.circuits.get(circuit)
    used = [check.place for check in (file.checks if file is not None else ())]
    order = sorted(knowledge.places, key=lambda place: -used.count(place))[:_MOST_PLACES]
    return Asked(name, t("Where does one stand for it?"), order[0], {place: knowledge.places[place] for place in order})


def eye_questions(
    filled: Filled, name: str, title: str, knowledge: Knowledge, circuit: str, taken: set[str]
) -> Generator[Asked, None, Entry | None]:
    """What a check by eye shows with the fault and without, where, and how long it takes; returns its entry."""
    yield filled.put(text_asked(f"{name}-bad", t("What is it like with this fault?")))
    yield filled.put(text_asked(f"{name}-good", t("And where all is well?"), t("As it should be")))
    yield filled.put(place_asked(f"{name}-place", knowledge, circuit))
    yield filled.put(Asked(f"{name}-minutes", t("Minutes that it takes"), "2 min", {}, None, None, "min", 0.1, 240))
    bad, good = filled[f"{name}-bad"], filled[f"{name}-good"]
    if not bad:
        return None
    values = slug(good, 30), slug(bad, 30)
    if values[0] == values[1]:
        values = values[0], f"{values[1]}-fault"
    usual = {values[0]: EYE_USUAL["good"], values[1]: EYE_USUAL["bad"]}
    place, minutes = filled[f"{name}-place"], filled[f"{name}-minutes"]
    return check_entry(free_id(slug(title), taken), title, [(values[0], good), (values[1], bad)], place, minutes, usual)
