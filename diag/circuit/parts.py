"""From the parts and wires of a vehicle to its network.

What each kind is electrically stands in `diag.circuit.kinds`. Knows nothing of faults.
"""

from __future__ import annotations

from diag.calc.copper import copper_factor
from diag.circuit.kinds.base import Builder, Site
from diag.circuit.kinds.catalogue import kind_of
from diag.circuit.kinds.contacts import contact_positions
from diag.circuit.kinds.wires import lay
from diag.circuit.network import Network
from diag.knowledge.assemble import Knowledge, terminals_of

__all__ = ["build_network", "contact_positions"]


def build_network(knowledge: Knowledge) -> Network:
    """The network of the vehicle with every part healthy; node 0 is body."""
    builder, vehicle = Builder(), knowledge.vehicle
    copper, positive = copper_factor(vehicle.ambient_c), vehicle.earth == "positive"
    for part_id, part in knowledge.parts.items():
        for terminal in terminals_of(part):
            builder.node(f"{part_id}.{terminal}")
        kind_of(part).build(Site(builder, part_id, vehicle.system_v, copper, positive), part)
    lay(builder, knowledge)
    return builder.network()
