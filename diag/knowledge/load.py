"""Loads everything known of a vehicle from its file and the rules folder, or says all that is wrong.

Must not know of circuits' equations, questions or screens.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge import schema
from diag.knowledge.additions import Ledger, Replaced, lay_circuit, lay_kinds
from diag.knowledge.assemble import KIND_BY_SECTION, Knowledge, Source, assemble
from diag.knowledge.crossref import crossref
from diag.knowledge.folders import rules_folder
from diag.knowledge.layers import LEARNED, SHIPPED, WAY_OUT, Layer, base_layer, installed_layers
from diag.knowledge.learned import read_learned
from diag.knowledge.names import nearest, quoted
from diag.knowledge.omit import Outside
from diag.knowledge.reader import Marked, read_yaml
from diag.knowledge.taught import taught
from diag.knowledge.translate import validate
from diag.knowledge.variants import MAPPINGS
from diag.texts import t

__all__ = [
    "Shelf",
    "check_layers",
    "circuit_names",
    "default_kinds",
    "default_vehicle",
    "fitted_on",
    "load_circuits",
    "load_knowledge",
    "lone",
    "rules_folder",
    "stacked",
]

M = TypeVar("M", bound=BaseModel)


def default_vehicle() -> Path:
    """The file of the demonstration vehicle."""
    return rules_folder() / "vehicles" / "demo-pickup.yaml"


def circuit_names(rules: Path) -> list[str]:
    """Ids of all circuits that have a file in a rules folder, sorted."""
    return sorted(path.stem for path in (rules / "circuits").glob("*.yaml"))


def load_circuits(rules: Path | None = None, layers: Sequence[Layer] | None = None) -> dict[str, schema.CircuitFile]:
    """All circuits as the files of these layers say (see `load_knowledge`), `supply` first, for no vehicle in
    particular. Raises KnowledgeError with every problem."""
    shelf = Shelf(stacked(rules, layers))
    problems: list[Problem] = []
    read: dict[str, Source[Any] | None] = {}
    read["supply"] = shelf.read("supply.yaml", schema.SupplyFile, problems, expect="supply")
    for name in shelf.circuit_names():
        read[name] = shelf.read(f"circuits/{name}.yaml", schema.CircuitFile, problems, expect=name)
    problems += shelf.ledger.problems
    if problems:
        raise shelf.error(problems)
    return {name: source.model for name, source in read.items() if source is not None}


def check_layers(layers: Sequence[Layer]) -> tuple[tuple[Replaced, ...], list[Problem]]:
    """What the layers above the lowest replace, and what is wrong with their files, for no vehicle in particular:
    shape, ids and conflicts, of every circuit that they touch. References between circuits are not looked at."""
    shelf = Shelf(layers)
    problems: list[Problem] = []
    shelf.read("kinds.yaml", schema.KindsFile, problems)
    shelf.read("supply.yaml", schema.SupplyFile, problems, expect="supply")
    shelf.read("shared.yaml", schema.SharedFile, problems, expect="shared")
    for name in sorted({name for layer in layers[1:] for name in circuit_names(layer.folder)}):
        shelf.read(f"circuits/{name}.yaml", schema.CircuitFile, problems, expect=name)
    return tuple(shelf.ledger.replaced), list(dict.fromkeys(problems + shelf.ledger.problems))


def load_knowledge(vehicle: Path, rules: Path | None = None, layers: Sequence[Layer] | None = None) -> Knowledge:
    """Read, validate and join the vehicle's file and all it names, from every layer of this machine.

    `layers`: these instead, lowest first. `rules`: a whole rules folder in place of the shipped one; without
    `layers` it stands alone. Raises KnowledgeError with every problem.
    """
    shelf = Shelf(stacked(rules, layers))
    problems: list[Problem] = []
    fitted = fitted_on(shelf, _read(vehicle, schema.VehicleFile, problems), problems)
    if problems or fitted is None:
        raise shelf.error(problems)
    knowledge, outside, merging = fitted
    problems = merging or crossref(knowledge, outside)  # after a failed merge every reference would be told twice
    if problems:
        raise shelf.error(problems)
    for layer in knowledge.layers:
        if layer.origin == LEARNED:
            knowledge = taught(knowledge, read_learned(layer.folder / "learned.yaml"))
    return knowledge


def fitted_on(
    shelf: Shelf, car: Source[schema.VehicleFile] | None, problems: list[Problem]
) -> tuple[Knowledge, Outside, list[Problem]] | None:
    """What is known of a vehicle from the files of a shelf, with what other circuits define and what went wrong in
    putting it together; None where a file could not be read. What is wrong with files goes into `problems`; whether
    references hold is not looked at."""
    vocabulary = shelf.read("vocabulary.yaml", schema.VocabularyFile, problems)
    kinds = shelf.read("kinds.yaml", schema.KindsFile, problems)
    supply = shelf.read("supply.yaml", schema.SupplyFile, problems, expect="supply")
    shared = shelf.read("shared.yaml", schema.SharedFile, problems, expect="shared")
    circuits = _circuits(car, shelf, problems) if car else []
    problems += shelf.ledger.problems
    if problems or not (vocabulary and kinds and supply and shared and car):
        return None
    every: list[Source[Any]] = [supply, *circuits, shared]
    absent = _skimmed(every, shelf)
    outside = _outside(every, absent)
    beside = {
        source.model.circuit: _outside(every, {name: absent[name] for name in source.model.beside if name in absent})
        for source in every
        if source.model.beside
    }
    knowledge, merging = assemble(car, kinds, vocabulary, supply, every, outside, beside, shelf.added_ids(every))
    laid = replace(
        knowledge,
        layers=tuple(shelf.layers),
        layer_of=shelf.layer_of(knowledge),
        replaced=tuple(shelf.ledger.replaced),
    )
    return laid, outside, merging


def stacked(rules: Path | None, layers: Sequence[Layer] | None) -> tuple[Layer, ...]:
    """The layers of one load, lowest first: `rules` in place of the shipped ones, `layers` in place of the installed.

    Raises KnowledgeError.
    """
    if rules is None and layers is None:
        return installed_layers()
    if rules is not None and not rules.is_dir():
        raise KnowledgeError(
            [
                Problem(
                    Place(str(rules)),
                    t("there is no such rules folder"),
                    "",
                    t("a folder with `vocabulary.yaml`, `kinds.yaml` and `supply.yaml`"),
                    t("Check its name."),
                    code="unreadable",
                )
            ]
        )
    above = [layer for layer in layers or () if layer.origin != SHIPPED]
    base = [layer for layer in layers or () if layer.origin == SHIPPED and rules is None]
    return (*(base or [base_layer(rules)]), *above)


class Shelf:
    """The files of all layers, each joined with those of its name below it."""

    def __init__(self, layers: Sequence[Layer]) -> None:
        self.layers = layers
        self._by_file: dict[str, Layer] = {}
        self.ledger = Ledger(self._by_file)

    def circuit_names(self) -> list[str]:
        """Ids of all circuits that some layer has, sorted."""
        return sorted({name for layer in self.layers for name in circuit_names(layer.folder)})

    def paths(self, name: str) -> list[tuple[Layer, Path]]:
        """Where a file of this name is; the lowest layer has it though it be missing."""
        found = [(layer, layer.folder / name) for layer in self.layers]
        return [(layer, path) for layer, path in found if path.is_file()] or found[:1]

    def read(self, name: str, model: type[M], problems: list[Problem], expect: str = "") -> Source[M] | None:
        """A file of the lowest layer that has it, with what higher layers add to it or replace; the vocabulary is the
        lowest layer's alone."""
        (first, path), *above = self.paths(name)
        above = [] if model is schema.VocabularyFile else above
        self._by_file[str(path)] = first
        if expect and first.origin != SHIPPED and (told := lone(path, self.circuit_names())):
            problems += told
            return None
        lowest = _read(path, model, problems, expect)
        if lowest is None or not above:
            return lowest
        marked, sound = lowest.marked, True
        for layer, path in above:
            self._by_file[str(path)] = layer
            upper, mistakes = _upper(path, marked, expect)
            problems += mistakes
            if upper is None:
                sound = False
            elif issubclass(model, schema.CircuitFile):
                marked = lay_circuit(marked, upper, self.ledger)
            else:
                marked = lay_kinds(marked, upper, self.ledger)
        found, mistakes = validate(model, marked) if sound else (None, [])
        problems += mistakes
        return None if found is None else Source(found, marked)

    def error(self, problems: list[Problem]) -> KnowledgeError:
        """The problems, with the way round them where layers that can be left out had a part in this: what they
        replace may be missed in a file below."""
        problems = [self.by_cause(problem) for problem in problems]
        above = any(layer.origin != SHIPPED for layer in self._by_file.values())
        return KnowledgeError(problems, WAY_OUT if above else "")

    def by_cause(self, problem: Problem) -> Problem:
        """A conclusion that is missed below is told where the rule stands that no longer draws it."""
        word = problem.found.strip("`")
        at = self.ledger.unsaid.get(word)
        if at is None or self._by_file.get(problem.place.file) is self._by_file[at.file]:
            return problem
        return Problem(
            at,
            t("the rule that stands here in place of a lower one does not establish what that did"),
            t("{found}, used at {place}", found=problem.found, place=problem.place),
            t("a rule that establishes it"),
            t("Add `- {{establish: {word}}}` under `then`, or let a rule that stays establish it.", word=word),
            "lost-conclusion",
        )

    def added_ids(self, sources: Iterable[Source[Any]]) -> frozenset[str]:
        """Ids of all entries of these files that a layer above the shipped one gives."""
        found: set[str] = set()
        if all(layer.origin == SHIPPED for layer in self.layers):
            return frozenset()
        for marked in (source.marked for source in sources):
            for loc, place in marked.places.items():
                layer = self._by_file.get(place.file) if loc[-1:] == ("id",) else None
                if layer is not None and layer.origin != SHIPPED:
                    found.add(str(marked.get(loc)))
        return frozenset(found)

    def layer_of(self, knowledge: Knowledge) -> dict[str, str]:
        """Each id of the vehicle to the layer that gave it."""
        found = {}
        for name in knowledge.circuit_of:
            spot = knowledge.spots.bases.get(name)
            layer = self._by_file.get(spot[0].place(spot[1]).file) if spot is not None else None
            found[name] = layer.name if layer is not None else "vehicle"
        return found


def lone(path: Path, known: Sequence[str]) -> list[Problem]:
    """What is wrong with a file that adds to a circuit which no lower layer has."""
    try:
        marked = read_yaml(path)
    except KnowledgeError:
        return []  # told where it is read for good
    if "title" in marked.data:
        return []
    others = [name for name in known if name != path.stem]
    return [
        Problem(
            marked.place(("circuit",)),
            t("no layer below has this circuit to add to, and the file does not describe it whole"),
            quoted(path.stem),
            t("the name of a circuit that is there, or a file with a `title` and all parts"),
            nearest(path.stem, others),
            "unknown-circuit",
        )
    ]


def _upper(path: Path, lower: Marked, expect: str) -> tuple[Marked | None, list[Problem]]:
    """A file that adds to one of the same name in a lower layer, of which it need not repeat anything."""
    try:
        marked = read_yaml(path)
    except KnowledgeError as error:
        return None, error.problems
    default_kinds(marked)
    model: type[schema.Model] = schema.CircuitFile if expect else schema.KindsFile
    needed = {"title": lower.data.get("title")} if expect else {"kinds": {}, "remedies": {}}
    whole = Marked(marked.file, {**needed, **marked.data}, marked.places, marked.key_places)
    found, problems = validate(model, whole)
    if isinstance(found, schema.CircuitFile) and found.circuit != expect:
        problems.append(_other_name(marked, found.circuit, expect))
    return (None if problems else marked), problems


def _read(path: Path, model: type[M], problems: list[Problem], expect: str = "") -> Source[M] | None:
    stamp = _stamp(path)
    found, mistakes = _fresh(path, model, expect) if stamp is None else _kept(path, stamp, model, expect)
    problems += mistakes
    return found


Stamp = tuple[int, int, int]


def _stamp(path: Path) -> Stamp | None:
    """What changes when a shipped file does; None for any other file, which is always read again.

    Reading YAML takes most of the time of a load, and an alteration or a set of questions loads many times.
    """
    try:
        if not path.is_relative_to(_shipped()):
            return None
        status = path.stat()
    except (OSError, KnowledgeError):
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


@lru_cache(maxsize=1)
def _shipped() -> Path:
    return rules_folder()


@lru_cache(maxsize=128)
def _kept(path: Path, stamp: Stamp, model: type[M], expect: str) -> tuple[Source[M] | None, tuple[Problem, ...]]:
    return _fresh(path, model, expect)


@lru_cache(maxsize=128)
def _skimmed_file(path: Path, stamp: Stamp) -> Any:
    return read_yaml(path).data


def _fresh(path: Path, model: type[M], expect: str) -> tuple[Source[M] | None, tuple[Problem, ...]]:
    try:
        marked = read_yaml(path)
    except KnowledgeError as error:
        return None, tuple(error.problems)
    default_kinds(marked)
    found, mistakes = validate(model, marked)
    if found is None:
        return None, tuple(mistakes)
    if isinstance(found, schema.CircuitFile) and found.circuit != expect:
        return None, (*mistakes, _other_name(marked, found.circuit, expect))
    return Source(found, marked), tuple(mistakes)


def _other_name(marked: Marked, found: str, expect: str) -> Problem:
    what = t("the circuit's name is not its file's")
    return Problem(
        marked.place(("circuit",)), what, quoted(found), f"`{expect}`", t("Make the two agree."), "wrong-file-name"
    )


def default_kinds(marked: Marked) -> None:
    """Under `fuses` and `earths` the kind goes without saying."""
    for block in _blocks(marked.data):
        for section, kind in KIND_BY_SECTION.items():
            for entry in _mapping(block.get(section)).values():
                if isinstance(entry, dict):
                    entry.setdefault("kind", kind)


def _circuits(car: Source[schema.VehicleFile], shelf: Shelf, problems: list[Problem]) -> list[Source[Any]]:
    """The circuits that the vehicle names, each followed by those it needs."""
    known = shelf.circuit_names()
    loaded: dict[str, Source[Any] | None] = {"supply": None, "shared": None}  # always there, so may be named

    def missing(name: str, marked: Marked, key: str, index: int) -> Problem:
        at = marked.place((key, index))
        return Problem(
            at,
            t("there is no such circuit"),
            quoted(name),
            t("a file `circuits/{name}.yaml`", name=name),
            f"{nearest(name, known)} {t('There are: {names}.', names=', '.join(known))}".strip(),
            code="unknown-circuit",
        )

    def take(names: Iterable[str], marked: Marked, key: str) -> None:
        for index, name in enumerate(names):
            if name in loaded:
                continue
            if name not in known:
                problems.append(missing(name, marked, key, index))
                continue
            source = shelf.read(f"circuits/{name}.yaml", schema.CircuitFile, problems, expect=name)
            loaded[name] = source
            if source is not None:
                take(source.model.needs, source.marked, "needs")
                problems.extend(
                    missing(other, source.marked, "beside", place)
                    for place, other in enumerate(source.model.beside)
                    if other not in known
                )

    take(car.model.circuits, car.marked, "circuits")
    return [source for source in loaded.values() if source is not None]


def _skimmed(fitted: list[Source[Any]], shelf: Shelf) -> dict[str, list[Any]]:
    """Content of the circuits that this vehicle does not have, from every layer.

    Their files are only skimmed: a mistake in a circuit that is not fitted must not stop the job.
    """
    skimmed: dict[str, list[Any]] = {}
    for name in sorted(set(shelf.circuit_names()) - {source.model.circuit for source in fitted}):
        for _, path in shelf.paths(f"circuits/{name}.yaml"):
            try:
                stamp = _stamp(path)
                content = read_yaml(path).data if stamp is None else _skimmed_file(path, stamp)
            except KnowledgeError:
                continue
            skimmed.setdefault(name, []).append(content)
    return skimmed


def _outside(fitted: list[Source[Any]], absent: Mapping[str, Sequence[Any]]) -> Outside:
    """What the `absent` circuits define that none of the fitted ones does."""
    if not absent:
        return Outside()

    def only_there(find: Callable[[Any], set[str]]) -> frozenset[str]:
        here = {name for source in fitted for block in _blocks(source.marked.data) for name in find(block)}
        there = {name for data in absent.values() for one in data for block in _blocks(one) for name in find(block)}
        return frozenset(there - here)

    return Outside(
        parts=only_there(lambda data: {name for section in MAPPINGS for name in _mapping(data.get(section))}),
        checks=only_there(lambda data: _ids(data, "checks")),
        words=only_there(_words),
        remedies=only_there(lambda data: _ids(data, "remedies")),
        cautions=only_there(lambda data: _ids(data, "cautions")),
        controls=only_there(lambda data: set(_mapping(data.get("controls")))),
    )


def _blocks(data: Any) -> list[dict[str, Any]]:
    """A file's own sections and those of its variants."""
    return [_mapping(data), *(_mapping(variant) for variant in _list(_mapping(data).get("variants")))]


def _mapping(found: Any) -> dict[str, Any]:
    return found if isinstance(found, dict) else {}


def _list(found: Any) -> list[Any]:
    return found if isinstance(found, list) else []


def _ids(data: Any, section: str) -> set[str]:
    return {str(_mapping(entry).get("id")) for entry in _list(data.get(section))}


def _words(data: Any) -> set[str]:
    return {
        str(_mapping(effect)["establish"])
        for rule in _list(data.get("rules"))
        for effect in _list(_mapping(rule).get("then"))
        if "establish" in _mapping(effect)
    }
