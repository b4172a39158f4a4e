"""Positions of controls and points of a vehicle in plain words of the trade, for sheets and for the conversation.

Only words; knows nothing of steps, of answers or of layout.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.circuit.faults import Only
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY, BRIDGED, EXTRA_CONTROLS, UNPLUGGED, bridge_ends
from diag.texts import t

__all__ = ["fuse_at", "jumper_words", "lower", "only_words", "operate_words", "point_words"]

_CONTROL = {
    "ignition": t("key"),
    "lights": t("light switch"),
    "dip": t("dip switch to"),
    "turn": t("turn switch"),
    "hazard": t("hazard"),
    "brake-pedal": t("brake pedal"),
    "horn-button": t("horn button"),
    "engine": t("engine"),
    "headlamp-flash": t("flasher lever"),
    "fuel": t("tank"),
    "coolant": t("engine"),
    "points": t("points of the breaker"),
}
_SIDES = {"in": t("feed side"), "out": t("load side")}
"""Of a fuse: `in` is where the feed comes."""


def operate_words(knowledge: Knowledge, operate: Mapping[str, str]) -> str:
    """Positions of the controls, as an instruction; what is not named is at rest."""
    parts = []
    for control, position in operate.items():
        if control == UNPLUGGED:
            parts.append(t("take {taken}", taken=_taken_words(knowledge, position)))
        elif control == BRIDGED:
            parts.append(jumper_words(knowledge, position))
        elif control == "battery":
            parts.append(t("battery {position}", position=position))
        else:
            parts.append(knowledge.says(control, position) or _position_words(control, (position,)))
    keyed = any(getattr(part, "control", None) == "ignition" for part in knowledge.parts.values())
    if keyed and not {"ignition", "battery"} & set(operate) and not set(operate) <= set(EXTRA_CONTROLS):
        parts.insert(0, t("key off"))
    return ", ".join(parts) if parts else t("everything off")


def _position_words(control: str, positions: Sequence[str]) -> str:
    return f"{_CONTROL.get(control, control.replace('-', ' '))} {t(' or ').join(positions)}"


def only_words(knowledge: Knowledge, only: Only) -> str:
    """The positions of controls in which something is there: `boot lid open and light switch side or head`."""
    return t(" and ").join(
        _position_words(control, [position for position in knowledge.controls[control] if position in wanted])
        for control, wanted in only
    )


def fuse_at(knowledge: Knowledge, terminal: str) -> str | None:
    """Title of the fuse that a terminal belongs to: it comes out, no wire off it."""
    part = knowledge.parts.get(terminal.split(".")[0])
    return part.title if isinstance(part, schema.FusePart) else None


def _taken_words(knowledge: Knowledge, terminal: str) -> str:
    fuse = fuse_at(knowledge, terminal)
    return (
        t("out the {fuse}", fuse=lower(fuse))
        if fuse is not None
        else t("the wire off {knowledge}", knowledge=point_words(knowledge, terminal))
    )


def lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def jumper_words(knowledge: Knowledge, position: str) -> str:
    first, second = bridge_ends(position) or (position, BODY)
    return t(
        "fused jumper from {knowledge} to {knowledge_2}",
        knowledge=point_words(knowledge, first),
        knowledge_2=point_words(knowledge, second),
    )


def point_words(knowledge: Knowledge, terminal: str) -> str:
    """A terminal in words: part and number."""
    if terminal == BODY:
        return t("body (clean bare metal)")
    part_id, _, name = terminal.partition(".")
    part = knowledge.parts.get(part_id)
    if part is None:
        return terminal
    if isinstance(part, schema.FusePart) and name in _SIDES:
        return f"{part.title}, {_SIDES[name]} ({part.spelled(name)})"
    return t("{part} terminal {spelled}", part=part.title, spelled=part.spelled(name))
