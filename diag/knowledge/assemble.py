"""Puts validated files together into one `Knowledge` of one vehicle: merged, overridden, indexed.

Must not read files (that is `load`) nor judge whether references hold (that is `crossref`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from diag.errors import Place, Problem
from diag.knowledge import schema
from diag.knowledge.adapt import adapted, stretched, without_amps, without_idle_taps
from diag.knowledge.additions import Replaced
from diag.knowledge.bridging import bridge_problem
from diag.knowledge.layers import Layer
from diag.knowledge.learned import Learned
from diag.knowledge.names import nearest, quoted, shown
from diag.knowledge.omit import Outside, joined, leave_out
from diag.knowledge.reader import Loc, Marked
from diag.knowledge.retitle import retitled
from diag.knowledge.translate import problems_of
from diag.knowledge.variants import LISTS as _LISTS
from diag.knowledge.variants import check_choices, vary
from diag.texts import t

__all__ = ["AnyPart", "Knowledge", "Source", "Spots", "assemble", "operate_key", "spelled_end", "terminals_of"]

M = TypeVar("M", bound=BaseModel)

AnyPart = schema.AnyPart

_SECTIONS: dict[str, tuple[str, TypeAdapter[Any]]] = {
    "parts": (t("part"), TypeAdapter(schema.Part)),
    "fuses": (t("fuse"), TypeAdapter(schema.FusePart)),
    "earths": (t("earth point"), TypeAdapter(schema.EarthPart)),
    "wires": (t("wire"), TypeAdapter(schema.Wire)),
}
KIND_BY_SECTION = {"fuses": "fuse", "earths": "earth"}
"""Sections whose entries need not say their kind."""


_DRAWS = frozenset({"test-w", "test-v", "current-a", "slow-a", "fast-a", "primary-ohm", "ohm", "fitted"})
"""Keys of an override that change the current of a circuit."""


def terminals_of(part: AnyPart) -> tuple[str, ...]:
    """Names of the terminals of a part, in the order of its kind or of its own list."""
    return part.terminal_names()


def spelled_end(parts: Mapping[str, AnyPart], end: str) -> str:
    """The terminal of a `part.terminal` as a person is told of it: what is stamped on the part comes first."""
    part_id, _, terminal = end.partition(".")
    return parts[part_id].spelled(terminal) if part_id in parts else terminal


def operate_key(operate: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """An operate as a sorted, hashable value."""
    return tuple(sorted(operate.items()))


@dataclass(frozen=True)
class Source(Generic[M]):
    """A validated file with the places of its content."""

    model: M
    marked: Marked
    homes: Mapping[tuple[str, str], Loc] = field(default_factory=dict)
    """(section, id) to where a variant of the circuit gives it."""


@dataclass(frozen=True)
class Spots:
    """Where each id stands; `place` finds keys and values inside it."""

    bases: Mapping[str, tuple[Marked, Loc]]
    changed: Mapping[str, tuple[Marked, Loc]]
    """Overrides of the vehicle, by id; what they hold hides what the circuit's file says."""
    files: Mapping[str, Marked]
    """Circuit id, `vehicle`, `kinds` and `vocabulary` to the file."""

    def place(self, name: str, *loc: str | int, key: bool = False) -> Place:
        """Place of `loc` inside the entry with this id."""
        for spots in (self.changed, self.bases):
            if name in spots:
                marked, base = spots[name]
                whole = (*base, *loc)
                if spots is self.bases or marked.path(whole)[len(base) :] == loc:
                    return marked.place(whole, key=key or not loc)
        return Place(self.files["vehicle"].file)


@dataclass(frozen=True, eq=False)
class Knowledge:
    """Everything known of one vehicle. Compared by identity; `content_hash` says whether two are the same."""

    vehicle: schema.VehicleFile
    kinds: schema.KindsFile
    vocabulary: schema.VocabularyFile
    controls: Mapping[str, tuple[str, ...]]
    """Positions of each control, rest position first."""
    places: Mapping[str, str]
    """Where a person stands or kneels: id to plain words."""
    circuits: Mapping[str, schema.CircuitFile]
    """By id, `supply` first and `shared` last; after the vehicle's overrides."""
    parts: Mapping[str, AnyPart]
    """Parts, fuses and earth points."""
    wires: Mapping[str, schema.Wire]
    checks: Mapping[str, schema.Check]
    symptoms: Mapping[str, schema.Symptom]
    rules: Mapping[str, schema.Rule]
    causes: Mapping[str, schema.CauseNote]
    remedies: Mapping[str, schema.Remedy]
    cautions: Mapping[str, schema.Caution]
    circuit_of: Mapping[str, str]
    """Id of any part, wire, check, symptom, rule, cause note, remedy or caution to its circuit."""
    places_of: Mapping[str, Place]
    """The same ids to where they stand."""
    terminals: tuple[str, ...]
    """Every `part.terminal`, in the order of the files."""
    several: frozenset[str]
    """Parts that have another form on other vehicles, so that not every fault named of them is one they can have."""
    content_hash: str
    """16 hex digits of the SHA-256 of the validated content, whatever the files' layout."""
    spots: Spots = field(repr=False)
    learned: Learned | None = field(default=None, repr=False)
    """What closed jobs taught, where it is used."""
    layers: tuple[Layer, ...] = ()
    """What it is made of, lowest first."""
    layer_of: Mapping[str, str] = field(default_factory=dict)
    """The ids of `circuit_of` to the name of the layer that gave them; `vehicle` for what only its own file has."""
    replaced: tuple[Replaced, ...] = ()
    """Entries of lower layers in whose place stand others, in the order in which they were laid."""

    def says(self, control: str, position: str) -> str | None:
        """How a person is told to put a control in a position, where a file says it."""
        said = (file.says.get(control, {}).get(position) for file in self.circuits.values())
        return next((words for words in said if words is not None), None)

    def bridge_problem(self, position: str) -> tuple[str, str] | None:
        """What is wrong with a jumper between two points, and how to mend it; None for a good one."""
        batteries = [name for name, part in self.parts.items() if isinstance(part, schema.BatteryPart)]
        return bridge_problem(position, self.terminals, batteries)


def assemble(
    vehicle: Source[schema.VehicleFile],
    kinds: Source[schema.KindsFile],
    vocabulary: Source[schema.VocabularyFile],
    supply: Source[schema.SupplyFile],
    circuits: list[Source[schema.CircuitFile]],
    outside: Outside,
    beside: Mapping[str, Outside] | None = None,
    added: Collection[str] = (),
) -> tuple[Knowledge, list[Problem]]:
    """One vehicle's knowledge, with the problems of merging: ids given twice, overrides that do not fit.

    `circuits` are all circuit files, supply first. `outside` names what circuits define that this
    vehicle does not have; what shared files say of them is left out. `beside`: the same of those circuits that
    a circuit's own `beside` names. `added`: ids that layers give, as in `leave_out`.
    """
    written = [source.model for source in circuits]
    problems = check_choices(vehicle.model, vehicle.marked, written)
    sources: dict[str, Source[schema.CircuitFile]] = {}
    unchosen, several = Outside(), frozenset[str]()
    for source in circuits:
        varied, mistakes = vary(source.model, source.marked, vehicle.model, written)
        problems += mistakes
        unchosen = joined(unchosen, varied.unchosen)
        several |= varied.several
        sources[source.model.circuit] = Source(varied.model, source.marked, varied.homes)
    files = _as_fitted(vehicle.model, sources)
    usual, otherwise = _titles(files), _other_loads(files, vehicle.model)
    changed, gone = _override(files, sources, vehicle, problems)
    # what the vehicle itself brings in is there, though only a variant that was not chosen has the name
    unchosen = replace(unchosen, parts=unchosen.parts - changed.keys())
    called = {usual[name]: title for name, title in _titles(files).items() if name in changed and name in usual}
    files = {name: retitled(file, called) for name, file in files.items()}
    unchosen = joined(unchosen, Outside(checks=_idle_checks(files, vehicle, problems)))
    files |= {name: without_amps(files[name]) for name in otherwise}
    files = without_idle_taps(leave_out(files, gone, outside, unchosen, beside, added))

    bases: dict[str, tuple[Marked, Loc]] = {}
    circuit_of: dict[str, str] = {}
    for circuit, section, name, loc in _ids(sources):
        marked = sources[circuit].marked
        if name in bases:
            first = bases[name][0].place(bases[name][1], key=True)
            problems.append(
                Problem(
                    marked.place((*loc, "id") if section in _LISTS else loc, key=section not in _LISTS),
                    t("the id `{name}` is given twice", name=name),
                    t("the first at {first}", first=first),
                    t("an id of its own for each thing"),
                    t("Give one of them another id."),
                    code="duplicate-id",
                )
            )
        else:
            bases[name] = marked, loc
            circuit_of[name] = circuit
    for name in changed:
        circuit_of.setdefault(name, "shared")
    spots = Spots(
        bases,
        changed,
        {
            **{name: source.marked for name, source in sources.items()},
            "vehicle": vehicle.marked,
            "kinds": kinds.marked,
            "vocabulary": vocabulary.marked,
        },
    )

    def by_id(section: str) -> dict[str, Any]:
        return {entry.id: entry for file in files.values() for entry in getattr(file, section)}

    parts: dict[str, AnyPart] = {}
    for file in files.values():
        parts |= {**file.parts, **file.fuses, **file.earths}
    wires = {name: wire for file in files.values() for name, wire in file.wires.items()}
    named: dict[str, Any] = {section: by_id(section) for section in _LISTS}
    fitted = {*parts, *wires, *(name for entries in named.values() for name in entries)}
    knowledge = Knowledge(
        vehicle.model,
        kinds.model,
        vocabulary.model,
        _controls(files, sources, problems),
        {**{n: words for file in files.values() for n, words in file.places.items()}, **vehicle.model.places},
        files,
        parts,
        wires,
        checks=named["checks"],
        symptoms=named["symptoms"],
        rules=named["rules"],
        causes=named["causes"],
        remedies=named["remedies"],
        cautions=named["cautions"],
        circuit_of={name: circuit for name, circuit in circuit_of.items() if name in fitted},
        places_of={name: spots.place(name) for name in circuit_of if name in fitted},
        terminals=tuple(f"{name}.{terminal}" for name, part in parts.items() for terminal in terminals_of(part)),
        several=several | set(vehicle.model.overrides.get("parts", {})),
        content_hash=_hash(vehicle.model, kinds.model, vocabulary.model, files),
        spots=spots,
    )
    return knowledge, problems


def _ids(sources: Mapping[str, Source[schema.CircuitFile]]) -> Iterator[tuple[str, str, str, Loc]]:
    for circuit, source in sources.items():
        for section in _SECTIONS:
            for name in getattr(source.model, section):
                yield circuit, section, name, source.homes.get((section, name), (section, name))
        for section in _LISTS:
            written = {name: index for index, name in enumerate(_written(source.marked, section))}
            for entry in getattr(source.model, section):
                yield circuit, section, entry.id, source.homes.get((section, entry.id)) or (section, written[entry.id])


def _written(marked: Marked, section: str) -> list[str]:
    """Ids of a list outside the variants, in the order of the file."""
    return [str(entry.get("id")) for entry in marked.data.get(section, ())]


def _as_fitted(
    vehicle: schema.VehicleFile, sources: Mapping[str, Source[schema.CircuitFile]]
) -> dict[str, schema.CircuitFile]:
    """The circuits at the vehicle's volts, polarity and size, before its overrides."""
    units = {check.id: check.unit or "" for source in sources.values() for check in source.model.checks}
    return {
        name: stretched(adapted(source.model, vehicle.system_v, vehicle.earth, units), vehicle.length_factor)
        for name, source in sources.items()
    }


def _other_loads(files: Mapping[str, schema.CircuitFile], vehicle: schema.VehicleFile) -> set[str]:
    """Circuits in which a lamp or load takes other amps than its circuit's file says."""
    other = {
        name
        for entries in vehicle.overrides.values()
        for name, entry in entries.items()
        if not _DRAWS.isdisjoint(entry)
    }
    return {circuit for circuit, file in files.items() if not other.isdisjoint(file.parts)}


def _titles(files: Mapping[str, schema.CircuitFile]) -> dict[str, str]:
    return {
        name: entry.title
        for file in files.values()
        for section in _SECTIONS
        for name, entry in getattr(file, section).items()
        if entry.title
    }


def _controls(
    files: Mapping[str, schema.CircuitFile],
    sources: Mapping[str, Source[schema.CircuitFile]],
    problems: list[Problem],
) -> dict[str, tuple[str, ...]]:
    """Controls of all circuits; two that name the same one must agree."""
    found: dict[str, tuple[str, ...]] = {}
    for circuit, file in files.items():
        for control, positions in file.controls.items():
            if found.setdefault(control, positions) != positions:
                problems.append(
                    Problem(
                        sources[circuit].marked.place(("controls", control), key=True),
                        t("another circuit gives the control `{control}` other positions", control=control),
                        ", ".join(positions),
                        ", ".join(found[control]),
                        t("Make the two agree, or give it another name."),
                        code="controls-disagree",
                    )
                )
    return found


def _hash(*models: Any) -> str:
    def plain(model: Any) -> Any:
        if isinstance(model, BaseModel):
            return model.model_dump(mode="json", by_alias=True)
        return {name: plain(inner) for name, inner in model.items()}

    content = json.dumps([plain(model) for model in models], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(content.encode()).hexdigest()[:16]


# ---------------------------------------------------------------- the vehicle's overrides


def _override(
    files: dict[str, schema.CircuitFile],
    sources: Mapping[str, Source[schema.CircuitFile]],
    vehicle: Source[schema.VehicleFile],
    problems: list[Problem],
) -> tuple[dict[str, tuple[Marked, Loc]], frozenset[str]]:
    """Merge overrides into `files`; returns where changed ids stand and the ids taken away."""
    changed: dict[str, tuple[Marked, Loc]] = {}
    gone: set[str] = set()
    for section, entries in vehicle.model.overrides.items():
        for name, entry in entries.items() if section != "checks" else ():
            at: Loc = ("overrides", section, name)
            owner = next((circuit for circuit, file in files.items() if name in getattr(file, section)), None)
            if owner is None and not _may_be_new(section, name, entry, files, vehicle.marked, problems):
                continue
            content = dict(getattr(files[owner or "shared"], section))
            if "fitted" in entry:
                if entry["fitted"] != "absent" or len(entry) > 1:
                    problems.append(
                        Problem(
                            vehicle.marked.place((*at, "fitted")),
                            t("`fitted` stands alone and is `absent`"),
                            shown(entry["fitted"]),
                            "`fitted: absent`",
                            t("Leave `fitted` out for what is there."),
                            code="bad-override",
                        )
                    )
                    continue
                gone.add(name)
                del content[name]
            else:
                original = content[name].model_dump(by_alias=True, exclude_unset=True) if owner else {}
                merged = _merged(section, original, entry)
                try:
                    content[name] = _SECTIONS[section][1].validate_python(merged, by_alias=True, by_name=False)
                except ValidationError as error:
                    problems += problems_of(error, _placer(vehicle.marked, at), _SECTIONS[section][1])
                    continue
                changed[name] = vehicle.marked, at
            files[owner or "shared"] = files[owner or "shared"].model_copy(update={section: content})
    return changed, frozenset(gone)


def _idle_checks(
    files: Mapping[str, schema.CircuitFile], vehicle: Source[schema.VehicleFile], problems: list[Problem]
) -> frozenset[str]:
    """Checks that make no sense on this vehicle, as its overrides say."""
    known = {check.id for file in files.values() for check in file.checks}
    gone = vehicle.model.overrides.get("checks", {})
    for name, entry in gone.items():
        at: Loc = ("overrides", "checks", name)
        if name not in known:
            what, found, expected = (
                t("no circuit of this vehicle has such a check"),
                quoted(name),
                t("the id of a check"),
            )
            problems.append(
                Problem(
                    vehicle.marked.place(at, key=True), what, found, expected, nearest(name, known), code="bad-override"
                )
            )
        elif dict(entry) != {"fitted": "absent"}:
            what = t("a check can only be taken away")
            problems.append(
                Problem(vehicle.marked.place(at), what, t("something else"), "`fitted: absent`", code="bad-override")
            )
    return frozenset(gone)


def _merged(section: str, original: Mapping[str, Any], entry: Mapping[str, Any]) -> dict[str, Any]:
    # A part of another kind shares no keys with the old one worth keeping.
    other_kind = "kind" in entry and entry["kind"] != original.get("kind")
    merged = dict(entry) if other_kind else {**original, **entry}
    if section in KIND_BY_SECTION:
        merged.setdefault("kind", KIND_BY_SECTION[section])
    return merged


def _placer(marked: Marked, at: Loc) -> Callable[..., Place]:
    def place(loc: Loc, *, key: bool = False) -> Place:
        return marked.place((*at, *loc), key=key)

    return place


def _may_be_new(
    section: str,
    name: str,
    entry: Mapping[str, Any],
    files: Mapping[str, schema.CircuitFile],
    marked: Marked,
    problems: list[Problem],
) -> bool:
    """Whether an override of an unknown id describes a new thing in full, and is not a slip of the pen."""
    word = _SECTIONS[section][0]
    needed = {"parts": "kind", "fuses": "rating-a", "earths": "title", "wires": "from"}[section]
    elsewhere = [
        other
        for other in _SECTIONS
        if other != section and any(name in getattr(file, other) for file in files.values())
    ]
    if needed in entry and "fitted" not in entry and not elsewhere:
        return True
    known = [other for file in files.values() for other in getattr(file, section)]
    mend = t("Move it under `{elsewhere}`.", elsewhere=elsewhere[0]) if elsewhere else nearest(name, known)
    problems.append(
        Problem(
            marked.place(("overrides", section, name), key=True),
            t("no {word} of this vehicle's circuits has this id", word=word),
            quoted(name),
            t("the id of a {word}, or a new one described in full", word=word),
            mend,
            code="bad-override",
        )
    )
    return False
