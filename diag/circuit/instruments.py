"""Instruments solved as part of the network, so that everything reacts to what they load or feed.

Each is a branch, a source or a filament between two points, put at the end of the network's lists so
that all that knows a branch or a node by its number still does. Knows nothing of causes or words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.circuit.behaviour import FLASHER_STATES, Bench
from diag.circuit.network import BODY, LEAK_S, Branch, Change, Filament, Floats, Network, Source
from diag.circuit.readings import LEADS_OHM, Indication, no_path_ohm

__all__ = [
    "DIODE_OHMMETER",
    "MOVING_COIL",
    "Ammeter",
    "Hookup",
    "Instrument",
    "LedTester",
    "Ohmmeter",
    "ProbeLamp",
    "Voltmeter",
    "fitted",
]

_NAME = "instrument"
_AMMETER_FUSE_A = 20.0
"""The 10 A fuse of the range goes at twice its rating (ISO 8820-3, 200 % point)."""
_LIVE_V = 0.02
"""Volts from elsewhere that spoil a resistance: a twentieth of what a meter itself puts out."""


@dataclass(frozen=True)
class Voltmeter:
    """A voltmeter of `input_ohm`, sure to `digits_v` and a share of the reading (see `volts_readings`).

    10 Mohm and a few digits where it is digital (common practice, no source).
    """

    input_ohm: float = 1e7
    digits_v: float = 0.04


MOVING_COIL = Voltmeter(2e5, 0.25)
"""20 kohm a volt on a 10 V range, sure to 2.5 % of full scale (common practice, no source)."""


@dataclass(frozen=True)
class Ohmmeter:
    """An ohmmeter of open-circuit `test_v` volts.

    `ranges`: (ohm at full scale, ohm in series with the test volts), from the lowest up. The figures are
    common practice, no source: 0.4 V or less keeps junctions shut, 2 to 3 V opens them; about a quarter
    of the test volts is left at full scale.
    """

    test_v: float = 0.4
    ranges: tuple[tuple[float, float], ...] = ((200.0, 600.0), (2e3, 6e3), (2e4, 6e4))


DIODE_OHMMETER = Ohmmeter(2.8)
"""The same with test volts that open a junction."""


@dataclass(frozen=True)
class ProbeLamp:
    """A test lamp: `watts` at `rated_v` volts (5 W at the vehicle's volts; common practice, no source)."""

    rated_v: float = 12.0
    watts: float = 5.0


@dataclass(frozen=True)
class LedTester:
    """A tester with LED and resistor, either way round: lit from `on_v`, 5 to 20 mA at 12 V (common
    practice, no source), so that it hardly loads what it is held to."""

    on_v: float = 2.0
    ohm: float = 1200.0


@dataclass(frozen=True)
class Ammeter:
    """An ammeter on its 10 A range with its leads: 0.1 to 0.5 V are lost at 10 A (common
    practice, no source)."""

    ohm: float = 0.05


Instrument = Voltmeter | Ohmmeter | ProbeLamp | LedTester | Ammeter


def fitted(network: Network, instrument: Instrument, red: str, black: str) -> Network:
    """The network with the instrument between two of its points. Raises KeyError for an unknown point.

    A voltmeter of 10 Mohm to body is there already: the model has one from every node.
    """
    a, b = network.node(red), network.node(black)
    match instrument:
        case Voltmeter():
            there = LEAK_S if BODY in (red, black) else 0.0
            siemens = max(1.0 / instrument.input_ohm - there, 1e-12)
            return replace(network, branches=(*network.branches, Branch(_NAME, a, b, 1.0 / siemens)))
        case LedTester() | Ammeter():
            return replace(network, branches=(*network.branches, Branch(_NAME, a, b, instrument.ohm)))
        case ProbeLamp():
            lamp = Filament(_NAME, a, b, instrument.rated_v, instrument.watts)
            return replace(network, filaments=(*network.filaments, lamp))
        case Ohmmeter():
            source = Source(_NAME, a, b, instrument.test_v, instrument.ranges[0][1], _NAME)
            return replace(network, sources=(*network.sources, source))


class Hookup:
    """An instrument between two points of a vehicle's network, read under any operate.

    `always`: what connecting it changes on the vehicle, such as a fuse that comes out for it. Raises
    KeyError for an unknown point.
    """

    def __init__(
        self, bench: Bench, instrument: Instrument, red: str, black: str, always: Change | None = None
    ) -> None:
        self.instrument = instrument
        network = fitted(bench.network, instrument, red, black)
        guarded = {len(network.branches) - 1: _AMMETER_FUSE_A} if isinstance(instrument, Ammeter) else {}
        self.bench = bench.over(network, guarded)
        self._a, self._b = network.node(red), network.node(black)
        self._no_path = no_path_ohm(bench.network)
        self._always = always or Change()
        self._wire: int | None = None

    @staticmethod
    def ammeter(bench: Bench, through: str, meter: Ammeter | None = None) -> Hookup:
        """An ammeter in place of a fuse, or between the end of a wire and what it was on; positive where current
        enters at the first end of that fuse or wire. Raises KeyError for an unknown one."""
        meter, net = meter or Ammeter(), bench.network
        index = net.branch(through)
        branch = net.branches[index]
        in_line = branch.role == "wire"  # its burden then adds to the wire, which itself says what flows
        always = Change(added_ohm={index: meter.ohm if in_line else np.inf})
        hookup = Hookup(bench, meter, net.nodes[branch.a], net.nodes[branch.b], always)
        if in_line:
            hookup.bench, hookup._wire = bench, index
        return hookup

    def read(self, operate: Mapping[str, str], changes: Sequence[Change]) -> Indication:
        """What the instrument shows for each change.

        Raises ArithmeticError where the network does not settle.
        """
        changes = [change.merged(self._always) for change in changes]
        if isinstance(self.instrument, Ohmmeter):
            return self._ohms(self.instrument, operate, changes)
        shown, blown = self.bench.operate(operate, changes)
        on, off = self._across(shown.volts), self._across(shown.off_volts)
        if isinstance(self.instrument, ProbeLamp):
            on, off = shown.lamp_on_v[:, -1], shown.lamp_off_v[:, -1]
        elif self._wire is not None:
            on = off = shown.branch_a[:, self._wire]
        elif isinstance(self.instrument, Ammeter):
            meter = len(self.bench.network.branches) - 1
            gone = np.array([meter in found for found in blown])  # all the volts stand across its melted fuse
            on, off = (np.where(gone, 1.01 * _AMMETER_FUSE_A * np.sign(v), v / self.instrument.ohm) for v in (on, off))
        return Indication(on, off, shown.flasher)

    def _across(self, volts: Floats) -> Floats:
        out: Floats = volts[:, self._a] - volts[:, self._b]
        return out

    def _ohms(self, meter: Ohmmeter, operate: Mapping[str, str], changes: Sequence[Change]) -> Indication:
        """Each row on the lowest range that holds it; the leads are in series with everything."""
        source = self.bench.network.source(_NAME)
        ohm, rows = np.full(len(changes), np.inf), np.arange(len(changes))
        for top, series in meter.ranges:
            shown, _ = self.bench.operate(
                operate, [changes[i].merged(Change(emf={source: (meter.test_v, series)})) for i in rows.tolist()]
            )
            volts = self._across(shown.volts)
            amps = (meter.test_v - volts) / series
            found = np.where(amps > 1e-12, volts / np.maximum(amps, 1e-12), np.inf)
            inside = found <= min(top, self._no_path)
            ohm[rows[inside]] = np.maximum(found[inside], 0.0) + LEADS_OHM
            rows = rows[~inside]
            if not len(rows):
                break
        if operate.get("battery") != "disconnected" or operate.get("engine") == "running":
            ohm[self._live(operate, changes)] = np.nan
        idle = np.zeros((len(ohm), len(FLASHER_STATES)))
        idle[:, 0] = 1.0
        return Indication(ohm, ohm, idle)

    def _live(self, operate: Mapping[str, str], changes: Sequence[Change]) -> np.ndarray:
        """(R,) True where power was left on: volts stand between the probes before the meter adds its own."""
        away = Change(emf={self.bench.network.source(_NAME): (0.0, np.inf)})
        shown, _ = self.bench.operate(operate, [change.merged(away) for change in changes])
        out: np.ndarray = np.abs(self._across(shown.volts)) > _LIVE_V
        return out
