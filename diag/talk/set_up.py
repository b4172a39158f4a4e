"""How the hands are set up for one step: controls, power, meter, where each probe or clip goes, as rows of words.

Pure functions of knowledge and step; knows nothing of pages, of chances or of what is asked next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY, BRIDGED, UNPLUGGED, bridge_ends
from diag.knowledge.targets import target_title
from diag.reason.metered import SERIES_LAMP_W
from diag.reason.operates import ISOLATED
from diag.reason.steps import BUZZER, LED_TESTER, SERIES_LAMP, TEST_LAMP, Step
from diag.sheet.spoken import fuse_at, lower, operate_words, point_words
from diag.texts import t

__all__ = ["Meter", "Row", "meter_of", "points_of", "set_up"]

_RANGES: dict[str, tuple[float, ...]] = {"V": (2.0, 20.0, 200.0, 600.0), "ohm": (200.0, 2e3, 20e3, 200e3)}
"""Ranges of a hand-held meter with a switch, in volts and ohms (common practice, no source)."""
_CHARGED = 7.4 / 6.0
"""Volts of a charging vehicle over its nominal ones: 7.4 on 6, 14.8 on 12 (common practice, no source)."""
_SOCKET_A = 10.0
"""What the meter's own fused socket carries, in amps (common practice, no source)."""
_MEASURES = {"V": t("DC volts"), "ohm": "ohms", "A": t("DC amps")}
_HELD = {TEST_LAMP: t("test lamp"), LED_TESTER: t("LED tester")}


@dataclass(frozen=True)
class Row:
    """One thing to set or to touch: `label` of at most six letters, and the words for it."""

    label: str
    words: str


@dataclass(frozen=True)
class Meter:
    """How a meter is set. `measures`: V, ohm, A or continuity; `top`: full scale of the range in that unit, None
    where the choice has none; `socket`: where the red lead is plugged in."""

    measures: str
    top: float | None
    socket: str

    @property
    def words(self) -> str:
        """`DC volts, 20 V range`."""
        if self.measures == "continuity":
            return t("continuity (buzzer)")
        assert self.top is not None
        top = (
            f"{self.top:g} {self.measures}"
            if self.top < 1e3
            else t("{number:g} k{measures}", number=self.top / 1000.0, measures=self.measures)
        )
        return t("{measures}, {top} range", measures=_MEASURES[self.measures], top=top)


def meter_of(step: Step, system_v: float, expected: float | None = None) -> Meter | None:
    """The setting for a step; None where no meter is used.

    `system_v`: nominal volts of the vehicle. `expected`: what a sound vehicle shows, in the step's unit, inf for no
    continuity, None where nobody can say. Volts are always measured on a range that holds a charging battery,
    however few are expected: with a fault they may stand there.
    """
    if step.target == BUZZER:
        return Meter("continuity", None, "V")
    if step.kind != "measure":
        return None
    if step.unit == "A":
        return Meter("A", _SOCKET_A, "10 A")
    if step.unit == "V":
        return Meter("V", _range("V", max(system_v * _CHARGED, abs(expected or 0.0))), "V")
    nothing = expected is None or not math.isfinite(expected)
    return Meter("ohm", _range("ohm", 0.0 if expected is None else 20e3 if nothing else expected), "V")


def _range(unit: str, number: float) -> float:
    """The lowest range that holds a number."""
    return next((top for top in _RANGES[unit] if top >= number), _RANGES[unit][-1])


def points_of(knowledge: Knowledge, step: Step) -> tuple[tuple[str, str], ...]:
    """What is touched and with what: (`red`, `black`, `clip` or `tip`; terminal or `body`). Through a fuse, its two
    ends; through a wire, the terminal that it is taken off, and the wire's own end by the wire's id."""
    if step.target in _HELD:
        red, black = step.red or "", step.black or BODY
        return (("clip", BODY), ("tip", red)) if black == BODY else (("clip", red), ("tip", black))
    if step.through is not None:
        if step.through not in knowledge.wires:
            return (("red", f"{step.through}.in"), ("black", f"{step.through}.out"))
        wire, end = knowledge.wires[step.through], _opened_at(knowledge, step.through)
        ends = (end, step.through) if end == wire.from_ else (step.through, end)
        return (("red", ends[0]), ("black", ends[1]))
    if step.red is None or step.target == SERIES_LAMP:
        return ()
    return (("red", step.red), ("black", step.black or BODY))


def _opened_at(knowledge: Knowledge, wire_id: str) -> str:
    """The end at which a wire is taken off for a meter: its first, or its second where the first is bolted to body."""
    wire = knowledge.wires[wire_id]
    bolted = isinstance(knowledge.parts.get(wire.from_.partition(".")[0]), schema.EarthPart)
    return wire.to if bolted else wire.from_


def set_up(knowledge: Knowledge, step: Step, expected: float | None = None) -> tuple[Row, ...]:
    """Everything to set and to touch for a step, in the order of doing it.

    First what is off, then what is on, then the instrument, then its two ends. `expected` as for `meter_of`.
    """
    if step.kind == "choose" and not step.operate:
        return ()
    if step.kind == "choose":
        return tuple(_settings(knowledge, step))
    return (*_settings(knowledge, step), *_instrument(knowledge, step, expected))


def _on_battery(knowledge: Knowledge, terminal: str | None) -> bool:
    """Whether a lead touches a post of the battery: then its clamp must not be off."""
    part = knowledge.parts.get((terminal or "").partition(".")[0])
    return part is not None and part.kind == "battery"


def _settings(knowledge: Knowledge, step: Step) -> list[Row]:
    """What must be off, taken off, bridged; then how the controls stand."""
    operate = dict(step.operate)
    out = []
    battery = operate.pop("battery", None)
    if battery == "disconnected":
        at_post = any(_on_battery(knowledge, terminal) for terminal in (step.red, step.black))
        words = t("off: isolator open, earth clamp on its post") if at_post else t("off: battery disconnected")
        out.append(Row(t("Power"), words))
    elif battery is not None:
        out.append(
            Row(t("Power"), t("isolator open") if battery == ISOLATED else t("battery {battery}", battery=battery))
        )
    off = operate.pop(UNPLUGGED, None)
    if off is not None:
        fuse = fuse_at(knowledge, off)
        words = (
            t("the {fuse} comes out", fuse=lower(fuse))
            if fuse is not None
            else t("the wire on {knowledge}", knowledge=point_words(knowledge, off))
        )
        out.append(Row(t("Off"), words))
    jumper = operate.pop(BRIDGED, None)
    if operate or battery is None:
        words = operate_words(knowledge, operate)
        out.append(Row(t("Set"), words))
    if jumper is not None:
        first, second = bridge_ends(jumper) or (jumper, BODY)
        out.append(
            Row(
                t("Jumper"),
                t(
                    "fused, {knowledge} to {knowledge_2}",
                    knowledge=point_words(knowledge, first),
                    knowledge_2=point_words(knowledge, second),
                ),
            )
        )
    return out


def _instrument(knowledge: Knowledge, step: Step, expected: float | None) -> list[Row]:
    if step.target == SERIES_LAMP:
        return [
            Row(
                t("Lamp"),
                t("{series_lamp_w:g} W, one lead on each side of the open isolator", series_lamp_w=SERIES_LAMP_W),
            )
        ]
    if step.target in _HELD:
        (_, clip), (_, tip) = points_of(knowledge, step)
        name = _HELD[step.target]
        return [
            Row(t("Clip"), t("{name}'s clip on {knowledge}", name=name, knowledge=point_words(knowledge, clip))),
            Row(t("Tip"), t("on {knowledge}", knowledge=point_words(knowledge, tip))),
        ]
    meter = meter_of(step, knowledge.vehicle.system_v, expected)
    if meter is None:
        word = t("Watch") if step.kind == "look" else t("Listen")
        return [Row(word, target_title(knowledge, step.target or ""))]
    out = [Row(t("Meter"), meter.words)]
    if meter.measures == "A":
        out.append(Row(t("Lead"), t("red lead in the {socket} socket, black in COM", socket=meter.socket)))
    if meter.measures == "A" and expected is not None and abs(expected) > _SOCKET_A:
        out.append(
            Row(
                t("Mind"),
                t("about {expected:.0f} A: more than that socket carries. Clamp meter only.", expected=abs(expected)),
            )
        )
    (_, red), (_, black) = points_of(knowledge, step)
    if step.through is not None:
        out.append(
            Row(t("Off") if step.through in knowledge.wires else t("Out"), _opened_words(knowledge, step.through))
        )
    out += [Row(t("Red"), _touched_words(knowledge, red)), Row(t("Black"), _touched_words(knowledge, black))]
    return [*out, Row(t("After"), t("red lead back in the V socket at once"))] if meter.measures == "A" else out


def _opened_words(knowledge: Knowledge, through: str) -> str:
    """What is opened for a meter in line."""
    wire = knowledge.wires.get(through)
    if wire is None:
        return t(
            "the {target_title} comes out, the meter takes its place",
            target_title=lower(target_title(knowledge, through)),
        )
    colour = f" ({wire.colour})" if wire.colour else ""
    name = lower(wire.title or through.replace("-", " "))
    return t(
        "{name}{colour}, off {knowledge}",
        name=name,
        colour=colour,
        knowledge=point_words(knowledge, _opened_at(knowledge, through)),
    )


def _touched_words(knowledge: Knowledge, end: str) -> str:
    return t("the end of that wire") if end in knowledge.wires else point_words(knowledge, end)
