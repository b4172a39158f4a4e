"""The content of a vehicle's file after an alteration, as plain data. Must not know how it is written down."""

from __future__ import annotations

import copy
from collections.abc import Container, Mapping, Sequence
from typing import Any

from diag.alter.plan import Plan
from diag.alter.volts import at_volts
from diag.knowledge.adapt import WRITTEN_FOR_V
from diag.knowledge.alterations import SECTIONS
from diag.knowledge.assemble import Knowledge
from diag.knowledge.units import plain

__all__ = ["HISTORY", "content_after", "with_history", "with_sizes", "with_wires_kept", "without_what_went"]

HISTORY = "history-of-alterations"
_STAYS = ("title", "place", "reach", "sealed")
"""What an override of a part may still say of the one that takes its place."""


def content_after(old: Mapping[str, Any], plan: Plan, before: Knowledge) -> dict[str, Any]:
    """The file's content with the plan's changes in it; sections and ratings as the recipe proposes them."""
    new: dict[str, Any] = copy.deepcopy(dict(old))
    volts = next((change.system_v for change in plan.changes if change.system_v is not None), before.vehicle.system_v)
    if volts != before.vehicle.system_v:
        new["system-v"] = plain(volts, "V")
    overrides = _overrides(new, plan, before, volts / before.vehicle.system_v)
    for change in plan.changes:
        for circuit, options in change.options.items():
            new.setdefault("options", {}).setdefault(circuit, {}).update(options)
        for section in SECTIONS:
            for name, entry in getattr(change, section).items():
                held = overrides.setdefault(section, {}).setdefault(name, {})
                held.pop("fitted", None)
                held.update(at_volts(entry, volts / WRITTEN_FOR_V, _link(name, before)))
        for name in change.without:
            _take_away(name, overrides, before)
    overrides = {section: entries for section, entries in overrides.items() if entries}
    new.pop("overrides", None)
    if overrides:
        new["overrides"] = overrides
    return new


def _overrides(new: Mapping[str, Any], plan: Plan, before: Knowledge, ratio: float) -> dict[str, dict[str, Any]]:
    """What the file overrides already: at the new volts, and without what was true of a part that goes."""
    found: dict[str, dict[str, Any]] = copy.deepcopy(dict(new.get("overrides", {})))
    for section in ("parts", "fuses"):
        for name, entry in found.get(section, {}).items():
            found[section][name] = at_volts(entry, ratio, _link(name, before))
    for part in plan.all_of("renews"):
        entry = found.get("parts", {}).get(part)
        if entry is None:
            continue
        left = {key: value for key, value in entry.items() if key in _STAYS}
        if left:
            found["parts"][part] = left
        else:
            del found["parts"][part]
    return found


def _link(name: str, before: Knowledge) -> str:
    return getattr(before.parts.get(name), "link", "blade")


def _take_away(name: str, overrides: dict[str, dict[str, Any]], before: Knowledge) -> None:
    for section in SECTIONS:
        own = overrides.get(section, {}).pop(name, None)
        spot = before.spots.bases.get(name)
        if own is not None and spot is None:
            return  # only the file itself knew of it
    section = "wires" if name in before.wires else {"fuse": "fuses", "earth": "earths"}.get(
        before.parts[name].kind if name in before.parts else "", "parts"
    )  # fmt: skip
    overrides.setdefault(section, {})[name] = {"fitted": "absent"}


def without_what_went(new: Mapping[str, Any], before: Container[str], after: Container[str]) -> dict[str, Any]:
    """The content without what it says otherwise of things that only the circuits of `before` have: a dynamo's wires
    go with the dynamo. `before`, `after`: ids that the circuits themselves give."""
    out = dict(new)
    overrides = {
        section: {name: entry for name, entry in entries.items() if name not in before or name in after}
        for section, entries in new.get("overrides", {}).items()
    }
    out.pop("overrides", None)
    if kept := {section: entries for section, entries in overrides.items() if entries}:
        out["overrides"] = kept
    return out


def with_wires_kept(new: Mapping[str, Any], before: Knowledge, after: Knowledge) -> dict[str, Any]:
    """The content with every wire of before as thick as it was."""
    sections = {
        name: wire.section_mm2
        for name, wire in before.wires.items()
        if name in after.wires and after.wires[name].section_mm2 != wire.section_mm2
    }
    return with_sizes(new, sections, {})


def with_sizes(new: Mapping[str, Any], sections: Mapping[str, float], ratings: Mapping[str, float]) -> dict[str, Any]:
    """The content with these wires (mm²) and fuses (A)."""
    out = copy.deepcopy(dict(new))
    for section, key, unit, sizes in (
        ("wires", "section-mm2", "mm2", sections),
        ("fuses", "rating-a", "A", ratings),
    ):
        for name, size in sizes.items():
            entry = out.setdefault("overrides", {}).setdefault(section, {}).setdefault(name, {})
            entry[key] = plain(size, unit)
    return out


def with_history(new: Mapping[str, Any], date: str, kind: str, what: Sequence[str]) -> dict[str, Any]:
    """The content with one more entry of what was done."""
    out = dict(new)
    out[HISTORY] = [*out.get(HISTORY, []), {"date": date, "kind": kind, "what": list(what)}]
    return out
