"""From faults as changes to the arrays that the solver takes, one row a variant.

Says what conducts where before anything reacts; what contacts, fuses and machines then do is
decided elsewhere. Knows nothing of time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diag.circuit.network import Change, Extra, Network
from diag.circuit.solve import Variants

__all__ = ["in_series", "owner", "short_to_body", "variants_of"]

_SHORT_S = 50.0
"""Siemens of a wire rubbed through to metal."""


def short_to_body(a: int, b: int) -> tuple[Extra, Extra]:
    """A wire between nodes a and b rubbed through to body halfway."""
    return Extra(a, 0, _SHORT_S, a), Extra(b, 0, _SHORT_S, b)


def owner(branch_id: str) -> str:
    """The part of a branch `part:what`."""
    return branch_id.split(":")[0]


def variants_of(
    network: Network, rest: Mapping[str, str], operate: Mapping[str, str], changes: Sequence[Change], extras: int = 0
) -> Variants:
    """One row a change, with switches where `operate` puts them and room for at least `extras` added links.

    Relay contacts stand as released, those of flasher units and cut-outs closed, park switches away
    from rest, machines as the changes leave their sources. `unplugged` takes every wire off the
    terminal that it names, wires moved there by a change included.
    """
    base_s = network.rest_conductance(operate, rest)
    for motor in network.motors:
        if motor.park is not None:
            base_s[motor.park[1]] = 0.0
    for relay in network.relays:
        for contact, makes in relay.contacts:
            if makes:
                base_s[contact] = 0.0
    base_ends = np.array([[branch.a, branch.b] for branch in network.branches], dtype=int).reshape(-1, 2)
    off_name = operate.get("unplugged")
    off = network.node(off_name) if off_name is not None and network.has(off_name) else -1
    wires = np.array([i for i, branch in enumerate(network.branches) if branch.role == "wire"], dtype=int)
    count, most = len(changes), max((len(change.extra) for change in changes), default=0)
    most = max(most, extras)
    lamps, sources = len(network.filaments), network.sources
    found = Variants(
        branch_s=np.repeat(base_s[None, :], count, axis=0),
        ends=np.repeat(base_ends[None, :, :], count, axis=0),
        extra=np.zeros((count, most, 2), dtype=int),
        extra_s=np.zeros((count, most)),
        scale=np.ones((count, lamps)),
        led=np.zeros((count, lamps)),
        valve=np.ones((count, len(network.diodes))),
        emf_v=np.repeat(np.array([[source.emf_v for source in sources]]).reshape(1, -1), count, axis=0),
        source_s=np.repeat(np.array([[1.0 / source.ohm for source in sources]]).reshape(1, -1), count, axis=0),
    )
    for row, change in enumerate(changes):
        _apply(network, found, row, change, wires, off)
    if operate.get("battery") == "disconnected":
        found.source_s[:, [i for i, source in enumerate(sources) if source.kind == "battery"]] = 0.0
    return found


def _apply(network: Network, found: Variants, row: int, change: Change, wires: np.ndarray, off: int) -> None:
    ends, branch_s = found.ends, found.branch_s
    for wire, (a, b) in change.moved.items():
        ends[row, wire] = (a, b)
    for left, right in change.swap:
        was = ends[row, wires]
        ends[row, wires] = np.where(was == left, right, np.where(was == right, left, was))
    for branch in change.closed:
        branch_s[row, branch] = 1.0 / network.branches[branch].ohm
    if off >= 0:
        branch_s[row, wires[(ends[row, wires] == off).any(axis=1)]] = 0.0
    for k, link in enumerate(change.extra):
        found.extra[row, k] = (link.a, link.b)
        found.extra_s[row, k] = 0.0 if off in (link.guard, link.also) else link.siemens
    for lamp, factor in change.scale.items():
        found.scale[row, lamp] = factor
    for lamp, way in change.led.items():
        found.led[row, lamp] = way
    for diode, way in change.diode.items():
        found.valve[row, diode] = way
    for source, (volts, ohm) in change.emf.items():
        found.emf_v[row, source] = volts
        found.source_s[row, source] = 0.0 if np.isinf(ohm) else 1.0 / ohm
    for branch, ohm in change.added_ohm.items():
        branch_s[row, branch] = in_series(branch_s[row, branch], ohm)


def in_series(siemens: float, ohm: float) -> float:
    """Conductance of a link with `ohm` more in its way; infinite ohm opens it."""
    return 0.0 if np.isinf(ohm) else float(siemens / (1.0 + siemens * ohm))
