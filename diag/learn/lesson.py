"""All closed jobs of a folder counted, vehicle by vehicle: what they would teach, and on what it rests.

Opens vehicles and reads jobs; how a job is counted and what follows from it is known elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from diag.circuit.predict import Predictor
from diag.errors import DiagError, KnowledgeError
from diag.knowledge.folders import packs_left_out
from diag.knowledge.layers import LEARNED, WAY_OUT, Layer, base_layer, found_layers
from diag.knowledge.learned import Learned, LearningFile, learned_file
from diag.knowledge.load import load_knowledge
from diag.knowledge.taught import taught
from diag.learn.counting import Counts, Off, counts_of
from diag.learn.gather import Aside, Closed, Gathered
from diag.learn.tally import Known, Tallied, known_causes, learned_from
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.talk.opening import cache_folder, vehicle_finder
from diag.texts import t

__all__ = ["Group", "Lesson", "Names", "groups_of", "lesson_of", "published_reasoner", "with_lesson"]

Tell = Callable[[float], None]


@dataclass(frozen=True)
class Group:
    """Jobs on one vehicle file with the same left out: one reasoner does for all."""

    file: Path
    without: frozenset[str]
    jobs: tuple[Closed, ...]


@dataclass
class Names:
    """Words for what was counted: titles of causes, of parts and wires, of ways to fail, of vehicles."""

    causes: dict[str, str] = field(default_factory=dict)
    subjects: dict[str, str] = field(default_factory=dict)
    modes: dict[tuple[str, str], str] = field(default_factory=dict)
    circuits: dict[str, str] = field(default_factory=dict)
    vehicles: dict[str, str] = field(default_factory=dict)

    def take(self, reasoner: Reasoner) -> None:
        """Add those of one vehicle."""
        knowledge = reasoner.knowledge
        self.causes |= {cause.id: cause.title for cause in reasoner.causes}
        self.subjects |= {name: wire.title or name.replace("-", " ") for name, wire in knowledge.wires.items()}
        self.subjects |= {name: part.title for name, part in knowledge.parts.items()}
        self.modes |= {(k, m): mode.title for k, modes in knowledge.kinds.kinds.items() for m, mode in modes.items()}
        self.circuits |= {name: circuit.title for name, circuit in knowledge.circuits.items()}
        self.vehicles[knowledge.vehicle.vehicle] = knowledge.vehicle.title


@dataclass(frozen=True)
class Lesson:
    """What a folder of jobs would teach. `aside`: jobs that are not counted; `notes`: (job, words) on those that
    are, or only in part; `causes`: of each vehicle counted; `offs`: readings beside those computed."""

    learned: Learned
    aside: tuple[Aside, ...]
    notes: tuple[tuple[str, str], ...]
    causes: dict[str, tuple[Known, ...]]
    names: Names
    misread: Mapping[str, Mapping[str, Mapping[str, float]]]
    """As the vocabulary publishes it."""
    offs: tuple[Off, ...]


def groups_of(gathered: Gathered) -> list[Group]:
    """The jobs by what they were weighed with, in a fixed order."""
    found: dict[tuple[Path, frozenset[str]], list[Closed]] = {}
    vehicle_of = vehicle_finder()
    for job in gathered.closed:
        found.setdefault((vehicle_of(job.state), frozenset(job.state.without)), []).append(job)
    order = sorted(found, key=lambda key: (str(key[0]), sorted(key[1])))
    return [Group(file, without, tuple(found[file, without])) for file, without in order]


def published_reasoner(file: Path, without: frozenset[str] = frozenset(), tell: Tell | None = None) -> Reasoner:
    """The reasoner of a vehicle with all rules and packs and nothing that was learned. Raises KnowledgeError,
    DiagError."""
    layers: Sequence[Layer] = (base_layer(),) if "packs" in without or packs_left_out() else _not_learned()
    knowledge = load_knowledge(file, layers=layers)
    predictor = None
    if "wiring" not in without:
        predictor = Predictor(knowledge, step_operates(knowledge), cache_folder(), tell, looked_at(knowledge))
    return Reasoner(knowledge, predictor, default_matcher(), with_rules="rules" not in without)


def _not_learned() -> list[Layer]:
    """All layers but the learned one, which may be damaged: it is about to be written anew."""
    layers, problems = found_layers()
    problems = [problem for problem in problems if problem.place.file != str(learned_file())]
    if problems:
        raise KnowledgeError(problems, WAY_OUT)
    return [layer for layer in layers if layer.origin != LEARNED]


def with_lesson(published: Reasoner, learned: Learned | None) -> Reasoner:
    """The same vehicle with what was learned; the same reasoner for None."""
    if learned is None:
        return published
    knowledge = taught(published.knowledge, learned)
    return Reasoner(knowledge, published.predictor, published.matcher, with_rules=bool(published.rules))


def lesson_of(
    gathered: Gathered,
    how: LearningFile,
    date: str,
    tell: Tell = lambda share: None,
    open_with: Callable[[Path, frozenset[str]], Reasoner] = published_reasoner,
) -> Lesson:
    """What the jobs would teach. `tell` is told the share done, 0 to 1; `open_with` gives the reasoner of a vehicle
    file with published knowledge."""
    aside, notes = list(gathered.aside), []
    tallied: list[Tallied] = []
    causes: dict[str, tuple[Known, ...]] = {}
    misread: Mapping[str, Mapping[str, Mapping[str, float]]] = {}
    names, done = Names(), 0
    for group in groups_of(gathered):
        try:
            reasoner = open_with(group.file, group.without)
        except DiagError as error:
            first = str(error).splitlines()[0]
            aside += [
                Aside(job.name, t("its vehicle cannot be opened: {first}", first=first), odd=True) for job in group.jobs
            ]
            done += len(group.jobs)
            continue
        vehicle = reasoner.knowledge.vehicle.vehicle
        misread = {str(axis): table for axis, table in reasoner.knowledge.vocabulary.misread.items()}
        known = known_causes(reasoner)
        for job in group.jobs:
            done += 1
            tell(done / max(len(gathered.closed), 1))
            if job.state.vehicle != vehicle:
                reason = t(
                    "it was on {vehicle}, and {file} is {vehicle_2} now",
                    vehicle=job.state.vehicle,
                    file=group.file.name,
                    vehicle_2=vehicle,
                )
                aside.append(Aside(job.name, reason, odd=True))
                continue
            try:
                counts = counts_of(reasoner, job.state)
            except (DiagError, ValueError) as error:
                aside.append(Aside(job.name, t("cannot be weighed: {error}", error=error), odd=True))
                continue
            notes += [(job.name, words) for words in _notes(counts)]
            if not counts.faults:
                aside.append(
                    Aside(job.name, t("no remedy was confirmed") if counts.why_not else t("nothing was remedied"))
                )
                continue
            tallied.append(Tallied(_printable(job.name), job.hash, vehicle, known, counts))
            causes[vehicle] = known
        if vehicle in causes:
            names.take(reasoner)
    return Lesson(
        learned_from(tallied, how, date),
        tuple(sorted(aside, key=lambda one: (one.name, one.reason))),
        tuple(sorted(notes)),
        causes,
        names,
        misread,
        tuple(off for one in sorted(tallied, key=lambda one: one.hash) for off in one.counts.offs),
    )


def _notes(counts: Counts) -> Iterator[str]:
    for remedy, why in counts.why_not:
        yield t("{remedy} does not count: {why}", remedy=remedy, why=why)
    if counts.unknown:
        yield t("today's knowledge does not know {unknown}", unknown=", ".join(counts.unknown))


def _printable(name: str) -> str:
    """A job's name as a file of knowledge may hold it."""
    return "".join(sign if sign.isprintable() else "?" for sign in name)[:600].strip() or "?"
