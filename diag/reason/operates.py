"""The operates that a vehicle's steps need, and what is looked at under each: for the table of predictions.

Knows nothing of what a step may answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key, terminals_of
from diag.knowledge.bridging import BODY, EXTRA_CONTROLS, UNPLUGGED, spelt
from diag.reason.jumpers import jumps

__all__ = [
    "ISOLATED",
    "battery_off",
    "key_on",
    "looked_at",
    "moved",
    "operate_of",
    "plain",
    "points_of",
    "splits",
    "step_operates",
]

ISOLATED = "isolated"
"""Position of the control `battery` in which its isolator is open and nothing is taken off."""


_LIVE = frozenset(("battery", "engine"))
"""Controls that cannot be so while ohms are measured."""


class Pointed(Protocol):
    """What says where it is looked at or measured: a check of a file, or a step."""

    @property
    def target(self) -> str | None:
        """A part, or one filament of it."""

    @property
    def through(self) -> str | None:
        """A fuse or wire."""

    @property
    def red(self) -> str | None:
        """Where the red probe is."""

    @property
    def black(self) -> str | None:
        """Where the black probe is."""


def step_operates(knowledge: Knowledge) -> list[dict[str, str]]:
    """Every operate that any step uses, for the table of predictions."""
    found: dict[tuple[tuple[str, str], ...], dict[str, str]] = {(): {}, (("battery", "disconnected"),): battery_off({})}
    for check in knowledge.checks.values():
        operate = operate_of(knowledge, check)
        found[operate_key(operate)] = operate
    if ISOLATED in knowledge.controls.get("battery", ()):
        for operate in ({}, key_on(knowledge)):
            found[operate_key({**operate, "battery": ISOLATED})] = {**operate, "battery": ISOLATED}
    for hub, _ in splits(knowledge):
        operate = battery_off({UNPLUGGED: hub})
        found[operate_key(operate)] = operate
    for operates in moved(knowledge).values():
        found |= {operate_key(battery_off(operate)): battery_off(operate) for operate in operates}
    for jump in jumps(knowledge):
        found[operate_key(jump.operate)] = dict(jump.operate)
    return list(found.values())


def looked_at(knowledge: Knowledge) -> dict[tuple[tuple[str, str], ...], frozenset[str]]:
    """For the operates of `step_operates`, the terminals that their steps look at; what nobody looks at need not be
    worked out. At rest and with the battery off any terminal may be measured, so those are left out."""
    found: dict[tuple[tuple[str, str], ...], set[str]] = {}
    parts = {
        circuit: {f"{name}.{t}" for name in (*file.parts, *file.fuses, *file.earths)
                  for t in terminals_of(knowledge.parts[name])}
        for circuit, file in knowledge.circuits.items()
    }  # fmt: skip
    for circuit, file in knowledge.circuits.items():
        for check in file.checks:
            points = found.setdefault(operate_key(operate_of(knowledge, check)), set())
            points |= points_of(knowledge, check)
            if plain(check.operate):
                points |= parts[circuit]
    for hub, other in splits(knowledge):
        found.setdefault(operate_key(battery_off({UNPLUGGED: hub})), set()).add(other)
    for circuit, operates in moved(knowledge).items():
        for operate in operates:
            found.setdefault(operate_key(battery_off(operate)), set()).update(parts[circuit])
    for jump in jumps(knowledge):
        found.setdefault(operate_key(jump.operate), set()).update(points_of(knowledge, jump.check))
    for key in ((), (("battery", "disconnected"),)):
        found.pop(key, None)
    return {key: frozenset(points) for key, points in found.items()}


def points_of(knowledge: Knowledge, check: Pointed) -> set[str]:
    """Terminals whose volts, amps or ohms answer a check."""
    names = {point.split(".")[0] for point in (check.target, check.through) if point is not None}
    wires = [knowledge.wires[name] for name in names if name in knowledge.wires]
    points = {f"{name}.{t}" for name in names & knowledge.parts.keys() for t in terminals_of(knowledge.parts[name])}
    points |= {end for wire in wires for end in (wire.from_, wire.to)}
    return points | {point for point in (check.red, check.black) if point not in (None, BODY)}


def key_on(knowledge: Knowledge) -> dict[str, str]:
    """The key on and everything else at rest; nothing where the vehicle has no key."""
    return {"ignition": "on"} if "on" in knowledge.controls.get("ignition", ()) else {}


def operate_of(knowledge: Knowledge, check: schema.Check) -> dict[str, str]:
    """How the controls stand for a check; ohms are taken with the battery off."""
    operate = spelt(check.operate, knowledge.terminals)
    return battery_off(operate) if check.unit == "ohm" else operate


def splits(knowledge: Knowledge) -> list[tuple[str, str]]:
    """Where a short to body is parted: each terminal of a joint whose wires come off, and another terminal
    of the joint to measure from."""
    ends = {end for wire in knowledge.wires.values() for end in (wire.from_, wire.to)}
    out = []
    for part_id, part in knowledge.parts.items():
        if isinstance(part, schema.JointPart) and not part.breakable:
            wired = [t for t in part.terminals if f"{part_id}.{t}" in ends and t not in part.sealed]
            if len(wired) > 2:
                out += [(f"{part_id}.{t}", f"{part_id}.{next(o for o in wired if o != t)}") for t in wired]
    return out


def moved(knowledge: Knowledge) -> dict[str, list[dict[str, str]]]:
    """By circuit, the positions of controls in which a fault that is there only in some of them comes, or goes where
    it is there at rest: with the battery off and the controls so, its ohms tell. None for one that wants the battery
    or a turning engine."""
    rest = {control: positions[0] for control, positions in knowledge.controls.items()}
    out: dict[str, list[dict[str, str]]] = {}
    for name, note in knowledge.causes.items():
        if not _LIVE.isdisjoint(note.while_):
            continue
        operate: dict[str, str] = {}
        for control, wanted in note.while_.items():
            others = [p for p in knowledge.controls[control] if (p in wanted) != (rest[control] in wanted)]
            operate |= {control: others[0]} if others else {}
        circuit = knowledge.circuit_of.get(name.split(".")[0], knowledge.circuit_of[name])
        if operate and operate not in out.setdefault(circuit, []):
            out[circuit].append(operate)
    return {circuit: operates for circuit, operates in out.items() if operates}


def battery_off(operate: Mapping[str, str]) -> dict[str, str]:
    """The same with the battery off."""
    return {**operate, "battery": "disconnected"}


def plain(operate: Mapping[str, str]) -> bool:
    """Whether only controls of the vehicle are set: no wire is off and no jumper on."""
    return not any(control in operate for control in EXTRA_CONTROLS)
