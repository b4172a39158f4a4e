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
    """A voltmeter of `input_ohm`: 10 Mohm digital, 20 kohm a volt and range for a moving coil
    (common practice, no source)."""

    input_ohm: float = 1e7


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

    `instead_of`: the fuse that an ammeter takes the place of; its points are the fuse's ends.
    Raises KeyError for an unknown point or fuse.
    """

    def __init__(
        self, bench: Bench, instrument: Instrument, red: str, black: str, instead_of: str | None = None
    ) -> None:
        self.instrument = instrument
        network = fitted(bench.network, instrument, red, black)
        guarded = {len(network.branches) - 1: _AMMETER_FUSE_A} if isinstance(instrument, Ammeter) else {}
        self.bench = bench.over(network, guarded)
        self._a, self._b = network.node(red), network.node(black)
        self._no_path = no_path_ohm(bench.network)
        pulled = {network.branch(instead_of): np.inf} if instead_of is not None else {}
        self._always = Change(added_ohm=pulled)

    @staticmethod
    def ammeter(bench: Bench, fuse: str, instrument: Ammeter | None = None) -> Hookup:
        """An ammeter in place of a fuse, positive where current enters at the fuse's first end."""
        branch = bench.network.branches[bench.network.branch(fuse)]
        ends = (bench.network.nodes[branch.a], bench.network.nodes[branch.b])
        return Hookup(bench, instrument or Ammeter(), *ends, instead_of=fuse)

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
