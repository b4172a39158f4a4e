"""The vehicles on which knowledge is looked over: those of the files, and small invented ones that have just one
circuit, once for each choice of its options.

What does not hold is told and cut out, so that one mistake hides no other. Knows nothing of rules' meaning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from diag.circuit.doubts import cause_problems
from diag.circuit.faults import derive_causes
from diag.circuit.parts import build_network
from diag.errors import Problem
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, Source
from diag.knowledge.crossref import crossref
from diag.knowledge.lint import check_causes
from diag.knowledge.load import fitted_on
from diag.knowledge.reader import Marked
from diag.review.shelf import ReviewShelf
from diag.texts import t

__all__ = ["Fitted", "fit", "invented", "small_vehicle", "vehicle_paths"]

_ROUNDS = 8
_HARMLESS = frozenset({
    "unknown-place", "unknown-caution", "unknown-colour", "unknown-conclusion", "lost-conclusion", "unknown-rule",
    "unknown-cause", "unknown-sort", "unknown-mode", "idle-value", "given-twice", "at-rest",
    "unknown-circuit", "unknown-option", "unknown-choice", "usual-shares", "limits-swapped", "wrong-prefix",
    "no-successor", "misread-shares", "duplicate-id", "ring", "bad-override", "controls-disagree", "no-remedy",
})  # fmt: skip
"""Mistakes with which the rest can be looked over as it stands."""


@dataclass(frozen=True)
class Fitted:
    """What is known of a vehicle, as far as it holds. `causes`: those that its parts and wires can have (None where
    they cannot be worked out). `remedies`: every one by id, written or
    by kind. `problems`: what does not hold."""

    name: str
    knowledge: Knowledge
    causes: frozenset[str] | None
    remedies: frozenset[str]
    problems: tuple[Problem, ...]


def vehicle_paths(shelf: ReviewShelf) -> dict[str, Path]:
    """Vehicle files of all layers by file name; the highest layer's counts."""
    return {
        path.name: path
        for layer in shelf.layers
        for path in sorted((layer.folder / "vehicles").glob("*.yaml"))
        if path.is_file()
    }


def invented(shelf: ReviewShelf, circuits: Iterable[str]) -> Iterator[Source[schema.VehicleFile]]:
    """For each circuit small vehicles that have it: one as it usually is, with those it speaks of where they are
    fitted; one without them; one for each other choice of its options."""
    known = set(shelf.circuit_names())
    for circuit in circuits:
        source = shelf.read(f"circuits/{circuit}.yaml", schema.CircuitFile, [], expect=circuit)
        if source is None:
            continue
        beside = [name for name in source.model.beside if name in known]
        yield small_vehicle([circuit, *beside], {})
        if beside:
            yield small_vehicle([circuit], {})
        options = source.model.options
        usual = {name: next(iter(option.choices)) for name, option in options.items()}
        for name, option in options.items():
            for choice in list(option.choices)[1:]:
                chosen = {**usual, name: choice}
                if all(chosen[one] in other.possible(chosen) for one, other in options.items()):
                    yield small_vehicle([circuit, *beside], {circuit: {name: choice}})


def small_vehicle(circuits: list[str], options: Mapping[str, Any]) -> Source[schema.VehicleFile]:
    """An invented vehicle of 12 V with these circuits, and what they need."""
    spelt = ", ".join(f"{name}={value}" for chosen in options.values() for name, value in chosen.items())
    data = {
        "vehicle": "invented",
        "title": t("a vehicle with {circuits}", circuits=t(" and ").join(circuits)) + (f" ({spelt})" if spelt else ""),
        "system-v": "12 V",
        "earth": "negative",
        "history": "rewired",
        "circuits": circuits,
        "options": options,
    }
    model = schema.VehicleFile.model_validate(data, by_alias=True, by_name=False)
    return Source(model, Marked(t("(an invented vehicle)"), data, {}, {}))


def fit(shelf: ReviewShelf, car: Source[schema.VehicleFile]) -> Fitted | None:
    """What is known of a vehicle. What does not hold is cut out of the shelf's files, round by round, and what rested
    on it goes with it untold. None where nothing can be put together."""
    problems: list[Problem] = []
    first: Knowledge | None = None
    shelf.uncut()
    for turn in range(_ROUNDS):
        unread: list[Problem] = []
        fitted = fitted_on(shelf, car, unread)
        problems += [problem for problem in unread if not _rests_on(problem, shelf.lost) and problem not in problems]
        if fitted is None and unread:
            car = _with_known(shelf, car)
            fitted = fitted_on(shelf, car, [])
        if fitted is None:
            return None
        knowledge, outside, merging = fitted
        first = first or knowledge
        wrong = [shelf.by_cause(problem) for problem in (*merging, *crossref(knowledge, outside))]
        problems += [problem for problem in wrong if not _rests_on(problem, shelf.lost) and problem not in problems]
        broken = [problem for problem in wrong if problem.code not in _HARMLESS]
        if not broken or turn == _ROUNDS - 1 or not shelf.cut_out(problem.place for problem in broken):
            break
    causes, remedies, more = _causes(knowledge)
    if causes is not None and first is not None and first is not knowledge:
        more += check_causes(first, causes)  # what was cut out may name a wrong cause beside
    problems += [problem for problem in more if not _rests_on(problem, shelf.lost)]
    return Fitted(car.model.title, knowledge, causes, remedies, tuple(problems))


def _with_known(shelf: ReviewShelf, car: Source[schema.VehicleFile]) -> Source[schema.VehicleFile]:
    """The vehicle without circuits that no file describes."""
    known = {*shelf.circuit_names(), "supply", "shared"}
    circuits = tuple(name for name in car.model.circuits if name in known)
    return replace(car, model=car.model.model_copy(update={"circuits": circuits}))


def _causes(knowledge: Knowledge) -> tuple[frozenset[str] | None, frozenset[str], list[Problem]]:
    try:
        network = build_network(knowledge)
        every = derive_causes(knowledge, network)
    except (KeyError, ValueError, IndexError, StopIteration):  # a network of what is wrong beyond what could be cut
        return None, frozenset(), []
    causes = frozenset(cause.id for cause in every if cause.kind != "added")
    remedies = frozenset({*knowledge.remedies, *(cause.remedy for cause in every)})
    return causes, remedies, cause_problems(knowledge, network, causes)


def _rests_on(problem: Problem, lost: set[str]) -> bool:
    """Whether what is unknown is only unknown because it was left out."""
    if not problem.code.startswith("unknown-"):
        return False
    found = problem.found.strip("`")
    return found in lost or found.split(".")[0] in lost or any(half.split(".")[0] in lost for half in found.split("+"))
