"""Wires that no fuse stands before: what is reached from the battery's live post without going through one.

Knows the network's branches by their role only.
"""

from __future__ import annotations

from diag.circuit.network import Network
from diag.circuit.paths import reached
from diag.knowledge.assemble import Knowledge
from diag.knowledge.schema import BatteryPart

__all__ = ["unguarded"]

_LEADS = frozenset({"wire", "joint", "contact", "relay", "flasher", "tell-tale"})
"""Branches that bring the battery's volts on when they conduct; a winding or filament holds back what a short draws."""


def unguarded(knowledge: Knowledge, network: Network) -> frozenset[str]:
    """Ids of the wires that a short to body would heat until they burn: no fuse is before them in any position."""
    live = "B-" if knowledge.vehicle.earth == "positive" else "B+"
    posts = [network.node(f"{name}.{live}") for name, part in knowledge.parts.items() if isinstance(part, BatteryPart)]
    return reached(network, posts, _LEADS) & knowledge.wires.keys()
