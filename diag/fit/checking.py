"""What may be said of a vehicle's file that loads: causes nobody has, slips, and how much its guesses matter."""

from __future__ import annotations

from diag.circuit.doubts import cause_problems
from diag.circuit.faults import derive_causes
from diag.circuit.parts import build_network
from diag.errors import Problem
from diag.fit.matter import losses, together
from diag.fit.words import report
from diag.knowledge.assemble import Knowledge
from diag.knowledge.lint import warnings
from diag.texts import t

__all__ = ["assumed_wires", "doubts", "importance"]


def assumed_wires(knowledge: Knowledge) -> list[str]:
    """Ids of the wires whose length or section nobody measured, in the order of the files."""
    named = knowledge.vehicle.assumed
    return [wire for wire in knowledge.wires if named == "all" or wire in named]


def doubts(knowledge: Knowledge) -> tuple[list[Problem], list[Problem]]:
    """Causes cited that this vehicle cannot have; and what stands in its own file that is probably a slip."""
    network = build_network(knowledge)
    causes = derive_causes(knowledge, network)
    own = knowledge.spots.files["vehicle"].file
    slips = [slip for slip in warnings(knowledge) if slip.place.file == own]
    return cause_problems(knowledge, network, {cause.id for cause in causes}), slips


def importance(knowledge: Knowledge) -> list[str]:
    """How much the assumed lengths and sections matter, in sentences; of all wires where none is assumed."""
    wires = assumed_wires(knowledge)
    if wires:
        return report(knowledge, losses(knowledge, wires), together(knowledge, wires))
    every = list(knowledge.wires)
    told = report(knowledge, losses(knowledge, every), together(knowledge, every), assumed=False)
    return [t("No wire is marked as assumed."), *told]
