"""A fitter at a vehicle with hidden faults, who knows only what is asked and what the vehicle then shows.

Speaks the objects of the conversation. Shares the prediction and the knowledge files with the program and
nothing else: no chances, no table of misreading, no beliefs.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from diag.circuit.elements import LED_ON_SHARE
from diag.circuit.instruments import LedTester, ProbeLamp
from diag.circuit.observe import LIGHTS, LOOKS, TEST_LAMP_W, answers_of, part_words
from diag.knowledge import schema
from diag.knowledge.targets import part_of_target
from tests.bench.vehicle import Vehicle

__all__ = ["Answer", "Fitter", "Question"]

Object = dict[str, Any]
Answer = str | float | tuple[str, str]
"""A word, a number in the unit asked for (inf: no continuity), or (light, rhythm)."""
_POWER = 3.4
"""Light of a filament goes with V^3.4 (Fink & Beaty, Standard Handbook for Electrical Engineers)."""
_CONTRAST = 2.0
"""So many times brighter is seen to flash; less looks steady. Common practice, no source."""
_SHARE, _DIGITS = 0.005, 2
"""What a handheld meter is sure to: 0.5 % of the reading and 2 digits (common practice, no source)."""
_DIGIT = {"V": 0.01, "A": 0.01}
_OHM_DIGITS = ((200.0, 0.1), (2e3, 1.0), (2e4, 10.0), (2e5, 100.0), (2e6, 1e3), (math.inf, 1e4))
"""Ohms at the top of each range and its last digit, of a meter of 2000 counts."""
_BUZZES_BELOW_OHM = 40.0
_LIKELY_LOOKS: tuple[tuple[str, str], ...] = (
    ("dark", "none"),
    ("glow", "steady"),
    ("dim", "steady"),
    ("normal", "steady"),
    ("normal", "flashing"),
    ("normal", "fast"),
)
"""What somebody says of a lamp who looked at the wrong one, or with a control in the wrong position."""
_TWICE = 2
"""A remedy that leads again after it was done is done once more, then the next on the list."""


@dataclass(frozen=True)
class Question:
    """What an ask, or a check of the files, is about."""

    check: str
    kind: str
    operate: Mapping[str, str]
    target: str | None = None
    red: str | None = None
    black: str | None = None
    through: str | None = None
    unit: str | None = None

    @staticmethod
    def of(ask: Mapping[str, Any]) -> Question:
        """From an ask object."""
        named = (ask.get(name) for name in ("target", "red", "black", "through", "unit"))
        return Question(ask["check"], ask["kind"], ask["operate"], *named)

    @staticmethod
    def written(check: schema.Check) -> Question:
        """From a check of the files; ohms are measured with the battery off."""
        operate = dict(check.operate)
        if check.unit == "ohm":
            operate["battery"] = "disconnected"
        named = (check.target, check.red, check.black, check.through, check.unit)
        return Question(check.id, check.kind, operate, *named)

    @property
    def takes_apart(self) -> bool:
        """Whether a wire or the battery comes off for it."""
        return "unplugged" in self.operate or self.operate.get("battery") == "disconnected"


class Fitter:
    """Answers every object that comes out of a conversation.

    `seed` draws the meter's noise, which complaint is told, and the wrong answer. `wrong_at`: the answer, counted
    from 0 for the complaint, that is wrong; None: all are true. `takes_apart` False: takes nothing off
    and says `later` where it is asked to. `all_at_once`: tells a complaint of another circuit at the start as
    well. What is still to be seen when the work has ended is told then, once.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        seed: str = "0",
        *,
        wrong_at: int | None = None,
        takes_apart: bool = True,
        all_at_once: bool = False,
    ) -> None:
        self.vehicle, self.knowledge = vehicle, vehicle.described.knowledge
        self.wrong_at, self.takes_apart, self.all_at_once = wrong_at, takes_apart, all_at_once
        self.given: list[tuple[str, Any, str]] = []
        """Check, value and where it is from: `seen`, `read`, `named by rule`, `not computed`, `told`, `wrong`."""
        self.remedies: list[str] = []
        self.told: list[str] = []
        self.noticed: list[str] = []
        """All complaints that could have been told at the start."""
        self._chance = random.Random(f"fitter {seed}")
        self._moments = random.Random(f"moments {seed}")
        self._error = random.Random(f"error {seed}")
        self._written = {check.id: Question.written(check) for check in self.knowledge.checks.values()}

    # ------------------------------------------------------------ what there is to see and to read

    def truth(self, question: Question) -> tuple[Answer | None, str]:
        """What the vehicle shows, and where that is from; None where nobody can say."""
        if question.kind == "choose":
            named = self._named(question.check)
            return named, "named by rule" if named is not None else "not computed"
        if question.kind == "measure":
            return self._reading(question), "read"
        if question.target in ("test-lamp", "led-tester", "buzzer"):
            return self._tester(question), "read"
        return self._seen(question, row=1), "seen"

    def _seen(self, question: Question, row: int) -> Answer | None:
        """A look at a part or a listen to it. `row` 0: the same vehicle sound."""
        part = part_of_target(self.knowledge, question.target)
        words = answers_of(part.kind, looked=question.kind == "look") if part is not None else ()
        if not words or part is None or question.target is None:
            return None
        shown, system_v = self.vehicle.shown(question.operate), self.knowledge.vehicle.system_v
        if words == LOOKS:
            return self._lamp(question, row)
        change = self.vehicle.change(question.operate)
        held = not change.flags.isdisjoint({f"{question.target}:seized", f"{question.target}:stuck"})
        found = part_words(
            shown,
            self.vehicle.network,
            question.target,
            part.kind,
            np.zeros(2),
            dict(self.knowledge.vocabulary.light_limits),
            system_v,
            np.array([0.0, float(held)]),
            looked=question.kind == "look",
        )
        return words[int(found[row].argmax())]

    def _lamp(self, question: Question, row: int) -> tuple[str, str]:
        """Its light against the same vehicle sound, or against its test volts where it should be dark."""
        shown, network = self.vehicle.shown(question.operate), self.vehicle.network
        lamp = network.filament(question.target or "")
        rated = network.filaments[lamp].test_v
        light = np.zeros((2, 2))
        for phase, volts in enumerate((shown.lamp_on_v, shown.lamp_off_v)):
            for one in range(2):
                light[one, phase] = _light(
                    float(volts[one, lamp]) / rated, float(shown.scale[one, lamp]), float(shown.led[one, lamp])
                )
        best = float(light[0].max())
        reference = best if best > self.knowledge.vocabulary.light_limits["dark"] else 1.0
        state = self.vehicle.flasher_state(shown.flasher[row])
        return self._look(float(light[row, 0]) / reference, float(light[row, 1]) / reference, state)

    def _look(self, on: float, off: float, state: str) -> tuple[str, str]:
        """Word and rhythm of what is so bright with the flasher contact closed and open."""
        cycles = state not in ("idle", "steady")
        level = max(on, off) if cycles else off if state == "idle" else on
        limits = self.knowledge.vocabulary.light_limits
        word = next((name for name in LIGHTS[:-1] if level <= limits[name]), LIGHTS[-1])
        if word == "dark":
            return word, "none"
        return word, state if cycles and max(on, off) > _CONTRAST * min(on, off) else "steady"

    def _tester(self, question: Question) -> Answer | None:
        red, black, system_v = question.red or "body", question.black or "body", self.knowledge.vehicle.system_v
        if question.target == "buzzer":
            ohm = self.vehicle.ohms(question.operate, red, black)
            return None if math.isnan(ohm) else "buzz" if ohm < _BUZZES_BELOW_OHM else "none"
        led = LedTester() if question.target == "led-tester" else None
        held = self.vehicle.held(led or ProbeLamp(system_v, TEST_LAMP_W), question.operate, red, black)
        on, off = abs(float(held.number[0])), abs(float(held.off[0]))
        if led is None:
            light = [(volts / system_v) ** _POWER for volts in (on, off)]
        else:
            light = [max(volts - led.on_v, 0.0) / (system_v - led.on_v) for volts in (on, off)]
        return self._look(light[0], light[1], self.vehicle.flasher_state(held.flasher[0]))

    def _reading(self, question: Question) -> float | None:
        if question.unit == "A":
            return self._metered(self.vehicle.amps(question.operate, question.through or ""), "A")
        red, black = question.red or "body", question.black or "body"
        if question.unit == "V":
            return self._metered(self.vehicle.volts(question.operate, red, black), "V")
        ohm = self.vehicle.ohms(question.operate, red, black)
        return None if math.isnan(ohm) else self._metered(ohm, "ohm")

    def _metered(self, number: float, unit: str) -> float:
        """As a meter shows it: with its error, to its last digit."""
        if math.isinf(number):
            return number
        digit = _DIGIT.get(unit) or next(last for top, last in _OHM_DIGITS if number < top)
        shown = number * (1 + self._chance.uniform(-_SHARE, _SHARE)) + self._chance.randint(-_DIGITS, _DIGITS) * digit
        shown = round(shown / digit) * digit
        return round(max(shown, 0.0) if unit == "ohm" else shown, 3) + 0.0

    def _named(self, check: str) -> str | None:
        """What is chosen where nothing computes it: the choice by which a rule knows a fault that is there.

        A rule that clears the fault by a choice rules that out. None: no rule names it, so the fitter is not sure.
        """
        weights: dict[str, float] = {}
        for rule in self.knowledge.rules.values():
            for condition in rule.when:
                if condition.check != check or condition.is_ is None:
                    continue
                for effect in rule.then:
                    if effect.points_to in self.vehicle.left:
                        weights[condition.is_] = max(weights.get(condition.is_, 0.0), effect.weight or 1.0)
                    elif effect.clears in self.vehicle.left:
                        weights[condition.is_] = -1.0
        best = max(weights, key=lambda choice: weights[choice], default=None)
        return best if best is not None and weights[best] > 1.0 else None

    # ------------------------------------------------------------ what is complained of

    def complaints(self) -> list[str]:
        """Symptoms of the files that this vehicle shows, with what comes and goes there; else circuits with
        something odd to see or hear; none where nobody would notice."""
        if not self.vehicle.left:
            return []
        self.vehicle.moment()
        everyday = [q for q in self._written.values() if q.kind in ("look", "listen") and not q.takes_apart]
        told = {c.check for s in self.knowledge.symptoms.values() for conditions in s.shows for c in conditions}
        self.vehicle.work(q.operate for q in self._written.values() if q in everyday or q.check in told)
        symptoms = [
            symptom.id
            for symptom in self.knowledge.symptoms.values()
            if any(all(self._meets(condition) for condition in conditions) for conditions in symptom.shows)
        ]
        if symptoms:
            return symptoms
        odd = [q for q in everyday if self._seen(q, row=1) != self._seen(q, row=0)]
        return list(dict.fromkeys(f"circuit:{self.knowledge.circuit_of[question.check]}" for question in odd))

    def _meets(self, condition: schema.Condition) -> bool:
        question = self._written.get(condition.check or "")
        if question is None:
            return False
        found, _ = self.truth(question)
        if found is None:
            return False
        if isinstance(found, tuple):
            return _is(condition.light, found[0]) and _is(condition.rhythm, found[1])
        if isinstance(found, str):
            wanted = condition.is_ is None or found == condition.is_
            return wanted and (condition.is_not is None or found != condition.is_not)
        low, high = condition.between or (-math.inf, math.inf)
        under = condition.below is None or found < condition.below
        return under and (condition.above is None or found > condition.above) and low <= found <= high

    def _circuit_of(self, complaint: str) -> str:
        return complaint.removeprefix("circuit:") if ":" in complaint else self.knowledge.circuit_of[complaint]

    def _next_complaint(self, *, elsewhere: bool) -> str | None:
        """One that was not told yet; `elsewhere`: of a circuit that nothing was told of."""
        known = {self._circuit_of(one) for one in self.told} if elsewhere else set()
        fresh = [one for one in self.complaints() if one not in self.told and self._circuit_of(one) not in known]
        return self._chance.choice(fresh) if fresh else None

    # ------------------------------------------------------------ speaking

    def reply(self, heard: Mapping[str, Any]) -> Object | None:
        """The line that answers an ask, a conclusion or the end; None where nothing is left to say."""
        if heard["type"] == "end":
            return self._more()
        if heard["type"] == "conclude":
            return self._remedied([remedy["id"] for remedy in heard["remedies"]])
        if heard["check"] == "start":
            return self._start(heard)
        if self.all_at_once and len(self.given) == 1 and (more := self._more(elsewhere=True)) is not None:
            return more
        if not self.takes_apart and Question.of(heard).takes_apart:
            return {"skip": heard["id"], "reason": "later"}
        if heard["kind"] == "do":
            return {"answer": heard["id"], "value": "done"}
        question = Question.of(heard)
        self.vehicle.moment(self._moments)
        found, source = self.truth(question)
        if self.wrong_at == len(self.given):
            found, source = self._slip(question, found, [choice["value"] for choice in heard["choices"]]), "wrong"
        value = _said(found)
        self.given.append((question.check, value, source))
        return {"answer": heard["id"], "value": value}

    def _more(self, *, elsewhere: bool = False) -> Object | None:
        """Another complaint, if there is one."""
        more = self._next_complaint(elsewhere=elsewhere)
        if more is None:
            return None
        self.told.append(more)
        return {"symptom": more}

    def _start(self, heard: Mapping[str, Any]) -> Object:
        complaints = self.noticed = self.complaints()
        told, source = self._chance.choice(complaints) if complaints else f"circuit:{self._any_circuit()}", "told"
        if self.wrong_at == 0:
            known = {*complaints, told}
            others = [one for one in self.knowledge.symptoms if one not in known]
            near = [one for one in others if self._circuit_of(one) == self._circuit_of(told)]
            told, source = self._error.choice(near or others), "wrong"
        self.told.append(told)
        self.given.append(("start", told, source))
        return {"answer": heard["id"], "value": told}

    def _any_circuit(self) -> str:
        return next(name for name, circuit in self.knowledge.circuits.items() if circuit.symptoms)

    def _remedied(self, concluded: Sequence[str]) -> Object | None:
        """Does what leads; None where all was done twice."""
        todo = next((remedy for remedy in concluded if self.remedies.count(remedy) < _TWICE), None)
        if todo is None:
            return None
        self.remedies.append(todo)
        self.vehicle.remedy(todo)
        return {"remedied": todo}

    # ------------------------------------------------------------ a wrong answer

    def _slip(self, question: Question, true: Answer | None, choices: Sequence[str]) -> Answer:
        """Another answer than the true one."""
        pick: Callable[[Sequence[Any]], Any] = self._error.choice
        if question.kind == "measure":
            return self._misread(question, true)
        if choices:
            return str(pick([choice for choice in choices if choice != true]))
        found: tuple[str, str] = pick([look for look in _LIKELY_LOOKS if look != true])
        return found

    def _misread(self, question: Question, true: Answer | None) -> float:
        """What other states show: nothing, the whole, or a part of it; at least a fifth off."""
        number = float(true) if isinstance(true, float) else 0.0
        battery_v = sum(one.emf_v for one in self.vehicle.network.sources if one.kind == "battery")
        some = self._error.uniform(0.25, 0.75)
        known = {
            "V": [0.0, battery_v, some * battery_v],
            "A": [0.0, some * number, number / some],
            "ohm": [0.3, math.inf, 10.0 ** self._error.uniform(0.0, 3.0)],
        }[question.unit or "V"]
        far = [one for one in known if not math.isclose(one, number, rel_tol=0.2, abs_tol=0.2)]
        found = float(self._error.choice(far))
        return found if math.isinf(found) else round(found, 2)


def _light(ratio: float, scale: float, led: float) -> float:
    """Light of a lamp against the same one at its test volts; `ratio` is volts over test volts.

    `scale`: its current against the right lamp's. An LED substitute follows its own current.
    """
    if led == 0.0:
        return scale * abs(ratio) ** _POWER
    return max(led * ratio - LED_ON_SHARE, 0.0) / (1 - LED_ON_SHARE) if scale > 0 else 0.0


def _is(test: str | None, found: str) -> bool:
    """Whether a word meets a condition such as `steady`, `is steady` or `is-not dark`."""
    if test is None:
        return True
    if test.startswith("is-not "):
        return found != test.removeprefix("is-not ").strip()
    return found == test.removeprefix("is ").strip()


def _said(found: Answer | None) -> Any:
    """An answer in the form of the protocol."""
    if found is None:
        return "not-sure"
    if isinstance(found, tuple):
        return {"light": found[0], "rhythm": found[1]}
    return "OL" if found == math.inf else found
