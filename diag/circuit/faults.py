"""Every cause of a vehicle, derived from its parts and wires by kind, each with its small change.

A cause is `part-or-wire.mode`. Nothing is listed per vehicle: `diag.circuit.kinds` says how each kind
fails, kinds.yaml which of that is met and how often; circuit files adjust and add those that are not
electrical. Knows nothing of answers or beliefs.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from diag.circuit.kinds.base import Case, Fault
from diag.circuit.kinds.catalogue import kind_of
from diag.circuit.kinds.wires import Loom, subject_title, wire_label
from diag.circuit.network import Change, Network
from diag.knowledge import schema
from diag.knowledge.assemble import AnyPart, Knowledge, terminals_of
from diag.knowledge.names import filled
from diag.texts import t

__all__ = ["Able", "Cause", "Only", "derive_causes", "holds", "possible_faults"]

Only = tuple[tuple[str, frozenset[str]], ...]
"""Controls and the positions in which something is there; all must hold. Empty: always."""


@dataclass(frozen=True)
class Cause:
    """One fault hypothesis.

    `frequency` per thousand faults on this vehicle (after its history). `spread`: how far real cases
    stray from the modelled value, as a natural logarithm. `change` is None where nothing electrical
    shows; `electrical` is False for causes that only rules know. `shows`: chance that it is there at a
    moment; below 1 for one that comes and goes, which is else like the cause `of`. `only`: the positions of
    controls in which it is there; elsewhere the vehicle is as sound.
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
    only: Only = ()

    def there(self, positions: Mapping[str, str]) -> bool:
        """Whether it is there with the controls so; `positions` of all controls, those at rest too."""
        return holds(self.only, positions)


def holds(only: Only, positions: Mapping[str, str]) -> bool:
    """Whether the controls stand in positions that `only` wants; `positions` of all controls, at rest too."""
    return all(positions.get(control) in wanted for control, wanted in only)


def derive_causes(knowledge: Knowledge, network: Network) -> tuple[Cause, ...]:
    """All causes in a fixed order: parts, wires, those the circuit files add, those that come and go."""
    found: dict[str, Cause] = {}
    failing = _Failing(knowledge, network)
    for part_id, part in knowledge.parts.items():
        for cause in _causes(knowledge, part_id, part.kind, part.title, failing.faults(part_id)):
            found[cause.id] = cause
    for wire_id, wire in knowledge.wires.items():
        for cause in _causes(knowledge, wire_id, "wire", wire_label(wire, knowledge.parts), failing.faults(wire_id)):
            found[cause.id] = cause
    for note in knowledge.causes.values():
        found.update(_noted(knowledge, failing, note, found))
    for cause in list(found.values()):
        found.update(_at_times(knowledge, cause))
    return tuple(found.values())


@dataclass(frozen=True)
class Able:
    """One fault that a part or wire can have, derived by itself or not: its mode, and which of `ohm` and `factor`
    it takes."""

    mode: str
    takes: frozenset[str]


def possible_faults(knowledge: Knowledge, network: Network, subjects: Collection[str]) -> dict[str, Able]:
    """Every fault that these parts and wires can have, by the cause's id; those too seldom to be derived by
    themselves, and those that kinds.yaml does not give, are among them."""
    failing = _Failing(knowledge, network)
    return {
        f"{subject}.{fault.name}": Able(fault.mode, frozenset(v for mode, v in takes if mode == fault.mode))
        for subject in subjects
        if subject in knowledge.parts or subject in knowledge.wires
        for faults, takes in [failing.with_values(subject)]
        for fault in faults
    }


def _at_times(knowledge: Knowledge, cause: Cause) -> dict[str, Cause]:
    """A cause and its like that comes and goes: one change, so that one row of the table serves both."""
    mode = _modes_of(knowledge, cause.subject).get(cause.mode) if cause.kind != "added" else None
    if mode is None or mode.at_times is None or mode.shows >= 1 or not _stirs(knowledge, cause):
        return {}
    seldom = replace(
        cause,
        id=f"{cause.id}-at-times",
        title=t("{cause}, at times", cause=cause.title),
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


def _noted(
    knowledge: Knowledge, failing: _Failing, note: schema.CauseNote, found: Mapping[str, Cause]
) -> dict[str, Cause]:
    subject, mode = note.id.split(".", 1)
    remedy = f"{subject}.{note.remedy}" if note.remedy in knowledge.kinds.remedies else note.remedy
    like = found.get(note.like) if note.like is not None else None
    change, spread = (like.change, like.spread) if like is not None else (None, _SPREAD)
    if note.like is not None and (note.ohm is not None or note.factor is not None):
        change = failing.change(note.like, note.ohm, note.factor)
    own = note.ohm is not None or note.factor is not None or note.spread is not None or bool(note.while_)
    spread = spread if note.spread is None else note.spread
    wanted = {control: frozenset(positions) for control, positions in note.while_.items()}
    only = tuple(sorted((dict(like.only if like is not None else ()) | wanted).items(), key=lambda pair: pair[0]))
    if note.id in found:
        cause = found[note.id]
        factor = note.frequency if note.frequency is not None else 1.0
        adjusted = replace(
            cause,
            frequency=cause.frequency * factor,
            title=note.title or cause.title,
            remedy=remedy or cause.remedy,
        )
        return {note.id: replace(adjusted, change=change, spread=spread, only=only) if own else adjusted}
    return {
        note.id: Cause(
            note.id,
            subject,
            "added",
            mode,
            note.title or f"{subject_title(knowledge, subject)}: {mode.replace('-', ' ')}",
            remedy or f"{subject}.put-right",
            note.frequency or 1.0,
            spread,
            change,
            False,
            only=only,
        )
    }


_SPREAD = 0.05
"""Of an added cause that nothing else is said of, as in kinds.yaml."""


def _sort_of(knowledge: Knowledge, subject: str) -> schema.PartSort | None:
    part = knowledge.parts.get(subject)
    return knowledge.kinds.sorts.get(part.sort) if part is not None and part.sort is not None else None


def _modes_of(knowledge: Knowledge, subject: str) -> Mapping[str, schema.Mode]:
    """How a part or wire fails: as its kind does, and as its sort does."""
    part, sort = knowledge.parts.get(subject), _sort_of(knowledge, subject)
    modes = knowledge.kinds.kinds.get(part.kind if part is not None else "wire", {})
    if sort is None:
        return modes
    return {**{name: mode for name, mode in modes.items() if name not in sort.without}, **sort.modes}


class _Failing:
    """The parts and wires of one vehicle, about to fail as kinds.yaml says or with a value of their own."""

    def __init__(self, knowledge: Knowledge, network: Network) -> None:
        self._knowledge, self._network = knowledge, network
        self._loom = Loom(knowledge, network, knowledge.kinds.kinds.get("wire", {}))

    def faults(self, subject: str) -> list[Fault]:
        """Every way in which a part or wire fails, those that are only `asked` for left out."""
        every = self.with_values(subject)[0]
        sort = _sort_of(self._knowledge, subject)
        own = sort.modes if sort is not None else {}
        usual = [fault for fault in every if not fault.asked or fault.mode in own]
        for name, mode in own.items():
            like = mode.like or name
            if like != name:
                shown = self.with_values(subject, mode.ohm, mode.factor)[0]
                usual += [_called(fault, name) for fault in shown if fault.mode == like]
        return usual

    def with_values(
        self, subject: str, ohm: float | None = None, factor: float | None = None
    ) -> tuple[list[Fault], set[tuple[str, str]]]:
        """The same with those, at this resistance and factor where given; and which mode takes which value."""
        if subject in self._knowledge.wires:
            return list(self._loom.faults(subject, ohm)), self._loom.takes
        part = self._knowledge.parts[subject]
        kind, vehicle = kind_of(part), self._knowledge.vehicle
        modes, positive = _modes_of(self._knowledge, subject), vehicle.earth == "positive"
        case = Case(self._network, subject, vehicle.system_v, positive, modes, self._knowledge.controls, ohm, factor)
        return [*kind.faults(case, part), *_swaps(case, part)], case.takes

    def change(self, cause: str, ohm: float | None, factor: float | None) -> Change | None:
        """What a fault with a value of its own does; None where there is no such fault."""
        subject, name = cause.split(".", 1)
        if subject not in self._knowledge.parts and subject not in self._knowledge.wires:
            return None
        faults, _ = self.with_values(subject, ohm, factor)
        return next((fault.change for fault in faults if fault.name == name), None)


def _called(fault: Fault, mode: str) -> Fault:
    """The same as a mode of another name."""
    return replace(fault, name=mode + fault.name.removeprefix(fault.mode), mode=mode, asked=False)


def _swaps(case: Case, part: AnyPart) -> Iterator[Fault]:
    """Wires on each other's terminals."""
    kind = kind_of(part)
    if kind.swaps is None:
        return
    wired = [terminal for terminal in terminals_of(part) if case.network.wires_at(case.node(terminal))]
    pairs = [(a, b) for a, b in combinations(wired, 2) if kind.swaps(part, a, b)]
    for a, b in pairs:
        change = Change(swap=((case.node(a), case.node(b)),))
        detail = t(" {spelled} and {spelled_2}", spelled=part.spelled(a), spelled_2=part.spelled(b))
        # the frequency is the part's, not the pair's
        yield Fault(f"swapped-{a}-{b}", "swapped", change, detail, len(pairs))


def _causes(knowledge: Knowledge, subject: str, kind: str, label: str, faults: Iterable[Fault]) -> Iterator[Cause]:
    """Those faults whose mode kinds.yaml gives, with how often they are met on this vehicle."""
    modes = _modes_of(knowledge, subject)
    rewired = knowledge.vehicle.history == "rewired"
    for fault in faults:
        form = modes.get(fault.mode)
        if form is None:
            continue
        placed = "{" in form.title
        title = (
            filled(form.title, {"part": label, "detail": fault.detail})
            if placed
            else f"{label}: {form.title}{fault.detail}"
        )
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
