"""What is to be done to parts and wires: the vehicle before against the vehicle after. Knows no equations."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from diag.knowledge.adapt import POWERS
from diag.knowledge.assemble import Knowledge
from diag.knowledge.schema import FusePart, Wire
from diag.knowledge.units import written
from diag.texts import t

__all__ = ["PartWork", "WireWork", "part_works", "wire_works"]

_UNITS = {"v": "V", "a": "A", "ohm": "ohm", "mm2": "mm2", "w": "W"}
_TOLD = ("test_w", "test_v", "rated_w", "technique", "current_a", "terminals")
"""Fields of a part that a person buys by, in the order told."""
_MORE = {"relay": ("coil_ohm",), "ignition-coil": ("primary_ohm",), "resistor": ("ohm",), "gauge": ("coil_ohm",)}
_FOR_VOLTS = (
    "battery", "relay", "flasher-unit", "horn", "regulator", "dynamo", "alternator", "starter", "motor", "wiper-motor",
    "ignition-coil", "gauge", "heater", "valve", "accessory",
)  # fmt: skip
"""Kinds that are made for the vehicle's volts and stamped with them."""


@dataclass(frozen=True)
class WireWork:
    """One wire that is touched. `was`, `now`: its two ends, `part.terminal`.

    `action`: `off` for good, `new`, `move` to another terminal, `back` on the same terminal of a part that was
    replaced, or `thicker` (another section).
    """

    wire_id: str
    title: str
    colour: str
    action: str
    was: tuple[str, str] | None
    now: tuple[str, str] | None
    section_was_mm2: float | None
    section_mm2: float | None
    length_m: float


@dataclass(frozen=True)
class PartWork:
    """One part that is `new`, `replaced` or `off`; `differs`: what was, and is, of what it is bought by."""

    part_id: str
    title: str
    action: str
    data: str
    was: str


def wire_works(before: Knowledge, after: Knowledge, renewed: Iterable[str]) -> list[WireWork]:
    """Every wire that is touched, in the order of the files: what comes off first, then what goes on."""
    fresh = set(renewed)
    gone = [
        WireWork(name, _title(name, wire), wire.colour, "off", _ends(wire), None, wire.section_mm2, None, wire.length_m)
        for name, wire in before.wires.items()
        if name not in after.wires
    ]
    on = []
    for name, wire in after.wires.items():
        old = before.wires.get(name)
        action = _action(old, wire, fresh)
        if action:
            was = None if old is None else _ends(old)
            thick = None if old is None else old.section_mm2
            on.append(
                WireWork(
                    name,
                    _title(name, wire),
                    wire.colour,
                    action,
                    was,
                    _ends(wire),
                    thick,
                    wire.section_mm2,
                    wire.length_m,
                )
            )
    return gone + on


def _action(old: Wire | None, new: Wire, fresh: set[str]) -> str:
    if old is None:
        return "new"
    if _ends(old) != _ends(new):
        return "move"
    if abs(old.section_mm2 - new.section_mm2) > 1e-6:
        return "thicker"
    return "back" if any(end.split(".")[0] in fresh for end in _ends(new)) else ""


def _ends(wire: Wire) -> tuple[str, str]:
    return wire.from_, wire.to


def _title(name: str, wire: Wire) -> str:
    return wire.title or name.replace("-", " ")


def part_works(before: Knowledge, after: Knowledge, renewed: Iterable[str]) -> list[PartWork]:
    """Parts, fuses and earth points that come, go or are replaced: named ones, and those whose data changed."""
    fresh, works = set(renewed), []
    was_v, now_v = before.vehicle.system_v, after.vehicle.system_v
    for name, part in after.parts.items():
        old = before.parts.get(name)
        if old is None:
            works.append(PartWork(name, part.title, "new", _bought_by(part, now_v), ""))
        elif name in fresh or (part.kind not in ("joint", "earth") and _electrical(old) != _electrical(part)):
            works.append(PartWork(name, part.title, "replaced", _bought_by(part, now_v), _bought_by(old, was_v)))
    works += [
        PartWork(name, old.title, "off", "", _bought_by(old, was_v))
        for name, old in before.parts.items()
        if name not in after.parts
    ]
    return works


def _electrical(part: Any) -> dict[str, Any]:
    fields = (*POWERS, "terminals", "kind", "test_w", "rated_w", "technique", "link")
    return {name: _rounded(getattr(part, name)) for name in fields if getattr(part, name, None) is not None}


def _rounded(found: Any) -> Any:
    return round(found, 6) if isinstance(found, float) else found


def _bought_by(part: Any, system_v: float) -> str:
    """The data that a part is bought by, in words; for a fuse rating and class."""
    if isinstance(part, FusePart):
        return f"{written(part.rating_a, 'A')}, {part.link}"
    told = [f"{system_v:g} V"] if part.kind in _FOR_VOLTS else []
    for name in (*_TOLD, *_MORE.get(part.kind, ())):
        found = getattr(part, name, None)
        if found is not None and name == "test_v" and told:
            told[-1] = t("{watts} at {volts}", watts=told[-1], volts=written(found, "V"))
        elif found is not None and (name != "terminals" or part.kind == "flasher-unit"):
            told.append(_worded(name, found))
    return ", ".join(told)


def _worded(name: str, found: Any) -> str:
    unit = _UNITS.get(name.rsplit("_", 1)[-1], "")
    if name == "terminals":
        return t("terminals {terminals}", terminals=", ".join(found))
    if isinstance(found, tuple):
        return "/".join(written(each, "") for each in found) + f" {unit}"
    if isinstance(found, float):
        size = written(found, unit)
        match name:
            case "test_w" | "emf_v" | "current_a":
                return size
            case "rated_w":
                return t("lamps of {size}", size=size)
            case "rest_v":
                return t("rest {size}", size=size)
            case _:
                return f"{name.rsplit('_', 1)[0].replace('_', ' ')} {size}"
    return str(found)
