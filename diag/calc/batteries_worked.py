"""State of charge and days of standing as worked answers. Knows formulas and words, not the command line."""

from __future__ import annotations

import math

from diag.calc.answer import Answer
from diag.calc.battery import (
    CELLS,
    REFERENCE_C,
    Charge,
    charge_from_gravity,
    charge_from_volts,
    days_of_standing,
)
from diag.knowledge.units import written

__all__ = ["charge_answer", "standing_answer"]

_TABLE = "State of charge: published rest-volt and hydrometer table, liquid acid, rested 4 to 6 hours."
_GAS = (
    "A battery that was charging gives off hydrogen, explosive in air from about 4 per cent: no flame, no smoking, "
    "nothing made or broken at its posts. Acid burns skin and eyes: goggles, gloves, water at hand."
)
_OUTSIDE = {
    "above": "! Above the table: not rested, or a charger is on. Lamps on for two minutes, off, wait, read again",
    "below": "! Below the table: flat beyond what is good for it, or a cell is dead (a cell is 2 V)",
}


def charge_answer(volts: float | None, gravity: float | None, system_v: int, temperature_c: float) -> Answer:
    """State of charge from rest volts or, where given, from the hydrometer. Raises ValueError at zeros."""
    if gravity is not None:
        found = charge_from_gravity(gravity, temperature_c)
        read = ("hydrometer", f"{gravity:.3f}")
        words = "hydrometer reading taken to 26.7 °C, then straight lines between the points of the table"
        symbols = f"s = s_read + 0.004 · (T - {REFERENCE_C} °C) / 5.56 K"
        worked = f"s = {gravity:.3f} {_signed(found.at_reference - gravity, 4)} = {found.at_reference:.3f}"
    else:
        assert volts is not None
        found = charge_from_volts(volts, system_v, temperature_c)
        read = ("rest volts", f"{written(volts, 'V')} ({system_v} V, {CELLS[system_v]} cells)")
        words = "volts taken to six cells at 26.7 °C, then straight lines between the points of the table"
        symbols = f"U = U_read · 6/n - 1.2 mV/K · (T - {REFERENCE_C} °C)"
        six = volts * 6 / CELLS[system_v]
        worked = f"U = {six:.3f} V {_signed(found.at_reference - six, 3)} V = {found.at_reference:.3f} V"
    return Answer(
        _told(found, temperature_c),
        (read, ("battery at", written(temperature_c, "degC"))),
        words,
        symbols,
        worked,
        (_TABLE, "Freezing: of the published figures the warmer. 1.2 mV/K: from memory."),
        (
            "Honest to about a tenth of the charge; other published tables differ by 0.1 V.",
            "Volts at rest do not show a tired battery: load it (cranking, or lamps) and read again.",
        ),
        (_GAS,),
    )


def standing_answer(
    key_off_a: float, capacity_ah: float, charge: float, starts_from: float, read: str | None = None
) -> Answer:
    """Days of standing. `charge` and `starts_from` as shares; `read`: how the charge was found."""
    days = days_of_standing(key_off_a, capacity_ah, charge, starts_from)
    if math.isinf(days):
        result = ["No key-off current: stands until its own loss has emptied it, some months"]
    elif days == 0:
        result = ["! It may not start now: charge it first"]
    elif days < 2:
        result = [f"Stands {written(days * 24, 'h')}, then it may not start"]
    else:
        result = [f"Stands {written(days, 'days')}, then it may not start"]
    usable = max(0.0, charge - starts_from) * capacity_ah
    notes = [
        "A battery loses 0.1 to 1 % a day of its own (common practice, no source), more when old or warm: the true "
        "figure is lower."
    ]
    if key_off_a > 0.005:
        notes.append(
            "An older vehicle with no clock or radio draws next to nothing with the key off: more than 5 mA needs "
            "a reason; more than 35 to 50 mA is too much for any."
        )
    return Answer(
        tuple(result),
        (
            ("key-off current", written(key_off_a, "A")),
            ("capacity", written(capacity_ah, "Ah")),
            ("charge now", f"{written(100 * charge, '')} %{f' ({read})' if read else ''}"),
            ("starts from", f"{written(100 * starts_from, '')} %"),
        ),
        "days = (charge now - charge it starts from) × capacity ÷ key-off current ÷ 24 h",
        "t = (c - c0) · C / I / 24",
        f"{written(usable, 'Ah')} ÷ {written(key_off_a, 'A')} ÷ 24 h"
        + (f" = {written(days, 'days')}" if math.isfinite(days) else ""),
        (
            "Arithmetic. Half its charge to start with: common practice, no source; key-off limits: a trade training "
            "module (35 mA), common practice (50 mA).",
        ),
        tuple(notes),
    )


def _told(found: Charge, temperature_c: float) -> tuple[str, ...]:
    result = [f"State of charge {written(100 * found.share, '')} %", f"Its acid freezes at {found.freezes_c:.0f} °C"]
    if temperature_c <= found.freezes_c:
        result.append("! At this temperature it is frozen: do not charge or jump it, it may burst. Thaw it first")
    if found.beyond:
        result.append(_OUTSIDE[found.beyond])
    elif found.share < 0.75:
        result.append("Charge it before you judge any volts on the vehicle")
    return tuple(result)


def _signed(number: float, digits: int) -> str:
    return f"{'-' if number < 0 else '+'} {abs(number):.{digits}f}"
