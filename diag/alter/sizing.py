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
    solved: Computed, wires: Sequence[str], guards: Mapping[str, Sequence[str]], most_lost_v: float
) -> tuple[dict[str, float], dict[str, float]]:
    """Sections in mm² by wire, and ratings in A by fuse.

    A wire loses no more than `most_lost_v`, carries its current for good, and is held by the fuse before it; a
    fuse is the smallest of its class that carries its current. Raises DiagError where nothing that exists will do.
    """
    amps = {wire: max(solved.most_amps(wire), _IDLE_A) for wire in wires}
    known = solved.knowledge
    sections = {
        wire: max(
            _THINNEST_MM2,
            min_section_for(amps[wire]),
            section_for_drop(most_lost_v, known.wires[wire].length_m, amps[wire], known.vehicle.ambient_c),
        )
        for wire in wires
    }
    ratings: dict[str, float] = {}
    for fuse, behind in guards.items():
        part = known.parts[fuse]
        assert isinstance(part, FusePart)
        ratings[fuse] = min_fuse_for_load(max(solved.most_amps(fuse), _IDLE_A), part.link)
        for wire in behind:
            while wire in sections and not fuse_holds_wire(sections[wire], ratings[fuse], part.link).within:
                sections[wire] = next_section(sections[wire] * 1.01)
    return sections, ratings
