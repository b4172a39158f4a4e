"""One reasoner a vehicle and session, whole or with one half left out; tables are shared on disk."""

from __future__ import annotations

from pathlib import Path

from diag.circuit.predict import Predictor
from diag.knowledge.load import default_vehicle, load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from tests.vehicles import SIX

__all__ = ["Reasoners", "demo_vehicles", "file_of"]


def demo_vehicles() -> list[str]:
    """File names of the shipped vehicles, sorted."""
    return sorted(path.name for path in default_vehicle().parent.glob("*.yaml"))


def file_of(vehicle: str) -> Path:
    """A shipped vehicle by its file name, or one of the tests' own."""
    shipped = default_vehicle().parent / vehicle
    return shipped if shipped.exists() else SIX.parent / vehicle


class Reasoners:
    """Reasoners by the file name of a vehicle, each made when it is first asked for."""

    def __init__(self, tables: Path) -> None:
        self._tables = tables
        self._whole: dict[str, Reasoner] = {}
        self._rules: dict[str, Reasoner] = {}
        self._network: dict[str, Reasoner] = {}

    def whole(self, vehicle: str) -> Reasoner:
        """With wiring and rules."""
        if vehicle not in self._whole:
            predictor = self.predictor(vehicle)
            self._whole[vehicle] = Reasoner(predictor.knowledge, predictor, default_matcher())
        return self._whole[vehicle]

    def predictor(self, vehicle: str) -> Predictor:
        """Its table of predictions, from the disk where it is there."""
        knowledge = load_knowledge(file_of(vehicle))
        self._tables.mkdir(mode=0o700, exist_ok=True)
        points = None if file_of(vehicle) == SIX else looked_at(knowledge)  # the six are worked out everywhere
        return Predictor(knowledge, step_operates(knowledge), self._tables, None, points)

    def rules_alone(self, vehicle: str) -> Reasoner:
        """With its loom undescribed: rules carry the belief."""
        if vehicle not in self._rules:
            knowledge = load_knowledge(file_of(vehicle))
            self._rules[vehicle] = Reasoner(knowledge, None, default_matcher())
        return self._rules[vehicle]

    def network_alone(self, vehicle: str) -> Reasoner:
        """Without any rule: the network carries the belief."""
        if vehicle not in self._network:
            whole = self.whole(vehicle)
            self._network[vehicle] = Reasoner(whole.knowledge, whole.predictor, default_matcher(), with_rules=False)
        return self._network[vehicle]
