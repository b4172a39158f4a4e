"""Works out one operate, healthy and with the faults asked for, and reads it as a person with a meter would.

The only place of the sheet that touches equations; knows nothing of rows, pages or drawings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from diag.circuit import observe
from diag.circuit.behaviour import FLASHER_STATES, MOTORS, Shown
from diag.circuit.faults import Cause
from diag.circuit.network import BODY, Change, Network
from diag.circuit.predict import Predictor
from diag.knowledge.assemble import Knowledge
from diag.texts import t

__all__ = ["FAULTY", "HEALTHY", "Figures", "Pulse", "amps_words", "look_words", "volts_words"]

HEALTHY, FAULTY = 0, 1
"""Rows: the healthy vehicle, and the same with the faults (the same again where none is asked for)."""

_LIVE_A = 0.005
"""A meter on its 10 A range shows nothing below this."""
_SAME_V = 0.005
_RELAY = ("released", t("pulled in"), "chatters")


@dataclass(frozen=True)
class Pulse:
    """A reading in the two halves of a flash, `lit` first; both alike where nothing flashes. Volts or amps."""

    lit: float
    unlit: float


def volts_words(found: Pulse) -> str:
    """As a meter shows it: one decimal, two below 1 V; two figures where it pulses."""
    words = [_volts(found.lit), _volts(found.unlit)]
    return "/".join(dict.fromkeys(words)) + " V"


def _volts(volts: float) -> str:
    if abs(volts) < 0.995:
        return f"{volts + 0.0:.2f}" if abs(volts) >= _SAME_V else "0.00"
    return f"{volts:.1f}"


def amps_words(amps: float) -> str:
    """Amps as a meter shows them: two decimals below 10 A; `0 A` where it shows nothing."""
    if abs(amps) < _LIVE_A:
        return "0 A"
    return f"{amps:.2f} A" if abs(amps) < 9.995 else f"{amps:.1f} A"


def look_words(look: tuple[str, str]) -> str:
    """Light and rhythm in words: `normal, flashing`; a dark lamp has no rhythm."""
    light, rhythm = look
    return light if rhythm == "none" else f"{light.replace('-', ' ')}, {rhythm}"


@dataclass(frozen=True)
class Figures:
    """What one operate shows. `shown` has the rows HEALTHY and FAULTY; `blown`: fuses and wires that went, by row."""

    knowledge: Knowledge
    network: Network
    operate: Mapping[str, str]
    causes: tuple[Cause, ...]
    shown: Shown
    blown: tuple[tuple[str, ...], tuple[str, ...]]
    closed: np.ndarray
    """(2, branches) True where a branch conducts; flasher contacts as in the lit half of a flash."""

    @staticmethod
    def of(predictor: Predictor, operate: Mapping[str, str], causes: Sequence[Cause] = ()) -> Figures:
        """Solves the operate twice, healthy and with all of `causes` at once that are there; what blows stays blown."""
        change = Change()
        for cause in causes:
            if cause.change is not None and cause.there({**predictor.rest, **operate}):
                change = change.merged(cause.change)
        bench, net = predictor.bench, predictor.network
        shown, gone = bench.operate(operate, [Change(), change])
        changes = [
            replace(was, added_ohm={**was.added_ohm, **dict.fromkeys(out, np.inf)})
            for was, out in zip([Change(), change], gone, strict=True)
        ]
        if any(gone):
            shown, _ = bench.operate(operate, changes)
        blown = tuple(tuple(net.branches[i].id for i in sorted(out)) for out in gone)
        closed = bench.settle(operate, changes).closed.branch_s > 0
        return Figures(predictor.knowledge, net, dict(operate), tuple(causes), shown, (blown[0], blown[1]), closed)

    @cached_property
    def absent(self) -> tuple[Cause, ...]:
        """Those of the causes that are not there with the controls so."""
        rest = {control: positions[0] for control, positions in self.knowledge.controls.items()}
        return tuple(cause for cause in self.causes if not cause.there({**rest, **self.operate}))

    # ------------------------------------------------------------ points

    def pulses(self, row: int) -> bool:
        """Whether a flasher unit is at work."""
        return self.flasher_state(row) in FLASHER_STATES[2:]

    def flasher_state(self, row: int) -> str:
        """The likeliest state of the flasher unit, one of FLASHER_STATES."""
        return FLASHER_STATES[int(self.shown.flasher[row].argmax())]

    def volts(self, row: int, terminal: str) -> Pulse:
        """Volts of a terminal against body."""
        node = self.network.node(terminal)
        lit, unlit = float(self.shown.volts[row, node]), float(self.shown.off_volts[row, node])
        return Pulse(lit, unlit if self.pulses(row) else lit)

    def amps(self, row: int, through: str) -> float:
        """Amps through a fuse or wire from its first end to its second, in the lit half of a flash."""
        return float(self.shown.branch_a[row, self.network.branch(through)])

    def test_lamp(self, row: int, terminal: str) -> tuple[str, str]:
        """What a 12 V 5 W test lamp does from a terminal to body: light and rhythm."""
        return self._test_lamps[terminal][row]

    @cached_property
    def _test_lamps(self) -> dict[str, list[tuple[str, str]]]:
        limits, system_v = self.knowledge.vocabulary.light_limits, self.knowledge.vehicle.system_v
        return {
            terminal: _likeliest(
                observe.test_lamp_looks(self.shown, self.network, terminal, np.zeros(2), limits, system_v)
            )
            for terminal in (*self.knowledge.terminals, BODY)
        }

    # ------------------------------------------------------------ what is seen and heard

    def look(self, row: int, lamp: str) -> tuple[str, str]:
        """What a lamp shows: light and rhythm. `lamp` is a filament's id."""
        return self._looks[lamp][row]

    @cached_property
    def _looks(self) -> dict[str, list[tuple[str, str]]]:
        limits = self.knowledge.vocabulary.light_limits
        return {
            lamp.id: _likeliest(observe.lamp_looks(self.shown, self.network, lamp.id, np.zeros(2), limits))
            for lamp in self.network.filaments
        }

    def sound(self, row: int, part: str) -> str:
        """What a flasher unit or a horn lets hear."""
        if self.knowledge.parts[part].kind == "horn":
            stuck = np.array([0.0, float(self._flagged(f"{part}:seized"))])
            heard = observe.horn_sounds(self.shown, self.network, part, self.knowledge.vehicle.system_v, stuck)
        else:
            heard = observe.flasher_sounds(self.shown)
        return observe.SOUNDS[int(heard[row].argmax())]

    def motor(self, row: int, motor: int) -> str:
        """What a motor (by index) does, one of MOTORS."""
        return MOTORS[int(self.shown.motor[row, motor].argmax())]

    def needle(self, row: int, gauge: str) -> str:
        """Where the needle of a gauge stands, one of NEEDLES."""
        return observe.NEEDLES[int(observe.needle_looks(self.shown, self.network, gauge)[row].argmax())]

    def relay(self, row: int, relay: int) -> str:
        """What a relay (by index) does."""
        return _RELAY[int(self.shown.relay[row, relay])]

    def rate(self, row: int) -> float:
        """Flashes a minute; 0 where nothing flashes."""
        return float(self.shown.rate[row])

    def _flagged(self, flag: str) -> bool:
        here = (cause.change for cause in self.causes if cause not in self.absent)
        return any(change is not None and flag in change.flags for change in here)


def _likeliest(chances: np.ndarray) -> list[tuple[str, str]]:
    return [observe.LOOKS[int(column)] for column in chances.argmax(axis=1)]
