"""Numbers of wires: short names that drawing, table and list of wires share. Knows nothing of how they are drawn."""

from __future__ import annotations

from collections.abc import Mapping

from diag.knowledge.assemble import Knowledge

__all__ = ["wire_numbers"]


def wire_numbers(knowledge: Knowledge) -> Mapping[str, str]:
    """By wire its number, `W1` on, in the order of the vehicle's circuits; W is the letter of cables and wires in
    IEC 81346-2 (from memory)."""
    return {wire: f"W{i}" for i, wire in enumerate(knowledge.wires, start=1)}
