"""The shape of every knowledge file, as pydantic models: keys, types, units, allowed words.

Knows nothing of files on disk, of equations or of questions. YAML keys are the field names in
kebab case. What a part or wire may be stands in `parts`, how it fails in `modes`; both may be had from here too.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, StringConstraints, model_validator

from diag.knowledge.modes import KindsFile, Mode, PartSort, RemedyForm, SortMode
from diag.knowledge.parts import (
    PART_KINDS,
    AlternatorPart,
    AnyPart,
    BatteryPart,
    BreakerPart,
    CoilPart,
    DiodePart,
    DynamoPart,
    EarthPart,
    FlasherPart,
    FusePart,
    GaugePart,
    HornPart,
    JointPart,
    LampPart,
    LevelSenderPart,
    LoadPart,
    MotorPart,
    Part,
    PlugPart,
    RegulatorPart,
    RelayPart,
    ResistorPart,
    RheostatPart,
    SenderPart,
    StarterPart,
    SwitchPart,
    TwoFilamentPart,
    WiperMotorPart,
    Wire,
)
from diag.knowledge.ruleform import Conclusion, Condition, Day, Moved, Rule, RuleState
from diag.knowledge.scalars import (
    TEST_LAMP,
    Bool,
    CauseRef,
    Celsius,
    Id,
    Minutes,
    Model,
    Number,
    Ohms,
    Positive,
    Share,
    TargetRef,
    Text,
    Volts,
)
from diag.texts import t

__all__ = [
    "PART_KINDS",
    "Altered",
    "AnyPart",
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
    "Moved",
    "Option",
    "Part",
    "PartSort",
    "PlugPart",
    "RegulatorPart",
    "RelayPart",
    "Remedy",
    "RemedyForm",
    "ResistorPart",
    "RheostatPart",
    "Rule",
    "RuleState",
    "Sections",
    "SortMode",
    "SenderPart",
    "SharedFile",
    "StarterPart",
    "SupplyFile",
    "SwitchPart",
    "Symptom",
    "TwoFilamentPart",
    "Variant",
    "VehicleFile",
    "VocabularyFile",
    "WiperMotorPart",
    "Wire",
    "WrittenFor",
    "one_or_more",
]


Positions = Annotated[tuple[str, ...], Field(min_length=2)]
OptionRef = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+(\.[a-z0-9-]+)?$", max_length=90)]
"""An option of the same circuit, `circuit.option`, or `earth`, `system-v`, `circuit`."""


def one_or_more(found: Any) -> Any:
    """One name stands for a list of it."""
    return (found,) if isinstance(found, str) else found


OneOrMore = Annotated[tuple[Id, ...], BeforeValidator(one_or_more), Field(min_length=1)]
OneOrMorePositions = Annotated[tuple[str, ...], BeforeValidator(one_or_more), Field(min_length=1)]


# ---------------------------------------------------------------- checks, remedies


class Choice(Model):
    value: Id
    label: Text


class Limits(Model):
    """What a good reading is, in the check's unit; either bound may be left out."""

    min: Number | None = None
    max: Number | None = None
    source: Text


Stage = Literal["before-power", "first-power", "walk-round", "engine-running", "key-off-current"]


class Check(Model):
    """One thing to look at, listen to, measure, choose or do.

    look, listen: `target` is a part, or one filament of a lamp with two (`headlamp-left.56a`); a look may also be at
    a `test-lamp` held with its tip on `red` and its clip on `black`.
    measure: `red` and `black` terminals (or `body`) with `unit` V or ohm; or `through` a fuse or wire
    with unit A. choose: `choices`. do: answered done.
    `usual` gives the share of each answer where nothing is computed; words for look are written
    `light` or `light/rhythm`.
    """

    id: Id
    title: Text
    kind: Literal["look", "listen", "measure", "choose", "do"]
    operate: Mapping[Id, str] = {}
    target: TargetRef | None = None
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
    stage: Stage | None = None
    """The stage of proving a whole vehicle that it belongs to. Looks and listens need none: what is seen with the
    engine standing is part of the walk-round, what takes a turning engine (measurements too) of the stage after."""

    @model_validator(mode="after")
    def _complete(self) -> Check:
        if self.kind in ("look", "listen") and self.target is None:
            raise ValueError(t("a {kind} needs a `target` part", kind=self.kind))
        if self.kind == "look" and self.target == TEST_LAMP and (self.red is None or self.black is None):
            raise ValueError(t("a test lamp is held between `red` and `black`"))
        if self.kind == "measure":
            if self.unit is None:
                raise ValueError(t("a measure needs a `unit`: V, A or ohm"))
            if self.unit == "A" and self.through is None:
                raise ValueError(t("a current is measured `through` a fuse or wire"))
            if self.unit != "A" and (self.red is None or self.black is None):
                raise ValueError(t("a measure needs `red` and `black` terminals"))
        if self.kind == "choose" and len(self.choices) < 2:
            raise ValueError(t("a choose needs at least two `choices`"))
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
    (left out: electrically nothing shows). Beside `like`: `ohm` or `factor` where that cause has one and
    here it is another, `spread` how far real cases stray from it (natural log); `while` control to the
    positions (one or a list) in which it is there: all must hold, else the vehicle is as sound. Of a derived
    cause these replace what it has."""

    id: CauseRef
    title: Text | None = None
    frequency: Positive | None = None
    like: CauseRef | None = None
    ohm: Ohms | None = None
    factor: Positive | None = None
    spread: Share | None = None
    while_: Mapping[Id, OneOrMorePositions] = {}
    remedy: Id | None = None
    source: Text

    @model_validator(mode="after")
    def _beside_like(self) -> CauseNote:
        given = {"ohm": self.ohm, "factor": self.factor, "spread": self.spread, "while": self.while_ or None}
        lone = [key for key, value in given.items() if value is not None]
        if self.like is None and lone:
            raise ValueError(t("`{lone}` needs a `like`: the fault that this one shows itself as", lone=lone[0]))
        return self


class Remedy(Model):
    """What cures one or more causes, with steps, cautions and the checks that prove it."""

    id: Id
    title: Text
    cures: Annotated[tuple[CauseRef, ...], Field(min_length=1)]
    steps: Annotated[tuple[Text, ...], Field(min_length=1)]
    cautions: tuple[Id, ...] = ()
    parts: tuple[Text, ...] = ()
    """What has to be at hand or ordered."""
    minutes: Minutes = 10.0
    proof: tuple[Id, ...] = ()


class Sections(Model):
    """What a circuit is made of and what is known of it: in a circuit's file, or in one of its variants."""

    controls: Mapping[Id, Positions] = {}
    """Controls that only this circuit has, with their positions, rest position first."""
    says: Mapping[Id, Mapping[str, Text]] = {}
    """How a person is told to put a control in a position, where `control position` does not say it well."""
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


class Option(Model):
    """A way in which vehicles differ in a circuit. `choices`: value and plain words; the first is the usual one.
    `rules-out`: for a choice, what it cannot stand beside (options of the same circuit with their values)."""

    title: Text
    choices: Annotated[Mapping[Id, Text], Field(min_length=2)]
    rules_out: Mapping[Id, Mapping[Id, OneOrMore]] = {}

    def possible(self, others: Mapping[str, str]) -> dict[str, str]:
        """The choices that can stand beside `others`, option to value; they keep their order."""
        return {
            value: words
            for value, words in self.choices.items()
            if not any(others.get(name) in values for name, values in self.rules_out.get(value, {}).items())
        }


class Variant(Sections):
    """What holds only for some choices. `only`: option (of this circuit, or `circuit.option`), or `earth`,
    `system-v`, `circuit` (fitted), and the values that will do; all must hold. An entry with the id of a base
    entry replaces it whole. `without`: base parts, fuses, earth points, wires and checks that are not there."""

    only: Annotated[Mapping[OptionRef, OneOrMore], Field(min_length=1)]
    without: tuple[Id, ...] = ()


class WrittenFor(Model):
    """Volts and earth that the values of a circuit's file are given for; on other vehicles they are converted."""

    system_v: Volts = 12.0
    earth: Literal["negative", "positive"] = "negative"


class CircuitFile(Sections):
    """rules/circuits/NAME.yaml"""

    circuit: Id
    title: Text
    written_for: WrittenFor = WrittenFor()
    places: Mapping[Id, Text] = {}
    """Where a person stands or kneels: id and plain words."""
    needs: tuple[Id, ...] = ()
    """Other circuits whose parts this one uses."""
    beside: tuple[Id, ...] = ()
    """Other circuits of which it speaks where they are fitted; without them that is left out."""
    options: Mapping[Id, Option] = {}
    variants: tuple[Variant, ...] = ()


class SupplyFile(CircuitFile):
    """rules/supply.yaml: battery, main earth, key switch, light switch, fuse box, and the controls
    that every circuit shares."""

    controls: Mapping[Id, Positions]
    places: Mapping[Id, Text]


class SharedFile(CircuitFile):
    """rules/shared.yaml: rules, checks, cautions and remedies that span circuits."""


# ---------------------------------------------------------------- vehicles, vocabulary


class Altered(Model):
    """One alteration that was done: the day (YYYY-MM-DD), its kind, and what changed, in words."""

    date: Day
    kind: Id
    what: tuple[Text, ...] = ()


class VehicleFile(Model):
    vehicle: Id
    title: Text
    system_v: Volts
    earth: Literal["negative", "positive"]
    history: Literal["rewired", "aged"]
    ambient_c: Celsius = 20.0
    """Temperature of the loom; copper and windings gain 0.39 % of resistance a kelvin."""
    circuits: Annotated[tuple[Id, ...], Field(min_length=1)]
    options: Mapping[Id, Mapping[Id, Id]] = {}
    """Circuit to its options and what was chosen; the first choice of each that is not named."""
    places: Mapping[Id, Text] = {}
    """Words for places where this vehicle differs."""
    length_factor: Positive = 1.0
    """Times the lengths of wire that the circuits give; overrides are not multiplied."""
    assumed: Literal["all"] | tuple[Id, ...] = ()
    """Wires whose length or section nobody measured."""
    alterations: tuple[Text, ...] = ()
    history_of_alterations: tuple[Altered, ...] = ()
    """Oldest first; written by `diag vehicle alter`."""
    overrides: Mapping[Literal["parts", "fuses", "earths", "wires", "checks"], Mapping[Id, Mapping[str, Any]]] = {}
    """Merged by id over the circuits' own; a value of `absent` for the key `fitted` removes one. Of checks nothing
    else can be said."""


class VocabularyFile(Model):
    """rules/vocabulary.yaml: every word a finding may use, the chance of misjudging it, and the
    limits that decide which word a prediction is."""

    light: tuple[Id, ...]
    rhythm: tuple[Id, ...]
    sound: tuple[Id, ...]
    motor: tuple[Id, ...]
    needle: tuple[Id, ...] = ()
    wire_colours: tuple[Text, ...]
    light_limits: Mapping[Id, Positive]
    """Upper edge of each word's relative light, against the healthy vehicle: dark, glow, dim, normal."""
    misread: Mapping[Literal["light", "rhythm", "sound", "motor", "needle"], Mapping[Id, Mapping[Id, Share]]]
    """For each true word the words it is taken for, with their share; the rest is right."""
    misread_floor: Share = 0.03
