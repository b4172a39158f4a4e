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
from diag.texts import t

__all__ = ["drop_answer", "fuse_answer", "section_answer"]

_COPPER = t("Resistance: IEC 60228 class 5 plain copper, maximum at 20 °C; with temperature IEC 60028.")
_CARRIES = t(
    "Current for good: 10 A/mm² to 4 mm², 6 to 16 mm², 4 to 50 mm² (a trade journal's table; common practice)."
)
_LIMITS = t(
    "Limits for 12 V, feed line alone: lamp above 15 W 0.5 V, headlamp 0.3 V, lamp below 15 W 0.1 V, "
    "horn or relay 0.5 V, dynamo to battery 0.4 V, starter cable 0.5 V (automotive handbook's "
    "table). For 6 V take half."
)
_ONE_WAY = t(
    "Length is that of all the wire the current goes through; a body return adds its joints, a wire its length."
)
_SIZES = t("Ratings that exist: blade ISO 8820-3; torpedo DIN 72581 (from memory); glass: common practice, no source.")
_HEAT = t("In a thick or hot bundle allow half that current (5 A/mm²; common practice, no source).")
_NO_BIGGER = t("Never fit a larger fuse or a wire bridge where one blows: the wire would burn in its stead. Find why.")


def section_name(section_mm2: float) -> str:
    """A section as it is written."""
    return written(section_mm2, "mm2")


def drop_answer(section_mm2: float, length_m: float, current_a: float, system_v: int, temperature_c: float) -> Answer:
    """Volts lost in a wire. Raises ValueError for a section or length of zero or less."""
    lost = drop_v(section_mm2, length_m, current_a, temperature_c)
    share = drop_share(section_mm2, length_m, current_a, system_v, temperature_c)
    result = [
        t(
            "Drop {lost}, {number} % of {system_v} V",
            lost=written(lost, "V"),
            number=written(100 * share, ""),
            system_v=system_v,
        )
    ]
    if lost > system_v:
        result = [
            t(
                "That current cannot flow: it would lose {lost} of {system_v} V in the wire",
                lost=written(lost, "V"),
                system_v=system_v,
            )
        ]
    carries = continuous_a(section_mm2)
    if current_a > carries * (1 + 1e-9):
        result.append(
            t(
                "! {section_mm2} carries {carries} for good: too thin for this current",
                section_mm2=section_name(section_mm2),
                carries=written(carries, "A"),
            )
        )
    warm = copper_factor(temperature_c)
    per_metre = wire_ohm(section_mm2, 1.0)
    return Answer(
        tuple(result),
        (
            (t("section"), section_name(section_mm2)),
            (t("length"), written(length_m, "m")),
            (t("current"), written(current_a, "A")),
            (t("copper at"), written(temperature_c, "degC")),
        ),
        t("drop = current × resistance of a metre × metres × warmth"),
        t("U = I · r20 · l · (1 + {conductor_k} · (T - 20 °C))", conductor_k=CONDUCTOR_K),
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
        t(
            "Section {chosen}: drop {lost} ({number} % of {system_v} V)",
            chosen=section_name(chosen),
            lost=written(lost, "V"),
            number=written(100 * lost / system_v, ""),
            system_v=system_v,
        )
    ]
    carries = t("carries {continuous_a} for good", continuous_a=written(continuous_a(by_drop), "A"))
    if by_drop >= by_current:
        result.append(t("It {carries}: enough for {current_a}", carries=carries, current_a=written(current_a, "A")))
    else:
        result.append(
            t(
                "! For the drop alone {by_drop} would do, but it {carries}: too little for {current_a}",
                by_drop=section_name(by_drop),
                carries=carries,
                current_a=written(current_a, "A"),
            )
        )
    return Answer(
        tuple(result),
        (
            (t("drop limit"), t("{limit_v} of {system_v} V", limit_v=written(limit_v, "V"), system_v=system_v)),
            (t("length"), written(length_m, "m")),
            (t("current"), written(current_a, "A")),
            (t("copper at"), written(temperature_c, "degC")),
        ),
        t("section = current × resistance of a metre of 1 mm² × metres × warmth ÷ drop; then the next that exists"),
        t("A = I · r20 · l · (1 + {conductor_k} · (T - 20 °C)) / U", conductor_k=CONDUCTOR_K),
        t(
            "{exact} = {current_a} × {wire_ohm}·mm²/m × {length_m} × {copper_factor:.3f} ÷ {limit_v}; "
            "next {by_drop} by its own resistance",
            exact=written(exact, "mm2"),
            current_a=written(current_a, "A"),
            wire_ohm=written(wire_ohm(1.0, 1.0), "ohm"),
            length_m=written(length_m, "m"),
            copper_factor=copper_factor(temperature_c),
            limit_v=written(limit_v, "V"),
            by_drop=section_name(by_drop),
        ),
        (_COPPER, _CARRIES),
        (_ONE_WAY, _LIMITS, _HEAT),
    )


def fuse_answer(section_mm2: float | None, load_a: float | None, link: str) -> Answer:
    """The largest fuse for a wire, the smallest for a load, or whether one serves both; at least one is given.

    Raises DiagError where no rating fits.
    """
    largest = None if section_mm2 is None else max_fuse_for_section(section_mm2, link)
    smallest = None if load_a is None else min_fuse_for_load(load_a, link)
    result, put_in, words, symbols, worked = [], [(t("class"), link)], [], [], []
    if section_mm2 is not None and largest is not None:
        held = fuse_holds_wire(section_mm2, largest, link)
        result.append(
            t(
                "Largest {link} fuse for {section_mm2}: {largest:g} A",
                link=link,
                section_mm2=section_name(section_mm2),
                largest=largest,
            )
        )
        put_in.append((t("section"), section_name(section_mm2)))
        words.append(t("largest: rating no more than the wire carries for good, and open before the wire melts"))
        symbols.append(t("In <= j · A, and I(30 s) < 80 · d^1.5"))
        worked.append(
            t(
                "{largest:g} A <= {carries_a}; opens from {opens_a}, wire melts at {burns_a}",
                largest=largest,
                carries_a=written(held.carries_a, "A"),
                opens_a=written(held.opens_a, "A"),
                burns_a=written(held.burns_a, "A"),
            )
        )
    if load_a is not None and smallest is not None:
        result.append(
            t(
                "Smallest {link} fuse for {load_a}: {smallest:g} A",
                link=link,
                load_a=written(load_a, "A"),
                smallest=smallest,
            )
        )
        put_in.append((t("load"), written(load_a, "A")))
        words.append(t("smallest: loaded to {number:.0f} % of its rating at most", number=100 * LOADED_TO))
        symbols.append(t("In >= I / {loaded_to}", loaded_to=LOADED_TO))
        worked.append(
            t(
                "{number} = {load_a} / {loaded_to}; next {smallest:g} A",
                number=written(load_a / LOADED_TO, "A"),
                load_a=written(load_a, "A"),
                loaded_to=LOADED_TO,
                smallest=smallest,
            )
        )
    if largest is not None and smallest is not None:
        fits = smallest <= largest
        span = (
            f"{smallest:g} A"
            if smallest == largest
            else t("{smallest:g} to {largest:g} A", smallest=smallest, largest=largest)
        )
        result.insert(
            0,
            t("Fuse: {span}", span=span)
            if fits
            else t("! No fuse carries this load and holds this wire: lay a thicker wire"),
        )
    notes = [_HEAT]
    if link == "glass":
        carried = max((amps for amps in BLOW_MARKS if largest is None or amps <= largest), default=None)
        example = (
            ""
            if carried is None
            else t(
                " What carries {carried:g} A is marked {blow_marks:g}.", carried=carried, blow_marks=BLOW_MARKS[carried]
            )
        )
        notes.append(
            t(
                "Older glass and ceramic fuses of about 29 mm are marked with the current at which they "
                "blow, twice what they carry.{example}",
                example=example,
            )
        )
    return Answer(
        tuple(result),
        tuple(put_in),
        "; ".join(words),
        "; ".join(symbols),
        "; ".join(worked),
        (
            _CARRIES,
            t(
                "Melting of the wire: Preece's law (bare copper in free air, d in mm); of the fuse: ISO "
                "8820-3, UL 248-14."
            ),
            _SIZES,
        ),
        tuple(notes),
        (_NO_BIGGER,),
    )
