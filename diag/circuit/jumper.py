"""A fused jumper lead between two points of a network while it is operated.

It is one more link in every variant, after those that a fault adds; `fuses` opens it when its own fuse goes.
Knows nothing of why anyone holds it there.
"""

from __future__ import annotations

from collections.abc import Mapping

from diag.circuit.network import Extra, Network
from diag.knowledge.bridging import BRIDGED, bridge_ends

__all__ = ["JUMPER_FUSE_A", "JUMPER_LINK", "JUMPER_OHM", "jumper_of"]

JUMPER_OHM = 0.03
"""Two metres of 1.5 mm² (IEC 60228 class 5) with its fuse; the clips bite (common practice, no source)."""
JUMPER_FUSE_A = 10.0
"""Rating of the fuse in the lead (common practice, no source)."""
JUMPER_LINK = "blade"
"""Its class in `fuses.LINKS`."""


def jumper_of(network: Network, operate: Mapping[str, str]) -> Extra | None:
    """The link that the control `bridged` puts in; None where it is at rest or names no two points of the network."""
    position = operate.get(BRIDGED)
    ends = bridge_ends(position, network.has) if position is not None else None
    if ends is None:
        return None
    return Extra(network.node(ends[0]), network.node(ends[1]), 1.0 / JUMPER_OHM, 0)
