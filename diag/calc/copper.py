"""Copper wire: its resistance, the sections that exist, and the current that each may carry.

Resistance: IEC 60228 class 5 plain copper, maximum at 20 °C; with temperature IEC 60028. Knows nothing of
vehicles.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from diag.errors import DiagError
from diag.knowledge.sizes import SECTIONS_MM2
from diag.texts import t

__all__ = [
    "CLASS_5_OHM_PER_M",
    "CONDUCTOR_K",
    "continuous_a",
    "copper_factor",
    "drop_share",
    "drop_v",
    "min_section_for",
    "next_section",
    "section_for_drop",
    "wire_ohm",
]

CONDUCTOR_K = 0.00393
"""Temperature coefficient of copper at 20 °C, per kelvin (IEC 60028)."""
CLASS_5_OHM_PER_M: dict[float, float] = {
    0.5: 0.0390,
    0.75: 0.0260,
    1.0: 0.0195,
    1.5: 0.0133,
    2.5: 0.00798,
    4.0: 0.00495,
    6.0: 0.00330,
    10.0: 0.00191,
    16.0: 0.00121,
    25.0: 0.000780,
    35.0: 0.000554,
    50.0: 0.000386,
    70.0: 0.000272,
}
"""mm² → ohm per metre, one way, 20 °C (IEC 60228 class 5, plain copper)."""

_DENSITY_A_PER_MM2 = {1.0: 10, 1.5: 10, 2.5: 10, 4.0: 10, 6.0: 6, 10.0: 6, 16.0: 6, 25.0: 4, 35.0: 4, 50.0: 4, 70.0: 3}
"""mm² → A/mm² that a wire bears for good (a trade journal's table, common practice; below 1 mm² as 1 mm²)."""


def copper_factor(temperature_c: float) -> float:
    """Resistance of copper at a temperature in °C against its resistance at 20 °C (IEC 60028)."""
    return 1 + CONDUCTOR_K * (temperature_c - 20.0)


def wire_ohm(section_mm2: float, length_m: float, temperature_c: float = 20.0) -> float:
    """Resistance in ohm of `length_m` of wire, one way.

    Sections between the standard ones are read off the table in log-log; outside it the nearest
    standard section is scaled by area. Raises ValueError for a section or length of zero or less.
    """
    if section_mm2 <= 0 or length_m <= 0:
        raise ValueError(t("section and length are above zero"))
    sections = np.array(SECTIONS_MM2)
    ohms = np.array([CLASS_5_OHM_PER_M[s] for s in SECTIONS_MM2])
    inside = float(np.clip(section_mm2, sections[0], sections[-1]))
    per_metre = math.exp(float(np.interp(math.log(inside), np.log(sections), np.log(ohms)))) * inside / section_mm2
    return per_metre * length_m * copper_factor(temperature_c)


def drop_v(section_mm2: float, length_m: float, current_a: float, temperature_c: float = 20.0) -> float:
    """Volts lost in `length_m` of wire at a current in A. Raises ValueError like `wire_ohm`."""
    return current_a * wire_ohm(section_mm2, length_m, temperature_c)


def drop_share(
    section_mm2: float, length_m: float, current_a: float, system_v: float, temperature_c: float = 20.0
) -> float:
    """The same as a share (0 to 1, or more) of the system's nominal volts. Raises ValueError like `wire_ohm`."""
    if system_v <= 0:
        raise ValueError(t("system volts are above zero"))
    return drop_v(section_mm2, length_m, current_a, temperature_c) / system_v


def continuous_a(section_mm2: float) -> float:
    """Amps that a single wire in a loom may carry for good.

    10 A/mm² to 4 mm², 6 to 16 mm², 4 to 50 mm², 3 above (a trade journal's table, common practice; 5 A/mm²
    is the rule of thumb for a hot or thick bundle). Where a thicker section of that table carries less
    (6 mm²: 36 A), a thinner one is held to it (4 mm²: 36 A and not 40). Raises ValueError for a section of
    zero or less.
    """
    if section_mm2 <= 0:
        raise ValueError(t("a section is above zero"))
    sections = np.array(sorted(_DENSITY_A_PER_MM2))
    amps = np.array([section * _DENSITY_A_PER_MM2[section] for section in sections.tolist()])
    borne = np.minimum.accumulate(amps[::-1])[::-1]
    if section_mm2 < sections[0]:
        return float(borne[0] * section_mm2 / sections[0])
    if section_mm2 > sections[-1]:
        return float(borne[-1] * section_mm2 / sections[-1])
    return float(np.interp(section_mm2, sections, borne))


def next_section(section_mm2: float) -> float:
    """The smallest section in mm² that exists and is not below the given one. Raises DiagError above the largest."""
    return _smallest(lambda section: section >= section_mm2 * (1 - 1e-9), f"{section_mm2:.3g} mm²")


def min_section_for(current_a: float) -> float:
    """The smallest section in mm² that exists and carries a current for good. Raises DiagError above the largest."""
    return _smallest(lambda section: continuous_a(section) >= current_a * (1 - 1e-9), f"{current_a:.4g} A")


def section_for_drop(limit_v: float, length_m: float, current_a: float, temperature_c: float = 20.0) -> float:
    """The smallest section in mm² that exists and loses no more than `limit_v` volts.

    Raises ValueError for a length or limit of zero or less, DiagError where no section is thick enough.
    """
    if limit_v <= 0:
        raise ValueError(t("a limit is above zero"))
    return _smallest(
        lambda section: drop_v(section, length_m, current_a, temperature_c) <= limit_v * (1 + 1e-9),
        t(
            "{limit_v:.3g} V lost in {length_m:.3g} m at {current_a:.4g} A",
            limit_v=limit_v,
            length_m=length_m,
            current_a=current_a,
        ),
    )


def _smallest(fits: Callable[[float], bool], wanted: str) -> float:
    for section in SECTIONS_MM2:
        if fits(section):
            return section
    raise DiagError(
        t(
            "found {wanted}; expected what a section up to {sections_mm2:.0f} mm² is enough for. Shorten "
            "the way, lay two wires side by side, or bring the feed nearer by a relay.",
            wanted=wanted,
            sections_mm2=SECTIONS_MM2[-1],
        )
    )
