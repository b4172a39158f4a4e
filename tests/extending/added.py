"""Packs of the tests: a reasoner with one and without it, and a job played or replayed on either."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from diag.circuit.doubts import cause_problems
from diag.circuit.predict import Predictor
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import Layer, base_layer
from diag.knowledge.load import load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter

PACKS = Path(__file__).parent / "packs"
_MOST = 60


def layer_of(folder: Path) -> Layer:
    """A folder as a layer over the shipped rules."""
    return Layer(folder.name, folder.name, "1.0", folder, "folder", "")


def reasoner_of(vehicle: Path, layers: Sequence[Layer]) -> Reasoner:
    """Opened as a job opens it: with all that is wrong told. Raises AssertionError for a cause that cannot be."""
    knowledge = load_knowledge(vehicle, None, layers)
    predictor = Predictor(knowledge, step_operates(knowledge), None, None, looked_at(knowledge))
    reasoner = Reasoner(knowledge, predictor, default_matcher())
    assert cause_problems(knowledge, predictor.network, reasoner.index) == []
    return reasoner


@dataclass
class Job:
    """What came of a job: remedies in order, whether the fault was cured, and what was left open."""

    remedies: list[str]
    cured: bool
    left: list[str]
    asked: list[str]


@dataclass
class Pack:
    """One pack with its only vehicle."""

    name: str
    _played: dict[tuple[str, bool, str | None], Job] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        return PACKS / self.name

    @property
    def vehicle(self) -> Path:
        (found,) = (self.folder / "vehicles").glob("*.yaml")
        return found

    @cached_property
    def before(self) -> Reasoner:
        """The same vehicle by the shipped rules alone."""
        return reasoner_of(self.vehicle, (base_layer(),))

    @cached_property
    def after(self) -> Reasoner:
        """With the pack."""
        return reasoner_of(self.vehicle, (base_layer(), layer_of(self.folder)))

    @property
    def knowledge(self) -> Knowledge:
        return self.after.knowledge

    def play(self, cause: str, reasoner: Reasoner, complaint: str | None = None) -> Job:
        """A job with this fault hidden on the vehicle; the truth is always that of the vehicle with the pack. The
        same one is played once."""
        key = (cause, reasoner is self.after, complaint)
        if key not in self._played:
            self._played[key] = play(cause, self.after, reasoner, complaint)
        return self._played[key]


def play(
    cause: str | None, vehicle: Reasoner, reasoner: Reasoner, complaint: str | None = None, most: int = _MOST
) -> Job:
    """A job by `reasoner` at a vehicle that shows what `vehicle` computes with that fault (None: it is sound), of so
    many answers at most."""
    fitter = SimulatedFitter(vehicle, [cause] if cause is not None else [])
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "added")
    job = Job([], False, [], [])
    for _ in range(most):
        last = conversation.say()[-1]
        if last["type"] == "end":
            job.left = list(last["open"])
            break
        if last["type"] == "conclude":
            todo = [remedy["id"] for remedy in last["remedies"] if remedy["id"] not in job.remedies]
            if not todo:
                break
            job.remedies.append(todo[0])
            fitter.remedy(todo[0])
            message = {"remedied": todo[0]}
        else:
            message = fitter.answer(last)
            if last["check"] == "start" and complaint is not None:
                message["value"] = complaint
            job.asked.append(last["check"])
        assert conversation.take(message)["type"] != "error"
    job.cured = fitter.cured
    return job
