"""The laws of the elements whose current does not follow the volts in a straight line.

LED substitutes in a filament's place, diodes: current and slope for any volts, for many variants at once
(filaments: `calc.filament`). Knows nothing of networks.
"""

from __future__ import annotations

import numpy as np

from diag.circuit.network import Floats

__all__ = ["LED_ON_SHARE", "SOFT_V", "diode_current", "led_current"]

SOFT_V = 0.05
"""Volts over which a diode goes from closed to open (two junctions of 26 mV; common practice, no source)."""
LED_ON_SHARE = 0.55
"""Share of a lamp's test volts below which an LED substitute draws next to nothing (common practice, no source)."""


def diode_current(volts: Floats, on_v: Floats, siemens: Floats, way: Floats) -> tuple[Floats, Floats]:
    """Current in A from a to b and its slope in siemens for `volts` from a to b.

    I = siemens·s·ln(1 + exp((V - on_v)/s)) less its value at 0 V, s = 0.05 V. `way`: 1 conducts from a
    to b, -1 the other way, 0 not at all.
    """
    over = (volts * way - on_v) / SOFT_V
    amps = siemens * SOFT_V * (np.logaddexp(0.0, over) - np.logaddexp(0.0, -on_v / SOFT_V))
    slope = siemens * 0.5 * (1 + np.tanh(over / 2))
    return amps * way, slope * np.abs(way)


def led_current(volts: Floats, test_v: Floats, rated_a: Floats, way: Floats) -> tuple[Floats, Floats]:
    """The same for an LED substitute of `rated_a` at the test volts of the lamp it stands for."""
    return diode_current(volts, LED_ON_SHARE * test_v, rated_a / ((1 - LED_ON_SHARE) * test_v), way)
