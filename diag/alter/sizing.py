"""Sections and fuses of what is new, from the currents that the solved vehicle has there. Knows no recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.alter.computed import Computed
from diag.calc.copper import min_section_for, next_section, section_for_drop
from diag.calc.fusing import fuse_holds_wire, min_fuse_for_load
from diag.knowledge.schema import FusePart

__all__ = ["sized"]

_IDLE_A = 0.1
"""A wire is laid for so much at least."""
_THINNEST_MM2 = 0.75
"""Thinner wire breaks where a hand pulls at it (common practice, no source)."""


def sized(
    solved: Computed,
    wires: Sequence[str],
    guards: Mapping[str, Sequence[str]],
    most_lost_v: float,
    carries: Mapping[str, float],
    laid: Mapping[str, float],
) -> tuple[dict[str, float], dict[str, float]]:
    """Sections in mm² by wire, and ratings in A by fuse.

    A wire loses no more than `most_lost_v`, carries its current for good, and is held by the fuse before it; a
    fuse is the smallest of its class that carries its current. `carries`: amps that one of them must bear at least;
    `laid`: sections of wires that are there already, which do not become thinner. Raises DiagError where nothing
    that exists will do.
    """

    def borne(name: str) -> float:
        return max(solved.most_amps(name), carries.get(name, 0.0), _IDLE_A)

    amps = {wire: borne(wire) for wire in wires}
    known = solved.knowledge
    sections = {
        wire: max(
            laid.get(wire, _THINNEST_MM2),
            min_section_for(amps[wire]),
            section_for_drop(most_lost_v, known.wires[wire].length_m, amps[wire], known.vehicle.ambient_c),
        )
        for wire in wires
    }
    ratings: dict[str, float] = {}
    for fuse, behind in guards.items():
        part = known.parts[fuse]
        assert isinstance(part, FusePart)
        ratings[fuse] = min_fuse_for_load(borne(fuse), part.link)
        for wire in behind:
            while wire in sections and not fuse_holds_wire(sections[wire], ratings[fuse], part.link).within:
                sections[wire] = next_section(sections[wire] * 1.01)
    return sections, ratings
