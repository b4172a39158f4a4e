"""What a rule of a circuit may speak of, so that it holds on every vehicle that has the circuit.

Knows which circuit needs which and what a step touches; nothing of what was seen.
"""

from __future__ import annotations

from collections.abc import Iterator

from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY, EXTRA_CONTROLS
from diag.knowledge.scalars import TEST_LAMP
from diag.reason.steps import Step

__all__ = ["circuits_with", "speaks_within"]

_SPANNING = ("", "supply", "shared")


def circuits_with(knowledge: Knowledge, circuit: str) -> frozenset[str]:
    """The circuits that every vehicle with this one has: it, what it needs, and supply. Of what stands among the rules
    that span circuits all: there what a vehicle does not have is left out."""
    if circuit in _SPANNING:
        return frozenset(knowledge.circuits)
    found, waiting = {"supply"}, [circuit]
    while waiting:
        name = waiting.pop()
        if name not in found and name in knowledge.circuits:
            found.add(name)
            waiting += knowledge.circuits[name].needs
    return frozenset(found)


def speaks_within(knowledge: Knowledge, step: Step, circuits: frozenset[str]) -> bool:
    """Whether a step is a check of these circuits (or one of those that every vehicle has), and nothing that it sets
    or touches belongs to another."""
    owner = knowledge.circuit_of.get(step.id)
    if owner not in (None, "shared") and owner not in circuits:
        return False
    files = [knowledge.circuits[name] for name in (*circuits, "shared") if name in knowledge.circuits]
    controls = {*EXTRA_CONTROLS, *(control for file in files for control in file.controls)}
    return controls.issuperset(step.operate) and all(
        knowledge.circuit_of.get(name, "shared") in {*circuits, "shared"} for name in _touched(step)
    )


def _touched(step: Step) -> Iterator[str]:
    for end in (step.target, step.red, step.black, step.through):
        if end not in (None, BODY, TEST_LAMP):
            yield str(end).split(".")[0]
