"""Battery, earth points, fuses, joints and plugs: what brings volts to a circuit and carries them back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diag.calc.battery import CELL_V
from diag.circuit.kinds.base import Case, Fault, Kind, Site
from diag.circuit.network import Change, Source
from diag.knowledge import schema

__all__ = ["KINDS"]

# ---------------------------------------------------------------- battery


def _battery(site: Site, part: schema.BatteryPart) -> None:
    ends = site.node("B+"), site.node("B-")
    site.builder.sources.append(Source(site.part_id, *ends, part.rest_v, part.resistance_ohm, "battery"))


def _battery_faults(case: Case, part: schema.BatteryPart) -> Iterator[Fault]:
    source, rest_v, own = case.network.source(case.part_id), part.rest_v, part.resistance_ohm

    def works_as(mode: str, volts: float, ohm: float) -> Fault:
        return Fault(mode, mode, Change(emf={source: (volts, ohm)}))

    flat = case.modes.get("flat")
    # a figure of a 12 V battery; cells in series scale it
    flat_v = flat.volts * (case.system_v / 12.0) if flat is not None and flat.volts is not None else 0.9 * rest_v
    yield works_as("flat", flat_v, case.ohm("flat", 0.3))
    yield works_as("post-loose", rest_v, own + case.ohm("post-loose", 0.5))
    cells = max(1, round(rest_v / CELL_V))
    yield works_as("cell-dead", rest_v * (cells - 1) / cells, own + case.ohm("cell-dead", 0.1))
    yield works_as("reversed", -rest_v, own)


# ---------------------------------------------------------------- earth point, fuse


def _earth(site: Site, part: schema.EarthPart) -> None:
    site.link("", "31", "body", part.contact_ohm)


def _earth_faults(case: Case, part: schema.EarthPart) -> Iterator[Fault]:
    yield case.opens("open", "")
    yield case.adds("resistive", "")


def _fuse(site: Site, part: schema.FusePart) -> None:
    site.link("", "in", "out", part.contact_ohm, "fuse")


def _fuse_faults(case: Case, part: schema.FusePart) -> Iterator[Fault]:
    yield case.opens("blown", "")
    yield case.adds("resistive", "")
    for mode, default in (("too-small", 0.5), ("too-large", 2.0)):
        yield Fault(mode, mode, Change(limit={case.branch(""): case.factor(mode, default)}))


# ---------------------------------------------------------------- joint, plug


def _joint(site: Site, part: schema.JointPart) -> None:
    first, *others = part.terminals
    for other in others:
        site.link(other, first, other, part.contact_ohm, "joint")


def _joint_faults(case: Case, part: schema.JointPart) -> Iterator[Fault]:
    if part.breakable:
        yield case.opens("open", *part.terminals[1:])
        yield case.adds("resistive", *part.terminals[1:])


def _plug(site: Site, part: schema.PlugPart) -> None:
    joined = None if part.control is None else (part.control, frozenset(part.joined_when))
    for pin in part.pins:
        site.link(pin, pin, f"{pin}-t", part.contact_ohm, "contact" if joined else "joint", joined)


def _plug_faults(case: Case, part: schema.PlugPart) -> Iterator[Fault]:
    for pin in part.pins:
        yield case.opens("open", pin, name=f"open-{pin}", detail=f" {pin}")
        yield case.adds("resistive", pin, name=f"resistive-{pin}", detail=f" {pin}")
    if part.control is not None:
        yield case.opens("out", *part.pins)


def _plug_swaps(part: schema.PlugPart, a: str, b: str) -> bool:
    """Wires change places on one half of the plug, never from the socket's screws to those of the other half."""
    return a.endswith("-t") == b.endswith("-t")


KINDS: Mapping[type[Any], Kind[Any]] = {
    schema.BatteryPart: Kind(_battery, _battery_faults),
    schema.EarthPart: Kind(_earth, _earth_faults),
    schema.FusePart: Kind(_fuse, _fuse_faults),
    schema.JointPart: Kind(_joint, _joint_faults),
    schema.PlugPart: Kind(_plug, _plug_faults, _plug_swaps),
}
