"""From faults as changes to the arrays that the solver takes, one row a variant.

Says what conducts where before anything reacts; what contacts, fuses and machines then do is
decided elsewhere. Knows nothing of time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields

import numpy as np

from diag.circuit.jumper import jumper_of
from diag.circuit.network import Change, Network
from diag.circuit.solve import Variants

__all__ = ["in_series", "owner", "stacked", "variants_of"]


def owner(branch_id: str) -> str:
    """The part of a branch `part:what`."""
    return branch_id.split(":")[0]


def variants_of(
    network: Network, rest: Mapping[str, str], operate: Mapping[str, str], changes: Sequence[Change], extras: int = 0
) -> Variants:
    """One row a change, with switches where `operate` puts them and room for at least `extras` added links.

    Relay contacts stand as released, those of flasher units and cut-outs closed, park switches away
    from rest, machines as the changes leave their sources. `unplugged` takes every wire off the
    terminal that it names, wires moved there by a change included. `bridged` is one more added link in each
    row, after those of its change.
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
    jumper = jumper_of(network, operate)
    most = max(most + (jumper is not None), extras)
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
    _move(found, changes, wires)
    _close(network, found, changes)
    if off >= 0:
        found.branch_s[:, wires] *= ~(found.ends[:, wires] == off).any(axis=2)
    _worsen(found, changes)
    for row, change in enumerate(changes):
        for k, link in enumerate(change.extra):
            found.extra[row, k] = (link.a, link.b)
            found.extra_s[row, k] = 0.0 if off in (link.guard, link.also) else link.siemens
        if jumper is not None:  # its clips hold on to the terminals, whatever wires are off
            found.extra[row, len(change.extra)] = (jumper.a, jumper.b)
            found.extra_s[row, len(change.extra)] = jumper.siemens
        for source, (volts, ohm) in change.emf.items():
            found.emf_v[row, source] = volts
            found.source_s[row, source] = 0.0 if np.isinf(ohm) else 1.0 / ohm
    for values, kind in ((found.scale, "scale"), (found.led, "led"), (found.valve, "diode")):
        for row, change in enumerate(changes):
            for place, value in getattr(change, kind).items():
                values[row, place] = value
    if operate.get("battery") == "disconnected":
        found.source_s[:, [i for i, source in enumerate(sources) if source.kind == "battery"]] = 0.0
    return found


def stacked(parts: Sequence[Variants]) -> Variants:
    """All rows of several, one after the other; they have room for the same number of added links."""
    return Variants(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Variants)))


def _move(found: Variants, changes: Sequence[Change], wires: np.ndarray) -> None:
    """Wires on other terminals than their own."""
    for row, change in enumerate(changes):
        for wire, (a, b) in change.moved.items():
            found.ends[row, wire] = (a, b)
        for left, right in change.swap:
            was = found.ends[row, wires]
            found.ends[row, wires] = np.where(was == left, right, np.where(was == right, left, was))


def _close(network: Network, found: Variants, changes: Sequence[Change]) -> None:
    """Contacts that a fault holds closed."""
    held = [(row, branch) for row, change in enumerate(changes) for branch in change.closed]
    if held:
        rows, branches = np.array(held).T
        found.branch_s[rows, branches] = [1.0 / network.branches[branch].ohm for branch in branches]


def _worsen(found: Variants, changes: Sequence[Change]) -> None:
    """Resistance in series with what conducts."""
    worse = [(row, *item) for row, change in enumerate(changes) for item in change.added_ohm.items()]
    if worse:
        rows, branches = np.array([(row, branch) for row, branch, _ in worse]).T
        ohm, siemens = np.array([ohm for *_, ohm in worse]), found.branch_s[rows, branches]
        broken = np.isinf(ohm)
        found.branch_s[rows, branches] = np.where(broken, 0.0, siemens / (1.0 + siemens * np.where(broken, 0.0, ohm)))


def in_series(siemens: float, ohm: float) -> float:
    """Conductance of a link with `ohm` more in its way; infinite ohm opens it."""
    return 0.0 if np.isinf(ohm) else float(siemens / (1.0 + siemens * ohm))
