"""The kinds of part that a vehicle may have, and its wires: what a file says of each, and its terminals.

What a kind is electrically and how it fails is not known here (see `diag.circuit.kinds`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import AfterValidator, Field, StringConstraints

from diag.errors import UnfitError
from diag.knowledge.scalars import (
    Amps,
    Bool,
    Id,
    Metres,
    Minutes,
    Model,
    Ohms,
    PerMinute,
    Share,
    SquareMillimetres,
    TerminalName,
    TerminalRef,
    Text,
    Volts,
    Watts,
)
from diag.texts import t

__all__ = [
    "PART_KINDS",
    "AnyPart",
    "AlternatorPart",
    "BatteryPart",
    "BreakerPart",
    "CoilPart",
    "DiodePart",
    "DynamoPart",
    "EarthPart",
    "FlasherPart",
    "FusePart",
    "GaugePart",
    "HornPart",
    "JointPart",
    "LampPart",
    "LevelSenderPart",
    "LoadPart",
    "MotorPart",
    "Part",
    "PlugPart",
    "RegulatorPart",
    "RelayPart",
    "ResistorPart",
    "RheostatPart",
    "SenderPart",
    "StarterPart",
    "SwitchPart",
    "TwoFilamentPart",
    "WiperMotorPart",
    "Wire",
]


class _Part(Model):
    title: Text
    place: Id
    sort: Id | None = None
    """A sort of its kind with ways of its own to fail, as kinds.yaml gives under `sorts`."""
    reach: Minutes = 1.0
    """Minutes to get at its terminals with a probe (covers off, lying under the dash)."""
    sealed: tuple[TerminalName, ...] = ()
    """Terminals that cannot be probed."""
    marks: Mapping[TerminalName, TerminalName] = {}
    """What is stamped beside a terminal on the part itself, where it is not our name for it."""

    fixed: ClassVar[tuple[str, ...]] = ()
    """Terminals of a kind whose terminals are not listed in the file (DIN 72552; `in`, `out`, A, K are ours)."""

    def terminal_names(self) -> tuple[str, ...]:
        """Its terminals, in the order of its kind or of its own list."""
        return self.fixed

    def spelled(self, terminal: str) -> str:
        """A terminal as a person is told of it: the mark on the part first, our name for it behind."""
        mark = self.marks.get(terminal)
        return f"{mark} ({terminal})" if mark is not None else terminal


class BatteryPart(_Part):
    """Terminals B+ and B-. Open-circuit volts and internal resistance of a healthy, rested one."""

    kind: Literal["battery"]
    fixed = ("B+", "B-")
    rest_v: Volts
    resistance_ohm: Ohms = 0.02


class EarthPart(_Part):
    """Earth point: terminal 31, joined to body by its contact resistance."""

    kind: Literal["earth"]
    fixed = ("31",)
    contact_ohm: Ohms = 0.005


class FusePart(_Part):
    """Fuse in its holder: terminals `in` and `out`. `link` names the time-current class it melts after."""

    kind: Literal["fuse"]
    fixed = ("in", "out")
    rating_a: Amps
    link: Literal["blade", "torpedo", "glass"] = "blade"
    contact_ohm: Ohms = 0.008


class SwitchPart(_Part):
    """Any switch: which terminal pairs each position of its control joins. `body` may stand for a
    terminal where the switch's own case is the earth."""

    kind: Literal["switch"]
    control: Id
    terminals: tuple[TerminalName, ...]
    contacts: Mapping[str, tuple[tuple[TerminalName, TerminalName], ...]]
    contact_ohm: Ohms = 0.015

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class SenderPart(_Part):
    """A switch worked by the engine (oil pressure): terminal G, closed to its case (body) when the
    control `engine` is in one of `closed-when`."""

    kind: Literal["sender"]
    fixed = ("G",)
    closed_when: tuple[str, ...]
    contact_ohm: Ohms = 0.05


class RheostatPart(_Part):
    """Dimmer: two terminals (58 and 58d), and its resistance in each position of its control."""

    kind: Literal["rheostat"]
    control: Id
    terminals: tuple[TerminalName, TerminalName] = ("58", "58d")
    positions: Annotated[Mapping[str, Ohms], Field(min_length=2)]

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class BreakerPart(_Part):
    """Contact breaker of the ignition: terminal 1, closed to body in the `closed-when` positions of its control."""

    kind: Literal["breaker"]
    fixed = ("1",)
    control: Id = "engine"
    closed_when: tuple[str, ...]
    contact_ohm: Ohms = 0.05


class LevelSenderPart(_Part):
    """Sender of a gauge: terminal G, `positions` gives its resistance to body in each position of its control."""

    kind: Literal["level-sender"]
    fixed = ("G",)
    control: Id
    positions: Annotated[Mapping[str, Ohms], Field(min_length=2)]


class RelayPart(_Part):
    """Relay: 85 and 86 coil, 30 common, 87 make, 87a break (where `change-over`). With `diode` its coil
    carries a diode whose cathode is at 86, so it must not be wired backwards. `pull-in` and `drop-out`
    are shares of the system volts."""

    kind: Literal["relay"]
    coil_ohm: Ohms = 85.0
    contact_ohm: Ohms = 0.005
    change_over: Bool = False
    diode: Bool = False
    pull_in: Share = 0.65
    drop_out: Share = 0.2

    def terminal_names(self) -> tuple[str, ...]:
        return ("85", "86", "30", "87", "87a") if self.change_over else ("85", "86", "30", "87")


class TwoFilamentPart(_Part):
    """Lamp with two filaments: `terminals` are first, second and common (56a, 56b, 31 or 54, 58, 31).
    Each filament answers to `part.terminal` in checks. `test-w` are watts at `test-v`."""

    kind: Literal["two-filament-lamp"]
    terminals: tuple[TerminalName, TerminalName, TerminalName]
    test_w: tuple[Watts, Watts]
    test_v: Volts = 13.5
    colour: Text = "white"
    holder_ohm: Ohms = 0.01

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class LampPart(_Part):
    """One filament. Terminals: its feed (DIN number of the line, e.g. L, 54, 58) and 31, or two
    named ones. `test-w` is watts at `test-v` (UN R37: 6.75, 13.5, 28 V)."""

    kind: Literal["lamp"]
    terminals: tuple[TerminalName, TerminalName]
    test_w: Watts
    test_v: Volts = 13.5
    colour: Text = "white"
    tell_tale: Bool = False

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


def _fed_and_feeding(found: tuple[str, ...]) -> tuple[str, ...]:
    if not {"49", "49a"} <= set(found) or len(set(found)) < len(found):
        raise UnfitError(t("49 and 49a, and of C and 31 those that the unit has, each once"))
    return found


class FlasherPart(_Part):
    """Flasher unit: 49 feed, 49a to the turn switch, and of C to the tell-tale and 31 earth those that its
    `terminals` name. A thermal one flashes at a rate that follows its load; an electronic one keeps its rate
    and doubles it when a lamp is out."""

    kind: Literal["flasher-unit"]
    terminals: Annotated[tuple[Literal["49", "49a", "C", "31"], ...], AfterValidator(_fed_and_feeding)] = (
        "49",
        "49a",
        "C",
        "31",
    )
    technique: Literal["thermal", "electronic"] = "electronic"
    rated_w: Watts
    rate: PerMinute = 85.0
    contact_ohm: Ohms = 0.03
    coil_ohm: Ohms = 150.0

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class HornPart(_Part):
    """Horn: terminals 71 and 31b."""

    kind: Literal["horn"]
    fixed = ("71", "31b")
    current_a: Amps
    contact_ohm: Ohms = 0.02


class JointPart(_Part):
    """Bus bar, slip ring, plug joint: all its terminals joined in one point."""

    kind: Literal["joint"]
    terminals: tuple[TerminalName, ...]
    contact_ohm: Ohms = 0.002
    breakable: Bool = False
    """True where the joint itself can fail (slip ring, coupling strap)."""

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class DynamoPart(_Part):
    """Dynamo: D+ armature, DF field. Runs with the control `engine`. The other end of its field winding is
    earthed inside (`to-earth`), or joined to D+ inside (`to-output`)."""

    kind: Literal["dynamo"]
    fixed = ("D+", "DF")
    field: Literal["to-earth", "to-output"] = "to-earth"
    emf_v: Volts
    armature_ohm: Ohms = 0.12
    field_ohm: Ohms = 6.0


class RegulatorPart(_Part):
    """Separate regulator with cut-out: B+ battery, D+ and DF to the dynamo, 61 charge lamp,
    31 earth of its shunt winding. Its contact takes DF to D+ where the dynamo's field goes `to-earth`, and DF
    to 31 where it goes `to-output`."""

    kind: Literal["regulator"]
    fixed = ("B+", "D+", "DF", "61", "31")
    field: Literal["to-earth", "to-output"] = "to-earth"
    contact_ohm: Ohms = 0.02
    winding_ohm: Ohms = 80.0


class AlternatorPart(_Part):
    """Alternator with its regulator inside: B+ output, D+ to the charge lamp; its case is body. It excites
    itself when the charge lamp feeds its field while the control `engine` is `running`."""

    kind: Literal["alternator"]
    fixed = ("B+", "D+")
    regulated_v: Volts = 14.2
    inner_ohm: Ohms = 0.03
    field_ohm: Ohms = 4.0


class StarterPart(_Part):
    """Starter with its solenoid: 30 the thick cable, 50 the solenoid. Its case is body, or terminal 31 on the
    engine, which the engine strap joins to body and `stray-ohm` of throttle and choke cables beside it. With
    `bypass` the solenoid also joins 30 to 15a, past the ballast of the ignition coil."""

    kind: Literal["starter"]
    case: Literal["body", "31"] = "body"
    stray_ohm: Ohms = 0.5
    bypass: Bool = False
    solenoid_ohm: Ohms = 1.2
    contact_ohm: Ohms = 0.001
    motor_ohm: Ohms = 0.055
    pull_in: Share = 0.55
    drop_out: Share = 0.3

    def terminal_names(self) -> tuple[str, ...]:
        more = [name for name, there in (("31", self.case == "31"), ("15a", self.bypass)) if there]
        return ("30", "50", *more)


class MotorPart(_Part):
    """Motor with two terminals: blower, washer pump. `current-a` at the system volts while it runs."""

    kind: Literal["motor"]
    terminals: tuple[TerminalName, TerminalName]
    current_a: Amps

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class WiperMotorPart(_Part):
    """Wiper motor: 53 slow, 53b fast, 31 earth, and its self-park switch: 53e joins 53a away from rest and
    31 at rest."""

    kind: Literal["wiper-motor"]
    fixed = ("53", "53b", "53a", "53e", "31")
    slow_a: Amps = 2.5
    fast_a: Amps = 3.5
    contact_ohm: Ohms = 0.02


class CoilPart(_Part):
    """Ignition coil, primary only: terminals 15 and 1."""

    kind: Literal["ignition-coil"]
    fixed = ("15", "1")
    primary_ohm: Ohms = 3.0


class ResistorPart(_Part):
    """Fixed resistor in a line: ballast of the coil, blower speed resistor."""

    kind: Literal["resistor"]
    terminals: tuple[TerminalName, TerminalName]
    ohm: Ohms

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class LoadPart(_Part):
    """Any other consumer: choke heater, idle cut-off valve, radio. `current-a` at the system volts;
    a `valve` clicks when it gets or loses its feed."""

    kind: Literal["heater", "valve", "accessory"]
    terminals: tuple[TerminalName, TerminalName]
    current_a: Amps

    def terminal_names(self) -> tuple[str, ...]:
        return self.terminals


class GaugePart(_Part):
    """Gauge with a feed and a sender: terminals 15 and G, `coil-ohm` between them. Its needle stands at the low
    end of its scale with a sender of `low-ohm` and at the high end with one of `high-ohm`."""

    kind: Literal["gauge"]
    fixed = ("15", "G")
    coil_ohm: Ohms = 65.0
    low_ohm: Ohms = 180.0
    high_ohm: Ohms = 10.0


class DiodePart(_Part):
    """Diode: conducts from A to K."""

    kind: Literal["diode"]
    fixed = ("A", "K")
    on_v: Volts = 0.7
    ohm: Ohms = 0.05


class PlugPart(_Part):
    """Plug joint of several pins (trailer socket): pin X joins terminal X to terminal X-t on the trailer's
    side while its control is in one of `joined-when`."""

    kind: Literal["plug"]
    pins: Annotated[tuple[Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9+]{1,10}$")], ...], Field(min_length=1)]
    control: Id | None = None
    joined_when: tuple[str, ...] = ()
    contact_ohm: Ohms = 0.01

    def terminal_names(self) -> tuple[str, ...]:
        return tuple(name for pin in self.pins for name in (pin, f"{pin}-t"))


AnyPart = (
    BatteryPart
    | EarthPart
    | FusePart
    | SwitchPart
    | SenderPart
    | LampPart
    | FlasherPart
    | HornPart
    | JointPart
    | DynamoPart
    | RegulatorPart
    | RheostatPart
    | BreakerPart
    | LevelSenderPart
    | RelayPart
    | TwoFilamentPart
    | AlternatorPart
    | StarterPart
    | MotorPart
    | WiperMotorPart
    | CoilPart
    | ResistorPart
    | LoadPart
    | GaugePart
    | DiodePart
    | PlugPart
)
Part = Annotated[AnyPart, Field(discriminator="kind")]
PART_KINDS: tuple[str, ...] = tuple(
    kind for part in get_args(AnyPart) for kind in get_args(part.model_fields["kind"].annotation)
)
"""Every word that `kind` may be."""


class Wire(Model):
    """One wire between two terminals. Wires of one `bundle` lie side by side in the order of the file."""

    from_: TerminalRef
    to: TerminalRef
    colour: Text
    section_mm2: SquareMillimetres
    length_m: Metres
    bundle: Id | None = None
    title: Text | None = None
