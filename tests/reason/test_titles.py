"""What a cause or remedy is called: words of the trade, never the id of a part or wire.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from diag.circuit.faults import derive_causes
from diag.circuit.parts import build_network
from diag.knowledge.assemble import Knowledge
from diag.knowledge.load import load_knowledge
from diag.reason.remedies import RemedyPlan, plan_remedies

VEHICLES = sorted((Path(__file__).parents[2] / "rules" / "vehicles").glob("*.yaml"))


OPENED = re.compile(r"isolator open|open the isolator|clamp off|clamp of the earthed post off", re.IGNORECASE)
CLOSED = re.compile(r"isolator closed|clamp back on|clamp last|post last|put it on last", re.IGNORECASE)


def titles_of(knowledge: Knowledge) -> list[str]:
    """All that a person reads of the causes and remedies of a vehicle."""
    causes = derive_causes(knowledge, build_network(knowledge))
    plans = plan_remedies(knowledge, causes, {}).values()
    return [
        *(one.title for one in causes),
        *(text for plan in plans for text in (plan.title, *plan.steps, *plan.parts)),
    ]


def plans_of(knowledge: Knowledge) -> list[RemedyPlan]:
    """Every remedy of a vehicle."""
    return list(plan_remedies(knowledge, derive_causes(knowledge, build_network(knowledge)), {}).values())


@pytest.mark.parametrize("vehicle", VEHICLES, ids=lambda path: path.stem)
def test_no_title_holds_the_id_of_a_part_or_wire_and_what_is_opened_is_closed(vehicle: Path) -> None:
    """Nobody at the vehicle knows what `bus-30 4` is; and who follows the steps has a battery again at the end."""
    knowledge = load_knowledge(vehicle)
    ids = {name for name in (*knowledge.parts, *knowledge.wires) if "-" in name}
    titles = titles_of(knowledge)
    assert len(titles) > 200 and len(ids) > 10
    steps = {one.id: " ".join(one.steps) for one in plans_of(knowledge)}
    assert [name for name, text in steps.items() if OPENED.search(text) and not CLOSED.search(text)] == [], "left off"
    assert [(title, word) for title in titles for word in ids.intersection(re.findall(r"[\w-]+", title))] == []


def test_a_wire_without_a_title_is_called_by_what_it_joins() -> None:
    """A loom that somebody describes in a hurry has no titles."""
    vehicle = Path(__file__).parents[1] / "vehicles" / "pickup-six.yaml"
    knowledge = load_knowledge(vehicle)
    bare = {name: wire.model_copy(update={"title": None}) for name, wire in knowledge.wires.items()}
    titles = titles_of(replace(knowledge, wires=bare))
    assert any("Wire from Battery feed bar of the fuse box, 4 to Horn fuse, feed side (red)" in one for one in titles)
    ids = {name for name in (*knowledge.parts, *knowledge.wires) if "-" in name}
    assert not any(ids.intersection(re.findall(r"[\w-]+", title)) for title in titles)
