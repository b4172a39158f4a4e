"""Lead-acid batteries with liquid acid: state of charge, freezing, and how long one stands before it will not start.

Knows nothing of vehicles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diag.texts import t

__all__ = [
    "CELL_V",
    "CELLS",
    "REFERENCE_C",
    "STARTS_FROM",
    "Charge",
    "charge_from_gravity",
    "charge_from_volts",
    "days_of_standing",
    "gravity_at_reference",
]

CELL_V = 2.1
"""Rest volts of one full lead-acid cell: 12.65 V over six (published rest-volt tables)."""
CELLS = {6: 3, 12: 6, 24: 12}
"""System volts to cells in series."""
STARTS_FROM = 0.5
"""Share of its charge below which a battery is not counted on to start an engine (common practice, no source)."""

REFERENCE_C = 26.7
"""Temperature that the tables are given for (80 °F)."""
_REST_V = {0.0: 11.89, 0.25: 12.06, 0.5: 12.24, 0.75: 12.45, 1.0: 12.65}
"""State of charge → volts of six rested cells at 26.7 °C (published state-of-charge table)."""
_GRAVITY = {0.0: 1.120, 0.25: 1.155, 0.5: 1.190, 0.75: 1.225, 1.0: 1.265}
"""State of charge → specific gravity of the acid at 26.7 °C (the same table)."""
_FREEZES_C = {0.0: -10.0, 0.25: -16.0, 0.5: -26.0, 0.75: -36.0, 1.0: -57.0}
"""State of charge → °C at which the acid freezes: of the published sets the warmer one; flat from memory."""
_VOLTS_PER_K = 0.0012
"""A rested battery of six cells gains 0.2 mV a kelvin and cell (from memory). The 0.024 V per 10 °F that is
printed beside some tables only copies the hydrometer's shift."""
_GRAVITY_PER_K = 0.004 / 5.56
"""Hydrometer: 0.004 per 10 °F above 26.7 °C is added, below it taken away (published state-of-charge table)."""


@dataclass(frozen=True)
class Charge:
    """State of charge: `share` 0 to 1; `beyond`: the reading lies outside the table by more than a meter strays;
    `freezes_c`: where its acid then freezes; `at_reference`: the reading taken to 12 V and 26.7 °C."""

    share: float
    beyond: str
    freezes_c: float
    at_reference: float


def charge_from_volts(volts: float, system_v: int = 12, temperature_c: float = 20.0) -> Charge:
    """State of charge by the volts of a battery that has rested for hours, at its temperature.

    Straight lines between the points of the published table; honest to about a tenth of the charge. Raises
    ValueError for volts of zero or less, KeyError for a system other than 6, 12, 24 V.
    """
    if not volts > 0:
        raise ValueError(t("volts are above zero"))
    six_cells = volts * 6 / CELLS[system_v] - _VOLTS_PER_K * (temperature_c - REFERENCE_C)
    return _charge(six_cells, _REST_V, 0.15)


def gravity_at_reference(gravity: float, temperature_c: float) -> float:
    """What a hydrometer would read at 26.7 °C."""
    return gravity + _GRAVITY_PER_K * (temperature_c - REFERENCE_C)


def charge_from_gravity(gravity: float, temperature_c: float = 20.0) -> Charge:
    """State of charge by hydrometer, at the temperature of the acid. Raises ValueError for a gravity below 1."""
    if not gravity >= 1:
        raise ValueError(t("acid is heavier than water"))
    return _charge(gravity_at_reference(gravity, temperature_c), _GRAVITY, 0.02)


def _charge(found: float, table: dict[float, float], margin: float) -> Charge:
    shares, readings = np.array(sorted(table)), np.array([table[share] for share in sorted(table)])
    share = float(np.interp(found, readings, shares))
    beyond = "below" if found < readings[0] - margin else "above" if found > readings[-1] + margin else ""
    freezes = float(np.interp(share, shares, [_FREEZES_C[at] for at in shares.tolist()]))
    return Charge(share, beyond, freezes, found)


def days_of_standing(
    key_off_a: float, capacity_ah: float, charge: float = 1.0, starts_from: float = STARTS_FROM
) -> float:
    """Days until a key-off current has taken the charge (share 0 to 1) down to `starts_from`.

    Infinite without current, zero where the charge is there already; the battery's own loss comes on top.
    Raises ValueError for a capacity of zero or less, a current below zero or shares outside 0 to 1.
    """
    if capacity_ah <= 0 or key_off_a < 0:
        raise ValueError(t("capacity is above zero and current not below it"))
    if not (0 <= charge <= 1 and 0 <= starts_from <= 1):
        raise ValueError(t("shares lie between 0 and 1"))
    left = max(0.0, charge - starts_from) * capacity_ah
    if key_off_a == 0:
        return math.inf if left else 0.0
    return left / key_off_a / 24
