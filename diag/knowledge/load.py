"""Loads everything known of a vehicle from its file and the rules folder, or says all that is wrong.

Must not know of circuits' equations, questions or screens.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge import schema
from diag.knowledge.assemble import KIND_BY_SECTION, Knowledge, Source, assemble
from diag.knowledge.crossref import crossref
from diag.knowledge.names import nearest, quoted
from diag.knowledge.omit import Outside
from diag.knowledge.reader import Marked, read_yaml
from diag.knowledge.translate import validate
from diag.knowledge.variants import MAPPINGS

__all__ = ["circuit_names", "default_vehicle", "load_circuits", "load_knowledge", "rules_folder"]

M = TypeVar("M", bound=BaseModel)
_PACKAGE = Path(__file__).resolve().parent.parent


def rules_folder() -> Path:
    """The folder of shipped knowledge: inside an installed package, or at the top of a checkout.

    Raises KnowledgeError if neither is there.
    """
    candidates = (_PACKAGE / "_rules", _PACKAGE.parent / "rules")
    for folder in candidates:  # the package's own first: beside an installed one `rules` may be anybody's
        if (folder / "vocabulary.yaml").is_file():
            return folder
    raise KnowledgeError(
        [
            Problem(
                Place(str(candidates[-1])),
                "the shipped rules are missing",
                "",
                "a folder with `vocabulary.yaml`",
                "Install the program again.",
                code="unreadable",
            )
        ]
    )


def default_vehicle() -> Path:
    """The file of the demonstration vehicle."""
    return rules_folder() / "vehicles" / "demo-pickup.yaml"


def circuit_names(rules: Path) -> list[str]:
    """Ids of all circuits that have a file in a rules folder, sorted."""
    return sorted(path.stem for path in (rules / "circuits").glob("*.yaml"))


def load_circuits(rules: Path) -> dict[str, schema.CircuitFile]:
    """All circuits of a rules folder as their files say, `supply` first, for no vehicle in particular. Raises
    KnowledgeError with every problem."""
    problems: list[Problem] = []
    read: dict[str, Source[Any] | None] = {}
    read["supply"] = _read(rules / "supply.yaml", schema.SupplyFile, problems, expect="supply")
    for name in circuit_names(rules):
        read[name] = _read(rules / "circuits" / f"{name}.yaml", schema.CircuitFile, problems, expect=name)
    if problems:
        raise KnowledgeError(problems)
    return {name: source.model for name, source in read.items() if source is not None}


def load_knowledge(vehicle: Path, rules: Path | None = None) -> Knowledge:
    """Read, validate and join the vehicle's file and all it names. Raises KnowledgeError with every problem."""
    folder = rules_folder() if rules is None else rules
    if not folder.is_dir():
        raise KnowledgeError(
            [
                Problem(
                    Place(str(folder)),
                    "there is no such rules folder",
                    "",
                    "a folder with `vocabulary.yaml`, `kinds.yaml` and `supply.yaml`",
                    "Check its name.",
                    code="unreadable",
                )
            ]
        )
    problems: list[Problem] = []
    vocabulary = _read(folder / "vocabulary.yaml", schema.VocabularyFile, problems)
    kinds = _read(folder / "kinds.yaml", schema.KindsFile, problems)
    supply = _read(folder / "supply.yaml", schema.SupplyFile, problems, expect="supply")
    shared = _read(folder / "shared.yaml", schema.SharedFile, problems, expect="shared")
    car = _read(vehicle, schema.VehicleFile, problems)
    circuits = _circuits(car, folder, problems) if car else []
    if problems or not (vocabulary and kinds and supply and shared and car):
        raise KnowledgeError(problems)
    every: list[Source[Any]] = [supply, *circuits, shared]
    absent = _skimmed(every, folder)
    outside = _outside(every, absent)
    beside = {
        source.model.circuit: _outside(every, {name: absent[name] for name in source.model.beside if name in absent})
        for source in every
        if source.model.beside
    }
    knowledge, merging = assemble(car, kinds, vocabulary, supply, every, outside, beside)
    problems = merging or crossref(knowledge, outside)  # after a failed merge every reference would be told twice
    if problems:
        raise KnowledgeError(problems)
    return knowledge


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
    _default_kinds(marked)
    found, mistakes = validate(model, marked)
    if found is None:
        return None, tuple(mistakes)
    if isinstance(found, schema.CircuitFile) and found.circuit != expect:
        wrong = Problem(
            marked.place(("circuit",)),
            "the circuit's name is not its file's",
            quoted(found.circuit),
            f"`{expect}`",
            "Make the two agree.",
            code="wrong-file-name",
        )
        return None, (*mistakes, wrong)
    return Source(found, marked), tuple(mistakes)


def _default_kinds(marked: Marked) -> None:
    """Under `fuses` and `earths` the kind goes without saying."""
    for block in _blocks(marked.data):
        for section, kind in KIND_BY_SECTION.items():
            for entry in _mapping(block.get(section)).values():
                if isinstance(entry, dict):
                    entry.setdefault("kind", kind)


def _circuits(car: Source[schema.VehicleFile], folder: Path, problems: list[Problem]) -> list[Source[Any]]:
    """The circuits that the vehicle names, each followed by those it needs."""
    known = circuit_names(folder)
    loaded: dict[str, Source[Any] | None] = {"supply": None, "shared": None}  # always there, so may be named

    def missing(name: str, marked: Marked, key: str, index: int) -> Problem:
        at = marked.place((key, index))
        return Problem(
            at,
            "there is no such circuit",
            quoted(name),
            f"a file `circuits/{name}.yaml`",
            nearest(name, known),
            code="unknown-circuit",
        )

    def take(names: Iterable[str], marked: Marked, key: str) -> None:
        for index, name in enumerate(names):
            if name in loaded:
                continue
            if name not in known:
                problems.append(missing(name, marked, key, index))
                continue
            source = _read(folder / "circuits" / f"{name}.yaml", schema.CircuitFile, problems, expect=name)
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


def _skimmed(fitted: list[Source[Any]], folder: Path) -> dict[str, Any]:
    """Content of the circuits that this vehicle does not have.

    Their files are only skimmed: a mistake in a circuit that is not fitted must not stop the job.
    """
    skimmed = {}
    for name in sorted(set(circuit_names(folder)) - {source.model.circuit for source in fitted}):
        try:
            path = folder / "circuits" / f"{name}.yaml"
            stamp = _stamp(path)
            skimmed[name] = read_yaml(path).data if stamp is None else _skimmed_file(path, stamp)
        except KnowledgeError:
            continue
    return skimmed


def _outside(fitted: list[Source[Any]], absent: Mapping[str, Any]) -> Outside:
    """What the `absent` circuits define that none of the fitted ones does."""
    if not absent:
        return Outside()

    def only_there(find: Callable[[Any], set[str]]) -> frozenset[str]:
        here = {name for source in fitted for block in _blocks(source.marked.data) for name in find(block)}
        return frozenset({name for data in absent.values() for block in _blocks(data) for name in find(block)} - here)

    return Outside(
        parts=only_there(lambda data: {name for section in MAPPINGS for name in _mapping(data.get(section))}),
        checks=only_there(lambda data: _ids(data, "checks")),
        words=only_there(_words),
        remedies=only_there(lambda data: _ids(data, "remedies")),
        cautions=only_there(lambda data: _ids(data, "cautions")),
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
