"""Every cause of a vehicle, derived from its parts and wires by kind, each with its small change.

A cause is `part-or-wire.mode`. Nothing is listed per vehicle: `diag.circuit.kinds` says how each kind
fails, kinds.yaml which of that is met and how often; circuit files adjust and add those that are not
electrical. Knows nothing of answers or beliefs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from diag.circuit.kinds.base import Case, Fault
from diag.circuit.kinds.catalogue import kind_of
from diag.circuit.kinds.wires import Loom, wire_label
from diag.circuit.network import Change, Network
from diag.knowledge import schema
from diag.knowledge.assemble import AnyPart, Knowledge, terminals_of

__all__ = ["Cause", "derive_causes"]


@dataclass(frozen=True)
class Cause:
    """One fault hypothesis.

    `frequency` per thousand faults on this vehicle (after its history). `spread`: how far real cases
    stray from the modelled value, as a natural logarithm. `change` is None where nothing electrical
    shows; `electrical` is False for causes that only rules know. `shows`: chance that it is there at a
    moment; below 1 for one that comes and goes, which is else like the cause `of`.
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
    shows: float = 1.0
    of: str | None = None


def derive_causes(knowledge: Knowledge, network: Network) -> tuple[Cause, ...]:
    """All causes in a fixed order: parts, wires, those the circuit files add, those that come and go."""
    found: dict[str, Cause] = {}
    for part_id, part in knowledge.parts.items():
        for cause in _of_part(knowledge, network, part_id, part):
            found[cause.id] = cause
    loom = Loom(knowledge, network, knowledge.kinds.kinds.get("wire", {}))
    for wire_id, wire in knowledge.wires.items():
        for cause in _of_wire(knowledge, loom, wire_id, wire):
            found[cause.id] = cause
    for note in knowledge.causes.values():
        found.update(_noted(knowledge, note, found))
    for cause in list(found.values()):
        found.update(_at_times(knowledge, cause))
    return tuple(found.values())


def _at_times(knowledge: Knowledge, cause: Cause) -> dict[str, Cause]:
    """A cause and its like that comes and goes: one change, so that one row of the table serves both."""
    mode = knowledge.kinds.kinds.get(cause.kind, {}).get(cause.mode)
    if mode is None or mode.at_times is None or mode.shows >= 1 or not _stirs(knowledge, cause):
        return {}
    seldom = replace(
        cause,
        id=f"{cause.id}-at-times",
        title=f"{cause.title}, at times",
        frequency=cause.frequency * mode.at_times,
        shows=mode.shows,
        of=cause.id,
    )
    steady = replace(cause, frequency=cause.frequency * (1.0 - mode.at_times))
    return {cause.id: steady, seldom.id: seldom}


def _stirs(knowledge: Knowledge, cause: Cause) -> bool:
    """Whether something moves there: every part that fails so does, of the wires those at what is worked by
    hand, turns, or is plugged and unplugged. A wire that lies still between fixed terminals is off or is not."""
    wire = knowledge.wires.get(cause.subject)
    if wire is None:
        return True
    ends = [knowledge.parts.get(end.split(".")[0]) for end in (wire.from_, wire.to)]
    return any(
        isinstance(part, schema.SwitchPart | schema.PlugPart | schema.RheostatPart)
        or (isinstance(part, schema.JointPart) and part.breakable)
        for part in ends
    )


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


def _of_part(knowledge: Knowledge, network: Network, part_id: str, part: AnyPart) -> Iterator[Cause]:
    kind, vehicle = kind_of(part), knowledge.vehicle
    modes = knowledge.kinds.kinds.get(part.kind, {})
    case = Case(network, part_id, vehicle.system_v, vehicle.earth == "positive", modes, knowledge.controls)
    faults = list(kind.faults(case, part))
    if kind.swaps is not None:
        wired = [terminal for terminal in terminals_of(part) if network.wires_at(case.node(terminal))]
        pairs = [(a, b) for a, b in combinations(wired, 2) if kind.swaps(part, a, b)]
        for a, b in pairs:
            change = Change(swap=((case.node(a), case.node(b)),))
            detail = f" {part.spelled(a)} and {part.spelled(b)}"
            # the frequency is the part's, not the pair's
            faults.append(Fault(f"swapped-{a}-{b}", "swapped", change, detail, len(pairs)))
    yield from _causes(knowledge, part_id, part.kind, part.title, faults)


def _of_wire(knowledge: Knowledge, loom: Loom, wire_id: str, wire: schema.Wire) -> Iterator[Cause]:
    yield from _causes(knowledge, wire_id, "wire", wire_label(wire_id, wire), loom.faults(wire_id))


def _causes(knowledge: Knowledge, subject: str, kind: str, label: str, faults: Iterable[Fault]) -> Iterator[Cause]:
    """Those faults whose mode kinds.yaml gives, with how often they are met on this vehicle."""
    modes = knowledge.kinds.kinds.get(kind, {})
    rewired = knowledge.vehicle.history == "rewired"
    for fault in faults:
        form = modes.get(fault.mode)
        if form is None:
            continue
        placed = "{" in form.title
        title = form.title.format(part=label, detail=fault.detail) if placed else f"{label}: {form.title}{fault.detail}"
        yield Cause(
            f"{subject}.{fault.name}",
            subject,
            kind,
            fault.mode,
            title,
            f"{subject}.{form.remedy}",
            (form.rewired if rewired else form.frequency) / fault.among,
            form.spread,
            fault.change,
        )
