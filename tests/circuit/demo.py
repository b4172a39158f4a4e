"""The demo vehicle in a test's words: what a lamp shows, what a horn sounds, what a meter reads.

Only asks the program; holds no expectations.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.circuit import observe
from diag.circuit.predict import Predictor

__all__ = ["CHARGING", "DIPPED", "HAZARD", "HORN", "KEY", "LEFT", "MAIN", "REST", "RIGHT", "SIDE", "STOP", "Demo"]

Operate = Mapping[str, str]
REST: Operate = {}
KEY: Operate = {"ignition": "on"}
LEFT: Operate = {"ignition": "on", "turn": "left"}
RIGHT: Operate = {"ignition": "on", "turn": "right"}
HAZARD: Operate = {"hazard": "on"}
STOP: Operate = {"ignition": "on", "brake-pedal": "pressed"}
SIDE: Operate = {"lights": "side"}
DIPPED: Operate = {"lights": "head"}
MAIN: Operate = {"lights": "head", "dip": "main"}
HORN: Operate = {"horn-button": "pressed"}
CHARGING: Operate = {"ignition": "on", "engine": "running"}


class Demo:
    """Likeliest finding for one cause (None: healthy) under one operate."""

    def __init__(self, predictor: Predictor) -> None:
        self.predictor, self.network = predictor, predictor.network
        self.knowledge = predictor.knowledge
        self.lamps = [filament.id for filament in self.network.filaments]
        self._row = {cause.id: 1 + i for i, cause in enumerate(predictor.causes)}
        self._limits = dict(self.knowledge.vocabulary.light_limits)

    def row(self, cause: str | None) -> int:
        return 0 if cause is None else self._row[cause]

    def look(self, lamp: str, operate: Operate, cause: str | None = None) -> str:
        """`light/rhythm` of a lamp, without anybody's misjudging."""
        shown = self.predictor.shown(operate).rows([0, self.row(cause)])
        words = observe.lamp_looks(shown, self.network, lamp, np.zeros(2), self._limits)
        return "/".join(observe.LOOKS[int(words[1].argmax())])

    def probe(self, terminal: str, operate: Operate, cause: str | None = None) -> str:
        """`light/rhythm` of a test lamp from a terminal to body."""
        shown = self.predictor.shown(operate).rows([0, self.row(cause)])
        volts = self.knowledge.vehicle.system_v
        words = observe.test_lamp_looks(shown, self.network, terminal, np.zeros(2), self._limits, volts)
        return "/".join(observe.LOOKS[int(words[1].argmax())])

    def horn(self, operate: Operate, cause: str | None = None) -> str:
        shown = self.predictor.shown(operate).rows([0, self.row(cause)])
        seized = np.array([0.0, float(cause is not None and cause.endswith(".seized"))])
        words = observe.horn_sounds(shown, self.network, "horn", self.knowledge.vehicle.system_v, seized)
        return observe.SOUNDS[int(words[1].argmax())]

    def unit(self, operate: Operate, cause: str | None = None) -> str:
        """What the flasher unit sounds like."""
        words = observe.flasher_sounds(self.predictor.shown(operate).rows([self.row(cause)]))
        return observe.SOUNDS[int(words[0].argmax())]

    def volts(self, red: str, operate: Operate, cause: str | None = None, black: str = "body") -> float:
        found = self.predictor.shown(operate).volts[self.row(cause)]
        return float(found[self.network.node(red)] - found[self.network.node(black)])

    def lamp_volts(self, lamp: str, operate: Operate, cause: str | None = None) -> float:
        return float(self.predictor.shown(operate).lamp_on_v[self.row(cause), self.network.filament(lamp)])

    def amps(self, through: str, operate: Operate, cause: str | None = None) -> float:
        return float(self.predictor.shown(operate).branch_a[self.row(cause), self.network.branch(through)])

    def ohms(self, terminal: str, operate: Operate, cause: str | None = None) -> float:
        """Towards body as an ohmmeter sees it, without its leads."""
        return float(self.predictor.shown(operate).inner_ohm[self.row(cause), self.network.node(terminal)])
