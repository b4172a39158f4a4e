"""The sheet as a table: what is seen and heard, and every point from battery to body, circuit by circuit.

Rows in words, with the healthy words beside those that a fault changes. Knows nothing of columns,
files or drawings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from diag.circuit.kinds.wires import wire_title
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, spelled_end, terminals_of
from diag.reason.remedies import marking_of
from diag.sheet.figures import FAULTY, HEALTHY, Figures, Pulse, amps_words, look_words, volts_words
from diag.sheet.numbers import wire_numbers
from diag.sheet.spoken import only_words, operate_words
from diag.sheet.warnings import cautions_of
from diag.sheet.ways import Ways, end_part, end_terminal
from diag.texts import t

__all__ = [
    "CircuitRows",
    "PartRows",
    "PointRow",
    "Rows",
    "SeenRow",
    "Sheet",
    "WireRow",
    "make_sheet",
    "part_title",
    "wire_words",
]

_OFF_V, _OFF_SHARE = 0.1, 0.03
_OFF_A, _OFF_A_SHARE = 0.1, 0.1
"""Differences that a meter and two vehicles of one kind have among themselves; common practice, no source."""
_BEARS_A_MM2 = 15.0
"""Amps per mm² above which insulation is soon burnt: twice and more what looms are laid out for; common practice,
no source."""


@dataclass(frozen=True)
class SeenRow:
    """A lamp, motor, relay or sound: `now`, and `healthy` where a fault changes it (else empty)."""

    id: str
    title: str
    now: str
    healthy: str = ""


@dataclass(frozen=True)
class WireRow:
    """A wire, told at its end nearer the battery: `colour` with its section, where it goes `to`, its amps, its
    `number` on the drawings."""

    id: str
    title: str
    colour: str
    to: str
    amps: str
    healthy: str
    faults: tuple[str, ...]
    number: str


@dataclass(frozen=True)
class PointRow:
    """A terminal: volts against body, what a test lamp to body does, and the wires that go on from here."""

    id: str
    name: str
    volts: str
    lamp: str
    healthy: str
    wires: tuple[WireRow, ...]


@dataclass(frozen=True)
class PartRows:
    """A part with its terminals, the one nearest the battery first. `amps` for fuses only."""

    id: str
    title: str
    amps: str
    healthy: str
    faults: tuple[str, ...]
    points: tuple[PointRow, ...]


@dataclass(frozen=True)
class CircuitRows:
    """A circuit's parts as current takes them."""

    id: str
    title: str
    parts: tuple[PartRows, ...]


@dataclass(frozen=True)
class Sheet:
    """One operate of one vehicle on paper. `faults`: titles of the faults shown; `happens`: what they do to
    fuses and wires; `notes`: how to read the figures."""

    vehicle: str
    operate: str
    faults: tuple[str, ...]
    cautions: tuple[str, ...]
    happens: tuple[str, ...]
    lamps: tuple[SeenRow, ...]
    motors: tuple[SeenRow, ...]
    sounds: tuple[SeenRow, ...]
    circuits: tuple[CircuitRows, ...]
    notes: tuple[str, ...]


def make_sheet(figures: Figures, ways: Ways, circuits: Sequence[str]) -> Sheet:
    """The sheet of the circuits named; terminals of other circuits that feed them come with their wires."""
    knowledge = figures.knowledge
    rows = Rows(figures, ways, circuits)
    seen = rows.seen_parts()
    points = tuple(rows.circuit(name) for name in circuits)
    return Sheet(
        knowledge.vehicle.title,
        operate_words(knowledge, figures.operate),
        tuple(cause.title for cause in figures.causes),
        tuple(caution.text for caution in cautions_of(knowledge, figures.operate)),
        _happens(figures),
        tuple(rows.lamp(lamp.id) for lamp in figures.network.filaments if end_part(lamp.id) in seen),
        tuple(rows.machines(seen)),
        tuple(rows.sound(part) for part in seen if knowledge.parts[part].kind in ("flasher-unit", "horn")),
        points,
        _notes(figures, points),
    )


def part_title(knowledge: Knowledge, part_id: str) -> str:
    """A part's title with what is stamped on it: watts and colour of a lamp, amps of a fuse."""
    part = knowledge.parts[part_id]
    match part:
        case schema.FusePart():
            return f"{part.title}, {marking_of(knowledge, part_id)}"
        case schema.LampPart() | schema.TwoFilamentPart():
            return f"{part.title}, {part.colour} {marking_of(knowledge, part_id)}"
    return part.title


def wire_words(wire: schema.Wire) -> str:
    """Colour and section."""
    return f"{wire.colour} {wire.section_mm2:g} mm²"


def _happens(figures: Figures) -> tuple[str, ...]:
    """What blew, burnt or carries more than it can bear, in words; a wire that burns is said as the danger it is."""
    lines, knowledge, net = [], figures.knowledge, figures.network
    for name in figures.blown[FAULTY]:
        if name in knowledge.parts:
            lines.append(t("{part_title}: blows.", part_title=part_title(knowledge, name)))
    for name, wire in knowledge.wires.items():
        burns = name in figures.blown[FAULTY]
        amps = abs(float(figures.shown.branch_a[FAULTY, net.branch(name)]))
        if burns or amps > _BEARS_A_MM2 * wire.section_mm2:
            title = wire_title(wire, knowledge.parts)
            what = t("burns through") if burns else t("carries {amps}", amps=amps_words(amps))
            lines.append(
                t(
                    "{title} ({wire}): {what}, and no fuse saves it. Never try this: take the earth "
                    "clamp off the battery first.",
                    title=title,
                    wire=wire_words(wire),
                    what=what,
                )
            )
    return tuple(lines)


def _notes(figures: Figures, circuits: Sequence[CircuitRows]) -> tuple[str, ...]:
    notes = [t("Volts: meter's black lead on body (clean bare metal). Test lamp: 12 V 5 W, clip on body.")]
    if figures.pulses(HEALTHY) or figures.pulses(FAULTY):
        notes.append(
            t(
                "Two figures (11.9/0.00 V): while the turn lamps are lit and while they are dark. "
                "Amps: while they are lit."
            )
        )
    wires = [wire for circuit in circuits for part in circuit.parts for point in part.points for wire in point.wires]
    if any("-" in (wire.amps[:1], wire.healthy[:1]) for wire in wires):
        notes.append(t("Amps with a minus run the other way round, towards the battery."))
    if figures.causes:
        notes.append(t("! marks what differs from the healthy vehicle; what that one shows follows in brackets."))
        notes.append(t("Only this operate is worked out: a fuse that another one would blow is whole here."))
    if any(cause.change is not None and (cause.change.swap or cause.change.moved) for cause in figures.causes):
        notes.append(t("Wires stand where they belong, not where the fault has put them."))
    if any(cause.change is None for cause in figures.causes):
        notes.append(t("A fault that is not electrical changes no figure here."))
    for cause in figures.absent:
        only = only_words(figures.knowledge, cause.only)
        notes.append(
            t(
                "{cause}: there only with {only}; as the controls stand the vehicle is sound in this.",
                cause=cause.title,
                only=only,
            )
        )
    return tuple(notes)


class Rows:
    """Makes single rows of some circuits: for the table, and for what is written into a drawing."""

    def __init__(self, figures: Figures, ways: Ways, circuits: Sequence[str]) -> None:
        self._figures, self._ways, self._knowledge = figures, ways, figures.knowledge
        self._circuits = circuits
        self._wire_numbers = wire_numbers(self._knowledge)
        self._onward: dict[str, list[str]] = {}
        for wire, (upper, _) in ways.wires.items():
            self._onward.setdefault(upper, []).append(wire)

    def _owned(self, circuit: str) -> list[str]:
        return [part for part in self._knowledge.parts if self._knowledge.circuit_of[part] == circuit]

    def seen_parts(self) -> dict[str, None]:
        """Parts of the circuits, and the lamps of others that their wires end on."""
        found = dict.fromkeys(part for circuit in self._circuits for part in self._owned(circuit))
        for name, wire in self._knowledge.wires.items():
            if self._knowledge.circuit_of[name] in self._circuits:
                found |= dict.fromkeys((end_part(wire.from_), end_part(wire.to)))
        return {part: None for part in self._knowledge.parts if part in found}

    # ------------------------------------------------------------ seen and heard

    def lamp(self, filament: str) -> SeenRow:
        """What a lamp, or one filament of it, shows."""
        part = end_part(filament)
        terminal = end_terminal(filament)
        title = self._knowledge.parts[part].title + (f" {terminal}" if terminal else "")
        colour = getattr(self._knowledge.parts[part], "colour", "")
        now, healthy = (look_words(self._figures.look(row, filament)) for row in (FAULTY, HEALTHY))
        return SeenRow(filament, f"{title} ({colour})" if colour else title, now, healthy if now != healthy else "")

    def machines(self, seen: Mapping[str, None]) -> Iterator[SeenRow]:
        """Motors, then relays that are no motor's own, then gauges."""
        net, figures = self._figures.network, self._figures
        for i, motor in enumerate(net.motors):
            if motor.id in seen:
                now, was = (figures.motor(row, i).replace("-", " ") for row in (FAULTY, HEALTHY))
                yield SeenRow(motor.id, self._knowledge.parts[motor.id].title, now, was if was != now else "")
        motors = {motor.id for motor in net.motors}
        for i, relay in enumerate(net.relays):
            if relay.id in seen and relay.id not in motors:
                now, was = (figures.relay(row, i) for row in (FAULTY, HEALTHY))
                yield SeenRow(relay.id, self._knowledge.parts[relay.id].title, now, was if was != now else "")

        for needle in net.needles:
            if needle.id in seen:
                now, was = (figures.needle(row, needle.id) for row in (FAULTY, HEALTHY))
                yield SeenRow(needle.id, self._knowledge.parts[needle.id].title, now, was if was != now else "")

    def sound(self, part: str) -> SeenRow:
        """What a flasher unit or a horn lets hear."""
        now, healthy = (self._heard(row, part) for row in (FAULTY, HEALTHY))
        return SeenRow(part, self._knowledge.parts[part].title, now, healthy if now != healthy else "")

    def _heard(self, row: int, part: str) -> str:
        heard, rate = self._figures.sound(row, part), self._figures.rate(row)
        if self._knowledge.parts[part].kind == "flasher-unit" and heard == "click" and rate:
            return t("{heard}, about {rate} a minute", heard=heard, rate=round(rate))
        return heard

    # ------------------------------------------------------------ points

    def circuit(self, name: str) -> CircuitRows:
        """Its own parts; beside them, where their circuit is not on the sheet, the terminals its wires end on."""
        owned = self._owned(name)
        beside = {
            end
            for wire in self._knowledge.wires
            for end in self._ways.wires[wire]
            if self._knowledge.circuit_of[wire] == name
            and self._knowledge.circuit_of[end_part(end)] not in self._circuits
        }
        parts = self._ways.parts([*owned, *dict.fromkeys(end_part(end) for end in sorted(beside))])
        rows = tuple(self._part(part, None if part in set(owned) else beside) for part in parts)
        return CircuitRows(name, self._knowledge.circuits[name].title, rows)

    def _part(self, part_id: str, only: set[str] | None) -> PartRows:
        part = self._knowledge.parts[part_id]
        ends = self._ways.terminals(part_id, terminals_of(part))
        ends = [end for end in ends if only is None or end in only]
        amps, healthy = self.amps(part_id, 1.0) if part.kind == "fuse" else ("", "")
        title = part_title(self._knowledge, part_id)
        points = tuple(self.point(end) for end in ends)
        return PartRows(part_id, title, amps, healthy, self.faults(part_id), points)

    def point(self, end: str) -> PointRow:
        """A terminal, `part.terminal`."""
        figures = self._figures
        now, was = (figures.volts(row, end) for row in (FAULTY, HEALTHY))
        lamp, lamp_was = (look_words(figures.test_lamp(row, end)) for row in (FAULTY, HEALTHY))
        differs = _other_volts(now, was) or lamp != lamp_was
        return PointRow(
            end,
            spelled_end(self._knowledge.parts, end),
            volts_words(now),
            lamp,
            f"{volts_words(was)}, {lamp_was}" if differs else "",
            tuple(self.wire(wire) for wire in self._onward.get(end, ()) if self._told(wire, end)),
        )

    def _told(self, wire: str, end: str) -> bool:
        """All wires on a part of the sheet; on one beside it those of its circuits."""
        circuit_of = self._knowledge.circuit_of
        return circuit_of[end_part(end)] in self._circuits or circuit_of[wire] in self._circuits

    def wire(self, name: str) -> WireRow:
        """A wire at its end nearer the battery."""
        wire = self._knowledge.wires[name]
        upper, lower = self._ways.wires[name]
        title = self._knowledge.parts[end_part(lower)].title
        onward = (upper == wire.from_) != (name in self._ways.home)
        amps, healthy = self.amps(name, 1.0 if onward else -1.0)
        to = f"{title} {spelled_end(self._knowledge.parts, lower)}"
        named = wire_title(wire, self._knowledge.parts)
        return WireRow(name, named, wire_words(wire), to, amps, healthy, self.faults(name), self._wire_numbers[name])

    def faults(self, subject: str) -> tuple[str, ...]:
        """Titles of the faults of a part or wire that are shown."""
        return tuple(cause.title for cause in self._figures.causes if cause.subject == subject)

    def amps(self, through: str, way: float) -> tuple[str, str]:
        """Amps from battery towards body, and those of the healthy vehicle where they differ."""
        if self._knowledge.vehicle.earth == "positive":
            way = -way
        now, was = (way * self._figures.amps(row, through) for row in (FAULTY, HEALTHY))
        differs = abs(now - was) > max(_OFF_A, _OFF_A_SHARE * max(abs(now), abs(was)))
        return amps_words(now), amps_words(was) if differs else ""


def _other_volts(now: Pulse, was: Pulse) -> bool:
    pairs = ((now.lit, was.lit), (now.unlit, was.unlit))
    return any(abs(a - b) > max(_OFF_V, _OFF_SHARE * max(abs(a), abs(b))) for a, b in pairs)
