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
from diag.texts import t

__all__ = ["charge_answer", "standing_answer"]

_TABLE = t("State of charge: published rest-volt and hydrometer table, liquid acid, rested 4 to 6 hours.")
_GAS = t(
    "A battery that was charging gives off hydrogen, explosive in air from about 4 per cent: no "
    "flame, no smoking, nothing made or broken at its posts. Acid burns skin and eyes: goggles, "
    "gloves, water at hand."
)
_OUTSIDE = {
    "above": t("! Above the table: not rested, or a charger is on. Lamps on for two minutes, off, wait, read again"),
    "below": t("! Below the table: flat beyond what is good for it, or a cell is dead (a cell is 2 V)"),
}


def charge_answer(volts: float | None, gravity: float | None, system_v: int, temperature_c: float) -> Answer:
    """State of charge from rest volts or, where given, from the hydrometer. Raises ValueError at zeros."""
    if gravity is not None:
        found = charge_from_gravity(gravity, temperature_c)
        read = (t("hydrometer"), f"{gravity:.3f}")
        words = t("hydrometer reading taken to 26.7 °C, then straight lines between the points of the table")
        symbols = t("s = s_read + 0.004 · (T - {reference_c} °C) / 5.56 K", reference_c=REFERENCE_C)
        worked = f"s = {gravity:.3f} {_signed(found.at_reference - gravity, 4)} = {found.at_reference:.3f}"
    else:
        assert volts is not None
        found = charge_from_volts(volts, system_v, temperature_c)
        read = (
            t("rest volts"),
            t(
                "{volts} ({system_v} V, {cells} cells)",
                volts=written(volts, "V"),
                system_v=system_v,
                cells=CELLS[system_v],
            ),
        )
        words = t("volts taken to six cells at 26.7 °C, then straight lines between the points of the table")
        symbols = t("U = U_read · 6/n - 1.2 mV/K · (T - {reference_c} °C)", reference_c=REFERENCE_C)
        six = volts * 6 / CELLS[system_v]
        worked = t(
            "U = {six:.3f} V {signed} V = {at_reference:.3f} V",
            six=six,
            signed=_signed(found.at_reference - six, 3),
            at_reference=found.at_reference,
        )
    return Answer(
        _told(found, temperature_c),
        (read, (t("battery at"), written(temperature_c, "degC"))),
        words,
        symbols,
        worked,
        (_TABLE, t("Freezing: of the published figures the warmer. 1.2 mV/K: from memory.")),
        (
            t("Honest to about a tenth of the charge; other published tables differ by 0.1 V."),
            t("Volts at rest do not show a tired battery: load it (cranking, or lamps) and read again."),
        ),
        (_GAS,),
    )


def standing_answer(
    key_off_a: float, capacity_ah: float, charge: float, starts_from: float, read: str | None = None
) -> Answer:
    """Days of standing. `charge` and `starts_from` as shares; `read`: how the charge was found."""
    days = days_of_standing(key_off_a, capacity_ah, charge, starts_from)
    if math.isinf(days):
        result = [t("No key-off current: stands until its own loss has emptied it, some months")]
    elif days == 0:
        result = [t("! It may not start now: charge it first")]
    elif days < 2:
        result = [t("Stands {number}, then it may not start", number=written(days * 24, "h"))]
    else:
        result = [t("Stands {days} days, then it may not start", days=written(days, ""))]
    usable = max(0.0, charge - starts_from) * capacity_ah
    notes = [
        t(
            "A battery loses 0.1 to 1 % a day of its own (common practice, no source), more when old or "
            "warm: the true figure is lower."
        )
    ]
    if key_off_a > 0.005:
        notes.append(
            t(
                "An older vehicle with no clock or radio draws next to nothing with the key off: more "
                "than 5 mA needs a reason; more than 35 to 50 mA is too much for any."
            )
        )
    return Answer(
        tuple(result),
        (
            (t("key-off current"), written(key_off_a, "A")),
            (t("capacity"), written(capacity_ah, "Ah")),
            (t("charge now"), f"{written(100 * charge, '')} %{f' ({read})' if read else ''}"),
            (t("starts from"), f"{written(100 * starts_from, '')} %"),
        ),
        t("days = (charge now - charge it starts from) × capacity ÷ key-off current ÷ 24 h"),
        "t = (c - c0) · C / I / 24",
        t("{usable} ÷ {key_off_a} ÷ 24 h", usable=written(usable, "Ah"), key_off_a=written(key_off_a, "A"))
        + (" = " + t("{days} days", days=written(days, "")) if math.isfinite(days) else ""),
        (
            t(
                "Arithmetic. Half its charge to start with: common practice, no source; key-off limits: "
                "a trade training module (35 mA), common practice (50 mA)."
            ),
        ),
        tuple(notes),
    )


def _told(found: Charge, temperature_c: float) -> tuple[str, ...]:
    result = [
        t("State of charge {number} %", number=written(100 * found.share, "")),
        t("Its acid freezes at {freezes_c:.0f} °C", freezes_c=found.freezes_c),
    ]
    if temperature_c <= found.freezes_c:
        result.append(t("! At this temperature it is frozen: do not charge or jump it, it may burst. Thaw it first"))
    if found.beyond:
        result.append(_OUTSIDE[found.beyond])
    elif found.share < 0.75:
        result.append(t("Charge it before you judge any volts on the vehicle"))
    return tuple(result)


def _signed(number: float, digits: int) -> str:
    return f"{'-' if number < 0 else '+'} {abs(number):.{digits}f}"
