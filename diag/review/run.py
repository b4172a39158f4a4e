"""Looks knowledge over: every file by itself, then all of it on vehicles, by recorded jobs, and by computation.

Everything is told at once, each thing once. Writes nothing.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diag.errors import DiagError, KnowledgeError, Place, Problem
from diag.job.records import Record
from diag.knowledge import schema
from diag.knowledge.alterations import load_alteration
from diag.knowledge.assemble import Knowledge, Source
from diag.knowledge.layers import SHIPPED, PackFile, PacksFile
from diag.knowledge.lint import warnings
from diag.knowledge.packing import stray_files
from diag.knowledge.reader import Marked
from diag.reason import jumpers, limited
from diag.reason.forward import limit_problems
from diag.replay.jobs import EXPECT
from diag.replay.outcome import fired_in
from diag.review.against import judge_directions, reasoner_of
from diag.review.codes import ON_EVERY_VEHICLE
from diag.review.cures import judge_cures
from diag.review.entries import judge_entries
from diag.review.expect import ExpectFile
from diag.review.fitting import Fitted, fit, invented, small_vehicle, vehicle_paths
from diag.review.life import judge_life
from diag.review.logic import judge_rules
from diag.review.recorded import Asked, bad_job, jobs_of, judge_expected, lone_files
from diag.review.salvage import salvage
from diag.review.shelf import ReviewShelf
from diag.review.slips import Slips
from diag.review.target import Target, target_of
from diag.talk.staged import POWER_STAYS_OFF
from diag.texts import t

__all__ = ["Review", "review"]

_BUILT_IN = frozenset({jumpers.CAUTION, limited.CAUTION, POWER_STAYS_OFF})
"""Cautions that the program itself gives."""
_SPANNING = ("kinds", "shared", "supply", "vocabulary")
_OF_CIRCUITS = ("circuit", *_SPANNING)


@dataclass(frozen=True)
class Review:
    """What was found. `problems` sorted by place; `files` looked over; `vehicles` it was looked over on; `jobs` that
    could be lived through."""

    title: str
    problems: tuple[Problem, ...]
    files: tuple[Path, ...]
    vehicles: tuple[str, ...]
    jobs: int
    only: frozenset[str] = frozenset()
    """Sorts that alone are told of; empty for all."""

    @property
    def errors(self) -> int:
        """How many problems are errors; the others are warnings."""
        return sum(problem.severity == "error" for problem in self.problems)


def review(
    path: Path | None,
    *,
    compute: bool = True,
    cache: Path | None = None,
    progress: Callable[[float], None] | None = None,
) -> Review:
    """Look over what `target_of` makes of a path. `compute`: whether the network is asked which way rules point;
    `cache`: where its tables are kept; `progress`: told the share done, 0 to 1. Raises DiagError where there is
    nothing to read."""
    return _Run(target_of(path), compute, cache, progress or (lambda share: None)).review()


@dataclass
class _Heard:
    """What is only a slip where every vehicle that has the entry shows it."""

    problem: Problem
    entry: str
    times: int = 0


@dataclass
class _Run:
    target: Target
    compute: bool
    cache: Path | None
    progress: Callable[[float], None]
    problems: list[Problem] = field(default_factory=list)
    heard: dict[tuple[Place, str, str], _Heard] = field(default_factory=dict)
    expected: dict[Path, tuple[Marked, ExpectFile]] = field(default_factory=dict)
    never: set[str] = field(default_factory=set)
    """Rules that cannot fire."""
    seen_on: dict[str, int] = field(default_factory=dict)
    """Entry to the number of vehicles that have it."""

    def __post_init__(self) -> None:
        self.shelf = ReviewShelf(self.target.layers, self.target.instead)
        self.mine = {str(path) for path in self.target.files}
        self.fitted: dict[str, Fitted] = {}

    # ------------------------------------------------------------ the whole

    def review(self) -> Review:
        self.problems += self.target.problems
        for path, sort in self.target.files.items():
            self._file(path, sort)
        for layer in self.target.layers:
            its = any(layer.folder in path.parents for path in self.target.files)
            if self.target.whole and layer.origin != SHIPPED and its:
                self.problems += stray_files(layer.folder)
        self.progress(0.05)
        self._vehicles()
        jobs = self._jobs()
        if self.compute:
            self._computed()
        self.progress(1.0)
        self.problems += self.shelf.told
        self.problems += self._replaced_in_vain()
        self.problems += [
            found.problem for found in self.heard.values() if found.times >= self.seen_on.get(found.entry, 1)
        ]
        named = tuple(name for name, found in self.fitted.items() if found.knowledge.vehicle.vehicle != "invented")
        return Review(self.target.title, tuple(self._told()), tuple(self.target.files), named, jobs)

    def _told(self) -> list[Problem]:
        """Each thing once, by place; on vehicles of other volts the figures in a text may differ."""
        told: dict[tuple[Place, str, str], Problem] = {}
        for problem in self.problems:
            if problem.place.file in self.mine or not problem.place.file.endswith((".yaml", ".jsonl")):
                told.setdefault(
                    (problem.place, problem.code, problem.found if problem.code != "opposed" else ""), problem
                )
        return sorted(told.values())

    # ------------------------------------------------------------ one file

    def _file(self, path: Path, sort: str) -> None:
        models: dict[str, Any] = {"pack": PackFile, "packs": PacksFile, "expect": ExpectFile}
        if sort in ("circuit", *_SPANNING):
            self._of_shelf(path, sort)
        elif sort == "vehicle":
            self.shelf.vehicle(path)
        elif sort in models:
            found = salvage(path, models[sort])
            self.problems += found.problems
            if found.marked is not None and isinstance(found.model, ExpectFile):
                self.expected[path] = found.marked, found.model
            if found.whole is not None:
                self.problems += judge_entries(found.whole, sort)
        elif sort == "alteration":
            try:
                load_alteration(path)
            except KnowledgeError as error:
                self.problems += error.problems

    def _of_shelf(self, path: Path, sort: str) -> None:
        models: dict[str, type[Any]] = {
            "kinds": schema.KindsFile,
            "vocabulary": schema.VocabularyFile,
            "supply": schema.SupplyFile,
            "shared": schema.SharedFile,
        }
        expect = {"kinds": "", "vocabulary": ""}.get(sort, sort if sort in models else self._circuit(path))
        name = f"{sort}.yaml" if sort in models else f"circuits/{expect}.yaml"
        self.shelf.read(name, models.get(sort, schema.CircuitFile), [], expect)
        found = self.shelf.salvaged.get(path)
        if found is not None and found.whole is not None:
            self.problems += judge_entries(found.whole, sort)

    def _circuit(self, path: Path) -> str:
        """The circuit that a file adds to."""
        for name, other in self.target.instead.items():
            if other == path:
                return Path(name).stem
        return path.stem

    def _replaced_in_vain(self) -> Iterable[Problem]:
        """Entries that say what the one below says already."""
        for one in self.shelf.ledger.replaced:
            entries = [self.shelf.written(place, one.section, one.id) for place in (one.place, one.was)]
            if entries[0] is not None and entries[0] == entries[1]:
                yield Problem(
                    one.place,
                    t("this is the same as what it replaces"),
                    t("`{id}`, also at {was}", id=one.id, was=one.was),
                    t("an entry that differs"),
                    t("Take it away."),
                    "same-as-below",
                    "warning",
                )

    # ------------------------------------------------------------ on vehicles

    def _vehicles(self) -> None:
        paths = vehicle_paths(self.shelf)
        mine = {path for path, sort in self.target.files.items() if sort == "vehicle"}
        spanning = any(sort in _SPANNING for sort in self.target.files.values())
        circuits = [self._circuit(path) for path, sort in self.target.files.items() if sort == "circuit"]
        wanted = [*dict.fromkeys([*mine, *(path for path in paths.values() if spanning or path in mine)])]
        for path in sorted(wanted):
            car = self.shelf.vehicle(path)
            if car is not None:
                self._on(str(path), car)
        covered = {key for found in self.fitted.values() for key in _has(found.knowledge)}
        for car in invented(self.shelf, circuits):
            if not covered.issuperset(_chooses(car)):
                self._on(car.model.title, car)
        self.progress(0.3)

    def _on(self, name: str, car: Source[schema.VehicleFile]) -> None:
        found = fit(self.shelf, car)
        if found is None:
            return
        self.fitted[name] = found
        know = found.knowledge
        self.problems += found.problems
        self.problems += limit_problems(know)
        slips = Slips(know, self.mine.__contains__)
        self.never |= judge_rules(slips)
        judge_cures(slips, found.causes)
        self.problems += [one for one in slips.found if one.code not in ON_EVERY_VEHICLE]
        once = [one for one in slips.found if one.code in ON_EVERY_VEHICLE]
        slight = [one for one in warnings(know) if one.place.file in self.mine]
        slight = [one for one in slight if one.code != "unused-caution" or one.found.strip("`") not in _BUILT_IN]
        if self.shelf.lost:  # a wire may have gone with what is wrong
            slight = [one for one in slight if one.code not in ("bare-terminal", "lone-bundle")]
        self.problems += [one for one in slight if one.code not in ON_EVERY_VEHICLE]
        for entry in know.circuit_of:
            self.seen_on[entry] = self.seen_on.get(entry, 0) + 1
        self._hear(know, [*once, *(one for one in slight if one.code in ON_EVERY_VEHICLE)])

    def _hear(self, know: Knowledge, found: Iterable[Problem]) -> None:
        spots = sorted((place, name) for name, place in know.places_of.items())
        for problem in found:
            at = bisect_right(spots, (problem.place, "~")) - 1
            entry = spots[at][1] if at >= 0 else ""
            key = (problem.place, problem.code, problem.what)
            self.heard.setdefault(key, _Heard(problem, entry)).times += 1

    # ------------------------------------------------------------ recorded jobs

    def _jobs(self) -> int:
        """Every recorded job of the layers lived through by rules alone; the number that could be."""
        jobs, problems = jobs_of(self.target.layers)
        self.problems += problems
        self.problems += lone_files(self.target.files)
        looked = [Slips(found.knowledge, self.mine.__contains__) for found in self.fitted.values()]
        asked = Asked.of(looked)
        if not self.expected and not any(sort in _OF_CIRCUITS for sort in self.target.files.values()):
            return 0
        paths = vehicle_paths(self.shelf)
        fired: dict[str, frozenset[str]] = {}
        for number, (name, records) in enumerate(jobs.items()):
            found = self._vehicle_of(records, paths) if asked.in_job(name, records) else None
            if found is not None:
                try:
                    fired[name] = fired_in(found.knowledge, records)
                except (DiagError, ValueError) as error:
                    self.problems.append(bad_job(self.target.layers, name, str(error)))
            self.progress(0.3 + 0.2 * number / len(jobs))
        for path, (marked, expected) in self.expected.items():
            found = self._vehicle_of(jobs.get(path.name.removesuffix(EXPECT), ()), paths)
            if found is not None:
                self.problems += judge_expected(marked, expected, found)
        for slips in looked:
            slips.found.clear()
            judge_life(slips, jobs, fired, self.never)
            self.problems += slips.found
        return len(fired)

    def _vehicle_of(self, records: tuple[Record, ...], paths: dict[str, Path]) -> Fitted | None:
        """The vehicle that a job was recorded on, as it is known now."""
        name = Path(str(records[0].fields.get("vehicle-file", ""))).name if records else ""
        path = paths.get(name)
        if path is None:
            return None
        if str(path) not in self.fitted:
            car = self.shelf.vehicle(path)
            found = fit(self.shelf, car) if car is not None else None
            if found is None:
                return None
            self.fitted[str(path)] = found
        return self.fitted[str(path)]

    # ------------------------------------------------------------ the network

    def _computed(self) -> None:
        """Which way rules point, on small vehicles."""
        circuits = [self._circuit(path) for path, sort in self.target.files.items() if sort == "circuit"]
        own = [*invented(self.shelf, circuits)]
        cars = [*own, *self._spanned()]
        told: set[str] = set()
        for number, car in enumerate(cars):
            fitted = fit(self.shelf, car)
            if fitted is None or fitted.causes is None or any(p.code == "missing-key" for p in fitted.problems):
                continue  # what cannot be computed with is told
            slips = Slips(fitted.knowledge, self.mine.__contains__)
            about = {"shared", "supply"} if number >= len(own) else {car.model.circuits[0]}
            rules = (name for name in fitted.knowledge.rules if fitted.knowledge.circuit_of[name] in about)
            new = set(slips.owned(rules)) - told
            if new:
                progress = self._part(0.5, 1.0, number, len(cars))
                judge_directions(slips, reasoner_of(slips, self.cache, progress), new)
                self.problems += slips.found
                told |= new

    def _part(self, start: float, end: float, number: int, count: int) -> Callable[[float], None]:
        """Progress of one of several parts of the work between two shares."""
        return lambda done: self.progress(start + (end - start) * (number + done) / count)

    def _spanned(self) -> list[Source[schema.VehicleFile]]:
        """A vehicle for rules that span circuits, with all that they look at: what is usual there depends on what there
        is beside."""
        names: set[str] = set()
        for found in self.fitted.values():
            know = found.knowledge
            for rule in know.circuits["shared"].rules:
                if know.spots.place(rule.id).file in self.mine:
                    names |= {know.circuit_of.get(condition.check or "", "") for condition in rule.when}
        names -= {"", "supply", "shared"}
        return [small_vehicle(sorted(names), {})] if names else []


def _has(know: Knowledge) -> Iterable[tuple[str, ...]]:
    for circuit, file in know.circuits.items():
        yield (circuit,)
        for name, option in file.options.items():
            yield circuit, name, know.vehicle.options.get(circuit, {}).get(name, next(iter(option.choices)))


def _chooses(car: Source[schema.VehicleFile]) -> set[tuple[str, ...]]:
    chosen = {(circuit, name, value) for circuit, told in car.model.options.items() for name, value in told.items()}
    return chosen | {(car.model.circuits[0],)}
