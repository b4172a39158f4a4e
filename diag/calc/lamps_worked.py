"""Lamp and flasher unit as worked answers. Knows formulas and words, not the command line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from diag.calc.answer import Answer
from diag.calc.filament import LAWS_HOLD, LIFE_POWER, LIGHT_POWER, burning
from diag.calc.flash import LEGAL_RATE
from diag.calc.turnlamps import Flashes, flashes, lamps_a
from diag.knowledge.units import written
from diag.texts import t

__all__ = ["flasher_answer", "lamp_answer"]

_LAWS = t("Power laws of filaments: Fink & Beaty, Standard Handbook for Electrical Engineers. Test volts: UN R37.")
_DOES = {
    "idle": t("does not work: volts too low"),
    "steady": t("lights and stays lit"),
    "slow": t("flashes slowly"),
    "flashing": t("flashes as it should"),
    "fast": t("flashes fast"),
}


def lamp_answer(volts: float, test_w: float, test_v: float, cap_w: float) -> Answer:
    """A filament at other volts than its own; `cap_w` is what stands on the lamp. Raises ValueError at zeros."""
    found = burning(volts, test_w, test_v)
    low, high = LAWS_HOLD
    notes = [
        t(
            "A cold filament reads about {cold_ohm} on a meter, a twelfth of its hot resistance: judge a "
            "lamp by its current, not by ohms.",
            cold_ohm=written(found.cold_ohm, "ohm"),
        )
    ]
    result = [
        f"{written(found.amps, 'A')}, {written(found.watts, 'W')}",
        t("Light {number} % of that at {test_v}", number=written(100 * found.light, ""), test_v=written(test_v, "V")),
    ]
    if found.laws_hold:
        result.append(t("Life {number} %", number=written(100 * found.life, "")))
    else:
        notes.insert(
            0,
            f"Light and life hold between {low:g} and {high:g} of the test volts only; "
            + (t("at these volts the lamp is far over its own and soon burns out.") if found.ratio > 1 else
               t("so far below, take the light as a rough guide: it fades to nothing.")),
        )  # fmt: skip
    return Answer(
        tuple(result),
        (
            (
                "lamp",
                t(
                    "{cap_w}, which is {test_w} at {test_v}",
                    cap_w=written(cap_w, "W"),
                    test_w=written(test_w, "W"),
                    test_v=written(test_v, "V"),
                ),
            ),
            (t("volts"), written(volts, "V")),
        ),
        t(
            "current goes with the 0.55th power of the volts, light with the {light_power:g}th, life "
            "with the {life_power:g}th",
            light_power=LIGHT_POWER,
            life_power=LIFE_POWER,
        ),
        t(
            "k = V/Vt; I = (Pt/Vt) · k^0.55; P = V · I; light k^{light_power:g}; life k^{life_power:g}",
            light_power=LIGHT_POWER,
            life_power=LIFE_POWER,
        ),
        t(
            "k = {ratio:.3f}; I = {number} × {number_2:.3f}; P = {volts} × {amps}",
            ratio=found.ratio,
            number=written(test_w / test_v, "A"),
            number_2=found.amps * test_v / test_w,
            volts=written(volts, "V"),
            amps=written(found.amps, "A"),
        ),
        (_LAWS,),
        tuple(notes),
        (t("A lit lamp is hot enough to burn: let it cool, hold it with a cloth."),),
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
        result.append(t("{technique} unit: {told}", technique=technique.capitalize(), told=_told(whole)))
        if without:
            out = flashes(without, rated_w, volts, system_v, thermal=technique == "thermal")
            result.append(t("  with one {caps_w} lamp out: {told}", caps_w=written(max(caps_w), "W"), told=_told(out)))
    amps, rated_a = lamps_a(caps_w, volts, system_v), rated_w / system_v
    result.insert(
        0,
        t(
            "Lamps {amps}, {number} % of what the unit is made for",
            amps=written(amps, "A"),
            number=written(100 * amps / rated_a, ""),
        ),
    )
    counted = ", ".join(
        t("{count} x {watts}", count=count, watts=written(watts, "W")) for watts, count in Counter(caps_w).items()
    )
    return Answer(
        tuple(result),
        (
            (t("lamps"), counted),
            (
                t("made for"),
                t(
                    "{rated_w}: {rated_a} at {system_v} V",
                    rated_w=written(rated_w, "W"),
                    rated_a=written(rated_a, "A"),
                    system_v=system_v,
                ),
            ),
            (t("volts at 49"), written(volts, "V")),
        ),
        t(
            "load = amps of the lamps at those volts ÷ amps the unit is made for; a thermal unit's rate "
            "goes with load and volts, an electronic one keeps its rate and doubles it with a lamp out"
        ),
        t("thermal: n = 85/min · load^1.2 · (U/12.8 V)^1.5; electronic: 85/min, twice that below 80 % of the load"),
        t(
            "load = {amps} ÷ {rated_a} = {number:.2f}",
            amps=written(amps, "A"),
            rated_a=written(rated_a, "A"),
            number=amps / rated_a,
        ),
        (
            t(
                "Rates: common practice, no source; {legal_rate:g} to {legal_rate_2:g} a minute is the "
                "law's span (UN R48, 6.5).",
                legal_rate=LEGAL_RATE[0],
                legal_rate_2=LEGAL_RATE[1],
            ),
            _LAWS,
        ),
        (
            t("Count every lamp on the unit's 49a: repeaters and a trailer too; a tell-tale across L and R as well."),
            t("A variable-load unit keeps its rate with a lamp out and gives no sign of it."),
        ),
    )


def _told(found: Flashes) -> str:
    rate = t(", about {rate:.0f} a minute", rate=found.rate) if found.rate else ""
    doubt = "" if found.chance > 0.8 else t(" (on the edge: {number:.0f} in 100 units)", number=100 * found.chance)
    return f"{_DOES[found.state]}{rate}{doubt}"
