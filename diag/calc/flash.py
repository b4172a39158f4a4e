"""How a flasher unit flashes by its load and its volts: thermal, whose own heat it is, or electronic.

Volts are given for a 12 V unit. Thresholds are `common practice, no source` unless a line says more. Knows
nothing of networks.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from diag.calc.filament import Floats

__all__ = ["FLASHER_STATES", "LEGAL_RATE", "Felt", "Flasher", "rhythm_of", "trips_heavy", "works_at"]

FLASHER_STATES = ("idle", "steady", "slow", "flashing", "fast")
"""idle: contact open. steady: contact stays closed. The others are rhythms."""
LEGAL_RATE = (60.0, 120.0)
"""Flashes a minute between which a rhythm is called flashing, 90 ± 30 (UN R48, 6.5)."""

_WORKS_FROM_V, _CYCLES_FROM_V, _FULL_RATE_FROM_V = 7.0, 9.3, 10.3
_LOW_VOLTS_RATE = 0.55
"""Share of its rate that a unit keeps below the volts of its full rate."""
_NO_LOAD, _LAMP_OUT, _LAMP_OUT_RATE = 0.25, 0.80, 2.0
"""Shares of the rated load below which an electronic unit does not trip, or doubles its rate."""
_COLD_LOAD, _NOMINAL_V, _RATE_BY_LOAD, _RATE_BY_VOLTS = 0.45, 12.8, 1.2, 1.5
"""Share of the rated load that no longer heats a thermal unit enough to open; its rate goes with powers of
load and volts, so that a lamp out makes it slow or steady."""
_HEAVY_UNIT_TRIPS = 1.4
"""Share for a unit made for twice the lamps: it needs both sides (hazard) to flash."""
_RATES_DIFFER = 0.05
"""How far units of one kind differ in rate, as a natural logarithm."""


def _above(found: Floats, limit: float, width: float) -> Floats:
    """Soft step from 0 to 1 round `limit`: real parts differ by about `width`."""
    step: Floats = 0.5 * (1 + np.tanh((found - limit) / (2 * width)))
    return step


@dataclass(frozen=True)
class Flasher:
    """A unit made for `rated_a` amps of lamps, `rate` flashes a minute, thermal or electronic."""

    rated_a: float
    rate: float = 85.0
    thermal: bool = False


@dataclass(frozen=True)
class Felt:
    """What a unit feels: volts on it with its contact open and closed, and load as a share of its rating."""

    idle_v: Floats
    feed_v: Floats
    amps: Floats
    load: Floats = field(repr=False)


def works_at(idle_v: Floats) -> Floats:
    """Chance that a unit works at all with those volts on it while its contact is open (12 V unit)."""
    return _above(idle_v, _WORKS_FROM_V, 0.4)


def trips_heavy(load: Floats) -> Floats:
    """Chance that a unit made for twice the lamps opens at a load, as a share of the vehicle's own rating."""
    return _above(load, _HEAVY_UNIT_TRIPS, 0.1)


def rhythm_of(unit: Flasher, felt: Felt) -> tuple[Floats, Floats]:
    """(R, 5) chance of each of FLASHER_STATES for a sound unit, and (R,) flashes a minute where it flashes."""
    works = works_at(felt.idle_v)
    trips, rates = _thermal(unit, felt) if unit.thermal else _electronic(unit, felt)
    states = np.zeros((len(works), len(FLASHER_STATES)))
    states[:, 0] = 1 - works
    states[:, 1] = works * (1 - trips)
    for share, each in rates:
        states[:, 2:] += (works * trips * share)[:, None] * _words(each)
    rate: Floats = np.choose(np.argmax([share for share, _ in rates], axis=0), [each for _, each in rates])
    return states, rate


def _electronic(unit: Flasher, felt: Felt) -> tuple[Floats, list[tuple[Floats, Floats]]]:
    """Chance that it opens at all, and its rates with the chance of each: it doubles with a lamp out."""
    trips = _above(felt.load, _NO_LOAD, 0.03) * _above(felt.feed_v, _CYCLES_FROM_V, 0.25)
    low = 1 - _above(felt.feed_v, _FULL_RATE_FROM_V, 0.2)
    out = (1 - _above(felt.load, _LAMP_OUT, 0.035)) * (1 - low)
    whole = np.full(len(low), unit.rate)
    return trips, [(1 - low - out, whole), (out, _LAMP_OUT_RATE * whole), (low, _LOW_VOLTS_RATE * whole)]


def _thermal(unit: Flasher, felt: Felt) -> tuple[Floats, list[tuple[Floats, Floats]]]:
    """The same for a unit heated by the lamps' own current."""
    trips = _above(felt.load, _COLD_LOAD, 0.05) * _above(felt.feed_v, _CYCLES_FROM_V - 1.3, 0.25)
    rate = unit.rate * felt.load**_RATE_BY_LOAD * (felt.feed_v / _NOMINAL_V) ** _RATE_BY_VOLTS
    return trips, [(np.ones(len(rate)), rate)]


def _words(rate: Floats) -> Floats:
    """(R, 3) chance of slow, flashing and fast."""
    level = np.log(np.maximum(rate, 1e-3))
    past = [_above(level, float(np.log(edge)), _RATES_DIFFER / 2) for edge in LEGAL_RATE]
    out: Floats = np.stack([1 - past[0], past[0] - past[1], past[1]], axis=1)
    return out
