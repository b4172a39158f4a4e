"""All that is known here at once: the vehicles within reach, their rules, and the recorded jobs that exercise them.

Knows where things live; nothing of a rule's state or of screens.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from diag.circuit.doubts import cause_problems
from diag.circuit.faults import derive_causes
from diag.circuit.parts import build_network
from diag.errors import DiagError, KnowledgeError, Problem
from diag.job.state import replay
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import SHIPPED, base_layer, installed_layers
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import Rule
from diag.life.index import indexed
from diag.life.jobs import JobFacts, closed_jobs
from diag.reason.engine import default_matcher
from diag.reason.reasoner import Reasoner
from diag.replay.jobs import Job, job_folders
from diag.review.run import review
from diag.talk.opening import cache_folder, known_vehicle
from diag.texts import t

__all__ = ["World", "gather", "jobs_beside"]


@dataclass
class World:
    """Vehicles by file, what is known of each, and the closed jobs of each. `first`: the vehicle asked about."""

    known: Mapping[Path, Knowledge]
    jobs: Mapping[Path, Sequence[Job]]
    problems: tuple[str, ...]
    """Files that could not be used, and why."""
    cache: Path | None = None
    own: tuple[Path, ...] = ()
    """Folders whose jobs belong to nobody else, and so prove nothing to others."""
    whole: Path | None = None
    """The rules folder that stands alone, else None."""
    _bare: dict[Path, Reasoner] = field(default_factory=dict)
    _wrong: dict[str, list[Problem]] = field(default_factory=dict)
    _mistakes: dict[str, list[Problem]] = field(default_factory=dict)

    @cached_property
    def rules(self) -> Mapping[str, Knowledge]:
        """Every rule's id with what is known of the first vehicle that has it."""
        out: dict[str, Knowledge] = {}
        for knowledge in self.known.values():
            for name in knowledge.rules:
                out.setdefault(name, knowledge)
        return out

    def rule(self, name: str) -> Rule:
        """A rule as the first vehicle that has it has it. Raises KeyError."""
        return self.rules[name].rules[name]

    @cached_property
    def facts(self) -> Mapping[Path, tuple[JobFacts, ...]]:
        """What the jobs of each vehicle say. Raises DiagError where the rule engine fails."""
        return {
            file: tuple(indexed(self.known[file], jobs, self.cache, lambda file=file: self.bare(file)))  # type: ignore[misc]
            for file, jobs in self.jobs.items()
        }

    @cached_property
    def by_rule(self) -> tuple[Mapping[str, tuple[JobFacts, ...]], Mapping[str, tuple[JobFacts, ...]]]:
        """Rules to the jobs in which they fired, and to their near misses, the nearest first."""
        fired: dict[str, list[JobFacts]] = {}
        near: dict[str, list[JobFacts]] = {}
        for one in (facts for several in self.facts.values() for facts in several):
            for rule in one.uses:
                fired.setdefault(rule, []).append(one)
            for rule in one.near:
                near.setdefault(rule, []).append(one)
        return (
            {rule: tuple(sorted(found, key=lambda f: f.name)) for rule, found in fired.items()},
            {rule: tuple(sorted(found, key=lambda f: (-f.near[rule], f.name))) for rule, found in near.items()},
        )

    @cached_property
    def job_names(self) -> frozenset[str]:
        """Of the jobs that are kept with the rules."""
        return frozenset(one.name for several in self.facts.values() for one in several if self.recorded(one))

    def bare(self, file: Path) -> Reasoner:
        """The reasoner of a vehicle without its network: rules alone."""
        if file not in self._bare:
            self._bare[file] = Reasoner(self.known[file], None, default_matcher())
        return self._bare[file]

    def cause_problems(self, knowledge: Knowledge) -> list[Problem]:
        """What is wrong with the causes that files name."""
        if knowledge.content_hash not in self._wrong:
            network = build_network(knowledge)
            derived = {cause.id for cause in derive_causes(knowledge, network)}
            self._wrong[knowledge.content_hash] = cause_problems(knowledge, network, derived)
        return self._wrong[knowledge.content_hash]

    def mistakes(self, rule: str) -> list[Problem]:
        """What a look over the rules finds wrong in an added rule, on every vehicle that they are looked over on. Of
        the shipped ones none: those are looked over before they are given out."""
        knowledge = self.rules[rule]
        if self.whole is not None or knowledge.layer_of.get(rule) in (None, SHIPPED):
            return []
        file = knowledge.places_of[rule].file
        if file not in self._mistakes:
            found = review(Path(file), compute=False)
            self._mistakes[file] = [one for one in found.problems if one.severity == "error"]
        begins = sorted(at.line for at in knowledge.places_of.values() if at.file == file)
        first = knowledge.places_of[rule].line
        after = next((line for line in begins if line > first), sys.maxsize)
        return [one for one in self._mistakes[file] if one.place.file == file and first <= one.place.line < after]

    def load_again(self) -> None:
        """Load every vehicle anew, as after a change of files. Raises KnowledgeError where one no longer does."""
        layers = installed_layers() if self.whole is None else (base_layer(self.whole),)
        for path in self.known:
            load_knowledge(path, layers=layers)

    def recorded(self, job: JobFacts) -> bool:
        """Whether a job is kept with the rules, so that whoever has them has it too."""
        return not any(Path(job.file).resolve().is_relative_to(folder.resolve()) for folder in self.own)

    def exercising(self, rule: str) -> dict[Path, list[Job]]:
        """The jobs in which a rule fired, by vehicle."""
        out: dict[Path, list[Job]] = {}
        for file, jobs in self.jobs.items():
            for job, facts in zip(jobs, self.facts[file], strict=True):
                if rule in facts.uses:
                    out.setdefault(file, []).append(job)
        return out


def jobs_beside(rules: Path) -> list[Path]:
    """The folders of recorded jobs that belong to a whole rules folder: beside it, as in a checkout, or in it."""
    folder = rules.resolve()
    return [found for found in (folder.parent / "transcripts", folder / "jobs") if found.is_dir()]


def gather(
    vehicles: Iterable[Path] = (),
    own: Iterable[Path] = (),
    rules: Path | None = None,
    cache: Path | None = None,
) -> World:
    """What is within reach: `vehicles` first, then those of every layer and those of the jobs.

    `own`: folders of jobs beside the recorded ones of every layer. `rules`: only this rules folder, with its own
    vehicles and jobs. Raises KnowledgeError where one of `vehicles` or the layers cannot be loaded, DiagError for a
    folder of jobs that is not there.
    """
    layers = installed_layers() if rules is None else (base_layer(rules),)
    own = tuple(own)
    recorded = [folder for _, folder in job_folders(layers)] if rules is None else jobs_beside(rules)
    jobs, problems = closed_jobs([*recorded, *own])
    known = {path.resolve(): load_knowledge(path, layers=layers) for path in vehicles}
    homes = {name: path for layer in layers for name, path in _vehicles(layer.folder).items()}
    by_vehicle: dict[Path, list[Job]] = {}
    for job in jobs:
        by_vehicle.setdefault(_vehicle_of(job, homes), []).append(job)
    for path in dict.fromkeys([*homes.values(), *by_vehicle]):
        if path in known:
            continue
        try:
            known[path] = load_knowledge(path, layers=layers)
        except KnowledgeError as error:
            lost = by_vehicle.pop(path, [])
            names = t("; its {count} jobs are left out", count=len(lost)) if lost else ""
            problems.append(
                t("{path}: this vehicle does not load{names}.\n{error}", path=path.name, names=names, error=error)
            )
    if not known:
        raise DiagError(
            "\n".join(problems)
            or t("{folder}: found no vehicle; expected `vehicles/NAME.yaml`.", folder=layers[0].folder)
        )
    return World(known, by_vehicle, tuple(problems), cache if cache is not None else cache_folder(), own, rules)


def _vehicles(folder: Path) -> dict[str, Path]:
    return {path.name: path.resolve() for path in sorted((folder / "vehicles").glob("*.yaml"))}


def _vehicle_of(job: Job, homes: Mapping[str, Path]) -> Path:
    """The vehicle file of a job: where it was, else the one of that name among the layers."""
    path = Path(job.vehicle_file)
    found = path if path.is_absolute() and path.exists() else homes.get(path.name)
    return (found or known_vehicle(replay(job.records))).resolve()
