"""Drop, section and fuse as worked answers. Knows formulas and words, not the command line."""

from __future__ import annotations

from diag.calc.answer import Answer
from diag.calc.copper import (
    CONDUCTOR_K,
    continuous_a,
    copper_factor,
    drop_share,
    drop_v,
    min_section_for,
    section_for_drop,
    wire_ohm,
)
from diag.calc.fusing import BLOW_MARKS, LOADED_TO, fuse_holds_wire, max_fuse_for_section, min_fuse_for_load
from diag.knowledge.units import written

__all__ = ["drop_answer", "fuse_answer", "section_answer"]

_COPPER = "Resistance: IEC 60228 class 5 plain copper, maximum at 20 °C; with temperature IEC 60028."
_CARRIES = "Current for good: 10 A/mm² to 4 mm², 6 to 16 mm², 4 to 50 mm² (a trade journal's table; common practice)."
_LIMITS = (
    "Limits for 12 V, feed line alone: lamp above 15 W 0.5 V, headlamp 0.3 V, lamp below 15 W 0.1 V, horn or relay "
    "0.5 V, dynamo to battery 0.4 V, starter cable 0.5 V (automotive handbook's table). For 6 V take half."
)
_ONE_WAY = "Length is that of all the wire the current goes through; a body return adds its joints, a wire its length."
_SIZES = "Ratings that exist: blade ISO 8820-3; torpedo DIN 72581 (from memory); glass: common practice, no source."
_HEAT = "In a thick or hot bundle allow half that current (5 A/mm²; common practice, no source)."
_NO_BIGGER = "Never fit a larger fuse or a wire bridge where one blows: the wire would burn in its stead. Find why."


def section_name(section_mm2: float) -> str:
    """A section as it is written."""
    return written(section_mm2, "mm2")


def drop_answer(section_mm2: float, length_m: float, current_a: float, system_v: int, temperature_c: float) -> Answer:
    """Volts lost in a wire. Raises ValueError for a section or length of zero or less."""
    lost = drop_v(section_mm2, length_m, current_a, temperature_c)
    share = drop_share(section_mm2, length_m, current_a, system_v, temperature_c)
    result = [f"Drop {written(lost, 'V')}, {written(100 * share, '')} % of {system_v} V"]
    if lost > system_v:
        result = [f"That current cannot flow: it would lose {written(lost, 'V')} of {system_v} V in the wire"]
    carries = continuous_a(section_mm2)
    if current_a > carries * (1 + 1e-9):
        result.append(
            f"! {section_name(section_mm2)} carries {written(carries, 'A')} for good: too thin for this current"
        )
    warm = copper_factor(temperature_c)
    per_metre = wire_ohm(section_mm2, 1.0)
    return Answer(
        tuple(result),
        (
            ("section", section_name(section_mm2)),
            ("length", written(length_m, "m")),
            ("current", written(current_a, "A")),
            ("copper at", written(temperature_c, "degC")),
        ),
        "drop = current × resistance of a metre × metres × warmth",
        f"U = I · r20 · l · (1 + {CONDUCTOR_K} · (T - 20 °C))",
        f"{written(lost, 'V')} = {written(current_a, 'A')} × {written(per_metre, 'ohm')}/m × {written(length_m, 'm')}"
        f" × {warm:.3f}",
        (_COPPER, _CARRIES),
        (_ONE_WAY, _LIMITS),
    )


def section_answer(limit_v: float, length_m: float, current_a: float, system_v: int, temperature_c: float) -> Answer:
    """The section for a limit of drop. Raises ValueError for zeros, DiagError where none is thick enough."""
    by_drop = section_for_drop(limit_v, length_m, current_a, temperature_c)
    by_current = min_section_for(current_a)
    chosen = max(by_drop, by_current)
    exact = wire_ohm(1.0, length_m, temperature_c) * current_a / limit_v
    lost = drop_v(chosen, length_m, current_a, temperature_c)
    result = [
        f"Section {section_name(chosen)}: drop {written(lost, 'V')} "
        f"({written(100 * lost / system_v, '')} % of {system_v} V)"
    ]
    carries = f"carries {written(continuous_a(by_drop), 'A')} for good"
    if by_drop >= by_current:
        result.append(f"It {carries}: enough for {written(current_a, 'A')}")
    else:
        result.append(
            f"! For the drop alone {section_name(by_drop)} would do, but it {carries}: too little for "
            f"{written(current_a, 'A')}"
        )
    return Answer(
        tuple(result),
        (
            ("drop limit", f"{written(limit_v, 'V')} of {system_v} V"),
            ("length", written(length_m, "m")),
            ("current", written(current_a, "A")),
            ("copper at", written(temperature_c, "degC")),
        ),
        "section = current × resistance of a metre of 1 mm² × metres × warmth ÷ drop; then the next that exists",
        f"A = I · r20 · l · (1 + {CONDUCTOR_K} · (T - 20 °C)) / U",
        f"{written(exact, 'mm2')} = {written(current_a, 'A')} × {written(wire_ohm(1.0, 1.0), 'ohm')}·mm²/m × "
        f"{written(length_m, 'm')} × {copper_factor(temperature_c):.3f} ÷ {written(limit_v, 'V')}; next "
        f"{section_name(by_drop)} by its own resistance",
        (_COPPER, _CARRIES),
        (_ONE_WAY, _LIMITS, _HEAT),
    )


def fuse_answer(section_mm2: float | None, load_a: float | None, link: str) -> Answer:
    """The largest fuse for a wire, the smallest for a load, or whether one serves both; at least one is given.

    Raises DiagError where no rating fits.
    """
    largest = None if section_mm2 is None else max_fuse_for_section(section_mm2, link)
    smallest = None if load_a is None else min_fuse_for_load(load_a, link)
    result, put_in, words, symbols, worked = [], [("class", link)], [], [], []
    if section_mm2 is not None and largest is not None:
        held = fuse_holds_wire(section_mm2, largest, link)
        result.append(f"Largest {link} fuse for {section_name(section_mm2)}: {largest:g} A")
        put_in.append(("section", section_name(section_mm2)))
        words.append("largest: rating no more than the wire carries for good, and open before the wire melts")
        symbols.append("In <= j · A, and I(30 s) < 80 · d^1.5")
        worked.append(
            f"{largest:g} A <= {written(held.carries_a, 'A')}; opens from {written(held.opens_a, 'A')}, wire melts at "
            f"{written(held.burns_a, 'A')}"
        )
    if load_a is not None and smallest is not None:
        result.append(f"Smallest {link} fuse for {written(load_a, 'A')}: {smallest:g} A")
        put_in.append(("load", written(load_a, "A")))
        words.append(f"smallest: loaded to {100 * LOADED_TO:.0f} % of its rating at most")
        symbols.append(f"In >= I / {LOADED_TO}")
        worked.append(f"{written(load_a / LOADED_TO, 'A')} = {written(load_a, 'A')} / {LOADED_TO}; next {smallest:g} A")
    if largest is not None and smallest is not None:
        fits = smallest <= largest
        span = f"{smallest:g} A" if smallest == largest else f"{smallest:g} to {largest:g} A"
        result.insert(
            0,
            f"Fuse: {span}" if fits else "! No fuse carries this load and holds this wire: lay a thicker wire",
        )
    notes = [_HEAT]
    if link == "glass":
        carried = max((amps for amps in BLOW_MARKS if largest is None or amps <= largest), default=None)
        example = "" if carried is None else f" What carries {carried:g} A is marked {BLOW_MARKS[carried]:g}."
        notes.append(
            "Older glass and ceramic fuses of about 29 mm are marked with the current at which they blow, twice "
            f"what they carry.{example}"
        )
    return Answer(
        tuple(result),
        tuple(put_in),
        "; ".join(words),
        "; ".join(symbols),
        "; ".join(worked),
        (
            _CARRIES,
            "Melting of the wire: Preece's law (bare copper in free air, d in mm); of the fuse: ISO 8820-3, UL 248-14.",
            _SIZES,
        ),
        tuple(notes),
        (_NO_BIGGER,),
    )
