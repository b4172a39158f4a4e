"""A vehicle solved under many operates at once: volts, amps and what each check finds on it when sound.

The only place of this room that touches equations.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from diag.circuit import observe
from diag.circuit.behaviour import Shown
from diag.circuit.network import BODY, Change
from diag.circuit.parts import build_network
from diag.circuit.predict import bench_of
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.bridging import BRIDGED, UNPLUGGED
from diag.knowledge.scalars import TEST_LAMP
from diag.knowledge.schema import Check
from diag.knowledge.units import written
from diag.texts import t

__all__ = ["Computed", "Expected"]

Operate = Mapping[str, str]


@dataclass(frozen=True)
class Expected:
    """What a check finds on the sound vehicle, in words, and whether that is what a sound vehicle is to show:
    within its limits, or the answer that is usual. None where nothing is computed or nothing is said."""

    words: str
    good: bool | None


class Computed:
    """One vehicle, healthy. `operates`: solved at the beginning, all together."""

    def __init__(self, knowledge: Knowledge, operates: Iterable[Operate]) -> None:
        self.knowledge = knowledge
        self.network = build_network(knowledge)
        self._bench = bench_of(knowledge, self.network)
        wanted = {operate_key(operate): dict(operate) for operate in operates if not _missing(knowledge, operate)}
        self._rows: dict[tuple[tuple[str, str], ...], Shown] = {}
        self.blown: list[str] = []
        """Fuses and wires that give way under any of the operates on the sound vehicle: there should be none."""
        if wanted:
            shown, gone = self._bench.operate(list(wanted.values()), [Change()] * len(wanted))
            self._rows = {key: shown.rows([i]) for i, key in enumerate(wanted)}
            self.blown = sorted({self.network.branches[i].id for out in gone for i in out})

    def solved(self, operate: Operate) -> bool:
        """Whether the vehicle can be put into that operate."""
        return operate_key(operate) in self._rows

    def volts(self, operate: Operate, red: str, black: str) -> float | None:
        """Volts of `red` against `black` in the lit half of a flash; None where one is not on the vehicle."""
        if not self.solved(operate) or not all(self.network.has(point) for point in (red, black)):
            return None
        volts = self._rows[operate_key(operate)].volts[0]
        return float(volts[self.network.node(red)] - volts[self.network.node(black)])

    def amps(self, operate: Operate, through: str) -> float | None:
        """Amps through a fuse or wire, without sign; None where it is not on the vehicle."""
        if not self.solved(operate) or through not in self._branches:
            return None
        return abs(float(self._rows[operate_key(operate)].branch_a[0, self.network.branch(through)]))

    @property
    def _branches(self) -> set[str]:
        return {branch.id for branch in self.network.branches}

    def most_amps(self, through: str) -> float:
        """The most that flows through a fuse or wire under any of the operates."""
        return max((self.amps(dict(key), through) or 0.0 for key in self._rows), default=0.0)

    def most_lost_v(self, wire: str) -> float:
        """The most volts that a wire loses under any of the operates."""
        return self.most_amps(wire) * self.network.branches[self.network.branch(wire)].ohm

    # ------------------------------------------------------------ checks

    def expected(self, check: Check) -> Expected:
        """What a check finds. Ohms, and what is judged by eye or hand, are not computed."""
        operate = check.operate
        if not self.solved(operate) or UNPLUGGED in operate or BRIDGED in operate:
            return _said(check)
        if check.kind in ("look", "listen") and check.target not in (None, TEST_LAMP):
            return self._perceived(check, check.target)
        if check.kind == "measure" and check.unit == "A" and check.through is not None:
            return _measured(check, self.amps(operate, check.through))
        if check.kind == "measure" and check.unit == "V" and check.red is not None and check.black is not None:
            return _measured(check, self.volts(operate, check.red, check.black))
        return _said(check)

    def _perceived(self, check: Check, target: str) -> Expected:
        part = self.knowledge.parts[target.split(".")[0]]
        looked = check.kind == "look"
        answers = observe.answers_of(part.kind, looked=looked)
        if not answers:
            return _said(check)
        chances = observe.part_words(
            self._rows[operate_key(check.operate)],
            self.network,
            target,
            part.kind,
            np.zeros(1),
            self.knowledge.vocabulary.light_limits,
            self.knowledge.vehicle.system_v,
            np.zeros(1),
            looked=looked,
        )
        found = answers[int(chances[0].argmax())]
        word = found if isinstance(found, str) else "/".join(word for word in found if word != "none")
        usual = max(check.usual, key=lambda answer: check.usual[answer], default=None)
        return Expected(word.replace("/", ", "), None if usual is None else usual == word)


def _missing(knowledge: Knowledge, operate: Operate) -> bool:
    """Whether an operate names a control, position or terminal that the vehicle does not have."""
    for control, position in operate.items():
        if control in (UNPLUGGED, BRIDGED):
            ends = position.split("+")
            if any(end != BODY and end not in knowledge.terminals for end in ends):
                return True
        elif position not in knowledge.controls.get(control, ()):
            return True
    return False


def _said(check: Check) -> Expected:
    """What the file alone says of a good answer."""
    if check.limits is not None:
        return Expected(_limits(check), None)
    usual = max(check.usual, key=lambda answer: check.usual[answer], default="")
    labels = {choice.value: choice.label for choice in check.choices}
    return Expected(labels.get(usual, usual.replace("/", ", ")), None)


def _measured(check: Check, found: float | None) -> Expected:
    if found is None or check.unit is None:
        return _said(check)
    limits, good = check.limits, None
    text = written(found, check.unit)
    if limits is not None:
        strays = 1e-6
        low = limits.min is None or found >= limits.min - strays
        high = limits.max is None or found <= limits.max + strays
        good = low and high
        text = t("about {text} ({limits})", text=text, limits=_limits(check))
    return Expected(text, good)


def _limits(check: Check) -> str:
    limits, unit = check.limits, check.unit or ""
    if limits is None:
        return ""
    if limits.min is not None and limits.max is not None:
        return t("{min} to {max}", min=written(limits.min, unit), max=written(limits.max, unit))
    if limits.min is not None:
        return t("at least {min}", min=written(limits.min, unit))
    return t("at most {max}", max=written(limits.max or 0.0, unit))
