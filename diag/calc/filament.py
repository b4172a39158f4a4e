"""The filament of a lamp at other volts than its own: current, power, light, life, resistance.

The power laws: Fink & Beaty, Standard Handbook for Electrical Engineers. Knows nothing of networks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from diag.texts import t

__all__ = [
    "LAWS_HOLD",
    "LIFE_POWER",
    "LIGHT_POWER",
    "TEST_V",
    "test_watts",
    "Burning",
    "Floats",
    "burning",
    "filament_current",
]

Floats = npt.NDArray[np.float64]

_CURVE = -0.225
_FLOOR = 1.6e-5
LIGHT_POWER = 3.4
"""Light of a filament goes with V^3.4 (Fink & Beaty, Standard Handbook for Electrical Engineers)."""
LIFE_POWER = -13.0
"""Its life with V^-13 (-12 to -16; the same)."""
LAWS_HOLD = (0.7, 1.3)
"""Share of its test volts between which the laws of light and life hold (the same)."""
TEST_V = {6: 6.75, 12: 13.5, 24: 28.0}
"""System volts to the volts at which a lamp's watts are given (UN R37)."""

_TEST_W: dict[float, tuple[float, float, float]] = {
    21.0: (26.0, 25.0, 28.0),
    10.0: (10.0, 10.0, 12.5),
    5.0: (5.0, 5.0, 7.0),
    4.0: (4.0, 4.0, 5.0),
    3.0: (3.0, 3.0, 4.0),
}
"""Watts on the cap → watts at test volts on 6, 12 and 24 V (UN R37: signal lamps; 3 W from memory)."""


def test_watts(cap_w: float, system_v: int) -> float:
    """Watts at test volts of a lamp by the watts on its cap; the same where UN R37 names no other."""
    by_system = _TEST_W.get(cap_w)
    return cap_w if by_system is None else by_system[(6, 12, 24).index(system_v)]


def filament_current(ratio: Floats, rated_a: Floats) -> tuple[Floats, Floats]:
    """Current in A and its slope per unit of `ratio` = V / test volts, for lamps of `rated_a` at ratio 1.

    I = I0·k·(k² + 1.6e-5)^-0.225: the handbook power law I ~ V^0.55 (Fink & Beaty, Standard Handbook
    for Electrical Engineers) within its range, and a cold filament of a twelfth of the hot resistance
    near zero, where the bare law has no finite slope.
    """
    square = ratio * ratio
    base = square + _FLOOR
    power = rated_a * np.exp(_CURVE * np.log(base))
    return ratio * power, power * (1 + 2 * _CURVE * square / base)


@dataclass(frozen=True)
class Burning:
    """A filament at some volts: `ratio` of volts to test volts, amps, watts, hot and cold ohms; `light` and
    `life` against its own at test volts. `laws_hold`: the volts are near enough for light and life."""

    ratio: float
    amps: float
    watts: float
    hot_ohm: float
    cold_ohm: float
    light: float
    life: float
    laws_hold: bool


def burning(volts: float, test_w: float, test_v: float) -> Burning:
    """What a filament of `test_w` watts at `test_v` volts does at `volts`. Raises ValueError at zero or below."""
    if not (volts > 0 and test_w > 0 and test_v > 0):
        raise ValueError(t("volts and watts are above zero"))
    ratio = volts / test_v
    found, _ = filament_current(np.array([ratio]), np.array([test_w / test_v]))
    _, slope = filament_current(np.array([0.0]), np.array([test_w / test_v]))
    amps = float(found[0])
    low, high = LAWS_HOLD
    return Burning(
        ratio,
        amps,
        amps * volts,
        volts / amps,
        test_v / float(slope[0]),
        ratio**LIGHT_POWER,
        ratio**LIFE_POWER,
        low <= ratio <= high,
    )
