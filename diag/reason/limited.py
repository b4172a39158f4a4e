"""First power through a lamp in series: looks at a lamp across the open isolator, key off, then key on.

Knows where the isolator is and what is to be asked; nothing of what the lamp shows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from diag.circuit.observe import LOOKS
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.reason.metered import SERIES_LAMP_W
from diag.reason.steps import SERIES_LAMP, THROUGH_LAMP, Step, key_on

__all__ = ["CAUTION", "series_lamp_steps"]

CAUTION = "limited-source"


def series_lamp_steps(knowledge: Knowledge) -> Iterator[Step]:
    """Two looks, none where the vehicle has no isolator that the battery hangs on, or nobody wrote the caution."""
    found = [
        (name, part)
        for name, part in knowledge.parts.items()
        if isinstance(part, schema.SwitchPart) and part.control == "battery" and len(part.terminals) == 2
    ]
    if not found or CAUTION not in knowledge.cautions or THROUGH_LAMP not in knowledge.controls["battery"]:
        return
    name, part = found[0]
    for operate, said in (({}, "everything off"), (key_on(knowledge), "key on")):
        if operate or said == "everything off":
            yield _look(knowledge, f"{name}.{part.terminals[1]}", f"{name}.{part.terminals[0]}", operate, said)


def _look(knowledge: Knowledge, red: str, black: str, operate: Mapping[str, str], said: str) -> Step:
    part = knowledge.parts[red.split(".")[0]]
    return Step(
        f"{SERIES_LAMP}:{'key-on' if operate else 'rest'}",
        f"Lamp of {SERIES_LAMP_W:g} W in series with the whole vehicle, {said}",
        "look",
        {**operate, "battery": THROUGH_LAMP},
        knowledge.circuit_of[red.split(".")[0]],
        part.place,
        1.0,
        SERIES_LAMP,
        red,
        black,
        outcomes=LOOKS,
        instruments=("test-lamp",),
        caution=CAUTION,
        generated=True,
        stage="first-power",
    )
