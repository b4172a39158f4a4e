"""Everything that can be asked about a vehicle: the checks of its files, and measurements generated
for every terminal that a probe can reach.

Knows the words and numbers an answer may be; knows nothing of causes, chances or what to ask next.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from diag.circuit.observe import LOOKS, MOTORS, SOUNDS, answers_of
from diag.circuit.predict import HEALTHY, Predictor
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key, terminals_of
from diag.knowledge.bridging import BODY, BRIDGED, UNPLUGGED, bridge_ends, spelt
from diag.knowledge.scalars import TEST_LAMP
from diag.knowledge.targets import part_of_target, target_title
from diag.reason.jumpers import CAUTION, jumps
from diag.reason.operates import battery_off, moved, operate_of, plain, splits
from diag.texts import t

__all__ = [
    "BODY",
    "BUZZER",
    "LED_TESTER",
    "SERIES_LAMP",
    "TEST_LAMP",
    "Deed",
    "Finding",
    "Step",
    "Value",
    "all_steps",
    "fits",
    "own_step",
    "working_operates",
]

LED_TESTER = "led-tester"
BUZZER = "buzzer"
"""Targets of the same look at a tester with an LED, and of a listen to a meter's continuity buzzer."""
SERIES_LAMP = "series-lamp"
"""Target of a look at a lamp across the open isolator: all that the vehicle draws goes through it."""
Value = str | float | tuple[str, str]
"""A word, a number in the step's unit (inf for no continuity), or (light, rhythm)."""
_BATTERY_OFF_MINUTES = 2.0
_HELD = {TEST_LAMP: t("Test lamp"), LED_TESTER: t("LED tester"), SERIES_LAMP: t("Lamp in series")}
_HELD_IDS = {TEST_LAMP: "lamp", LED_TESTER: "led", SERIES_LAMP: SERIES_LAMP}


@dataclass(frozen=True)
class Step:
    """One thing to ask. Fields as in `schema.Check`; `outcomes` are the possible answers of look,
    listen and choose; `generated` steps are not in any file."""

    id: str
    title: str
    kind: str
    operate: Mapping[str, str]
    circuit: str
    place: str
    minutes: float
    target: str | None = None
    red: str | None = None
    black: str | None = None
    through: str | None = None
    unit: str | None = None
    outcomes: tuple[Value, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    text: str | None = None
    instruments: tuple[str, ...] = ()
    caution: str | None = None
    usual: Mapping[str, float] = field(default_factory=dict)
    limits: schema.Limits | None = None
    generated: bool = False
    stage: str | None = None


@dataclass(frozen=True)
class Deed:
    """What was done for an answer, whatever the check is called: the fields of `Step` that say it."""

    kind: str
    operate: Mapping[str, str]
    target: str | None = None
    red: str | None = None
    black: str | None = None
    through: str | None = None
    unit: str | None = None

    @property
    def key(self) -> tuple[object, ...]:
        """Equal for equal deeds."""
        return (self.kind, operate_key(self.operate), self.target, self.red, self.black, self.through, self.unit)

    @staticmethod
    def of(step: Step) -> Deed:
        """What a step asks to be done."""
        return Deed(step.kind, step.operate, step.target, step.red, step.black, step.through, step.unit)


@dataclass(frozen=True)
class Finding:
    """An answer that stands: what was asked, what was said, where in the journal, in which period
    (0 before the first remedy). `symptom` is set where the answer is a complaint, not a check."""

    seq: int
    step: Step | None
    value: Value | None
    period: int = 0
    symptom: str | None = None


def fits(condition: schema.Condition, value: Value) -> bool:
    """Whether an answer meets a rule's condition on its check."""
    if isinstance(value, tuple):
        light, rhythm = value
        return _word(condition.light, light) and _word(condition.rhythm, rhythm)
    if isinstance(value, str):
        if condition.is_ is not None and value != condition.is_:
            return False
        return not (condition.is_not is not None and value == condition.is_not)
    if math.isnan(value):
        return False
    if condition.below is not None and not value < condition.below:
        return False
    if condition.above is not None and not value > condition.above:
        return False
    return condition.between is None or condition.between[0] <= value <= condition.between[1]


def _word(test: str | None, found: str) -> bool:
    if test is None:
        return True
    if test.startswith("is-not "):
        return found != test.removeprefix("is-not ").strip()
    return found == test.removeprefix("is ").strip()


def _of_check(knowledge: Knowledge, check: schema.Check) -> Step:
    labels: dict[str, str] = {}
    outcomes: tuple[Value, ...] = ()
    operate = operate_of(knowledge, check)
    if check.kind in ("look", "listen"):
        part = part_of_target(knowledge, check.target)
        known = answers_of(part.kind, looked=check.kind == "look") if part is not None else ()
        outcomes = known or (LOOKS if check.kind == "look" else SOUNDS)
    elif check.kind == "choose":
        outcomes = tuple(choice.value for choice in check.choices)
        labels = {choice.value: choice.label for choice in check.choices}
    return Step(
        check.id,
        check.title,
        check.kind,
        operate,
        knowledge.circuit_of[check.id],
        check.place,
        check.minutes,
        check.target,
        check.red,
        check.black,
        check.through,
        check.unit,
        outcomes,
        labels,
        check.text,
        tuple(check.instruments),
        check.caution,
        dict(check.usual),
        check.limits,
        generated=check.target == TEST_LAMP,  # asked as those are that no file has: never on a walk-round
        stage=check.stage,
    )


def working_operates(knowledge: Knowledge, predictor: Predictor, circuit: str) -> list[dict[str, str]]:
    """Operates of a circuit's looks and listens in which something is at work when all is well, without
    those that add a further control to another and put nothing else to work (unless some fault is there only
    then), and with the engine standing where that will do."""
    found: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
    works: dict[tuple[tuple[str, str], ...], set[str]] = {}
    for check in knowledge.circuits[circuit].checks:
        if check.kind not in ("look", "listen") or not plain(check.operate):
            continue
        if _at_work(knowledge, predictor, check.target or "", check.operate):
            found[operate_key(check.operate)] = dict(check.operate)
            works.setdefault(operate_key(check.operate), set()).add(check.target or "")
    if not found:  # a circuit that only feeds others: its own measurements say what loads it
        found = {
            operate_key(check.operate): dict(check.operate)
            for check in knowledge.circuits[circuit].checks
            if check.operate and check.unit in ("V", "A") and "battery" not in check.operate
        }
    calm = {key: operate for key, operate in found.items() if operate.get("engine") != "running"} or found
    seldom = {
        (control, position)
        for cause in predictor.causes
        if cause.only and knowledge.circuit_of.get(cause.subject) == circuit
        for control, wanted in cause.only
        for position in wanted
    }
    out = []
    for key, operate in calm.items():
        within = [other for other in calm if set(other) < set(key) and not seldom & (set(key) - set(other))]
        if not within or works.get(key, set()) - set().union(*(works.get(other, set()) for other in within)):
            out.append(operate)
    return out


def _at_work(knowledge: Knowledge, predictor: Predictor, target: str, operate: Mapping[str, str]) -> bool:
    """Whether current flows through a target on a sound vehicle."""
    shown, net = predictor.healthy(operate), predictor.network
    match part_of_target(knowledge, target):
        case schema.LampPart() | schema.TwoFilamentPart():
            return bool(abs(shown.lamp_on_v[HEALTHY, net.filament(target)]) > 1.0)
        case schema.HornPart():
            return bool(abs(shown.branch_a[HEALTHY, net.branch(f"{target}:coil")]) > 0.1)
        case schema.FlasherPart():
            return bool(abs(shown.branch_a[HEALTHY, net.branch(f"{target}:contact")]) > 0.1)
        case schema.MotorPart() | schema.WiperMotorPart() | schema.StarterPart():
            motor = [one.id for one in net.motors].index(target)
            return bool(shown.motor[HEALTHY, motor, MOTORS.index("still")] < 0.5)
        case schema.RelayPart():
            return bool(shown.relay[HEALTHY, [one.id for one in net.relays].index(target)] > 0)
        case schema.GaugePart():
            return bool(abs(shown.branch_a[HEALTHY, net.branch(f"{target}:load")]) > 0.01)
        case schema.LoadPart():
            return bool(abs(shown.branch_a[HEALTHY, net.branch(f"{target}:load")]) > 0.1)
    return False


def all_steps(knowledge: Knowledge, predictor: Predictor | None) -> tuple[Step, ...]:
    """Checks of the files in their order, then generated ones (none without a network)."""
    steps = [_of_check(knowledge, check) for check in knowledge.checks.values() if check.kind != "do"]
    if predictor is not None:
        steps += [*_generated(knowledge, predictor, steps), *_bridged(knowledge, predictor)]
    return tuple(steps)


def _generated(knowledge: Knowledge, predictor: Predictor, written: Sequence[Step]) -> Iterator[Step]:
    taken = {(step.red, step.black, step.unit, operate_key(step.operate)) for step in written}
    held = {(step.red, step.black, operate_key(step.operate)) for step in written if step.target == TEST_LAMP}
    cautions = {operate_key(step.operate): step.caution for step in written if step.caution is not None}
    working = {circuit: working_operates(knowledge, predictor, circuit) for circuit in knowledge.circuits}
    lids = moved(knowledge)
    body_is_plus = knowledge.vehicle.earth == "positive"  # then the red probe is on body, so that volts read above zero
    off_caution = next((s.caution for s in written if s.operate.get("battery") == "disconnected" and s.caution), None)
    for hub, other in splits(knowledge):
        part_id = hub.split(".")[0]
        part = knowledge.parts[part_id]
        stamped = part.spelled(hub.split(".")[1])
        title = t(
            "Ohms at {part} to body, battery off, with the wires off its terminal {stamped}",
            part=part.title,
            stamped=stamped,
        )
        yield Step(
            f"ohm:{other}:without:{hub}",
            title,
            "measure",
            battery_off({UNPLUGGED: hub}),
            knowledge.circuit_of[part_id],
            part.place,
            part.reach + 1.5 + _BATTERY_OFF_MINUTES,
            red=other,
            black=BODY,
            unit="ohm",
            instruments=("meter",),
            caution=off_caution,
            generated=True,
        )
    for part_id, part in knowledge.parts.items():
        circuit = knowledge.circuit_of[part_id]
        for terminal in terminals_of(part):
            if terminal in part.sealed:
                continue
            name = f"{part_id}.{terminal}"
            where = t("{part}, terminal {spelled}", part=part.title, spelled=part.spelled(terminal))
            for operate in working[circuit] or [{}]:
                label = _spoken(operate)
                caution = cautions.get(operate_key(operate))
                red, black = (BODY, name) if body_is_plus else (name, BODY)
                if (red, black, "V", operate_key(operate)) not in taken:
                    yield Step(
                        f"volts:{name}:{_key(operate)}",
                        t("Volts at {where}{label}", where=where, label=label),
                        "measure",
                        operate,
                        circuit,
                        part.place,
                        part.reach + 0.5,
                        red=red,
                        black=black,
                        unit="V",
                        instruments=("meter",),
                        caution=caution,
                        generated=True,
                    )
                if (name, BODY, operate_key(operate)) not in held:
                    yield Step(
                        f"lamp:{name}:{_key(operate)}",
                        t("Test lamp from {where} to body{label}", where=where, label=label),
                        "look",
                        operate,
                        circuit,
                        part.place,
                        part.reach + 0.4,
                        TEST_LAMP,
                        name,
                        BODY,
                        outcomes=LOOKS,
                        instruments=("test-lamp",),
                        caution=caution,
                        generated=True,
                    )
            for operate in ({}, *lids.get(circuit, ())):
                setting = battery_off(operate)
                if (name, BODY, "ohm", operate_key(setting)) not in taken:
                    yield Step(
                        f"ohm:{name}:{_key(operate)}" if operate else f"ohm:{name}",
                        t("Ohms from {where} to body, battery off{spoken}", where=where, spoken=_spoken(operate)),
                        "measure",
                        setting,
                        circuit,
                        part.place,
                        part.reach + 0.5 + _BATTERY_OFF_MINUTES,
                        red=name,
                        black=BODY,
                        unit="ohm",
                        instruments=("meter",),
                        caution=off_caution,
                        generated=True,
                    )


def _bridged(knowledge: Knowledge, predictor: Predictor) -> Iterator[Step]:
    """Looks and listens with a fused jumper in place; what it carries on the sound vehicle its fuse must hold."""
    for jump in jumps(knowledge):
        check, target = jump.check, jump.check.target or ""
        if not _at_work(knowledge, predictor, target, jump.operate):
            continue
        like = _of_check(knowledge, check)
        other = knowledge.cautions.get(check.caution or "")
        yield replace(
            like,
            id=f"jumper:{target}:{_key(jump.operate)}",
            title=f"{target_title(knowledge, target)}{_spoken(jump.operate)}",
            operate=dict(jump.operate),
            place=jump.place,
            minutes=jump.minutes,
            text=other.text if other is not None and len(jump.operate) > 1 else None,
            instruments=("jumper", "helper") if jump.helper else ("jumper",),
            caution=CAUTION,
            usual={},
            limits=None,
            generated=True,
        )


def own_step(knowledge: Knowledge, deed: Deed) -> Step | None:
    """A step made from what someone did of their own accord; None where a part or terminal is unknown."""
    kind, operate, target, unit = deed.kind, spelt(deed.operate, knowledge.terminals), deed.target, deed.unit
    red, black, through = deed.red, deed.black, deed.through
    points = {BODY, *knowledge.terminals}
    label = _spoken(operate)
    if kind == "measure" and unit in ("V", "ohm") and red in points and black in points and red != black:
        title = (
            t("Volts from {red} to {black}{label}", red=red, black=black, label=label)
            if unit == "V"
            else t("Ohms from {red} to {black}{label}", red=red, black=black, label=label)
        )
        setting = battery_off(operate) if unit == "ohm" else dict(operate)
        place = _place_of(knowledge, red, black)
        return Step(
            f"{'volts' if unit == 'V' else 'ohms'}:{red}:{black}:{_key(setting)}",
            title,
            kind,
            setting,
            "",
            place,
            1.0,
            red=red,
            black=black,
            unit=unit,
            instruments=("meter",),
            generated=True,
        )
    if (
        kind == "measure"
        and unit == "A"
        and (through in knowledge.wires or isinstance(knowledge.parts.get(through or ""), schema.FusePart))
    ):
        return Step(
            f"amps:{through}:{_key(operate)}",
            t("Amps through {through}{label}", through=through, label=label),
            kind,
            dict(operate),
            "",
            "",
            2.0,
            through=through,
            unit=unit,
            instruments=("meter",),
            generated=True,
        )
    if kind == "look" and target in _HELD and red in points and (black or BODY) in points:
        return _held(knowledge, deed, target, red, black or BODY)
    if kind == "listen" and target == BUZZER and red in points and black in points and red != black:
        setting = battery_off(operate)
        return Step(
            f"buzzer:{red}:{black}:{_key(setting)}",
            t("Continuity from {red} to {black}{label}", red=red, black=black, label=label),
            kind,
            setting,
            "",
            _place_of(knowledge, red, black),
            1.0,
            BUZZER,
            red,
            black,
            outcomes=("none", "buzz"),
            instruments=("meter",),
            generated=True,
        )
    part = part_of_target(knowledge, target)
    known = answers_of(part.kind, looked=kind == "look") if part is not None and kind in ("look", "listen") else ()
    if known and target is not None and part is not None:
        return Step(
            f"{kind}:{target}:{_key(operate)}",
            f"{target_title(knowledge, target)}{label}",
            kind,
            dict(operate),
            "",
            part.place,
            0.5,
            target,
            outcomes=known,
            instruments=("jumper",) if BRIDGED in operate else (),
            generated=True,
        )
    return None


def _held(knowledge: Knowledge, deed: Deed, target: str, red: str, black: str) -> Step:
    """A test lamp or LED tester that someone held between two points."""
    name = _HELD[target]
    to = "" if black == BODY else f":{black}"
    return Step(
        f"{_HELD_IDS[target]}:{red}{to}:{_key(deed.operate)}",
        t("{name} from {red} to {black}{spoken}", name=name, red=red, black=black, spoken=_spoken(deed.operate)),
        deed.kind,
        dict(deed.operate),
        "",
        _place_of(knowledge, red, black),
        1.0,
        target,
        red,
        black,
        outcomes=LOOKS,
        instruments=() if target == LED_TESTER else ("test-lamp",),
        generated=True,
    )


def _place_of(knowledge: Knowledge, red: str, black: str) -> str:
    part = knowledge.parts.get((red if red != BODY else black).split(".")[0])
    return part.place if part is not None else ""


def _key(operate: Mapping[str, str]) -> str:
    return "+".join(f"{control}={position}" for control, position in operate_key(operate)) or "rest"


def _spoken(operate: Mapping[str, str]) -> str:
    if not operate:
        return ""
    return ", " + ", ".join(
        t("fused jumper from {bridge_ends}", bridge_ends=t(" to ").join(bridge_ends(position) or (position,)))
        if control == BRIDGED
        else f"{control.replace('-', ' ')} {position}"
        for control, position in operate.items()
    )
