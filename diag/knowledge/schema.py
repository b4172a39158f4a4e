"""The shape of every knowledge file, as pydantic models: keys, types, units, allowed words.

Knows nothing of files on disk, of equations or of questions. YAML keys are the field names in
kebab case. Every scalar arrives here as text (see `reader`); quantities carry their unit in the
file (`length: 0.8 m`) and become floats in the unit that the field name ends in.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator

from diag.knowledge.units import quantity

__all__ = [
    "AlternatorPart",
    "BatteryPart",
    "BreakerPart",
    "CauseNote",
    "Caution",
    "Check",
    "CircuitFile",
    "CoilPart",
    "Condition",
    "Conclusion",
    "DiodePart",
    "DynamoPart",
    "EarthPart",
    "FlasherPart",
    "FusePart",
    "GaugePart",
    "HornPart",
    "JointPart",
    "KindsFile",
    "LampPart",
    "LevelSenderPart",
    "Limits",
    "LoadPart",
    "Mode",
    "Model",
    "MotorPart",
    "Part",
    "PlugPart",
    "RegulatorPart",
    "RelayPart",
    "Remedy",
    "ResistorPart",
    "RheostatPart",
    "Rule",
    "SenderPart",
    "SharedFile",
    "StarterPart",
    "SupplyFile",
    "SwitchPart",
    "Symptom",
    "TwoFilamentPart",
    "VehicleFile",
    "VocabularyFile",
    "WiperMotorPart",
    "Wire",
]


def _kebab(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


class Model(BaseModel):
    """Common settings: unknown keys refused, values immutable, keys in kebab case."""

    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=_kebab, populate_by_name=True)


def _truth(found: Any) -> Any:
    """Only `true` and `false` are booleans; `on`, `off`, `yes`, `no` stay words."""
    if found in ("true", "false"):
        return found == "true"
    if isinstance(found, bool):
        return found
    raise ValueError("expected true or false")


def _whole(found: Any) -> Any:
    if isinstance(found, str) and not found.strip().lstrip("+-").isascii():
        raise ValueError("expected a number in plain digits")
    return found


Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
TerminalName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9+-]{1,12}$")]
TerminalRef = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+\.[A-Za-z0-9+-]{1,12}$")]
"""`part.terminal`, or the word `body` where a field says so."""
CauseRef = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+\.[A-Za-z0-9+-]+$", max_length=80)]
RuleId = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+/[a-z0-9-]+$", max_length=90)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=600, strip_whitespace=True)]
Bool = Annotated[bool, BeforeValidator(_truth)]
Number = Annotated[float, BeforeValidator(_whole), Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
Share = Annotated[float, BeforeValidator(_whole), Field(allow_inf_nan=False, gt=0, le=1)]
Weight = Annotated[float, BeforeValidator(_whole), Field(allow_inf_nan=False, ge=0.02, le=50)]
"""Likelihood ratio between 1/50 and 50."""
Positive = Annotated[float, BeforeValidator(_whole), Field(allow_inf_nan=False, gt=0, le=1e6)]

Volts = Annotated[float, BeforeValidator(quantity("V"))]
Amps = Annotated[float, BeforeValidator(quantity("A"))]
Ohms = Annotated[float, BeforeValidator(quantity("ohm"))]
Watts = Annotated[float, BeforeValidator(quantity("W"))]
Metres = Annotated[float, BeforeValidator(quantity("m"))]
SquareMillimetres = Annotated[float, BeforeValidator(quantity("mm2"))]
Minutes = Annotated[float, BeforeValidator(quantity("min"))]
PerMinute = Annotated[float, BeforeValidator(quantity("/min"))]

Celsius = Annotated[float, BeforeValidator(quantity("degC"))]

Operate = Mapping[str, str]
"""Positions of controls that differ from rest, e.g. {ignition: on, turn: left}. The control
`unplugged` names one terminal whose wires are taken off."""


# ---------------------------------------------------------------- parts and wires


class _Part(Model):
    title: Text
    place: Id
    reach: Minutes = 1.0
    """Minutes to get at its terminals with a probe (covers off, lying under the dash)."""
    sealed: tuple[TerminalName, ...] = ()
    """Terminals that cannot be probed."""


class BatteryPart(_Part):
    """Terminals B+ and B-. Open-circuit volts and internal resistance of a healthy, rested one."""

    kind: Literal["battery"]
    rest_v: Volts
    resistance_ohm: Ohms = 0.02


class EarthPart(_Part):
    """Earth point: terminal 31, joined to body by its contact resistance."""

    kind: Literal["earth"]
    contact_ohm: Ohms = 0.005


class FusePart(_Part):
    """Fuse in its holder: terminals `in` and `out`. `link` names the time-current class it melts after."""

    kind: Literal["fuse"]
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


class SenderPart(_Part):
    """A switch worked by the engine (oil pressure): terminal G, closed to its case (body) when the
    control `engine` is in one of `closed-when`."""

    kind: Literal["sender"]
    closed_when: tuple[str, ...]
    contact_ohm: Ohms = 0.05


class RheostatPart(_Part):
    """Dimmer: two terminals (58 and 58d), and its resistance in each position of its control."""

    kind: Literal["rheostat"]
    control: Id
    terminals: tuple[TerminalName, TerminalName] = ("58", "58d")
    positions: Annotated[Mapping[str, Ohms], Field(min_length=2)]


class BreakerPart(_Part):
    """Contact breaker of the ignition: terminal 1, closed to body in the `closed-when` positions of `engine`."""

    kind: Literal["breaker"]
    closed_when: tuple[str, ...]
    contact_ohm: Ohms = 0.05


class LevelSenderPart(_Part):
    """Sender of a gauge: terminal G, `positions` gives its resistance to body in each position of its control."""

    kind: Literal["level-sender"]
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


class TwoFilamentPart(_Part):
    """Lamp with two filaments: `terminals` are first, second and common (56a, 56b, 31 or 54, 58, 31).
    Each filament answers to `part.terminal` in checks. `test-w` are watts at `test-v`."""

    kind: Literal["two-filament-lamp"]
    terminals: tuple[TerminalName, TerminalName, TerminalName]
    test_w: tuple[Watts, Watts]
    test_v: Volts = 13.5
    colour: Text = "white"
    holder_ohm: Ohms = 0.01


class LampPart(_Part):
    """One filament. Terminals: its feed (DIN number of the line, e.g. L, 54, 58) and 31, or two
    named ones. `test-w` is watts at `test-v` (UN R37: 6.75, 13.5, 28 V)."""

    kind: Literal["lamp"]
    terminals: tuple[TerminalName, TerminalName]
    test_w: Watts
    test_v: Volts = 13.5
    colour: Text = "white"
    tell_tale: Bool = False


class FlasherPart(_Part):
    """Flasher unit: 49 feed, 49a to the turn switch, C to the tell-tale, 31 earth. A thermal one flashes
    at a rate that follows its load; an electronic one keeps its rate and doubles it when a lamp is out."""

    kind: Literal["flasher-unit"]
    technique: Literal["thermal", "electronic"] = "electronic"
    rated_w: Watts
    rate: PerMinute = 85.0
    contact_ohm: Ohms = 0.03
    coil_ohm: Ohms = 150.0


class HornPart(_Part):
    """Horn: terminals 71 and 31b."""

    kind: Literal["horn"]
    current_a: Amps
    contact_ohm: Ohms = 0.02


class JointPart(_Part):
    """Bus bar, slip ring, plug joint: all its terminals joined in one point."""

    kind: Literal["joint"]
    terminals: tuple[TerminalName, ...]
    contact_ohm: Ohms = 0.002
    breakable: Bool = False
    """True where the joint itself can fail (slip ring, coupling strap)."""


class DynamoPart(_Part):
    """Dynamo, field earthed inside: D+ armature, DF field. Runs with the control `engine`."""

    kind: Literal["dynamo"]
    emf_v: Volts
    armature_ohm: Ohms = 0.12
    field_ohm: Ohms = 6.0


class RegulatorPart(_Part):
    """Separate regulator with cut-out: B+ battery, D+ and DF to the dynamo, 61 charge lamp,
    31 earth of its shunt winding."""

    kind: Literal["regulator"]
    contact_ohm: Ohms = 0.02
    winding_ohm: Ohms = 80.0


class AlternatorPart(_Part):
    """Alternator with its regulator inside: B+ output, D+ to the charge lamp; its case is body. It excites
    itself when the charge lamp feeds its field while the control `engine` is `running`."""

    kind: Literal["alternator"]
    regulated_v: Volts = 14.2
    inner_ohm: Ohms = 0.03
    field_ohm: Ohms = 4.0


class StarterPart(_Part):
    """Starter with its solenoid: 30 the thick cable, 50 the solenoid; its case is body (or 31 where named)."""

    kind: Literal["starter"]
    solenoid_ohm: Ohms = 1.2
    contact_ohm: Ohms = 0.001
    motor_ohm: Ohms = 0.055
    pull_in: Share = 0.55
    drop_out: Share = 0.3


class MotorPart(_Part):
    """Motor with two terminals: blower, washer pump. `current-a` at the system volts while it runs."""

    kind: Literal["motor"]
    terminals: tuple[TerminalName, TerminalName]
    current_a: Amps


class WiperMotorPart(_Part):
    """Wiper motor: 53 slow, 53b fast, 31 earth, and its self-park switch: 53e joins 53a away from rest and
    31 at rest."""

    kind: Literal["wiper-motor"]
    slow_a: Amps = 2.5
    fast_a: Amps = 3.5
    contact_ohm: Ohms = 0.02


class CoilPart(_Part):
    """Ignition coil, primary only: terminals 15 and 1."""

    kind: Literal["ignition-coil"]
    primary_ohm: Ohms = 3.0


class ResistorPart(_Part):
    """Fixed resistor in a line: ballast of the coil, blower speed resistor."""

    kind: Literal["resistor"]
    terminals: tuple[TerminalName, TerminalName]
    ohm: Ohms


class LoadPart(_Part):
    """Any other consumer: choke heater, idle cut-off valve, radio. `current-a` at the system volts;
    a `valve` clicks when it gets or loses its feed."""

    kind: Literal["heater", "valve", "accessory"]
    terminals: tuple[TerminalName, TerminalName]
    current_a: Amps


class GaugePart(_Part):
    """Gauge with a feed and a sender: terminals 15 and G, `coil-ohm` between them."""

    kind: Literal["gauge"]
    coil_ohm: Ohms = 65.0


class DiodePart(_Part):
    """Diode: conducts from A to K."""

    kind: Literal["diode"]
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


Part = Annotated[
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
    | PlugPart,
    Field(discriminator="kind"),
]


class Wire(Model):
    """One wire between two terminals. Wires of one `bundle` lie side by side in the order of the file."""

    from_: TerminalRef
    to: TerminalRef
    colour: Text
    section_mm2: SquareMillimetres
    length_m: Metres
    bundle: Id | None = None
    title: Text | None = None


# ---------------------------------------------------------------- checks, rules, remedies


class Condition(Model):
    """One test on a finding, reading or intermediate conclusion. Words: `is steady`, `is-not dark`
    or just `steady`; numbers: below, above, between (in the check's unit)."""

    check: Id | None = None
    established: Id | None = None
    light: Text | None = None
    rhythm: Text | None = None
    is_: Text | None = None
    is_not: Text | None = None
    below: Number | None = None
    above: Number | None = None
    between: tuple[Number, Number] | None = None

    @model_validator(mode="after")
    def _one_subject(self) -> Condition:
        tests = (self.light, self.rhythm, self.is_, self.is_not, self.below, self.above, self.between)
        given = sum(found is not None for found in tests)
        if (self.check is None) == (self.established is None):
            raise ValueError("expected either `check` or `established`")
        if self.established is not None and given:
            raise ValueError("`established` stands alone")
        if self.check is not None and not given:
            raise ValueError("expected a test beside `check`: light, rhythm, is, is-not, below, above or between")
        return self


class Conclusion(Model):
    """One effect of a rule; exactly one of its kinds."""

    points_to: CauseRef | None = None
    weight: Weight | None = None
    clears: CauseRef | None = None
    establish: Id | None = None
    ask: Id | None = None
    warn: Id | None = None
    stop: Id | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Conclusion:
        kinds = [self.points_to, self.clears, self.establish, self.ask, self.warn, self.stop]
        if sum(found is not None for found in kinds) != 1:
            raise ValueError("expected exactly one of points-to, clears, establish, ask, warn, stop")
        if (self.weight is not None) != (self.points_to is not None):
            raise ValueError("`points-to` needs a `weight`, and only it takes one")
        return self


class Rule(Model):
    id: RuleId
    title: Text
    when: Annotated[tuple[Condition, ...], Field(min_length=1, max_length=12)]
    then: Annotated[tuple[Conclusion, ...], Field(min_length=1, max_length=12)]
    because: Text
    looks_like: Text | None = None
    source: Text
    state: Literal["draft", "tested", "proven", "retired"]
    replaced_by: RuleId | None = None
    leads_there: tuple[Id, ...] = ()
    near_miss: tuple[Id, ...] = ()


class Choice(Model):
    value: Id
    label: Text


class Limits(Model):
    """What a good reading is, in the check's unit; either bound may be left out."""

    min: Number | None = None
    max: Number | None = None
    source: Text


class Check(Model):
    """One thing to look at, listen to, measure, choose or do.

    look, listen: `target` is a part. measure: `red` and `black` terminals (or `body`) with `unit`
    V or ohm; or `through` a fuse or wire with unit A. choose: `choices`. do: answered done.
    `usual` gives the share of each answer where nothing is computed; words for look are written
    `light` or `light/rhythm`.
    """

    id: Id
    title: Text
    kind: Literal["look", "listen", "measure", "choose", "do"]
    operate: Mapping[Id, str] = {}
    target: Id | None = None
    red: str | None = None
    black: str | None = None
    through: Id | None = None
    unit: Literal["V", "A", "ohm"] | None = None
    choices: tuple[Choice, ...] = ()
    text: Text | None = None
    place: Id
    minutes: Minutes = 0.5
    instruments: tuple[Literal["test-lamp", "meter", "jumper", "helper"], ...] = ()
    caution: Id | None = None
    usual: Mapping[str, Share] = {}
    limits: Limits | None = None

    @model_validator(mode="after")
    def _complete(self) -> Check:
        if self.kind in ("look", "listen") and self.target is None:
            raise ValueError(f"a {self.kind} needs a `target` part")
        if self.kind == "measure":
            if self.unit is None:
                raise ValueError("a measure needs a `unit`: V, A or ohm")
            if self.unit == "A" and self.through is None:
                raise ValueError("a current is measured `through` a fuse or wire")
            if self.unit != "A" and (self.red is None or self.black is None):
                raise ValueError("a measure needs `red` and `black` terminals")
        if self.kind == "choose" and len(self.choices) < 2:
            raise ValueError("a choose needs at least two `choices`")
        return self


class Symptom(Model):
    """A misbehaviour as people say it. `shows`: alternatives, each a list of conditions that all
    hold (e.g. left lamps steady; or right lamps steady)."""

    id: Id
    title: Text
    phrases: tuple[Text, ...] = ()
    shows: Annotated[tuple[Annotated[tuple[Condition, ...], Field(min_length=1)], ...], Field(min_length=1)]


class Caution(Model):
    id: Id
    text: Text
    source: Text
    harm: Bool = True
    """True: must be acknowledged before the step it belongs to."""


class CauseNote(Model):
    """Adjusts a derived cause, or adds one that is not electrical.

    `frequency` multiplies how often a derived cause is met; for an added cause it is the frequency
    itself, per thousand faults. `like` names the derived cause whose readings an added cause shows
    (left out: electrically nothing shows)."""

    id: CauseRef
    title: Text | None = None
    frequency: Positive | None = None
    like: CauseRef | None = None
    remedy: Id | None = None
    source: Text


class Remedy(Model):
    """What cures one or more causes, with steps, cautions and the checks that prove it."""

    id: Id
    title: Text
    cures: Annotated[tuple[CauseRef, ...], Field(min_length=1)]
    steps: Annotated[tuple[Text, ...], Field(min_length=1)]
    cautions: tuple[Id, ...] = ()
    minutes: Minutes = 10.0
    proof: tuple[Id, ...] = ()


class CircuitFile(Model):
    """rules/circuits/NAME.yaml"""

    circuit: Id
    title: Text
    parts: Mapping[Id, Part] = {}
    fuses: Mapping[Id, FusePart] = {}
    earths: Mapping[Id, EarthPart] = {}
    wires: Mapping[Id, Wire] = {}
    checks: tuple[Check, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    rules: tuple[Rule, ...] = ()
    causes: tuple[CauseNote, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    cautions: tuple[Caution, ...] = ()
    needs: tuple[Id, ...] = ()
    """Other circuits whose parts this one uses."""


class SupplyFile(CircuitFile):
    """rules/supply.yaml: battery, main earth, key switch, light switch, fuse box, and the controls
    with their positions, rest position first."""

    controls: Mapping[Id, Annotated[tuple[str, ...], Field(min_length=2)]]
    places: Mapping[Id, Text]
    """Where a person stands or kneels: id and plain words."""


class SharedFile(CircuitFile):
    """rules/shared.yaml: rules, checks, cautions and remedies that span circuits."""


# ---------------------------------------------------------------- kinds, vehicles, vocabulary


class Mode(Model):
    """One way in which a kind of part or a wire fails.

    `frequency` per thousand faults in an old untouched loom, `rewired` the same just after a
    rewire. `ohm` for resistive modes, `factor` for lamps of the wrong wattage, `spread` how far
    real cases stray from the value (natural log)."""

    title: Text
    frequency: Positive
    rewired: Positive
    remedy: Id
    ohm: Ohms | None = None
    volts: Volts | None = None
    factor: Positive | None = None
    spread: Share = 0.05
    source: Text


class RemedyForm(Model):
    """Wording of a derived remedy; `{part}` and `{place}` are filled in."""

    title: Text
    steps: Annotated[tuple[Text, ...], Field(min_length=1)]
    cautions: tuple[Id, ...] = ()
    minutes: Minutes = 10.0


class KindsFile(Model):
    """rules/kinds.yaml: fault modes of every kind, and the wording of their remedies."""

    kinds: Mapping[Id, Mapping[Id, Mode]]
    remedies: Mapping[Id, RemedyForm]
    outside_chance: Share = 0.01
    """Prior of a cause that is not in the model."""


class VehicleFile(Model):
    vehicle: Id
    title: Text
    system_v: Volts
    earth: Literal["negative", "positive"]
    history: Literal["rewired", "aged"]
    ambient_c: Celsius = 20.0
    """Temperature of the loom; copper and windings gain 0.39 % of resistance a kelvin."""
    circuits: Annotated[tuple[Id, ...], Field(min_length=1)]
    alterations: tuple[Text, ...] = ()
    overrides: Mapping[Literal["parts", "fuses", "earths", "wires"], Mapping[Id, Mapping[str, Any]]] = {}
    """Merged by id over the circuits' own; a value of `absent` for the key `fitted` removes one."""


class VocabularyFile(Model):
    """rules/vocabulary.yaml: every word a finding may use, the chance of misjudging it, and the
    limits that decide which word a prediction is."""

    light: tuple[Id, ...]
    rhythm: tuple[Id, ...]
    sound: tuple[Id, ...]
    motor: tuple[Id, ...]
    wire_colours: tuple[Text, ...]
    light_limits: Mapping[Id, Positive]
    """Upper edge of each word's relative light, against the healthy vehicle: dark, glow, dim, normal."""
    misread: Mapping[Literal["light", "rhythm", "sound", "motor"], Mapping[Id, Mapping[Id, Share]]]
    """For each true word the words it is taken for, with their share; the rest is right."""
    misread_floor: Share = 0.03
