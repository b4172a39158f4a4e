"""Every cause of a vehicle, derived from its parts and wires by kind, each with its small change.

A cause is `part-or-wire.mode`. Nothing is listed per vehicle: kinds.yaml gives the modes of each
kind with how often they are met; circuit files adjust and add those that are not electrical.
Knows nothing of answers or beliefs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from diag.circuit.behaviour import short_to_body
from diag.circuit.network import Change, Extra, Network
from diag.circuit.parts import contact_positions
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of

__all__ = ["Cause", "derive_causes"]

_OPEN = math.inf


@dataclass(frozen=True)
class Cause:
    """One fault hypothesis.

    `frequency` per thousand faults on this vehicle (after its history). `spread`: how far real cases
    stray from the modelled value, as a natural logarithm. `change` is None where nothing electrical
    shows; `electrical` is False for causes that only rules know.
    """

    id: str
    subject: str
    kind: str
    mode: str
    title: str
    remedy: str
    frequency: float
    spread: float
    change: Change | None
    electrical: bool = True


def derive_causes(knowledge: Knowledge, network: Network) -> tuple[Cause, ...]:
    """All causes in a fixed order: parts, wires, then those the circuit files add."""
    found: dict[str, Cause] = {}
    for part_id, part in knowledge.parts.items():
        for cause in _of_part(knowledge, network, part_id, part):
            found[cause.id] = cause
    for wire_id, wire in knowledge.wires.items():
        for cause in _of_wire(knowledge, network, wire_id, wire):
            found[cause.id] = cause
    for note in knowledge.causes.values():
        found.update(_noted(knowledge, note, found))
    return tuple(found.values())


def _noted(knowledge: Knowledge, note: schema.CauseNote, found: Mapping[str, Cause]) -> dict[str, Cause]:
    subject, mode = note.id.split(".", 1)
    remedy = f"{subject}.{note.remedy}" if note.remedy in knowledge.kinds.remedies else note.remedy
    if note.id in found:
        cause = found[note.id]
        factor = note.frequency if note.frequency is not None else 1.0
        return {
            note.id: replace(
                cause,
                frequency=cause.frequency * factor,
                title=note.title or cause.title,
                remedy=remedy or cause.remedy,
            )
        }
    like = found.get(note.like) if note.like is not None else None
    return {
        note.id: Cause(
            note.id,
            subject,
            "added",
            mode,
            note.title or note.id,
            remedy or f"{subject}.put-right",
            note.frequency or 1.0,
            like.spread if like else 0.05,
            like.change if like else None,
            False,
        )
    }


def _mode(knowledge: Knowledge, kind: str, mode: str) -> schema.Mode | None:
    return knowledge.kinds.kinds.get(kind, {}).get(mode)


def _cause(
    knowledge: Knowledge, subject: str, name: str, kind: str, mode: str, label: str, change: Change, detail: str = ""
) -> Iterator[Cause]:
    form = _mode(knowledge, kind, mode)
    if form is None:
        return
    often = form.rewired if knowledge.vehicle.history == "rewired" else form.frequency
    title = form.title.format(part=label, detail=detail) if "{" in form.title else f"{label}: {form.title}{detail}"
    yield Cause(f"{subject}.{name}", subject, kind, mode, title, f"{subject}.{form.remedy}", often, form.spread, change)


def _of_wire(knowledge: Knowledge, network: Network, wire_id: str, wire: schema.Wire) -> Iterator[Cause]:
    branch = network.branch(wire_id)
    label = f"{wire.title or wire_id.replace('-', ' ')} ({wire.colour})"
    link = network.branches[branch]
    yield from _cause(knowledge, wire_id, "open", "wire", "open", label, Change(added_ohm={branch: _OPEN}))
    form = _mode(knowledge, "wire", "resistive")
    ohm = form.ohm if form is not None and form.ohm is not None else 1.0
    yield from _cause(knowledge, wire_id, "resistive", "wire", "resistive", label, Change(added_ohm={branch: ohm}))
    if 0 not in (link.a, link.b):
        yield from _cause(
            knowledge, wire_id, "to-body", "wire", "to-body", label, Change(extra=short_to_body(link.a, link.b))
        )


def _of_part(knowledge: Knowledge, network: Network, part_id: str, part: schema.Part) -> Iterator[Cause]:
    kind, label = part.kind, part.title

    def flagged(mode: str) -> Iterator[Cause]:
        yield from _cause(knowledge, part_id, mode, kind, mode, label, Change(flags=frozenset({f"{part_id}:{mode}"})))

    def series(mode: str, branch: str, ohm: float | None) -> Iterator[Cause]:
        yield from _cause(
            knowledge,
            part_id,
            mode,
            kind,
            mode,
            label,
            Change(added_ohm={network.branch(branch): _OPEN if ohm is None else ohm}),
        )

    def ohm_of(mode: str) -> float:
        form = _mode(knowledge, kind, mode)
        return form.ohm if form is not None and form.ohm is not None else 1.0

    match part:
        case schema.LampPart():
            lamp = network.filament(part_id)
            yield from _cause(knowledge, part_id, "open", kind, "open", label, Change(scale={lamp: 0.0}))
            form = _mode(knowledge, kind, "wrong-wattage")
            if part.test_w >= 15 and form is not None:
                yield from _cause(
                    knowledge,
                    part_id,
                    "wrong-wattage",
                    kind,
                    "wrong-wattage",
                    label,
                    Change(scale={lamp: form.factor or 0.2}),
                )
        case schema.EarthPart():
            yield from series("open", part_id, None)
            yield from series("resistive", part_id, ohm_of("resistive"))
        case schema.FusePart():
            yield from series("blown", part_id, None)
            yield from series("resistive", part_id, ohm_of("resistive"))
        case schema.SwitchPart():
            yield from _of_contacts(knowledge, network, part_id, part, ohm_of("resistive"))
        case schema.SenderPart():
            contact = network.branch(f"{part_id}:G")
            yield from series("stuck-open", f"{part_id}:G", None)
            yield from _cause(
                knowledge, part_id, "stuck-closed", kind, "stuck-closed", label, Change(closed=frozenset({contact}))
            )
        case schema.FlasherPart():
            for mode in ("never-opens", "never-closes", "tell-tale-contact-open", "wrong-rating"):
                yield from flagged(mode)
        case schema.HornPart():
            yield from series("open", f"{part_id}:coil", None)
            yield from flagged("seized")
            inside = Extra(network.node(f"{part_id}.31b"), 0, 50.0, 0)  # stays when the wire is off
            yield from _cause(knowledge, part_id, "case-earthed", kind, "case-earthed", label, Change(extra=(inside,)))
        case schema.JointPart():
            if part.breakable:
                links = [network.branch(f"{part_id}:{other}") for other in part.terminals[1:]]
                yield from _cause(
                    knowledge, part_id, "open", kind, "open", label, Change(added_ohm=dict.fromkeys(links, _OPEN))
                )
                yield from _cause(
                    knowledge,
                    part_id,
                    "resistive",
                    kind,
                    "resistive",
                    label,
                    Change(added_ohm=dict.fromkeys(links, ohm_of("resistive"))),
                )
        case schema.BatteryPart():
            yield from _of_battery(knowledge, network, part_id, part)
        case schema.DynamoPart():
            yield from _cause(
                knowledge,
                part_id,
                "armature-open",
                kind,
                "armature-open",
                label,
                Change(emf={network.source(part_id): (0.0, _OPEN)}, flags=frozenset({f"{part_id}:no-output"})),
            )
            yield from series("field-open", f"{part_id}:field", None)
            yield from flagged("no-output")
        case schema.RegulatorPart():
            yield from flagged("cut-out-open")
            stuck = Change(
                closed=frozenset({network.branch(f"{part_id}:cut-out")}), flags=frozenset({f"{part_id}:cut-out-stuck"})
            )
            yield from _cause(knowledge, part_id, "cut-out-stuck", kind, "cut-out-stuck", label, stuck)
            yield from series("field-contact-open", f"{part_id}:field-contact", None)
    if kind in ("switch", "flasher-unit", "regulator", "dynamo"):
        wired = [t for t in terminals_of(part) if network.wires_at(network.node(f"{part_id}.{t}"))]
        pairs = list(combinations(wired, 2))
        for a, b in pairs:
            swap = Change(swap=((network.node(f"{part_id}.{a}"), network.node(f"{part_id}.{b}")),))
            for cause in _cause(knowledge, part_id, f"swapped-{a}-{b}", kind, "swapped", label, swap, f" {a} and {b}"):
                yield replace(
                    cause, frequency=cause.frequency / len(pairs)
                )  # the frequency is the part's, not the pair's


def _of_contacts(
    knowledge: Knowledge, network: Network, part_id: str, part: schema.SwitchPart, ohm: float
) -> Iterator[Cause]:
    for (a, b), positions in contact_positions(part).items():
        branch, pair = network.branch(f"{part_id}:{a}-{b}"), f"{a}-{b}"
        detail = f" {a} to {b}"
        yield from _cause(
            knowledge, part_id, f"open-{pair}", "switch", "open", part.title, Change(added_ohm={branch: _OPEN}), detail
        )
        yield from _cause(
            knowledge,
            part_id,
            f"resistive-{pair}",
            "switch",
            "resistive",
            part.title,
            Change(added_ohm={branch: ohm}),
            detail,
        )
        if positions != frozenset(part.contacts):
            yield from _cause(
                knowledge,
                part_id,
                f"stuck-{pair}",
                "switch",
                "stuck",
                part.title,
                Change(closed=frozenset({branch})),
                detail,
            )


def _of_battery(knowledge: Knowledge, network: Network, part_id: str, part: schema.BatteryPart) -> Iterator[Cause]:
    source = network.source(part_id)
    flat, loose = _mode(knowledge, "battery", "flat"), _mode(knowledge, "battery", "post-loose")
    if flat is not None:
        change = Change(emf={source: (flat.volts or 0.9 * part.rest_v, flat.ohm or 0.3)})
        yield from _cause(knowledge, part_id, "flat", "battery", "flat", part.title, change)
    if loose is not None:
        change = Change(emf={source: (part.rest_v, part.resistance_ohm + (loose.ohm or 0.5))})
        yield from _cause(knowledge, part_id, "post-loose", "battery", "post-loose", part.title, change)
