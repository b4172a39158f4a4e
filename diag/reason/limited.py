"""First power through a lamp in series: looks at a lamp across the open isolator with the key off and on, and, to
find where what it shows flows, with one fuse out or one wire off.

Knows where the isolator is and what is to be asked; nothing of what the lamp shows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from diag.circuit.observe import LOOKS
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import UNPLUGGED
from diag.reason.metered import SERIES_LAMP_W
from diag.reason.operates import ISOLATED, key_on
from diag.reason.steps import SERIES_LAMP, Step
from diag.texts import t

__all__ = ["CAUTION", "series_lamp_steps"]

CAUTION = "limited-source"
_LOOK_MINUTES, _FUSE_MINUTES = 1.0, 0.5


def series_lamp_steps(knowledge: Knowledge) -> Iterator[Step]:
    """The looks; none where the vehicle has no isolator that the battery hangs on, or nobody wrote the caution."""
    found = [
        (name, part)
        for name, part in knowledge.parts.items()
        if isinstance(part, schema.SwitchPart) and part.control == "battery" and len(part.terminals) == 2
    ]
    if not found or CAUTION not in knowledge.cautions or ISOLATED not in knowledge.controls.get("battery", ()):
        return
    name, part = found[0]
    lamp = _Lamp(knowledge, f"{name}.{part.terminals[1]}", f"{name}.{part.terminals[0]}")
    yield lamp.look("rest", t("everything off"), {}, part.place, _LOOK_MINUTES, "first-power")
    if key_on(knowledge):
        yield lamp.look("key-on", t("key on"), key_on(knowledge), part.place, _LOOK_MINUTES, "first-power")
    for fuse, one in knowledge.parts.items():
        if isinstance(one, schema.FusePart):
            off = {UNPLUGGED: f"{fuse}.out"}
            said = t("everything off, {title} out", title=one.title)
            yield lamp.look(f"without:{fuse}", said, off, one.place, _FUSE_MINUTES + one.reach)
    for check in knowledge.checks.values():
        off_at = check.operate.get(UNPLUGGED)
        if off_at is not None and set(check.operate) == {UNPLUGGED}:
            title = t(
                "everything off, the wire off {title} {off_at}",
                title=knowledge.parts[off_at.split(".")[0]].title,
                off_at=off_at.split(".")[1],
            )
            yield lamp.look(f"without:{off_at}", title, {UNPLUGGED: off_at}, check.place, check.minutes)


@dataclass(frozen=True)
class _Lamp:
    knowledge: Knowledge
    red: str
    black: str

    def look(
        self, name: str, said: str, operate: Mapping[str, str], place: str, minutes: float, stage: str | None = None
    ) -> Step:
        return Step(
            f"{SERIES_LAMP}:{name}",
            t(
                "Lamp of {series_lamp_w:g} W in series with the whole vehicle, {said}",
                series_lamp_w=SERIES_LAMP_W,
                said=said,
            ),
            "look",
            {**operate, "battery": ISOLATED},
            self.knowledge.circuit_of[self.red.split(".")[0]],
            place,
            minutes,
            SERIES_LAMP,
            self.red,
            self.black,
            outcomes=LOOKS,
            instruments=("test-lamp",),
            caution=CAUTION,
            generated=True,
            stage=stage,
        )
