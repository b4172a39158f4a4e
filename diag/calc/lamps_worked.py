"""Lamp and flasher unit as worked answers. Knows formulas and words, not the command line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from diag.calc.answer import Answer
from diag.calc.filament import LAWS_HOLD, LIFE_POWER, LIGHT_POWER, burning
from diag.calc.flash import LEGAL_RATE
from diag.calc.turnlamps import Flashes, flashes, lamps_a
from diag.knowledge.units import written

__all__ = ["flasher_answer", "lamp_answer"]

_LAWS = "Power laws of filaments: Fink & Beaty, Standard Handbook for Electrical Engineers. Test volts: UN R37."
_DOES = {
    "idle": "does not work: volts too low",
    "steady": "lights and stays lit",
    "slow": "flashes slowly",
    "flashing": "flashes as it should",
    "fast": "flashes fast",
}


def lamp_answer(volts: float, test_w: float, test_v: float, cap_w: float) -> Answer:
    """A filament at other volts than its own; `cap_w` is what stands on the lamp. Raises ValueError at zeros."""
    found = burning(volts, test_w, test_v)
    low, high = LAWS_HOLD
    notes = [
        f"A cold filament reads about {written(found.cold_ohm, 'ohm')} on a meter, a twelfth of its hot resistance: "
        "judge a lamp by its current, not by ohms."
    ]
    result = [
        f"{written(found.amps, 'A')}, {written(found.watts, 'W')}",
        f"Light {written(100 * found.light, '')} % of that at {written(test_v, 'V')}",
    ]
    if found.laws_hold:
        result.append(f"Life {written(100 * found.life, '')} %")
    else:
        notes.insert(
            0,
            f"Light and life hold between {low:g} and {high:g} of the test volts only; "
            + ("at these volts the lamp is far over its own and soon burns out." if found.ratio > 1 else
               "so far below, take the light as a rough guide: it fades to nothing."),
        )  # fmt: skip
    return Answer(
        tuple(result),
        (
            ("lamp", f"{written(cap_w, 'W')}, which is {written(test_w, 'W')} at {written(test_v, 'V')}"),
            ("volts", written(volts, "V")),
        ),
        "current goes with the 0.55th power of the volts, light with the "
        f"{LIGHT_POWER:g}th, life with the {LIFE_POWER:g}th",
        f"k = V/Vt; I = (Pt/Vt) · k^0.55; P = V · I; light k^{LIGHT_POWER:g}; life k^{LIFE_POWER:g}",
        f"k = {found.ratio:.3f}; I = {written(test_w / test_v, 'A')} × {found.amps * test_v / test_w:.3f}; "
        f"P = {written(volts, 'V')} × {written(found.amps, 'A')}",
        (_LAWS,),
        tuple(notes),
        ("A lit lamp is hot enough to burn: let it cool, hold it with a cloth.",),
    )


def flasher_answer(
    caps_w: Sequence[float],
    rated_w: float,
    volts: float,
    system_v: int,
    techniques: Sequence[str] = ("thermal", "electronic"),
) -> Answer:
    """What a unit does with these lamps, and with the largest of them out. Raises ValueError at zeros."""
    without = sorted(caps_w)[:-1]
    result = []
    for technique in techniques:
        whole = flashes(caps_w, rated_w, volts, system_v, thermal=technique == "thermal")
        result.append(f"{technique.capitalize()} unit: {_told(whole)}")
        if without:
            out = flashes(without, rated_w, volts, system_v, thermal=technique == "thermal")
            result.append(f"  with one {written(max(caps_w), 'W')} lamp out: {_told(out)}")
    amps, rated_a = lamps_a(caps_w, volts, system_v), rated_w / system_v
    result.insert(0, f"Lamps {written(amps, 'A')}, {written(100 * amps / rated_a, '')} % of what the unit is made for")
    counted = ", ".join(f"{count} x {written(watts, 'W')}" for watts, count in Counter(caps_w).items())
    return Answer(
        tuple(result),
        (
            ("lamps", counted),
            ("made for", f"{written(rated_w, 'W')}: {written(rated_a, 'A')} at {system_v} V"),
            ("volts at 49", written(volts, "V")),
        ),
        "load = amps of the lamps at those volts ÷ amps the unit is made for; a thermal unit's rate goes with load "
        "and volts, an electronic one keeps its rate and doubles it with a lamp out",
        "thermal: n = 85/min · load^1.2 · (U/12.8 V)^1.5; electronic: 85/min, twice that below 80 % of the load",
        f"load = {written(amps, 'A')} ÷ {written(rated_a, 'A')} = {amps / rated_a:.2f}",
        (
            f"Rates: common practice, no source; {LEGAL_RATE[0]:g} to {LEGAL_RATE[1]:g} a minute is the law's span "
            "(UN R48, 6.5).",
            _LAWS,
        ),
        (
            "Count every lamp on the unit's 49a: repeaters and a trailer too; a tell-tale across L and R as well.",
            "A variable-load unit keeps its rate with a lamp out and gives no sign of it.",
        ),
    )


def _told(found: Flashes) -> str:
    rate = f", about {found.rate:.0f} a minute" if found.rate else ""
    doubt = "" if found.chance > 0.8 else f" (on the edge: {100 * found.chance:.0f} in 100 units)"
    return f"{_DOES[found.state]}{rate}{doubt}"
