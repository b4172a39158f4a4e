"""What a work needs, as it is bought: how many, which part, what is stamped on it, what its ends are.

Reads the remedy's words and the vehicle's parts and wires; names no maker. Knows nothing of jobs or layout.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.knowledge.ends import EndsFile
from diag.reason.remedies import marking_of
from diag.texts import before_field, t

__all__ = ["Needed", "needed_for"]

_AS_NEEDED = t("as needed")
_CRIMPS, _WIRE = t("crimp terminals to fit"), t("wire")
"""As rules/kinds.yaml words what remedies need."""


@dataclass(frozen=True)
class Needed:
    """A line of a parts list. `quantity` with its unit where that is not pieces; `part`; `rating`: amps, watts, volts,
    ohms, section and colour; `ends`: fittings of a wire or of the wires on a part. What is not known is empty."""

    quantity: str
    part: str
    rating: str = ""
    ends: str = ""


def needed_for(
    knowledge: Knowledge, ends: EndsFile, subjects: Sequence[str], parts: Sequence[str]
) -> tuple[Needed, ...]:
    """The lines of one remedy. `subjects`: ids of the parts and wires that it works on; `parts`: what the remedy names,
    in its own words, which stand where nothing more is known."""
    lines = (line for text in parts for line in _lines(knowledge, ends, subjects, text))
    if _CRIMPS not in parts:
        return tuple(lines)
    return tuple(replace(line, ends="") if line.part == _WIRE else line for line in lines)  # the crimps tell them


def _lines(knowledge: Knowledge, ends: EndsFile, subjects: Sequence[str], text: str) -> Iterator[Needed]:
    wires = [name for name in subjects if name in knowledge.wires]
    own = [name for name in subjects if name in knowledge.parts]
    if (
        text.startswith(
            (
                before_field(
                    t(
                        "wire {section_mm2:g} mm², {colour}, {length_m:.2g} m at most",
                        section_mm2=0,
                        colour="",
                        length_m=0,
                    ),
                    "0",
                ),
                t("wire of the same section and colour"),
            )
        )
        and wires
    ):
        maybe = t(", if it has to be renewed") if "if it has to be renewed" in text else ""
        for name in wires:
            wire = knowledge.wires[name]
            rating = f"{wire.section_mm2:g} mm², {wire.colour}"
            yield Needed(
                t("{length_m:.2g} m at most{maybe}", length_m=wire.length_m, maybe=maybe),
                _WIRE,
                rating,
                _wire_ends(knowledge, ends, wire),
            )
    elif text == _CRIMPS and wires:
        for name in wires:
            wire = knowledge.wires[name]
            yield Needed(
                "2",
                t("crimp terminals"),
                t("for {section_mm2:g} mm²", section_mm2=wire.section_mm2),
                _wire_ends(knowledge, ends, wire),
            )
    elif text.startswith(("fuse, ", "lamp, ")) and own:
        for name in own:
            yield _piece(knowledge, ends, name, text.partition(",")[0])
    elif text.endswith(", of the same marking") and len(own) == 1:
        yield _piece(knowledge, ends, own[0], "")
    else:
        yield Needed(_AS_NEEDED, text)


def _piece(knowledge: Knowledge, ends: EndsFile, name: str, word: str) -> Needed:
    part, volts = knowledge.parts[name], f"{knowledge.vehicle.system_v:g} V"
    match part:
        case schema.FusePart(link=link):
            return Needed("1", f"{link} {word or t('fuse')}", marking_of(knowledge, name))
        case schema.LampPart() | schema.TwoFilamentPart():
            return Needed(
                "1", word or part.title, f"{marking_of(knowledge, name)}, {volts}", t("cap as on the old one")
            )
        case schema.ResistorPart(ohm=ohm):
            rating = f"{ohm:g} ohm, {volts}"
        case _:
            rating = t("{volts}, marked as the old one", volts=volts)
    fittings = (_end(knowledge, ends, f"{name}.{terminal}") for terminal in terminals_of(part))
    return Needed("1", part.title, rating, "; ".join(dict.fromkeys(one for one in fittings if one)))


def _end(knowledge: Knowledge, ends: EndsFile, end: str) -> str:
    """What the thickest wire on a terminal ends in, after the terminal's name; empty where no wire is on it."""
    sections = [wire.section_mm2 for wire in knowledge.wires.values() if end in (wire.from_, wire.to)]
    part, _, terminal = end.partition(".")
    return f"{terminal}: {ends.fitting(knowledge.parts[part].kind, part, terminal, max(sections))}" if sections else ""


def _wire_ends(knowledge: Knowledge, ends: EndsFile, wire: schema.Wire) -> str:
    fittings = []
    for end in (wire.from_, wire.to):
        part, _, terminal = end.partition(".")
        fittings.append(ends.fitting(knowledge.parts[part].kind, part, terminal, wire.section_mm2))
    return (
        t("both ends {fittings}", fittings=fittings[0])
        if fittings[0] == fittings[1]
        else t("one end {fittings}; other end {fittings_2}", fittings=fittings[0], fittings_2=fittings[1])
    )
